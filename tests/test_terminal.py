"""What stands on a terminal: widths, shortening, tables, colours, progress; on a real pseudo-terminal too."""

import fcntl
import json
import logging
import os
import pty
import re
import struct
import subprocess
import sys
import termios
import unicodedata
from dataclasses import replace
from pathlib import Path

import pytest
from clips import source_words, write_pair
from hypothesis import example, given
from hypothesis import strategies as st
from printed import NAMES, wide

from postfix.job.lettering import columns, lines_of, shortened, told_apart, visible
from postfix.job.progress import BesideBars, Place, RecentRate, bar, clock, drawn, finished, label, rate_words
from postfix.look import Look, Piece, look_of
from postfix.tables import LEAST_NAME, Table
from postfix.terminal import Gap, Whole, line, lines, name, rendered

ESCAPE = re.compile(r"\x1b\[[0-9;]*m")
FIGURES = st.one_of(
    st.floats(-1e12, 1e12).map(lambda value: f"{value:+.2f}"),
    st.integers(-(10**9), 10**9).map(str),
)
ROLES = st.sampled_from(["plain", "heading", "good", "bad", "soft"])


@st.composite
def tables(draw):
    count = draw(st.integers(1, 9))
    heads = (draw(ROLES.map(lambda role: Piece("shot", role))), *(name(one) for one in draw(many(NAMES, count))))
    rows = [
        (name(draw(NAMES)), *(Piece(figure, draw(ROLES)) for figure in draw(many(FIGURES, count))))
        for _ in range(draw(st.integers(0, 4)))
    ]
    return Table(heads, tuple(rows))


def many(what, count):
    return st.lists(what, min_size=count, max_size=count)


# --- letters -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "takes"),
    [("harbour", 7), ("灯台", 4), ("e\u0301te\u0301", 3), ("ﾊﾞ", 2), ("Ａ", 2), ("🪁", 2), ("", 0), ("−1.07 %", 7)],
)
def test_wide_letters_take_two_columns_and_marks_none(text, takes):
    assert columns(text) == takes


@pytest.mark.parametrize(
    "text", ["\x1b[2J", "\r", "a\nb", "\x07", "\x9b2J", "\u202eevil", "\u2028", "\udc80", "\x00", "\u200b"]
)
def test_what_a_terminal_would_obey_is_shown_as_its_code(text):
    shown = visible(text)
    assert shown.isprintable()
    assert "\\" in shown


@given(st.text())
def test_visible_text_is_never_obeyed_and_what_was_harmless_stays(text):
    shown = visible(text)
    assert all(letter.isprintable() or unicodedata.category(letter) == "Zs" for letter in shown)
    assert visible(shown) == shown
    if text.isprintable():
        assert shown == text


@given(NAMES.map(visible), st.integers(1, 100))
def test_a_shortened_name_fits_and_begins_and_ends_as_it_did(text, width):
    short = shortened(text, width)
    assert wide(short) <= width
    if wide(text) <= width:
        assert short == text or columns(text) > width
    else:
        first, _, last = short.partition("…") if "…" not in text else (short[:0], "", short[len(short) :])
        assert text.startswith(first)
        assert text.endswith(last)


def test_a_name_is_shortened_in_its_middle():
    assert shortened("kite_workshop_on_the_quay_take_014", 17) == "kite_wor…take_014"


@example(["a" * 40 + x + "b" * 40 for x in "xyz"], 12)
@example(["take_" + "0" * 60 + str(i) + "_left_eye_graded" for i in range(30)], 12)
@given(st.lists(NAMES.map(visible), max_size=12), st.integers(8, 40))
def test_no_two_different_names_look_alike_when_shortened(names, width):
    shown = told_apart(names, width)
    assert set(shown) == set(names)
    assert len(set(shown.values())) == len(set(names))
    assert all(wide(text) <= width for text in shown.values())


@given(NAMES.map(visible), st.integers(2, 80), st.integers(2, 80))
def test_a_broken_line_loses_nothing_but_spaces(text, first, later):
    spans = lines_of(text, first, later)
    assert "".join(text[span] for span in spans).replace(" ", "") == text.replace(" ", "")
    for number, span in enumerate(spans):
        assert columns(text[span]) <= (later if number else first)


