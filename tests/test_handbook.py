"""The handbook says what the program says: commands, figures, links, and each flag and notice."""

import contextlib
import io
import math
import os
import re
import shlex
import shutil
import tomllib
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

from postfix.camera import (
    INFINITY_TOLERANCE_PCT,
    Camera,
    depth_pct_mm,
    distance_of,
    infinity_pct,
    parallax_pct,
    roundness,
    vertical_parallax_mm,
)
from postfix.cli import main
from postfix.lengths import length_text
from postfix.limits import COMFORT_ARCMIN, DIVERGENCE_LIMIT_DEG, DIVERGENCE_MAX_DEG, LimitRules, limits_for
from postfix.measure.differences import LIMITS as DIFFERENCES
from postfix.plan.cameras import read_cameras
from postfix.plan.figures import signed_mm, signed_pct
from postfix.plan.model import Flag
from postfix.plan.settings import ConvergenceSettings, StorySettings
from postfix.shooting import (
    FLAT_FOCAL_MM,
    MIRROR_RIG_MM,
    NATURAL_FOCAL_MM,
    RATIO_CINEMA,
    RATIO_USUAL,
    SIDE_BY_SIDE_MM,
    bercovitz_mm,
    nearest_mm,
    pinhole_mm,
)
from postfix.story.cuts import JUMP_TOLERANCE_PCT
from postfix.story.filmed import filmed, filmed_notices
from postfix.story.frames import IN_FRONT_PCT
from postfix.story.model import NoticeCode
from postfix.story.seats import from_seats, seats_of, seen
from postfix.summary_story import NOTICE_WORDS
from postfix.viewing import BUILTIN_SCREENS, CHILD_EYE_MM, Screen, mm_from_pct, pct_from_mm, px_from_pct

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
TEXT = (DOCS / "handbook.md").read_text(encoding="utf-8")
PLAIN = " ".join(TEXT.split())
CINEMA, TELEVISION = BUILTIN_SCREENS["cinema-12m"], BUILTIN_SCREENS["tv-55in"]
CAMERA = Camera(65.0, 35.0, 24.89, 3000.0, "parallel", 1500.0, math.inf)
"""That of the worked examples."""

LEFT_OUT = "…"


def section(number):
    """Text of one section, from its heading to the next."""
    return re.split(r"(?m)^## \d+ .*$", TEXT)[number]


def row(*cells):
    return f"| {' | '.join(cells)} |"


def where(one, figures=3):
    """As the handbook tells a distance, and that there is none."""
    if one.distance_mm is None:
        return f"none: apart by {one.divergence_deg:.3f}°"
    return length_text(one.distance_mm) if figures == 3 else f"{one.distance_mm / 1000.0:.4g} m"


# --- commands ----------------------------------------------------------------------------------------------------


def blocks():
    """Each command that is printed, with the lines printed under it."""
    found = []
    for block in re.findall(r"(?m)(?:^(?:    .*)?\n)+", TEXT):
        for line in block.rstrip("\n").split("\n"):
            line = line.removeprefix("    ").rstrip()
            if line.startswith("postfix-stereo "):
                found.append((line.removeprefix("postfix-stereo "), []))
            elif found and block.lstrip().startswith("postfix-stereo "):
                found[-1][1].append(line)
    return found


def parts(lines):
    """Runs of printed lines between those that were left out."""
    runs = [[]]
    for line in lines:
        if line == LEFT_OUT:
            runs.append([])
        else:
            runs[-1].append(line)
    return ["\n".join(run).strip("\n") for run in runs if any(run)]


def loose(text):
    """Words as they are, figures by themselves: what is measured may differ in its last digit on another processor."""
    figure = r"[+\N{MINUS SIGN}-]?\d+(?:\.\d+)?"
    figures = [float(one.replace("\N{MINUS SIGN}", "-")) for one in re.findall(figure, text)]
    return " ".join(re.sub(figure, "#", text).split()), figures


@pytest.fixture(scope="module")
def printed(tmp_path_factory):
    """What each command of the handbook prints, run in its order in a folder that has the samples."""
    folder, before = tmp_path_factory.mktemp("handbook"), Path.cwd()
    shutil.copytree(ROOT / "samples", folder / "samples")
    found = {}
    os.chdir(folder)
    try:
        for command, _ in blocks():
            out = io.StringIO()
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
                code = main(shlex.split(command))
            found[command] = code, "\n".join(line.rstrip() for line in out.getvalue().split("\n"))
    finally:
        os.chdir(before)
    return found


