"""What the commands print of shots, screens and plans, whatever names and figures come."""

import re
import textwrap
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from printed import NAMES, wide

from postfix.demo.run import DemoResult, DemoShot
from postfix.limits import DEFAULT_RULES
from postfix.look import Look
from postfix.measure.remarks import Remark, Told
from postfix.plan.diff import Difference
from postfix.plan.fits import Blame, Fit
from postfix.source.pair import Reading
from postfix.summary import (
    demo_text,
    flags_text,
    measured_text,
    reading_text,
    screens_text,
    shots_text,
    told_text,
    verdict_text,
)
from postfix.summary_plan import differences_text, fits_text
from postfix.summary_run import Made, lead_text
from postfix.terminal import rendered
from postfix.viewing import BUILTIN_SCREENS

PCT = st.one_of(st.none(), st.floats(-1e6, 1e6))
FIGURES = ("near_pct", "far_pct", "median_pct", "left_edge_pct", "right_edge_pct")


def figures():
    return st.fixed_dictionaries(dict.fromkeys(FIGURES, PCT))


@st.composite
def shots(draw):
    """An entry of a change log."""
    first = draw(st.integers(0, 10**7))
    hit = sorted(draw(st.tuples(st.floats(-1e4, 1e4).map(lambda v: round(v, 1)), st.integers(-50, 50))))
    px = st.tuples(st.floats(0, 4000), st.floats(0, 4000))
    return {
        "name": draw(NAMES), "first": first, "last": first + draw(st.integers(0, 10**6)),
        "before": draw(st.one_of(st.none(), figures())), "after": draw(st.one_of(st.none(), figures())),
        "applied_hit_px": hit, "zoom": 1.0, "align": False, "misalignment": None,
        "window": draw(st.lists(st.fixed_dictionaries({"left_px": px, "right_px": px}), max_size=2)),
        "flags": draw(st.lists(st.fixed_dictionaries(
            {"code": st.sampled_from(["far", "near", "not-measured"]), "text": NAMES}), max_size=2)),
    }  # fmt: skip


@st.composite
def fits(draw, screen, shot):
    verdict = draw(st.sampled_from(["as shot", "HIT", "window", "cannot fit", "not known"]))
    hit, over = draw(st.floats(-200, 200)), draw(st.floats(0.01, 1e4))
    blame = Blame(((0, 10**6),), (10**4,) * 4, None, "upper left", "", 0.5) if verdict == "cannot fit" else None
    what = draw(st.sampled_from(["far", "near", "range", "right edge"])) if blame else ""
    by_hand = draw(st.booleans())
    return Fit(shot, screen, verdict, over if blame else 0.0, what, (hit, hit), (0.0, 0.0), by_hand, blame)


def fits_80_columns(text):
    for one in text.split("\n"):
        assert wide(one) <= 80, text
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f]", text)


@given(st.lists(shots(), max_size=4), NAMES, NAMES, NAMES)
def test_what_is_printed_of_shots_fits_80_columns_with_its_figures_whole(entries, clip, screen, other):
    said = [*shots_text(entries), *flags_text(screen, entries)]
    said += lead_text([Made(clip, screen, entries), Made(clip, other, entries)])
    text = rendered(said)
    fits_80_columns(text)
    for shot in entries:
        assert re.search(rf"(?<!\d){shot['last'] - shot['first'] + 1}(?!\d)", text)
        for hit in shot["applied_hit_px"]:
            assert f"{hit + 0.0:+g}".replace("-", "−") in text
    measured = rendered(measured_text([{**shot, **(shot["before"] or dict.fromkeys(FIGURES))} for shot in entries]))
    fits_80_columns(measured)
    for value in (value for shot in entries if shot["before"] for value in shot["before"].values()):
        assert value is None or f"{abs(value):.2f}" in measured


@given(st.data(), st.lists(NAMES, min_size=1, max_size=9, unique=True), st.lists(NAMES, max_size=3, unique=True))
def test_a_table_of_many_screens_fits_80_columns_with_every_verdict_whole(data, screens, names):
    of_screens = [[data.draw(fits(screen, shot)) for shot in names] for screen in screens]
    text = rendered(fits_text(of_screens if names else []))
    fits_80_columns(text)
    for fit in (fit for screen in of_screens for fit in screen):
        if fit.verdict == "cannot fit":
            assert f"over {fit.over_pct:.2f} {fit.over_what}" in text


