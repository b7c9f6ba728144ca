"""Shots and screens in one table, what is to blame where a shot cannot fit, and one shot explained."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from plan_tables import CLIP, frame, rows, table

from postfix.commands_run import _run_outcome
from postfix.job.choice import SourceChoice
from postfix.job.file import JobClip
from postfix.job.run import ClipRun
from postfix.limits import Limits
from postfix.measure.columns import Columns
from postfix.measure.remarks import Told
from postfix.measure.table import FrameMeasure
from postfix.plan.clip import Decided, plan_edit
from postfix.plan.edit import edit_of
from postfix.plan.fits import Blame, Fit, blame_words, fit_words, fits_of, region
from postfix.plan.model import HitKey, Pin, Subject, WindowKey
from postfix.plan.settings import ConvergenceSettings, PlanSettings
from postfix.plan.why import Alternative, why
from postfix.summary_plan import fits_data, fits_text, why_data, why_text
from postfix.terminal import rendered
from postfix.viewing import BUILTIN_SCREENS, Screen

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
    text = rendered(fits_text([cinema, tv]))
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


def _drifting(ease: bool, pins: tuple[Pin, ...] = (), depth: float = 1.0) -> Fit:
    """A shot that drifts by 2 % over ten seconds, slow enough to follow, ``depth`` from near to far in each frame."""
    made = table(lambda i: frame(near=-1.6 + 2.0 * i / 239.0, far=depth - 1.6 + 2.0 * i / 239.0), 240)
    settings = replace(LONE, convergence=replace(LONE.convergence, ease=ease))
    return fits_of(plan_edit(edit_of(made), CINEMA, settings, pins=pins))[0]


def _share(fit: Fit) -> float:
    assert fit.verdict == "cannot fit"
    assert fit.blame is not None
    return fit.blame.interaxial_share


def test_a_drift_too_fast_for_an_eased_move_is_told_with_the_share_for_one_hit() -> None:
    made = table(lambda i: frame(near=-1.6, far=-0.6) if i < 24 else frame(near=0.4, far=1.4), 48)
    fit = fits_of(_decided(made))[0]
    # 3.0 % over the shot, 65 mm and 60 arcmin leave 2.287 % on this screen (computed); each frame alone would fit.
    assert _share(fit) == pytest.approx(2.287 / 3.0, abs=1e-3)
    assert "76 % of the interaxial would have fitted with one HIT for the whole shot" in blame_words(fit)


def test_where_a_move_can_follow_only_the_range_within_a_frame_is_blamed() -> None:
    assert _drifting(True).verdict == "HIT"
    deep = _drifting(True, depth=2.0)
    # 60 arcmin are 1.745 % on this screen (computed).
    assert _share(deep) == pytest.approx(1.7453 / 2.0, abs=1e-3)
    assert blame_words(deep).endswith("87 % of the interaxial would have fitted")


@pytest.mark.parametrize("pins", [(), (Pin(shot="sh001", hit=(HitKey(0, -0.9),)),)])
def test_where_hit_is_held_the_whole_shot_is_blamed(pins: tuple[Pin, ...]) -> None:
    # The running median over 5 frames takes 2 frames of the drift off each end: 3 − 4 · 2 / 239 (computed).
    fit = _drifting(bool(pins), pins)
    assert _share(fit) == pytest.approx(2.287 / (3.0 - 8.0 / 239.0), abs=1e-3)
    assert "with one HIT for the whole shot" in blame_words(fit)


def test_no_share_is_told_where_the_depth_itself_would_fit() -> None:
    fit = fits_of(_decided(table(lambda i: frame(), 24), pins=(Pin(shot="sh001", hit=(HitKey(0, 0.8),)),)))[0]
    assert _share(fit) != _share(fit)
    assert "interaxial" not in blame_words(fit)
    assert fits_data([fit])[0]["blame"]["interaxial_share"] is None


def _edge(made: Columns | None = None, pins: tuple[Pin, ...] = (), **windows: object) -> Fit:
    columns = table(lambda i: frame(left=rows(-1.2)), 24) if made is None else made
    settings = replace(LONE, window=replace(LONE.window, **windows))  # type: ignore[arg-type]
    return fits_of(plan_edit(edit_of(columns), CINEMA, settings, pins=pins))[0]


def test_an_edge_is_told_as_its_window_leaves_it() -> None:
    assert fit_words(_edge()) == "window"
    assert fit_words(_edge(max_pct=1.0)) == "over 0.20 left edge"
    # Too narrow by less than an edge is flagged for: the flag is the window's own.
    assert fit_words(_edge(max_pct=1.1)) == "over 0.10 left edge"
    assert fit_words(_edge(opacity_pct=50.0)) == "over 1.20 left edge"
    assert fit_words(_edge(on=False)) == "over 1.20 left edge"


def test_the_side_whose_window_is_too_narrow_is_named() -> None:
    # The right edge is 0.14 % in front, which passes.
    made = table(lambda i: frame(left=rows(-1.2), right=rows(-0.14)), 24)
    assert fit_words(_edge(made, max_pct=1.1)) == "over 0.10 left edge"
    turned = table(lambda i: frame(left=rows(-0.14), right=rows(-1.2)), 24)
    assert fit_words(_edge(turned, max_pct=1.1)) == "over 0.10 right edge"


def test_a_translucent_window_with_nothing_in_front_says_that_it_lets_through() -> None:
    made = edit_of(table(lambda i: frame(left=rows(0.1)), 24))
    plan = plan_edit(made, CINEMA, LONE).plan
    window = (WindowKey(0, (20.0, 20.0), (0.0, 0.0)),)
    shot = replace(plan.shots[0], window=window, window_opacity_pct=50.0, by_hand=("window",))
    (fit,) = fits_of(plan_edit(made, CINEMA, LONE, previous=replace(plan, shots=(shot,))))
    assert fit.verdict == "cannot fit"
    assert fit_words(fit) == "window lets through"
    assert fits_data([fit])[0]["over_pct"] is None


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
    text = " ".join(rendered(why_text(found, decided.plan)).split())
    for part in ("limits", "Report ITU-R BT.2293-0", "depth jump at sh001: 1.20 %", "alternatives", "choice (held):"):
        assert part in text
    data = why_data(found)
    assert data["limits"][0]["name"] == "far"
    assert data["alternatives"][0]["cost"] >= 0.0


def _chosen(decided: Decided, name: str = "sh001") -> tuple[Alternative, str, dict[str, object]]:
    """The row that was chosen, its line of text, and its data."""
    found = why(decided, name)
    (chosen,) = (one for one in found.alternatives if one.is_chosen)
    (line,) = (line for line in rendered(why_text(found, decided.plan)).splitlines() if line.startswith("→"))
    (data,) = (one for one in why_data(found)["alternatives"] if one["is_chosen"])
    return chosen, line, data


def _moving(how: str) -> tuple[Decided, str]:
    drift = table(lambda i: frame(near=-1.6 + 2.0 * i / 239.0, far=-0.6 + 2.0 * i / 239.0), 240)
    if how == "eased":
        return _decided(drift), "sh001"
    if how == "by hand":
        return _decided(drift, pins=(Pin(shot="sh001", hit=(HitKey(0, 0.3), HitKey(200, -0.5))),)), "sh001"
    made = table(lambda i: frame(near=-1.6, far=-1.0) if i >= 96 else frame(left=rows(-0.1)), 192, cuts=(96,))
    meeting = replace(LONE, convergence=replace(LONE.convergence, handover_frames=24))
    return plan_edit(edit_of(made), CINEMA, meeting), "sh001"


@pytest.mark.parametrize("how", ["eased", "by hand", "eased at its ends"])
def test_a_hit_that_moves_has_figures_of_its_own_and_no_costs_of_a_held_one(how: str) -> None:
    decided, name = _moving(how)
    chosen, line, data = _chosen(decided, name)
    after, limits = decided.decisions[0].after, decided.plan.limits
    assert (chosen.what, chosen.near_pct, chosen.far_pct) == (how, after.near_pct, after.far_pct)
    assert chosen.over_pct == max(after.far_pct - limits.far_pct, limits.near_pct - after.near_pct, 0.0)
    assert line.split()[-5:] == ["–"] * 5
    assert all(data[key] is None for key in ("hit_pct", "move", "lost", "window", "jumps", "cost"))


def test_windows_that_only_the_moving_ends_need_are_not_told_as_needless() -> None:
    decided, name = _moving("eased at its ends")
    assert decided.plan.shots[0].window
    held = next(one for one in why(decided, name).alternatives if "held throughout" in one.what)
    assert held.window == 0.0
    assert _chosen(decided, name)[0].window != 0.0


def test_windows_by_hand_are_not_told_as_needless() -> None:
    made = edit_of(table(lambda i: frame(), 24))
    plan = plan_edit(made, CINEMA, LONE).plan
    shot = replace(plan.shots[0], window=(WindowKey(0, (20.0, 20.0), (0.0, 0.0)),), by_hand=("window",))
    chosen, line, data = _chosen(plan_edit(made, CINEMA, LONE, previous=replace(plan, shots=(shot,))))
    assert data["window"] is None
    assert data["cost"] is None
    assert chosen.move == 0.0
    assert line.split()[-4:] == ["–", "–", "0.00", "–"]


def test_a_shot_with_a_zoom_of_its_own_is_told_with_what_it_makes_of_near_and_far() -> None:
    made = edit_of(table(lambda i: frame(), 24))
    plan = plan_edit(made, CINEMA, LONE).plan
    decided = plan_edit(
        made, CINEMA, LONE, previous=replace(plan, shots=(replace(plan.shots[0], zoom=1.2, locked=True),))
    )
    chosen, _, data = _chosen(decided)
    assert (chosen.near_pct, chosen.far_pct) == pytest.approx((-0.6, 0.36))
    assert data["lost"] is None


def _run_text(screens: tuple[Screen, ...]) -> list[str]:
    """What ``run`` prints of plans alone."""
    edit = edit_of(_film())
    fits = {screen.name: fits_of(plan_edit(edit, screen, LONE)) for screen in screens}
    clip = JobClip("", SourceChoice(Path("left"), Path("right")), screens)
    run = ClipRun(Path("out"), Path("m.csv"), (), Told((), (), ()), fits)
    return rendered(_run_outcome([run], [clip], Path("report.html")).text).splitlines()


def test_run_says_which_of_its_tables_is_of_the_plan() -> None:
    lines = _run_text((CINEMA, TV))
    assert lines[lines.index("as planned") + 1].split() == ["shot", "cinema-12m", "tv-55in"]
    (one,) = (line for line in _run_text((CINEMA,)) if line.startswith("cinema-12m, sh004"))
    lines = _run_text((CINEMA,))
    assert lines[lines.index("as planned") + 1] == one
    assert "as planned" not in _run_text((BUILTIN_SCREENS["tv-55in"],))


def test_a_shot_that_is_not_there_cannot_be_explained() -> None:
    with pytest.raises(KeyError):
        why(_decided(_film()), "sh099")


def test_a_share_is_never_told_as_the_whole_interaxial() -> None:
    blame = Blame(((0, 23),), None, None, "", "", 0.9999)
    fit = Fit("s", "a", "cannot fit", 0.03, "range", (0.0, 0.0), (0.0, 0.0), False, blame)
    assert blame_words(fit).endswith("99.9 % of the interaxial would have fitted")


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
    through = Fit("a", "s", "cannot fit", float("nan"), "window lets through", (0.3, 0.3), (9.0, 0.0), False, None)
    assert fit_words(through) not in {fit_words(fit) for fit in fits}


def test_counts_and_blame_fit_the_terminal() -> None:
    edit = edit_of(_film())
    long = replace(CINEMA, name="the-large-hall-on-the-north-side-of-the-quay")
    fits = [fits_of(plan_edit(edit, screen, LONE)) for screen in (long, CINEMA)]
    lines = rendered(fits_text(fits)).splitlines()
    assert all(len(line) <= 80 for line in lines)
    assert "would have fitted" in " ".join(lines)
