"""What cannot be meant is refused at the command line: where, what, the way out, and nothing written."""

from dataclasses import replace

import pytest
from clips import FRAMES, fails, source_words, tree, write_pair
from plan_tables import CLIP, frame, measurement, rows

from postfix.cli import main
from postfix.job.checksums import source_files
from postfix.job.measured import footage_of
from postfix.measure.clip import clip_info
from postfix.measure.table_csv import table_text
from postfix.source.pair import open_pair

CINEMA = "cinema-12m"
MARK = "0123456789abcdef"
BOX = "frame = 30, box = [100, 100, 200, 200], at_pct = 0.0"


def three_shots(number):
    if number < 24:
        return frame(-0.5, 0.3)
    return frame(0.0, 1.5) if number < 48 else frame(-1.2, 0.2, left=rows(-0.8))


@pytest.fixture(scope="module")
def texts(tmp_path_factory):
    """A table of three shots, and its plan for the cinema."""
    folder = tmp_path_factory.mktemp("texts")
    table, plan = folder / "m.csv", folder / "p.toml"
    table.write_text(table_text(measurement(three_shots, 72, (24, 48), replace(CLIP, footage=MARK))))
    assert main(["plan", str(table), "--screen", CINEMA, "-o", str(plan), "-q"]) == 0
    return {"m.csv": table.read_text(), "p.toml": plan.read_text()}


@pytest.fixture
def place(texts, tmp_path, monkeypatch):
    """A folder of one's own with both, where the commands are typed."""
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def contents(folder):
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def refused(capsys, place, typed, code, *says):
    """Refused with one sentence that says where, what was found and expected, and what to do; nothing is written."""
    before = contents(place), tree(place)
    message = fails(capsys, typed, code, *says)
    assert (contents(place), tree(place)) == before
    assert ": found " in message
    assert ", expected " in message
    _, _, next_step = message.rpartition("; ")
    assert next_step.endswith(".")
    assert len(next_step.split()) >= 2
    return message


NEW = ["plan", "m.csv", "--screen", CINEMA, "-o", "new.toml"]


# --- settings and pins -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("[limits]\nnear_pct = 1.0\nfar_pct = 0.5\n", 1, ["near_pct", "far_pct", CINEMA]),
        ("[limits]\nnear_pct = 1.0\n[screen.cinema-12m.limits]\nfar_pct = 0.5\n", 3, ["line 1", CINEMA]),
        ("[limits]\nnear_pct = nan\n", 2, ["near_pct", "nan"]),
        ("[limits]\nfar_pct = inf\n", 2, ["far_pct", "inf"]),
        ("[window]\nmargin_pct = 1e999\n", 2, ["margin_pct", "inf"]),
        ("[convergence]\njump_weight = -inf\n", 2, ["jump_weight"]),
        ("speed = 3\n", 1, ["speed", "not known"]),
        ("[window]\nwidth_px = 3\n", 2, ["width_px", "not known"]),
        ("[screen.cinema-12m.limits]\nnear = 3\n", 2, ["near", "not known"]),
        ('[screen."cinema-13m".window]\nmax_pct = 3.0\n', 1, ["cinema-13m", CINEMA]),
        ('[[pin]]\nshot = "sh009"\nhit = 0.3\n', 1, ["sh009", "sh001, sh002, sh003"]),
        ("[[pin]]\nframe = 72\nhit = 0.3\n", 1, ["frame 72", "0 to 71"]),
        ('[[pin]]\nshot = "sh002"\nhit = [{ frame = 3, pct = 0.1 }, { frame = 30, pct = 0.2 }]\n', 1, ["24 to 47"]),
        (
            '[[pin]]\nshot = "sh002"\nhit = [{ frame = 33, pct = 0.1 }, { frame = 30, pct = 0.2 }]\n',
            3,
            ["hit[1].frame"],
        ),
        ('[[pin]]\nshot = "sh002"\nhit = nan\n', 3, ["hit", "nan"]),
        ('[[pin]]\nshot = "sh002"\nhit = 0.3\n[[pin]]\nshot = "sh002"\nhit = 0.2\n', 5, ["line 1", "one pin"]),
        ('[[pin]]\nshot = "sh002"\nhit = 0.3\n[[pin]]\nframe = 30\nhit = 0.2\n', 4, ["line 1", "one pin", "sh002"]),
        (f"[[pin]]\nsubject = {{ {BOX} }}\n", 1, ["--left and --right"]),
        ('[[pin]]\nshot = "sh002"\ndepth = 1\n', 3, ["depth", "not known"]),
    ],
)
def test_settings_that_cannot_be_meant_are_named_with_file_and_line(place, capsys, text, line, says):
    (place / "set.toml").write_text(text)
    for typed in (NEW, [*NEW, "--dry-run"], ["plan", "m.csv", "--update", "p.toml"]):
        refused(capsys, place, [*typed, "--settings", "set.toml"], 3, f"set.toml, line {line}", *says)