def test_a_figure_and_its_unit_stay_together():
    text = "near is −0.47 %, limit −0.24 %: 0.23 % (51 mm on this screen), 6 px"
    for width in range(8, 40):
        for span in lines_of(text, width, width):
            assert not re.match("%|mm|px", text[span])


# --- tables and lines --------------------------------------------------------------------------------------------


@given(tables(), st.sampled_from([40, 80, 81, 132, 300]))
def test_no_line_of_a_table_is_too_wide_and_no_figure_is_shortened(table, width):
    text = rendered([table], Look(width))
    assert all(wide(one) <= width for one in text.split("\n")), text
    assert "\x1b" not in text
    for row in table.rows:
        for figure in row[1:]:
            assert re.search(rf"(?<![0-9.]){re.escape(figure.text)}(?![0-9.])", text), figure


@given(tables(), st.lists(st.tuples(NAMES, ROLES), max_size=4))
def test_the_letters_are_the_same_with_and_without_colours(table, pieces):
    said = [line(*(Piece(text, role) for text, role in pieces)), Gap(), table]
    plain, coloured = rendered(said, Look()), rendered(said, Look(colours=True))
    assert ESCAPE.sub("", coloured) == plain
    assert all(wide(one) <= 80 for one in plain.split("\n"))
    assert [one == one.rstrip() for one in plain.split("\n")]


@given(st.lists(st.tuples(NAMES, ROLES), max_size=4), st.sampled_from(["ascii", "cp1252", "utf-8"]))
def test_a_place_that_lacks_letters_gets_others_and_is_not_written_over_its_width(pieces, encoding):
    said = [line(*(Piece(text, role) for text, role in pieces), "near −1.07 % → +0.33 %")]
    text = rendered(said, Look(encoding=encoding))
    text.encode(encoding)
    assert all(wide(one) <= 80 for one in text.split("\n"))


def test_signs_of_our_own_have_others_in_ascii():
    table = Table(("shot", "near %"), ((name("s" * 90), "−1.07 → −0.50"),))
    assert rendered([table], Look(encoding="ascii")).split("\n")[1].endswith("  -1.07 -> -0.50")
    assert "~" in rendered([table], Look(encoding="ascii"))


def test_a_table_that_fits_is_laid_out_as_it_always_was():
    table = Table(("shot", "frames", "near %"), ((name("s001"), "20", "−0.12"), (name("s02"), "7", "−11.33")))
    assert rendered([table]) == "shot  frames  near %\ns001      20   −0.12\ns02        7  −11.33"


def test_long_names_give_way_in_the_middle_and_a_wide_terminal_gives_them_room():
    long = "harbour_wall_at_low_tide_with_the_big_kite_second_take_graded_for_projection"
    table = Table(("shot", "frames", "near %"), ((name(long), "20", "−0.12"),))
    shown = rendered([table]).split("\n")[1]
    assert wide(shown) == 80
    assert shown.startswith("harbour_wall_at_low_tide_with_th…")
    assert shown.split("  ")[0].endswith("…cond_take_graded_for_projection")
    assert long in rendered([table], Look(120))


def test_many_screens_are_split_into_tables_that_each_begin_with_the_shots():
    heads = ("shot", *(name(f"hall-number-{i:02d}") for i in range(20)))
    table = Table(heads, tuple((name(f"s{k:03d}"), *["over 0.38 far"] * 20) for k in range(3)))
    parts = rendered([table]).split("\n\n")
    assert len(parts) == 5
    for part in parts:
        assert [row.split()[0] for row in part.split("\n")] == ["shot", "s000", "s001", "s002"]
    assert sum(part.count("over 0.38 far") for part in parts) == 60
    assert [f"hall-number-{i:02d}" in " ".join(parts) for i in range(20)] == [True] * 20


def test_names_that_head_columns_are_told_apart_in_the_whole_table():
    screens = [f"the_large_hall_on_the_{side}_side_of_the_quay_at_high_water" for side in ("north", "south", "east")]
    text = rendered([Table(("shot", *map(name, screens)), ((name("s001"), "as shot", "as shot", "over 9.99 far"),))])
    heads = [word for row in text.split("\n") if row.startswith("shot") for word in row.split()[1:]]
    assert len(set(heads)) == 3
    assert all("…" in head for head in heads)