@given(NAMES, NAMES, st.floats(1, 1e7), st.floats(100, 1e6))
def test_screens_demo_differences_and_sentences_fit_80_columns(one, other, width_mm, distance_mm):
    screen = replace(BUILTIN_SCREENS["tv-55in"], name=one, width_mm=width_mm, distance_mm=distance_mm)
    fits_80_columns(rendered(screens_text([(screen, DEFAULT_RULES), (BUILTIN_SCREENS["cinema-12m"], DEFAULT_RULES)])))
    entry = {"after": None, "applied_hit_px": [0, -12], "window": [], "flags": []}
    true = {"near_pct": -1.4, "far_pct": None, "left_edge_pct": -0.2, "right_edge_pct": 0.1}
    shot = DemoShot(one, "too far", true, None, {other: {**entry, "name": one}})
    demo = rendered(demo_text(DemoResult("out", "sheet", "page", (shot,), flagged=False)))
    fits_80_columns(demo)
    fits_80_columns(rendered(differences_text([Difference(one, "far", other, "0.75 %")])))
    told = Told((), (), (Remark("still", one, f"{one}: stands still; {other}", {}),))
    fits_80_columns(rendered([*told_text(told, other), *reading_text(Reading(2, True), one)]))


def test_minus_signs_are_of_one_kind_and_names_keep_their_hyphens():
    entries = [{**entry("reel-2", hit=-6), "before": {"near_pct": -2.5, "far_pct": 0.1}}]
    screens = rendered(screens_text([(BUILTIN_SCREENS["cinema-12m"], DEFAULT_RULES)]))
    assert screens.split("\n")[1].split() == (
        ["cinema-12m", "12000", "12000", "65", "−209", "−1.75", "−60", "65", "+0.54", "+19", "1.75"]
    )
    assert rendered(shots_text(entries)).split("\n")[1].split() == (
        ["reel-2", "10", "−2.50", "→", "+0.00", "+0.10", "→", "–", "−6", "none", "ok"]
    )
    assert "-1.75" in rendered(screens_text([(BUILTIN_SCREENS["cinema-12m"], DEFAULT_RULES)]), Look(encoding="cp437"))
    told = [
        Difference("shot a", "HIT", "-0.50 % (-6 px)", "+0.5 %"),
        Difference("screen", "name", "-1 deck", "-2 deck"),
    ]
    assert rendered(differences_text(told)) == (
        "shot a\n  HIT: −0.50 % (−6 px) → +0.5 %\nscreen\n  name: -1 deck → -2 deck"
    )


def test_every_head_of_the_screens_says_what_it_is_of_however_they_are_split():
    rows = [(BUILTIN_SCREENS["cinema-12m"], DEFAULT_RULES), (BUILTIN_SCREENS["tv-55in"], DEFAULT_RULES)]
    for width in (40, 60, 80):
        parts = rendered(screens_text(rows), Look(width)).split("\nmm:")[0].split("\n\n")
        heads = [word for part in parts for word in re.split("  +", part.split("\n")[0])[1:]]
        assert heads == ["width", "seat", "eye", "near", "near %", "near′", "far", "far %", "far′", "range %"]
        assert all(part.split("\n")[2].startswith("tv-55in ") for part in parts)
        assert len(parts) == {40: 3, 60: 2, 80: 1}[width]


@pytest.mark.parametrize("width", [40, 80])
def test_what_differs_is_broken_once(width):
    name = " ".join(["harbour wall at low tide"] * 6)
    told = [Difference("screen", "name", name, name[:-1])]
    assert rendered(differences_text(told), Look(width)).split("\n") == [
        "screen", "  name:", *broken(f"before {name}", width), *broken(f"after  {name[:-1]}", width),
    ]  # fmt: skip


def broken(text, width):
    return ["    " + one for one in textwrap.wrap(text, width - 4, subsequent_indent="  ")]


# --- what a run says first ---------------------------------------------------------------------------------------


def entry(name, *, hit=0, window=0, flags=(), checked=True):
    return {
        "name": name, "first": 0, "last": 9, "before": None, "after": {"near_pct": 0.0} if checked else None,
        "applied_hit_px": [hit, hit], "zoom": 1.0, "align": False, "misalignment": None,
        "window": [{"left_px": [window, window], "right_px": [0, 0]}] if window else [],
        "flags": [{"code": code, "text": code} for code in flags],
    }  # fmt: skip