def test_one_screen_of_many_with_limits_that_contradict_leaves_all_plans_unwritten(place, capsys):
    (place / "set.toml").write_text("[screen.tv-55in.limits]\nnear_pct = 1.0\nfar_pct = 0.5\n")
    typed = ["plan", "m.csv", "--screen", CINEMA, "--screen", "tv-55in", "-o", "plans", "--settings", "set.toml"]
    refused(capsys, place, typed, 3, "set.toml, line 1", "tv-55in")


# --- plans -------------------------------------------------------------------------------------------------------


SECOND = "hit = [{frame = 24, pct = -1.074219}]"


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("near_pct = -1.7454276142355885", "near_pct = 2.0", ["near_pct", "less than far_pct"]),
        ("far_pct = 0.5416666666666666", "far_pct = nan", ["far_pct", "nan"]),
        ("range_pct = 1.745373558151758", "range_pct = inf", ["range_pct", "inf"]),
        ("width_mm = 12000.0", "width_mm = nan", ["width_mm", "nan"]),
        ("max_pct = 6.0", "max_pct = nan", ["[settings.window]", "max_pct"]),
        (SECOND, "hit = [{frame = 24, pct = inf}]", ["shot 2", "hit[0].pct", "inf"]),
        (SECOND, "hit = nan", ["shot 2", "hit", "nan"]),
        (SECOND, "hit = [{frame = 30, pct = 0.0}, {frame = 25, pct = 1.0}]", ["hit[1].frame", "rising"]),
        (SECOND, "hit = [{frame = 2, pct = 0.0}, {frame = 25, pct = 1.0}]", ["hit[0].frame", "24 to 47"]),
        ("left_px = [18.44, 18.44]", "left_px = [nan, 18.44]", ["shot 3", "window[0].left_px"]),
        ("first = 24", "first = 20", ["shot 2", "first", "24"]),  # overlaps
        ("first = 24", "first = 28", ["shot 2", "first", "24"]),  # leaves a gap
        ("last = 71", "last = 70", ["shot 3", "last", "71"]),
        ("last = 71", "last = 80", ["shot 3", "last", "71"]),
        ('name = "sh003"', 'name = "sh002"', ["shot 3", "name", "sh002"]),
        ("zoom = 1.0", "zom = 1.0", ["shot 1", "zom", "not known"]),
        ("soft_px = 0.0", "softness_px = 0.0", ["[settings.window]", "softness_px"]),
        ("step_px = 2", "step_px = 2\nspeed = 1", ["[clip]", "speed"]),
        ("last = 71", f"last = 71\nsubject = {{ {BOX} }}", ["shot 3", "subject.frame", "48 to 71"]),
        (
            "last = 71",
            "last = 71\nsubject = { frame = 50, box = [2040, 0, 10, 10], at_pct = 0 }",
            ["shot 3", "subject.box", "2048x1080"],
        ),
    ],
)
def test_a_plan_that_cannot_be_meant_is_named_with_file_line_and_key(place, capsys, texts, old, new, says):
    before, _, after = texts["p.toml"].partition(old)
    assert after
    (place / "e.toml").write_text(before + new + after)
    line = (before + new).count("\n") + 1
    for typed in (["plan", "m.csv", "--update", "e.toml"], ["plan", "--diff", "p.toml", "e.toml"]):
        refused(capsys, place, typed, 3, f"e.toml, line {line}", *says)


def test_key_frames_of_a_window_out_of_order_are_named(place, capsys, texts):
    entry = "{frame = 48, left_px = [18.44, 18.44], right_px = [0.0, 0.0]}"
    later, earlier = entry.replace("48", "60"), entry.replace("48", "50")
    (place / "e.toml").write_text(texts["p.toml"].replace(entry, f"{later}, {earlier}"))
    refused(capsys, place, ["plan", "m.csv", "--update", "e.toml"], 3, "e.toml, line", "window[1].frame", "61 to 71")


def test_a_limit_by_hand_that_contradicts_new_settings_leaves_the_plan_as_it_is(place, capsys, texts):
    (place / "e.toml").write_text(texts["p.toml"].replace("far_pct = 0.5416666666666666", "far_pct = -1.5"))
    (place / "set.toml").write_text("[limits]\nnear_pct = -1.0\n")
    typed = ["plan", "m.csv", "--update", "e.toml", "--settings", "set.toml"]
    refused(capsys, place, typed, 3, "[limits]", "near_pct -1", "far_pct -1.5")