def test_a_figure_that_is_wider_than_the_terminal_is_broken_and_not_shortened():
    figure = "9" * 100
    text = rendered([Table(("shot", "HIT px"), ((name("s001"), figure),))])
    assert all(wide(one) <= 80 for one in text.split("\n"))
    assert figure in text.replace("\n", "").replace(" ", "")


def test_a_path_is_never_broken_but_cannot_give_orders():
    path = "written: /a/" + "very_long_folder/" * 10 + "\x1b[2Jx\n.csv"
    assert rendered([Whole(path)]) == visible(path)
    assert "\n" not in rendered([Whole(path)])


def test_a_line_feed_in_what_is_one_line_makes_no_second():
    assert rendered("written: a\nerror: all is lost\x1b[2J") == "written: a\\nerror: all is lost\\x1b[2J"
    assert rendered("") == ""
    assert rendered([line("would write ", name("a\nb"))]) == "would write a\\nb"


def test_a_text_with_lines_of_its_own_keeps_them_and_breaks_what_is_too_long():
    text = "screen\n  eye: 50 mm → 65 mm\n\n  " + "word " * 30
    shown = rendered(lines(text.rstrip())).split("\n")
    assert shown[:3] == ["screen", "  eye: 50 mm → 65 mm", ""]
    assert all(one.startswith("    word") for one in shown[4:])


def test_a_name_in_a_table_is_never_shorter_than_can_be_read():
    table = Table(("shot", *["near %"] * 6), ((name("x" * 50), *["−100.00 → −100.00"] * 6),))
    for row in rendered([table]).split("\n"):
        if row.startswith("x"):
            assert wide(row.split()[0]) >= LEAST_NAME


# --- where it is shown -------------------------------------------------------------------------------------------


class Screen:
    """Stands for a terminal."""

    encoding = "utf-8"

    def __init__(self, answer=True):
        self.answer = answer

    def isatty(self):
        return self.answer


@pytest.mark.parametrize(
    ("environment", "colours"),
    [
        ({"TERM": "xterm"}, True),
        ({}, True),
        ({"TERM": "dumb"}, False),
        # https://no-color.org (read): any value that is not empty switches colours off.
        ({"TERM": "xterm", "NO_COLOR": "1"}, False),
        ({"TERM": "xterm", "NO_COLOR": "0"}, False),
        ({"TERM": "xterm", "NO_COLOR": ""}, True),
    ],
)
def test_colours_are_for_terminals_that_have_them_and_people_who_want_them(environment, colours, monkeypatch):
    monkeypatch.setenv("COLUMNS", "132")
    assert look_of(Screen(), environment) == Look(132, colours)
    assert look_of(Screen(answer=False), environment) == Look(80, colours=False)
    assert look_of(None, environment) == Look(80, colours=False)


# --- progress ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("seconds", "words"), [(0.2, "0:00"), (7, "0:07"), (225, "3:45"), (3825, "1:03:45"), (3599.6, "1:00:00")]
)
def test_time_stands_as_on_a_clock(seconds, words):
    assert clock(seconds) == words


def test_the_rate_is_a_recent_one():
    """A slow beginning is forgotten, and a standstill is seen."""
    rate, done = RecentRate(0.0), 0
    for tick in range(1, 101):
        done += 1 if tick <= 50 else 10
        rate.saw(tick * 1.0, done)
    assert rate.per_s(100.0, done) == pytest.approx(10.0)
    assert rate.per_s(120.0, done) < 5.0
    assert RecentRate(0.0).per_s(3.0, 0) == 0.0


def test_a_bar_says_stage_percent_frames_rate_and_time_left():
    text = drawn("check tv-55in", Place(), 1210, 2880, 12.34, 79, ascii_only=False)
    assert re.fullmatch(r"check tv-55in  [█▏▎▍▌▋▊▉ ]+   42 %  1210/2880 frames  12\.3/s   2:15 left", text)
    assert "/s" not in drawn("measure", Place(), 0, 2880, 0.0, 79, ascii_only=False)


def test_a_bar_of_many_clips_says_which_clip_and_which_stage_of_how_many():
    stages = ("measure", "render", "check cinema", "check cinema-12m")
    place = Place("harbour", 2, 5, stages)
    assert label("check cinema-12m", place, 60) == "clip 2/5 harbour: 4/4 check cinema-12m"
    assert label("render cinema, cinema-12m", place, 60) == "clip 2/5 harbour: 2/4 render cinema, cinema-12m"
    assert label("measure", replace(place, clips=1), 60) == "1/4 measure"
    assert label("measure", Place(), 60) == "measure"
    assert label("count", place, 60) == "clip 2/5 harbour: count"