@pytest.mark.parametrize(("command", "lines"), blocks(), ids=[command.split()[0] for command, _ in blocks()])
def test_a_command_prints_what_the_handbook_says_it_does(printed, command, lines):
    code, out = printed[command]
    assert code in (0, 5), out
    rest = out
    for part in parts(lines):
        if command.startswith("shoot"):
            assert part in rest
            rest = rest[rest.index(part) + len(part) :]
            continue
        words, figures = loose(part)
        all_words, all_figures = loose(rest)
        assert words in all_words
        skipped = all_words[: all_words.index(words)].count("#")
        assert all_figures[skipped : skipped + len(figures)] == pytest.approx(figures, rel=0.02, abs=0.06)


def test_the_commands_are_those_of_someone_who_shoots_checks_and_plans(printed):
    assert [command.split()[0] for command, _ in blocks()] == ["shoot", "shoot", "check", "measure", "plan"]
    codes = [printed[command][0] for command, _ in blocks()]
    # A proposal fits, 65 mm do not, and the sample pair is beyond the limits as it was shot.
    assert codes[:3] == [0, 5, 5]
    assert all(parts(lines) for command, lines in blocks() if not command.startswith("measure"))


def test_the_readme_prints_what_shoot_begins_with(capsys):
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    command, told = re.search(r"```sh\n\.venv/bin/postfix-stereo (shoot .*)\n```\n\n((?:    .*\n)+)", readme).groups()
    assert main(shlex.split(command)) == 0
    begins = [line.removeprefix("    ") for line in told.rstrip("\n").split("\n")]
    assert capsys.readouterr().out.split("\n")[: len(begins)] == begins


def test_a_unit_that_is_off_is_asked_about(capsys):
    assert main(["shoot", "--interaxial", "0.03", "--screen", "tv-55in"]) == 2
    assert "type 30" in capsys.readouterr().err


def test_the_camera_file_can_be_read(tmp_path):
    block = next(one for one in re.findall(r"(?m)(?:^(?:    .*)\n)+", TEXT) if one.lstrip().startswith("[camera]"))
    path = tmp_path / "camera.toml"
    path.write_text("\n".join(line.removeprefix("    ") for line in block.split("\n")), encoding="utf-8")
    assert read_cameras(path)
    assert tomllib.loads(path.read_text(encoding="utf-8"))["camera"]["convergence_mm"] == 3000


# --- worked examples ---------------------------------------------------------------------------------------------


def test_what_a_screen_does_to_depth():
    # Z = V·e/(e − P): Holliman's course notes (read); rows computed.
    for name in ("cinema-20m", "cinema-12m", "tv-55in", "tablet-11in"):
        screen = BUILTIN_SCREENS[name]
        cells = []
        for pct in (-1.0, 0.3, 1.0):
            cells += [signed_mm(mm_from_pct(pct, screen.width_mm)), where(seen(pct, screen, screen.eye_mm))]
        assert row(f"`{name}`", *cells) in section(2)


def test_65_mm_of_wide_screens():
    # Trade course notes (read): about 1 % at 6.5 m, 0.5 % at 13 m, 0.25 % at 26 m.
    assert "Of a screen 6.5 m wide 65 mm are 1 %, of 13 m 0.5 %, of 26 m 0.25 %" in PLAIN
    assert [pct_from_mm(65.0, metres * 1000.0) for metres in (6.5, 13, 26)] == pytest.approx([1.0, 0.5, 0.25])


# V m, screen W m, eyes mm, P %: the table of viewing geometry, its rows computed apart from the project. Its figures
# are in tests/test_viewing.py; here the handbook is held to the program's.
@pytest.mark.parametrize(
    ("v_m", "w_m", "e_mm", "pct"),
    [
        (10, 10, 65, "−3"),
        (10, 10, 65, "−1"),
        (10, 10, 65, "+0.25"),
        (10, 10, 65, "+0.5"),
        (10, 10, 65, "+1"),
        (2, 1.107, 65, "−2"),
        (2, 1.107, 65, "+2"),
        (3, 1, 63, "+3"),
    ],
)
def test_rows_of_viewing(v_m, w_m, e_mm, pct):
    screen = Screen("row", w_m * 1000.0, v_m * 1000.0, float(e_mm))
    parallax = float(pct.replace("−", "-"))
    one = seen(parallax, screen, screen.eye_mm)
    angle = f"{one.arcmin:+.1f} arcmin".replace("-", "−")
    mm = signed_mm(mm_from_pct(parallax, screen.width_mm))
    told = row(f"{v_m} m", f"{w_m} m", f"{e_mm} mm", f"{pct} %", mm, where(one, 4), angle)
    assert told in section(3)