def test_a_layout_that_cannot_be_updated_is_named_by_its_file(place, capsys, texts):
    head, *shots = texts["p.toml"].split("[[shot]]\n")
    first, lasts = zip(*((text.splitlines()[1], text.splitlines()[2]) for text in shots))
    inline = ", ".join(f'{{name = "a{i}", {a}, {b}}}' for i, (a, b) in enumerate(zip(first, lasts)))
    (place / "e.toml").write_text(f"shot = [{inline}]\n{head}")
    for more in ([], ["--dry-run"]):
        refused(capsys, place, ["plan", "m.csv", "--update", "e.toml", *more], 3, "e.toml", "[[shot]]")


# --- measurements ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("column", "cell"),
    [("near_pct", "nan"), ("far_pct", "inf"), ("far_pct", "1e999"), ("confidence", "nan"), ("left_rows_pct", "nan;1")],
)
def test_figures_that_are_none_in_a_measurement_are_named_with_their_line(place, capsys, texts, column, cell):
    lines = texts["m.csv"].splitlines()
    cells = lines[6].split(",")
    cells[lines[0].split(",").index(column)] = cell
    (place / "bad.csv").write_text("\n".join([*lines[:6], ",".join(cells), *lines[7:]]) + "\n")
    figure = cell.split(";")[0]
    for typed in (["plan", "bad.csv", *NEW[2:]], ["plan", "bad.csv", "--update", "p.toml"]):
        refused(capsys, place, typed, 3, "bad.csv", "line 7", figure)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (
            lambda plan: plan.replace("frames = 72", "frames = 71").replace("last = 71", "last = 70"),
            ["72 frames", "71"],
        ),
        (lambda plan: plan.replace(MARK, MARK[::-1]), [f"footage mark {MARK}", MARK[::-1]]),
        (lambda plan: plan.replace("width_px = 2048", "width_px = 1998"), ["2048x1080", "1998x1080"]),
        (lambda plan: plan.replace('rate = "24"', 'rate = "25"'), ["24 frames/s", "25 frames/s"]),
    ],
)
def test_a_plan_for_other_footage_is_not_updated(place, capsys, texts, change, says):
    (place / "e.toml").write_text(change(texts["p.toml"]))
    assert (place / "e.toml").read_text() != texts["p.toml"]
    refused(
        capsys,
        place,
        ["plan", "m.csv", "--update", "e.toml"],
        3,
        "m.csv",
        *says,
        "as in e.toml",
        "measure and plan again",
    )


# --- wrong use ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (["--screen", CINEMA, "-o", "new.toml"], ["no measurement", "measure.csv"]),
        ([], ["measure.csv"]),
        (["--update", "p.toml"], ["measure.csv"]),
        (["m.csv", "--update", "p.toml", "--diff", "p.toml", "p.toml"], ["--diff", "--update"]),
        (["--diff", "p.toml"], ["--diff"]),
        (["m.csv", "-o", "new.toml"], ["--screen"]),
        (["m.csv", "--screen", CINEMA], ["-o"]),
        (["m.csv", "--screen", CINEMA, "--screen", CINEMA, "-o", "plans"], ["--screen", "twice"]),
        (["m.csv", "--screen", "cinema-13m", "-o", "new.toml"], ["cinema-13m", CINEMA]),
        (["m.csv", "--screen", CINEMA, "-o", "new.toml", "--fill", "mirror"], ["--fill", "mirror"]),
        (["m.csv", "--screen", CINEMA, "-o", "new.toml", "--comfort", "none"], ["--comfort"]),
        (["m.csv", "--screen", CINEMA, "-o", "new.toml", "--left", "l.mkv"], ["--left and --right"]),
        (["m.csv", "--update", "p.toml", "--screen", "tv-55in"], ["--screen", "tv-55in", CINEMA, "leave it out"]),
    ],
)
def test_wrong_use_is_exit_code_two(place, capsys, typed, says):
    refused(capsys, place, ["plan", *typed], 2, *says)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        (["no.csv", "--screen", CINEMA, "-o", "new.toml"], "no.csv"),
        (["m.csv", "--update", "no.toml"], "no.toml"),
        (["--diff", "p.toml", "no.toml"], "no.toml"),
        (["m.csv", "--screen", CINEMA, "-o", "new.toml", "--settings", "no.toml"], "no.toml"),
        (["p.toml", "--screen", CINEMA, "-o", "new.toml"], "p.toml"),
        (["m.csv", "--update", "m.csv"], "m.csv"),
    ],
)
def test_files_that_are_missing_or_are_something_else_are_named(place, capsys, typed, says):
    refused(capsys, place, ["plan", *typed], 3, says)