@st.composite
def places(draw):
    """A stage, with where in a job it is: from a single measurement to the last of a thousand clips."""
    clips, stage = draw(st.integers(1, 999)), draw(NAMES)
    others = draw(st.lists(st.sampled_from(["measure", "render", "check cinema-12m"]), max_size=20))
    clip = draw(st.one_of(st.just(""), NAMES))
    return stage, Place(clip, draw(st.integers(1, clips)), clips, (*others, stage) if draw(st.booleans()) else ())


def bars_fit(what, place, done, total, per_s, width, ascii_only):
    for text in (
        drawn(what, place, done, total, per_s, width, ascii_only=ascii_only),
        finished(what, place, done, 1e5 / (1.0 + per_s), width, ascii_only=ascii_only),
    ):
        assert wide(text) <= width, text
        assert "\x1b" not in text
        assert "\n" not in text


RATES = st.one_of(st.just(0.0), st.floats(0.01, 1e5))


@given(places(), st.integers(0, 10**7), st.integers(0, 10**7), RATES, st.integers(39, 120), st.booleans())
def test_a_bar_never_wraps_whatever_its_names_are(stage_and_place, done, total, per_s, width, ascii_only):
    bars_fit(*stage_and_place, done, total, per_s, width, ascii_only)


@pytest.mark.parametrize("clip", ["", "quay", "a_very_long_reel_of_the_kite_workshop", "凧工房と風の強い海岸"])
@pytest.mark.parametrize("clips", [1, 2, 48, 250])
@pytest.mark.parametrize("stages", [0, 5, 23])
def test_a_bar_fits_every_width_from_40_columns_on(clip, clips, stages):
    what = "check cinema-12m"
    place = Place(clip, clips, clips, (*["render"] * (stages - 1), what) if stages else ())
    for width in range(39, 121):
        for done, total, per_s in ((12, 12, 0.0), (172_799, 172_800, 0.02), (7, 172_800, 0.02)):
            bars_fit(what, place, done, total, per_s, width, ascii_only=False)


@given(st.integers(0, 99_999), st.floats(0.01, 1e5), st.booleans())
def test_a_bar_of_one_clip_has_all_its_figures_on_80_columns(done, per_s, ascii_only):
    text = drawn("x", Place(), done, 99_999, per_s, 80, ascii_only=ascii_only)
    assert f"{done}/99999" in text
    assert f" {rate_words(per_s)}/s " in text


def test_where_room_is_short_names_and_the_unit_give_way_before_figures():
    place = Place("harbour wall at low tide with the big kite, graded", 12, 15, ("measure", "check cinema-12m"))

    def text(width):
        return drawn("check cinema-12m", place, 7, 2880, 12.0, width, ascii_only=False)

    assert ": 2/2 check cinema-12m  " in text(79)
    assert text(79).endswith("    0 %     7/2880  12.0/s   3:59 left")
    assert "/2880 frames  12.0/s" in text(120)


@pytest.mark.parametrize(
    ("width", "bar_says", "is_left"),
    [
        (39, "clip 2/2: 8/8 check …ema-5m   3:59 left", "clip 2/2 a_v…er: 8/8 check …ma-5m: 0:01"),
        (60, "clip 2/2 a_ver…_over: 8/8 check cinema-5m    0 %   3:59 left",
         "clip 2/2 a_ver…_over: 8/8 check cinema-5m: 12 frames in 0:01"),
    ],
)  # fmt: skip
def test_on_a_narrow_terminal_the_stage_keeps_its_name_and_the_time_left_stays(width, bar_says, is_left):
    """Figures go before names, the name of the clip before its number, and that before the name of the stage."""
    place = Place("a_very_long_reel_of_over", 2, 2, ("measure", "render", *(f"check cinema-{i}m" for i in range(6))))
    assert drawn("check cinema-5m", place, 7, 2880, 12.0, width, ascii_only=False) == bar_says
    assert finished("check cinema-5m", place, 12, 1.1, width) == is_left


