"""Shots and screens in one table, what is to blame where a shot cannot fit, and one shot explained."""

from __future__ import annotations

from dataclasses import replace

import pytest
from plan_tables import CLIP, frame, rows, table

from postfix.limits import Limits
from postfix.measure.columns import Columns
from postfix.measure.table import FrameMeasure
from postfix.plan.clip import Decided, plan_edit
from postfix.plan.edit import edit_of
from postfix.plan.fits import Fit, blame_words, fit_words, fits_of, region
from postfix.plan.model import HitKey, Pin, Subject
from postfix.plan.settings import ConvergenceSettings, PlanSettings
from postfix.plan.why import why
from postfix.summary_plan import fits_text, why_data, why_text
from postfix.viewing import BUILTIN_SCREENS

CINEMA, TV = BUILTIN_SCREENS["cinema-12m"], BUILTIN_SCREENS["tv-55in"]
LONE = PlanSettings(convergence=ConvergenceSettings(jump_weight=0.0))


def _decided(columns: Columns, *, limits: Limits | None = None, pins: tuple[Pin, ...] = ()) -> Decided:
    return plan_edit(edit_of(columns), CINEMA, LONE, limits=limits, pins=pins)


def _film() -> Columns:
    """As shot; too far; an object at the left edge; too deep for the cinema; black."""
    shots = (
        frame(),
        frame(near=0.0, far=1.2),
        frame(near=-1.2, far=0.2, left=rows(-1.2)),
        replace(frame(near=-1.5, far=1.2), near_box=(100, 700, 300, 300), far_box=(1400, 20, 600, 200)),
        FrameMeasure(note="black"),
    )
    return table([shot for shot in shots for _ in range(24)], cuts=(24, 48, 72, 96))


def test_every_shot_has_its_verdict_on_every_screen() -> None:
    edit = edit_of(_film())
    cinema, tv = (fits_of(plan_edit(edit, screen, LONE)) for screen in (CINEMA, TV))
    assert [fit.verdict for fit in cinema] == ["as shot", "HIT", "window", "cannot fit", "not known"]
    assert [fit.verdict for fit in tv] == ["as shot", "as shot", "window", "as shot", "not known"]
    text = fits_text([cinema, tv])
    assert "cinema-12m: 1 as shot, 1 after HIT, 1 with a window, 1 cannot fit, 1 not measured" in " ".join(text.split())
    assert text.splitlines()[0].split() == ["shot", "cinema-12m", "tv-55in"]
    assert all(len(line) <= 80 for line in text.splitlines())


def test_what_cannot_fit_is_told_with_frames_place_and_the_interaxial_that_would_have_fitted() -> None:
    fit = fits_of(_decided(_film()))[3]
    assert fit.over_what == "range"
    # 2.7 % from near to far in every frame where 60 arcmin on 12 m seen from 12 m are 1.745 % (computed).
    assert fit.over_pct == pytest.approx(2.7 - 1.7453, abs=1e-3)
    assert fit.blame is not None
    assert fit.blame.interaxial_share == pytest.approx(1.7453 / 2.7, abs=1e-3)
    assert fit.blame.frames == ((72, 95),)
    assert (fit.blame.near_where, fit.blame.far_where) == ("lower left", "upper right")
    words = blame_words(fit)
    for part in ("frames 72 to 95", "lower left (x 100, y 700, 300x300 px)", "65 % of the interaxial"):
        assert part in words


def test_only_the_frames_that_are_outside_are_blamed() -> None:
    deep = replace(frame(near=-1.5, far=1.2), near_box=(0, 0, 100, 100))
    made = table(lambda i: deep if 30 <= i < 60 else frame(), 96)
    fit = fits_of(_decided(made))[0]
    assert fit.blame is not None
    assert fit.blame.frames == ((30, 59),)
    assert fit.blame.far_box is None


def test_a_shot_that_only_an_eased_move_could_hold_is_blamed_for_its_whole_span() -> None:
    made = table(lambda i: frame(near=-1.6, far=-0.6) if i < 24 else frame(near=0.4, far=1.4), 48)
    fit = fits_of(_decided(made))[0]
    assert fit.verdict == "cannot fit"
    assert fit.blame is not None
    # 3.0 % over the shot, 65 mm and 60 arcmin leave 2.287 % on this screen (computed); each frame alone would fit.
    assert fit.blame.interaxial_share == pytest.approx(2.287 / 3.0, abs=1e-3)