@pytest.mark.parametrize("typed", [NEW[:4], ["plan", "m.csv", "--update", "p.toml"]])
def test_no_input_is_replaced_by_a_plan(place, capsys, typed):
    (place / "set.toml").write_text("")
    for output in ("m.csv", "set.toml", str(place / "m.csv")):
        refused(capsys, place, [*typed, "--settings", "set.toml", "-o", output, "--force"], 4, output, "input")


# --- other footage -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def footage(tmp_path_factory):
    """A pair; another of the same measures with other pictures; one of another length; a table of the first."""
    folder = tmp_path_factory.mktemp("footage")
    pairs = {
        "same": write_pair(folder / "a"),
        "other": write_pair(folder / "b", far_pct=0.3),
        "short": write_pair(folder / "c", frames=FRAMES - 1),
    }
    pair = open_pair(*pairs["same"])
    clip = replace(clip_info(pair), footage=footage_of(source_files(pair)))
    table = table_text(measurement(lambda i: frame(-0.4, 0.2), FRAMES, (), clip))
    return pairs, table, clip.footage


SUBJECT = "subject = { frame = 2, box = [110, 60, 100, 70], at_pct = 0.1 }\n"


@pytest.fixture
def here(footage, tmp_path, monkeypatch):
    """A folder with the table of the pair and its plan, where the commands are typed."""
    (tmp_path / "m.csv").write_text(footage[1])
    monkeypatch.chdir(tmp_path)
    assert main(["plan", "m.csv", "--screen", "tv-55in", "-o", "p.toml", "-q"]) == 0
    return tmp_path


def test_a_subject_is_not_looked_for_in_footage_that_was_not_measured(here, footage, capsys):
    pairs, _, mark = footage
    (here / "set.toml").write_text(f"[[pin]]\n{SUBJECT}")
    edited = (here / "p.toml").read_text().replace("locked = false\n", f"{SUBJECT}locked = false\n")
    (here / "e.toml").write_text(edited)
    new = ["plan", "m.csv", "--screen", "tv-55in", "-o", "new.toml", "--settings", "set.toml"]
    for typed in (new, ["plan", "m.csv", "--update", "e.toml"]):
        message = refused(capsys, here, [*typed, *source_words(*pairs["short"])], 3, "m.csv", "8 frames", "7 frames")
        assert "--measurement" not in message  # no option of this command
        refused(capsys, here, [*typed, *source_words(*pairs["other"])], 3, "m.csv", f"mark {mark}", "were measured")
        exchanged = [*typed, *source_words(*pairs["same"]), "--swap"]
        refused(capsys, here, exchanged, 3, "m.csv", f"mark {mark}", "order")


@pytest.mark.parametrize(
    ("subject", "says"),
    [
        (SUBJECT.replace("[110, 60, 100, 70]", "[300, 60, 100, 70]"), "320x180"),
        (SUBJECT.replace("frame = 2", "frame = 8"), "0 to 7"),
        (SUBJECT.replace("[110, 60, 100, 70]", "[110, 60, 1, 1]"), "choose another frame or box"),
    ],
)
def test_a_pinned_subject_that_the_footage_cannot_hold_or_show_is_refused(here, footage, capsys, subject, says):
    (here / "set.toml").write_text(f'[[pin]]\nshot = "sh001"\n{subject}')
    typed = ["plan", "m.csv", "--screen", "tv-55in", "-o", "new.toml", "--settings", "set.toml"]
    refused(capsys, here, [*typed, *source_words(*footage[0]["same"])], 3, "set.toml, line 1", says)


def test_a_plan_for_other_footage_is_not_rendered(here, footage, capsys):
    pairs, _, mark = footage
    for name, says in (("short", ["8 frames", "7 frames"]), ("other", [f"mark {mark}", "p.toml"])):
        typed = ["render", *source_words(*pairs[name]), "--plan", "p.toml", "-o", "out"]
        refused(capsys, here, typed, 3, *says)
    typed = ["render", *source_words(*pairs["same"]), "--swap", "--plan", "p.toml", "-o", "out"]
    refused(capsys, here, typed, 3, f"mark {mark}", "p.toml")


def test_a_plan_that_cannot_be_meant_is_not_rendered(here, footage, capsys):
    text = (here / "p.toml").read_text()
    for old, new, says in (("zoom = 1.0", "zoom = nan", "zoom"), ("last = 7\n", "last = 6\n", "last")):
        (here / "e.toml").write_text(text.replace(old, new))
        typed = ["render", *source_words(*footage[0]["same"]), "--plan", "e.toml", "-o", "out"]
        refused(capsys, here, typed, 3, "e.toml, line", says)