def test_a_bar_is_drawn_only_where_all_figures_have_room():
    assert drawn("measure", Place(), 7, 2880, 12.0, 39, ascii_only=False) == "measure    0 %     7/2880   3:59 left"
    assert drawn("measure", Place(), 7, 2880, 12.0, 50, ascii_only=False).endswith("12.0/s   3:59 left")


def test_one_frame_is_one_frame():
    assert finished("measure", Place(), 1, 0.2, 79) == "measure: 1 frame in 0:00, 5.0 frames/s"
    assert finished("review page", Place(), 2, 0.2, 79, unit="shots") == "review page: 2 shots in 0:00, 10.0 shots/s"
    assert drawn("measure", Place(), 0, 1, 0.0, 79, ascii_only=True).endswith("0/1 frame")


def test_a_line_feed_in_a_name_makes_no_second_line_of_a_message(capsys):
    log = logging.Logger("bars")
    log.addHandler(BesideBars())
    log.warning("%s: kept after %d\nframes", "reel\nerror: all is lost\x1b[2J", 3)
    log.warning("%(path)s: gone", {"path": Path("a\rb")})
    log.warning("100 %")
    said = capsys.readouterr().err
    assert said == "reel\\nerror: all is lost\\x1b[2J: kept after 3\nframes\na\\rb: gone\n100 %\n"


@pytest.mark.parametrize("quiet", [True, False])
def test_no_bar_where_nobody_looks(capsys, quiet):
    with bar("measure", 3, quiet=quiet) as progress:
        progress(2)
    assert capsys.readouterr().err == ""


# --- on a pseudo-terminal ----------------------------------------------------------------------------------------


def on_terminal(typed, *, wide=80, stdout=True, stderr=True, **environment):
    """Run a command whose stdout and stderr may be a terminal: exit code, what came there, stdout and stderr else."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, wide, 0, 0))
    usual = {key: value for key, value in os.environ.items() if key not in ("NO_COLOR", "COLUMNS", "TERM")}
    pipe = subprocess.PIPE
    with subprocess.Popen(
        [sys.executable, *map(str, typed)], stdin=theirs, env={**usual, "TERM": "xterm", **environment},
        stdout=theirs if stdout else pipe, stderr=theirs if stderr else pipe,
    ) as process:  # fmt: skip
        os.close(theirs)
        seen = b""
        while True:
            try:
                piece = os.read(ours, 65536)
            except OSError:  # the end, as Linux tells it
                break
            if not piece:
                break
            seen += piece
        piped = [stream.read().decode() if stream else "" for stream in (process.stdout, process.stderr)]
        code = process.wait(60)
    os.close(ours)
    return code, seen.decode(), *piped


def never_wraps(seen, width=80):
    for row in ESCAPE.sub("", seen).replace("\r", "\n").split("\n"):
        assert wide(row) < width + 1, row


BARS = """
import time
from postfix.job.progress import bar, stages_of
with stages_of(["measure", "check the-large-hall-on-the-north-side-of-the-quay"], "harbour wall at low tide", 2, 5):
    for what in ("measure", "check the-large-hall-on-the-north-side-of-the-quay"):
        with bar(what, 60, quiet=False) as progress:
            for frame in range(60):
                time.sleep(0.01)
                progress(1)