HALF = [
    entry("s001", hit=-6, flags=["range"]), entry("s002", window=5), entry("s003", hit=2, window=9),
    entry("s004", flags=["not-measured"]), entry("s005"), entry("s006", flags=["far", "not-measured"]),
]  # fmt: skip


def lead(*made):
    return rendered(lead_text(made)).split("\n")


def test_a_run_says_first_what_is_outside_on_which_screen_and_what_was_done():
    assert lead(Made("", "cinema-12m", HALF), Made("", "tv-55in", [entry("s001")])) == [
        "cinema-12m: outside the limits: 2 of 6 shots (s001, s006)",
        "cinema-12m: could not be judged: 1 of 6 shots (s004)",
        "within the limits: tv-55in",
        "",
        "screen      shots  moved  windowed  both  left as shot  outside  not judged",
        "cinema-12m      6      1         1     1             3        2           1",
        "tv-55in         1      0         0     0             1        0           0",
    ]


def test_where_all_is_well_a_run_says_that_first():
    assert lead(Made("", "tv-55in", [entry("s001", hit=2)]))[0] == "every shot is within the limits of its screen"


@pytest.mark.parametrize("clips", [1, 2])
def test_however_a_table_is_split_every_row_says_which_clip_and_screen_it_is(clips):
    made = [Made(f"reel_{c}" if clips > 1 else "", f"cinema-{s}m", HALF) for c in range(clips) for s in range(6)]
    *_, table = rendered(lead_text(made), Look(40)).partition("\n\n")
    parts = table.split("\n\n")
    assert len(parts) > 1
    for part in parts:
        head, *rows = part.split("\n")
        assert head.split()[: 2 if clips > 1 else 1] == (["clip", "screen"] if clips > 1 else ["screen"])
        keys = [f"{one.clip} {one.screen}".split() for one in made]
        assert [row.split()[: len(key)] for row, key in zip(rows, keys, strict=True)] == keys


def test_one_shot_is_one_shot():
    assert lead(Made("", "tv-55in", [entry("s001", flags=["far"])]))[0] == (
        "tv-55in: outside the limits: 1 of 1 shot (s001)"
    )


@pytest.mark.parametrize(
    ("flags", "says"),
    [
        ((), "within the limits of tv-55in"),
        (("far", "not-measured"), "outside the limits of tv-55in"),
        (("not-measured",), "could not be judged on tv-55in"),
    ],
)
def test_a_check_does_not_call_outside_what_it_could_not_judge(flags, says):
    assert rendered([verdict_text("tv-55in", [entry("s001"), entry("s002", flags=flags)])]) == says


def test_what_was_not_checked_is_not_said_to_be_within_the_limits():
    said = lead(Made("", "tv-55in", [entry("s001", checked=False)]), Made("", "cinema-6m", [entry("s001")]))
    assert said[:2] == ["within the limits: cinema-6m", "written but not checked: tv-55in"]
    assert said[4].split() == ["tv-55in", "1", "0", "0", "0", "1", "–"]


def test_a_run_of_many_clips_names_them_and_does_not_go_on_for_ever():
    said = lead(*(Made(f"r{i:03d}", "tv-55in", HALF) for i in range(200)))
    assert said[0] == "r000, tv-55in: outside the limits: 2 of 6 shots (s001, s006)"
    assert said[12] == "and 388 more such lines, in the table"
    assert said[14].split()[:3] == ["clip", "screen", "shots"]
    assert len(said) == 14 + 1 + 200


def test_thousands_of_names_are_counted_rather_than_told():
    many = [entry(f"s{i:04d}", flags=["far"]) for i in range(2000)]
    said = " ".join(lead(Made("", "tv-55in", many))[:3])
    assert "2000 of 2000 shots (s0000, s0001, s0002, s0003, s0004, s0005 and 1994 more)" in " ".join(said.split())


@pytest.mark.parametrize(("flags", "role"), [((), "32"), (("far",), "1;31")])
def test_colour_only_underlines_what_the_word_says(flags, role):
    text = rendered(shots_text([entry("s001", flags=flags)]), Look(colours=True))
    assert f"\x1b[{role}m{'1 flag' if flags else 'ok'}\x1b[0m" in text