def test_examples_of_cameras():
    told = section(3)
    # Pinhole camera (from memory); pixels computed.
    px = px_from_pct(infinity_pct(CAMERA), 2048)
    near_px = px_from_pct(parallax_pct(CAMERA, 1500.0), 2048)
    assert f"infinity at +{px:.3f} px ({infinity_pct(CAMERA):.2f} %), a point at 1.5 m at −{-near_px:.3f} px" in told
    # 1/30: common practice, J. Wattie's notes (read); 1/100: common practice, no source.
    assert (
        f"| nothing nearer than {RATIO_USUAL:g} times the interaxial: 100 mm | {nearest_mm(100) / 1000:g} m |" in told
    )
    cinema_m = nearest_mm(100, RATIO_CINEMA) / 1000
    assert f"| for cinema screens {RATIO_CINEMA:g} times: 100 mm | {cinema_m:g} m |" in told
    # Bercovitz 1998, formula read, figures computed.
    far, close = ([one(2000.0, mm, 35.0, 1.2) for one in (bercovitz_mm, pinhole_mm)] for mm in (math.inf, 4000.0))
    assert f"{far[0]:.2f} mm; without focus, as a pinhole, {far[1]:.2f} mm" in told
    assert f"{close[0]:.2f} mm; as a pinhole {close[1]:.2f} mm" in told
    # Woods, Docherty and Koch 1993, 2.5: 8.2 mm (read); sensor and display from memory.
    woods = vertical_parallax_mm(Camera(75.0, 3.5, 6.4, 1000.0, "toed-in"), 4.8, display_width_mm=300.0)
    assert woods == pytest.approx(8.2, rel=0.02)
    assert f"{woods:.2f} mm of vertical parallax in the corners; the source says 8.2" in told


def test_how_large_a_person_is():
    for screen in (CINEMA, TELEVISION):
        width_mm, one = mm_from_pct(20.0, screen.width_mm), seen(-1.0, screen, screen.eye_mm)
        looks_mm = width_mm * one.distance_mm / screen.distance_mm
        cells = (length_text(mm) for mm in (width_mm, one.distance_mm, looks_mm))
        assert row(f"`{screen.name}`", *cells) in section(6)


def test_roundness_of_one_shot_on_two_screens():
    large, small = (roundness(0.0, 3000.0, 65.0, screen) for screen in (CINEMA, TELEVISION))
    assert f"has {large:.2f} at the screen in the cinema and {small:.2f} on the television" in PLAIN


def test_seats_of_one_shot():
    viewed = from_seats(-1.2, 0.1, 0.57, CINEMA, LimitRules(), seats_of(CINEMA, StorySettings()))
    assert len(viewed) == 4
    for one in viewed:
        ends = (where(end) for end in (one.near, one.main, one.far))
        assert row(one.seat.name, *ends, "; ".join(one.outside) or "nothing") in section(7)


def test_which_figure_to_doubt():
    cases = re.findall(r"(?m)^\| near (\S+) %, far (\S+) % \| (.*) \|$", section(10))
    assert len(cases) == 4
    for near, far, words in cases:
        source = float(near.replace("−", "-")), 0.0, float(far)
        told = filmed(CAMERA, *source, CINEMA, limits_for(CINEMA), source)
        notices = filmed_notices(CAMERA, told, StorySettings(), source)
        said = [notice.text for notice in notices if notice.code == "camera"]
        assert words == (said[0] if said else "nothing: they agree")
    assert [words.partition("doubt ")[2].split(" of ")[0] for *_, words in cases] == [
        "",
        "the interaxial",
        "the convergence distance",
        "the farthest distance",
    ]


def test_how_far_distances_are_off():
    heads, told = [], []
    for metres in (1.5, 3, 5, 10, 20):
        pct = parallax_pct(CAMERA, metres * 1000.0)
        low, high = (distance_of(CAMERA, pct + off).mm for off in (-0.05, 0.05))
        heads.append(f"{metres:g} m")
        told.append(f"{length_text(low).removesuffix(' m')} to {length_text(high)}")
    assert row("real distance", *heads) in section(11)
    assert row("read as", *told) in section(11)
    farthest_m = depth_pct_mm(CAMERA) / INFINITY_TOLERANCE_PCT / 1000.0
    assert f"within {INFINITY_TOLERANCE_PCT:g} % of infinity's parallax" in section(11)
    assert f"here from {farthest_m:.0f} m on" in section(11)