"""


def test_bars_are_drawn_over_themselves_and_leave_one_line_a_stage():
    code, seen, _, _ = on_terminal(["-c", BARS])
    assert code == 0
    assert "\x1b" not in seen
    never_wraps(seen, 79)
    left = [row.split("\r")[-1] for row in seen.replace("\r\n", "\n").split("\n") if row.split("\r")[-1].strip()]
    took = r": 60 frames in 0:\d\d, [\d.]+ frames/s"
    assert len(left) == 2
    assert re.fullmatch("clip 2/5 harbour wa.*tide: 1/2 measure" + took, left[0])
    assert re.fullmatch("clip 2/5 harbour.*tide: 2/2 check t.*quay" + took, left[1])
    drawn_rows = [row for row in re.split("[\r\n]", seen) if " %  " in row]
    assert any("/s" in row and " left" in row and "/60" in row for row in drawn_rows)


def test_a_dumb_terminal_gets_only_what_a_stage_leaves():
    _, seen, _, _ = on_terminal(["-c", BARS], TERM="dumb")
    assert seen.count("\n") == 2
    assert seen.replace("\r\n", "\n").count("\r") == 0


def test_piped_there_is_no_bar_at_all():
    assert on_terminal(["-c", BARS], stderr=False) == (0, "", "", "")


@pytest.fixture(scope="module")
def far(tmp_path_factory):
    """A pair that is outside the limits of the cinema."""
    return write_pair(tmp_path_factory.mktemp("far"), far_pct=1.4)


def test_on_a_terminal_a_check_has_colours_and_says_the_same_as_in_a_pipe(far):
    typed = ["-m", "postfix", "check", *source_words(*far), "--screen", "cinema-12m"]
    piped_code, nothing, piped, error = on_terminal(typed, stdout=False, stderr=False)
    assert (nothing, error) == ("", "")
    code, seen, _, _ = on_terminal(typed, stderr=False)
    assert (code, piped_code) == (5, 5)
    assert "\x1b[1;31moutside the limits\x1b[0m" in seen
    assert ESCAPE.sub("", seen).replace("\r\n", "\n") == piped
    assert piped.startswith("outside the limits of cinema-12m\n")
    never_wraps(seen)


def test_a_run_numbers_all_its_stages_to_the_review_page_on_40_columns_too(far, tmp_path):
    typed = ["-m", "postfix", "run", *source_words(*far), "--screen", "cinema-12m", "-o", tmp_path / "out"]
    code, seen, _, _ = on_terminal(typed, wide=40, stdout=False)
    assert code in (0, 5)
    never_wraps(seen, 39)
    left = [row.split("\r")[-1] for row in seen.replace("\r\n", "\n").split("\n") if row.split("\r")[-1].strip()]
    assert [row.split(":")[0] for row in left] == [
        "1/4 measure", "2/4 render cinema-12m", "3/4 check cinema-12m", "4/4 review page",
    ]  # fmt: skip
    assert re.fullmatch(r"4/4 review page: 1 shot in 0:\d\d(, [\d.]+ shots/s)?", left[-1])


@pytest.mark.parametrize(
    ("typed", "code", "environment"), [("screens", 0, {"NO_COLOR": "1"}), ("dance", 2, {"TERM": "dumb"})]
)
def test_without_colours_there_is_no_escape_code_on_stdout_or_stderr(typed, code, environment):
    got, seen, _, _ = on_terminal(["-m", "postfix", typed], **environment)
    assert got == code
    assert seen
    assert "\x1b" not in seen


def test_json_has_no_colours_on_a_terminal():
    code, seen, _, _ = on_terminal(["-m", "postfix", "screens", "--json"])
    assert code == 0
    assert json.loads(seen)["exit_code"] == 0


def test_an_error_has_colours_on_a_terminal_and_no_name_in_it_is_obeyed():
    typed = ["-m", "postfix", "measure", "--left", "no\x1b[2J", "--right", "n", "-o", "m.csv"]
    code, seen, out, _ = on_terminal(typed, stdout=False)
    assert (code, out) == (3, "")
    assert seen.startswith("\x1b[1;31mpostfix-stereo:\x1b[0m ")
    assert "\\x1b[2J" in seen
    assert "\x1b[2J" not in seen


# --- interrupted -------------------------------------------------------------------------------------------------

BOTH_AT_ONCE = """
import os, signal, sys
from postfix import arguments, cli
def both(options):
    numbers = {signal.SIGINT, signal.SIGTERM}
    signal.pthread_sigmask(signal.SIG_BLOCK, numbers)
    for number in numbers:
        os.kill(os.getpid(), number)
    signal.pthread_sigmask(signal.SIG_UNBLOCK, numbers)
arguments._COMMANDS["screens"] = (arguments._screens, both, "x", "x")
sys.exit(cli.main(["screens"]))
"""

WHILE_LOADING = """
import os, runpy, signal, sys
class Finder:
    def find_spec(self, name, *more):
        if name == "postfix.cli":
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Finder())
runpy.run_module("postfix", run_name="__main__")
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
@pytest.mark.parametrize(
    ("script", "says"),
    [
        (BOTH_AT_ONCE, "interrupted; nothing half-written was left; what was finished is kept for --resume"),
        (WHILE_LOADING, "interrupted; nothing was begun"),
    ],
)
def test_an_interruption_leaves_one_line_whenever_it_comes(script, says):
    hear = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
    done = subprocess.run([sys.executable, "-c", hear + script], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", f"postfix-stereo: {says}\n")