def test_what_a_person_pinned_is_obeyed_flagged_and_marked() -> None:
    pin = Pin(shot="sh001", hit=(HitKey(0, 0.8),), where="wishes.toml, line 3")
    decided = _decided(table(lambda i: frame(), 24), pins=(pin,))
    (fit,) = fits_of(decided)
    assert decided.plan.shots[0].hit == (HitKey(0, 0.8),)
    assert decided.plan.shots[0].by_hand == ("hit",)
    assert fit.verdict == "cannot fit"
    assert fit_words(fit).endswith("far*")
    found = why(decided, "sh001")
    assert any(flag.code == "far" and "given by hand" in flag.text for flag in found.flags)
    assert "given by hand" in found.reason


def test_a_subject_lands_where_it_was_asked_for() -> None:
    subject = Subject(5, (10, 20, 100, 80), 0.0, found_pct=-0.4)
    (shot,) = _decided(table(lambda i: frame(), 24), pins=(Pin(subject=subject),)).plan.shots
    step = 100.0 * CLIP.step_px / CLIP.width_px
    assert -0.4 + shot.hit[0].pct == pytest.approx(0.0, abs=step / 2.0)
    assert shot.subject == subject
    assert "at −0.40 % and was asked to be at +0.00 %" in shot.reason


@pytest.mark.parametrize(
    ("box", "words"),
    [
        ((0, 0, 2048, 1080), "the whole picture"),
        ((0, 0, 200, 200), "upper left"),
        ((1800, 800, 200, 200), "lower right"),
        ((900, 500, 200, 100), "the middle"),
        ((0, 800, 2048, 200), "lower part"),
        ((0, 100, 300, 900), "left side"),
    ],
)
def test_a_place_in_the_picture_is_told_in_words(box: tuple[int, int, int, int], words: str) -> None:
    assert region(box, (2048, 1080)) == words


def test_a_shot_is_explained_with_limits_figures_alternatives_and_the_choice() -> None:
    made = table(lambda i: frame(near=-1.6, far=-1.0) if i >= 24 else frame(), 48, cuts=(24,))
    decided = plan_edit(edit_of(made), CINEMA, pins=(Pin(shot="sh001", hit=(HitKey(0, 0.0),)),))
    found = why(decided, "sh002")
    assert [row[0] for row in found.limits] == ["far", "near", "range"]
    assert found.before.near_pct == -1.6
    chosen = [one for one in found.alternatives if one.is_chosen]
    assert len(chosen) == 1
    assert chosen[0].hit_pct == decided.plan.shots[1].hit[0].pct
    assert chosen[0].cost == min(one.cost for one in found.alternatives if one.over_pct == 0.0)
    as_shot = next(one for one in found.alternatives if one.hit_pct == 0.0)
    # 1.2 % from median to median where 30 arcmin are 0.8727 % seen from one width (computed), 10 for each percent.
    assert as_shot.jumps == pytest.approx(10.0 * (1.2 - 0.8727), abs=1e-3)
    text = " ".join(why_text(found, decided.plan).split())
    for part in ("limits", "Report ITU-R BT.2293-0", "depth jump at sh001: 1.20 %", "alternatives", "choice (held):"):
        assert part in text
    data = why_data(found)
    assert data["limits"][0]["name"] == "far"
    assert data["alternatives"][0]["cost"] >= 0.0


def test_a_shot_that_is_not_there_cannot_be_explained() -> None:
    with pytest.raises(KeyError):
        why(_decided(_film()), "sh099")


def test_no_two_verdicts_read_alike() -> None:
    fits = [
        Fit("a", "s", "as shot", 0.0, "", (0.0, 0.0), (0.0, 0.0), False, None),
        Fit("a", "s", "HIT", 0.0, "", (0.3, 0.3), (0.0, 0.0), False, None),
        Fit("a", "s", "HIT", 0.0, "", (0.0, 0.3), (0.0, 0.0), False, None),
        Fit("a", "s", "window", 0.0, "", (0.0, 0.0), (9.0, 0.0), False, None),
        Fit("a", "s", "window", 0.0, "", (0.3, 0.3), (9.0, 0.0), False, None),
        Fit("a", "s", "cannot fit", 0.4, "range", (0.3, 0.3), (9.0, 0.0), False, None),
        Fit("a", "s", "not known", 0.0, "", (0.0, 0.0), (0.0, 0.0), False, None),
    ]
    assert len({fit_words(fit) for fit in fits}) == len(fits)