def test_children_on_a_large_screen():
    adult, child = (limits_for(CINEMA, LimitRules(eye_mm=mm)).far_pct for mm in (65.0, 40.0))
    assert f"On a 12 m screen far is then {signed_pct(child)} instead of {signed_pct(adult)}" in PLAIN
    assert f"`--children` plans for {CHILD_EYE_MM:g} mm" in PLAIN


def test_figures_in_sentences_are_the_programs_own():
    story, edit = StorySettings(), ConvergenceSettings()
    vertical = DIFFERENCES["vertical"]
    for words in (
        f"shots shorter than {story.quick_shot_s:g} s entered by a jump of more than {story.quick_jump_arcmin:g} ",
        f"over {story.quick_jump_arcmin:g} arcmin into less than {story.quick_shot_s:g} s, twice",
        f"Beyond {edit.jump_arcmin:g} arcmin and {JUMP_TOLERANCE_PCT:g} % of width more",
        f"`front-wide` tells of it from {story.front_width_pct:g} % of the width",
        f"Only what is more than {IN_FRONT_PCT:g} % in front counts as in front",
        f"at {story.front_seat_share:g} of the screen's distance, the back row at {story.back_seat_share:g}, "
        f"the side seat {story.side_seat_share:g} of the width",
        f"roundness of the main mass, {story.flat_below:g} (*project default*)",
        f"the same, {story.stretched_above:g} (*project default*)",
        f"by more than {story.camera_apart_pct:g} % (*project default*)",
        f"more than {COMFORT_ARCMIN:g} arcmin from the screen",
        f"Half a prism dioptre, {DIVERGENCE_LIMIT_DEG:g}°",
        f"has {DIVERGENCE_MAX_DEG:g}° as the most",
        f"{NATURAL_FOCAL_MM[0]:g} to {NATURAL_FOCAL_MM[1]:g} mm look natural and beyond {FLAT_FOCAL_MM:g} mm",
        f"reach 0 to {MIRROR_RIG_MM:g} mm, side by side about {MIRROR_RIG_MM:g} to {SIDE_BY_SIDE_MM:g} mm",
        f"{vertical.just_seen:g} % just seen and {vertical.tolerated:g} % tolerated",
    ):
        assert words in PLAIN, words
    assert story.quick_run == 2


# --- words and links ---------------------------------------------------------------------------------------------


def explained(heading):
    """Codes that a table with this heading explains, each with all its cells."""
    table = TEXT[TEXT.index(f"| {heading} | means |") :].split("\n\n")[0].split("\n")[2:]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in table]
    return {code: cells[1:] for cells in rows for code in re.findall(r"`([\w-]+)`", cells[0])}


def test_every_flag_is_explained():
    told = explained("flag")
    assert set(told) == set(get_args(get_type_hints(Flag)["code"]))
    assert all(len(cells) == 4 and all(cells) for cells in told.values())


def test_every_notice_is_explained():
    told = explained("notice")
    assert set(told) == set(get_args(NoticeCode)) == set(NOTICE_WORDS)
    assert all(len(cells) == 4 and all(cells) for cells in told.values())


def anchors(path):
    """Of the headings of a page, as they can be linked to."""
    headings = re.findall(r"(?m)^#+ (.+)$", path.read_text(encoding="utf-8"))
    return {re.sub(r"[^\w\- ]", "", one.lower()).replace(" ", "-") for one in headings}


@pytest.mark.parametrize("page", ["docs/handbook.md", "README.md", "docs/limits.md", "docs/reference.md"])
def test_every_link_and_picture_is_there(page):
    path = ROOT / page
    for target in re.findall(r"\]\(([^)\s]+)\)", path.read_text(encoding="utf-8")):
        name, _, anchor = target.partition("#")
        aim = (path.parent / name) if name else path
        assert aim.is_file(), target
        assert not anchor or anchor in anchors(aim), target


def test_every_picture_of_the_folder_is_shown_with_words():
    shown = dict(re.findall(r"!\[([^\]]+)\]\(handbook/([\w-]+\.svg)\)", TEXT))
    assert sorted(shown.values()) == sorted(path.name for path in (DOCS / "handbook").glob("*.svg"))


def test_the_readme_leads_to_the_handbook():
    assert "(docs/handbook.md)" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_it_stays_short():
    lines = TEXT.split("\n")
    assert len(lines) < 390
    assert all(len(line) <= 135 for line in lines if not line.startswith(("|", "    ")))
