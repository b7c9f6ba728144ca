"""Plans whose pictures are drawn anew: at fractions of a pixel, or with the eyes' misalignment taken out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from plan_tables import CLIP, frame, measurement, rows, table

from postfix.errors import InputError
from postfix.limits import Limits
from postfix.measure.columns import Columns
from postfix.measure.columns_csv import read_columns
from postfix.measure.table import FrameMeasure
from postfix.measure.table_csv import read_table, table_text
from postfix.plan.clip import Decided, plan_edit
from postfix.plan.diff import plan_differences
from postfix.plan.edit import edit_of
from postfix.plan.file import plan_text, read_plan
from postfix.plan.fits import fit_words, fits_of
from postfix.plan.footage import require_same_footage
from postfix.plan.geometry import is_resampled, moves_of, placements, stretch_of, zoom_of
from postfix.plan.misaligned import LEAST_CORNER_PCT, find_misalignment
from postfix.plan.model import HitKey, Misalignment, Pin, Plan, Subject
from postfix.plan.settings import SUBPIXEL, Fill, PlanSettings, Subpixel
from postfix.plan.settings_file import read_settings
from postfix.plan.update import update_text
from postfix.plan.why import why
from postfix.summary_plan import differences_text
from postfix.terminal import rendered
from postfix.viewing import BUILTIN_SCREENS

CINEMA = BUILTIN_SCREENS["cinema-12m"]

DRIFT = table(lambda i: frame(near=-1.6 + 2.0 * i / 239.0, far=-0.6 + 2.0 * i / 239.0), 240)
"""1 % from near to far in every frame, 3 % over the shot, slow enough to follow: it must be eased."""

DEEP = table(lambda i: frame(near=-0.4, far=0.9), 48)
"""A held HIT of some -0.4 % keeps it inside."""


def _decided(columns: Columns, previous: Plan | None = None, pins: tuple[Pin, ...] = (), **settings: object) -> Decided:
    chosen = PlanSettings(**settings)  # type: ignore[arg-type]
    return plan_edit(edit_of(columns), CINEMA, chosen, pins=pins, previous=previous)


def _leaning(
    vertical: Callable[[int], float] = lambda i: 6.0,
    rotation: Callable[[int], float] = lambda i: 0.4,
    size: Callable[[int], float] = lambda i: 0.8,
    count: int = 48,
    **more: float,
) -> Columns:
    def one(i: int) -> FrameMeasure:
        return replace(frame(**more), vertical_px=vertical(i), rotation_deg=rotation(i), size_pct=size(i))  # type: ignore[arg-type]

    return table(one, count)


@pytest.mark.parametrize("subpixel", SUBPIXEL)
def test_which_shots_are_drawn_at_fractions_of_a_pixel_is_a_setting(subpixel: Subpixel) -> None:
    eased, held = (_decided(made, subpixel=subpixel).plan.shots[0] for made in (DRIFT, DEEP))
    assert len(eased.hit) > 1
    assert len(held.hit) == 1
    assert (eased.subpixel, held.subpixel) == (subpixel != "never", subpixel == "always")
    assert held.hit[0].pct != 0.0


def test_an_eased_shot_moves_smoothly_and_a_held_one_stays_in_whole_steps() -> None:
    eased, held = (_decided(made).plan.shots[0] for made in (DRIFT, DEEP))
    moves = moves_of(eased, CLIP)
    assert np.abs(np.diff(moves.hit_px)).max() < 0.5
    assert (moves.left_px == -moves.right_px).all()
    assert (moves_of(held, CLIP).right_px % CLIP.step_px == 0.0).all()
    assert not is_resampled(held)


def test_a_shot_that_needs_no_move_is_never_said_to_be_drawn_at_fractions_of_a_pixel() -> None:
    for fill in ("hide", "zoom"):
        (shot,) = _decided(table(lambda i: frame(), 24), subpixel="always", fill=fill).plan.shots
        assert not shot.subpixel
        assert "subpixel" not in plan_text(_decided(table(lambda i: frame(), 24)).plan).split("[[shot]]")[1]


def test_at_fractions_of_a_pixel_a_held_shot_is_moved_no_further_than_its_limits_ask() -> None:
    whole, fine = (_decided(DEEP, subpixel=which) for which in ("never", "always"))
    moved = [abs(one.plan.shots[0].hit[0].pct) for one in (whole, fine)]
    assert moved[1] < moved[0] < moved[1] + CLIP.step_pct
    for one in (whole, fine):
        assert one.decisions[0].after.far_pct <= one.plan.limits.far_pct - 0.05 + 1e-6


def test_a_shot_that_no_whole_step_fits_is_put_inside_where_every_shot_may_be_drawn_finely() -> None:
    clip = replace(CLIP, width_px=960, height_px=540)
    made = table(lambda i: frame(near=-1.02, far=1.80), 48, clip=clip)
    limits = Limits(-1.75, 1.08, 3.0)
    outside = {
        which: plan_edit(edit_of(made), CINEMA, PlanSettings(subpixel=which), limits=limits).flags["sh001"]
        for which in SUBPIXEL
    }
    # 2.82 % between limits 2.83 % apart. A held HIT stays in whole steps unless it was asked to be finer.
    assert [bool(outside[which]) for which in ("eased", "never", "always")] == [True, True, False]


def test_a_subject_is_put_where_it_shall_be_to_a_fraction_of_a_pixel() -> None:
    pin = Pin(shot="sh001", subject=Subject(3, (10, 10, 50, 50), 0.2, found_pct=-0.111))
    whole, fine = (
        _decided(DEEP, pins=(pin,), subpixel=which).plan.shots[0].hit[0].pct for which in ("never", "always")
    )
    assert fine == pytest.approx(0.311)
    assert whole != fine


def test_what_a_person_decided_about_fractions_of_a_pixel_is_kept_when_the_plan_is_updated(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    text = plan_text(_decided(DRIFT).plan)
    assert "\nsubpixel = true\n" in text
    assert "subpixel" not in read_plan(_written(path, text)).shots[0].by_hand
    old = read_plan(_written(path, text.replace("\nsubpixel = true\n", "\nsubpixel = false\n")))
    assert old.shots[0].by_hand == ("subpixel",)
    new = _decided(DRIFT, old).plan
    assert not new.shots[0].subpixel
    assert "in steps of 2 px" in new.shots[0].reason
    updated = update_text(path.read_text(), old, new)
    assert "\nsubpixel = false\n" in updated
    # Taken out, it is decided anew.
    gone = read_plan(_written(path, updated.replace("\nsubpixel = false\n", "\n")))
    assert _decided(DRIFT, gone).plan.shots[0].subpixel


def _written(path: Path, text: str) -> Path:
    path.write_text(text)
    return path


def test_a_held_shot_may_be_drawn_finely_by_hand() -> None:
    plan = _decided(DEEP).plan
    fine = replace(plan, shots=(replace(plan.shots[0], subpixel=True, by_hand=("subpixel",)),))
    (shot,) = _decided(DEEP, fine).plan.shots
    assert shot.subpixel
    assert shot.hit[0].pct > plan.shots[0].hit[0].pct


def test_what_differs_in_drawing_is_told(tmp_path: Path) -> None:
    eased, steps = (_decided(DRIFT, subpixel=which).plan for which in ("eased", "never"))
    text = rendered(differences_text(plan_differences(steps, eased)))
    assert "  subpixel: never → eased" in text
    assert "  at fractions of a pixel: no → yes" in text
    straight, leaning = (_decided(_leaning(), align=which).plan for which in (False, True))
    text = rendered(differences_text(plan_differences(straight, leaning)))
    assert "  align: no → yes" in text
    assert "  aligned: no → yes" in text
    assert "misalignment added: vertical 6.0 px, rotation 0.4°, size 0.8 %" in text


def test_measured_misalignment_is_taken_out_only_where_that_was_asked_for() -> None:
    (left_alone,) = _decided(_leaning()).plan.shots
    assert (left_alone.align, left_alone.misalignment) == (False, None)
    (shot,) = _decided(_leaning(), align=True).plan.shots
    assert shot.misalignment == Misalignment(6.0, 0.4, 0.8)
    assert shot.align
    assert shot.zoom == zoom_of(shot, CLIP) > 1.0
    left, right = placements(shot, CLIP, 7)
    assert (left.turn_deg, right.turn_deg) == (0.2, -0.2)


def test_the_reason_tells_what_was_taken_out_and_by_how_much_that_changes_parallax() -> None:
    decided = _decided(_leaning(), align=True)
    text = decided.plan.shots[0].reason
    assert "the right eye lay 6.00 px lower, 0.40° turned clockwise, 0.80 % larger" in text
    # sin 0.4° of half of 1080 px is 3.77 px of 2048, 0.184 %; half of 0.8 % of width is 0.4 % (computed).
    assert "changes parallax by up to 0.58 % away from the middle" in text
    assert f"enlarged by {(decided.plan.shots[0].zoom - 1.0) * 100.0:.2f} % to cover what aligning lays bare" in text
    assert fit_words(fits_of(decided)[0]) == "aligned"


def test_wild_and_doubtful_frames_have_no_say_in_what_is_taken_out() -> None:
    def vertical(i: int) -> float:
        return 90.0 if i % 7 == 0 else 6.0 + 0.1 * (-1.0) ** i

    found = find_misalignment(_leaning(vertical), 0, 47).misalignment
    assert found is not None
    assert found.vertical_px == pytest.approx(6.0, abs=0.11)
    doubtful = _leaning(confidence=0.2)
    assert find_misalignment(doubtful, 0, 47).misalignment is None
    (shot,) = _decided(doubtful, align=True).plan.shots
    assert not shot.align


@pytest.mark.parametrize(
    ("columns", "words"),
    [
        (DEEP, "how the eyes lie against each other could be measured in none of its frames"),
        (_leaning(lambda i: 6.0 if i < 2 else np.nan), "could be measured in only 2 of its 48 frames"),
        (_leaning(lambda i: 0.05, lambda i: 0.0, lambda i: 0.0), "too little to redraw for"),
        (_leaning(lambda i: 20.0 * (-1.0) ** i), "it differs from frame to frame"),
    ],
)
def test_a_shot_with_nothing_to_go_by_is_left_alone_and_says_so(columns: Columns, words: str) -> None:
    (plain,), (shot,) = (_decided(columns, align=which).plan.shots for which in (False, True))
    assert replace(shot, reason="") == replace(plain, reason="")
    assert "not aligned: " in shot.reason
    assert words in shot.reason


def test_a_turn_and_a_size_that_were_not_told_are_left_out_and_never_called_zero() -> None:
    (shot,) = _decided(_leaning(rotation=lambda i: np.nan, size=lambda i: np.nan), align=True).plan.shots
    assert shot.misalignment == Misalignment(6.0, None, None)
    assert "the right eye lay 6.00 px lower, and" in shot.reason
    assert "misalignment = {vertical_px = 6.0}" in plan_text(
        _decided(_leaning(rotation=lambda i: np.nan, size=lambda i: np.nan), align=True).plan
    )


def test_what_is_too_little_to_align_for_is_about_what_can_be_measured() -> None:
    most_px = LEAST_CORNER_PCT * CLIP.width_px / 100.0
    for px, aligned in ((0.9 * most_px, False), (1.1 * most_px, True)):
        made = _leaning(lambda i, px=px: px, lambda i: 0.0, lambda i: 0.0)
        assert _decided(made, align=True).plan.shots[0].align is aligned


@pytest.mark.parametrize("fill", ["hide", "crop", "zoom"])
def test_an_aligned_shot_keeps_its_limits_as_it_is_really_drawn(fill: Fill) -> None:
    decided = _decided(_leaning(near=-0.4, far=0.9), align=True, fill=fill)
    (shot,), after, limits = decided.plan.shots, decided.decisions[0].after, decided.plan.limits
    hit = moves_of(shot, CLIP).hit_px[0] * 100.0 / CLIP.width_px
    assert after.far_pct == pytest.approx(stretch_of(shot, CLIP) * 0.9 + hit)
    assert limits.far_pct - 0.06 < after.far_pct <= limits.far_pct
    assert hit == pytest.approx(shot.hit[0].pct)  # drawn anew, so it need not be in whole steps
    alternatives = why(decided, "sh001").alternatives
    (chosen,) = [one for one in alternatives if one.is_chosen]
    assert chosen.cost == pytest.approx(min(one.cost for one in alternatives if one.over_pct <= 0.0), abs=0.02)


@pytest.mark.parametrize("fill", ["hide", "crop", "zoom"])
def test_windows_of_an_aligned_shot_cover_what_lies_in_front_of_its_edges(fill: Fill) -> None:
    made = table(
        lambda i: replace(frame(left=rows(-1.2), right=rows(-0.7)), vertical_px=6.0, rotation_deg=0.4, size_pct=0.8), 48
    )
    decided = _decided(made, align=True, fill=fill)
    assert decided.plan.shots[0].window
    assert not [flag for flag in decided.flags["sh001"] if flag.code in ("left-edge", "right-edge", "window")]


def test_an_aligned_plan_is_read_back_as_it_was_written(tmp_path: Path) -> None:
    plan = _decided(_leaning(), align=True).plan
    assert read_plan(_written(tmp_path / "plan.toml", plan_text(plan))) == plan
    spare = replace(plan, clip=replace(plan.clip, spare_px=32))
    assert "spare_px = 32" in plan_text(spare)
    assert read_plan(_written(tmp_path / "plan.toml", plan_text(spare))) == spare


@pytest.mark.parametrize("aspect", [Fraction(2), Fraction(4, 3)])
def test_a_plan_keeps_the_shape_of_pixels_where_they_are_not_square(tmp_path: Path, aspect: Fraction) -> None:
    plan = _decided(DEEP).plan
    assert "\npixel_aspect" not in plan_text(plan)
    wide = replace(plan, clip=replace(plan.clip, pixel_aspect=aspect))
    path = _written(tmp_path / "plan.toml", plan_text(wide))
    assert f'pixel_aspect = "{aspect}"' in path.read_text()
    assert read_plan(path) == wide
    assert read_plan(_written(path, update_text(path.read_text(), wide, wide))) == wide
    for typed in ('"0"', '"-2"', '"wide"', '"1.5"', "2"):
        _written(path, plan_text(wide).replace(f'pixel_aspect = "{aspect}"', f"pixel_aspect = {typed}"))
        with pytest.raises(InputError, match=r"plan.toml, line \d+, \[clip\], pixel_aspect"):
            read_plan(path)


def test_a_misalignment_corrected_by_hand_is_kept_and_one_taken_out_is_decided_anew(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    text = plan_text(_decided(_leaning(), align=True).plan)
    old = read_plan(_written(path, text.replace("vertical_px = 6.0", "vertical_px = 5.0")))
    assert old.shots[0].by_hand == ("align",)
    new = _decided(_leaning(), old, align=True).plan
    assert new.shots[0].misalignment == Misalignment(5.0, 0.4, 0.8)
    assert "aligned, as given by hand: " in new.shots[0].reason
    assert read_plan(_written(path, update_text(path.read_text(), old, new))) == new
    off = read_plan(_written(path, text.replace("\nalign = true\nmisalignment", "\nalign = false\nmisalignment")))
    assert off.shots[0].by_hand == ("align",)
    kept = _decided(_leaning(), off, align=True).plan.shots[0]
    assert (kept.align, kept.zoom) == (False, 1.0)
    assert "not aligned, as decided by hand" in kept.reason


@pytest.mark.parametrize(
    ("typed", "line", "key", "found"),
    [
        ("align = true", 27, "align", "no misalignment to take out"),
        ("align = 1", 27, "align", "1"),
        ('subpixel = "always"', 27, "subpixel", "always"),
        ("misalignment = {}", 27, "misalignment", "an empty table"),
        ("misalignment = { vertical_px = 400 }", 27, "vertical_px", "400"),
        ("misalignment = { rotation_deg = 11 }", 27, "rotation_deg", "11"),
        ("misalignment = { size_pct = nan }", 27, "size_pct", "nan"),
        ("misalignment = { height_px = 2 }", 27, "height_px", "not known"),
    ],
)
def test_what_cannot_be_meant_names_line_and_key(tmp_path: Path, typed: str, line: int, key: str, found: str) -> None:
    head, shot = plan_text(_decided(DEEP).plan).split("[[shot]]\n")
    path = _written(tmp_path / "plan.toml", f"{head}[[shot]]\n{typed}\n{shot}")
    line = head.count("\n") + 2
    with pytest.raises(InputError, match=key) as error:
        read_plan(path)
    assert f"line {line}" in str(error.value)
    assert found in str(error.value)


@pytest.mark.parametrize(
    ("typed", "key"), [('subpixel = "sometimes"', "subpixel"), ("subpixel = true", "subpixel"), ("align = 0", "align")]
)
def test_settings_that_cannot_be_meant_name_line_and_key(tmp_path: Path, typed: str, key: str) -> None:
    with pytest.raises(InputError, match=f"line 2, {key}"):
        read_settings(_written(tmp_path / "settings.toml", f"# drawing\n{typed}\n"))


def test_a_screen_may_have_a_drawing_of_its_own(tmp_path: Path) -> None:
    path = tmp_path / "settings.toml"
    read = read_settings(_written(path, 'subpixel = "never"\nalign = true\n[screen."tv-55in"]\nsubpixel = "always"\n'))
    assert (read.base.subpixel, read.base.align) == ("never", True)
    assert (read.for_screen("tv-55in").subpixel, read.for_screen("tv-55in").align) == ("always", True)


def test_a_locked_shot_is_drawn_as_it_was_decided() -> None:
    plan = _decided(DRIFT, subpixel="never").plan
    locked = replace(plan, shots=(replace(plan.shots[0], locked=True),))
    assert _decided(DRIFT, locked, subpixel="always", align=True).plan.shots == locked.shots


def test_spare_columns_keep_a_move_from_laying_anything_bare() -> None:
    made = table(lambda i: frame(near=-0.4, far=0.9), 48, clip=replace(CLIP, spare_px=64))
    decided = _decided(made, fill="zoom")
    assert decided.plan.shots[0].hit[0].pct < 0.0
    assert decided.plan.shots[0].zoom == 1.0
    hide = why(_decided(made), "sh001").alternatives
    assert [one.lost for one in hide if one.is_chosen] == [0.0]


def test_a_hit_by_hand_that_moves_is_drawn_finely() -> None:
    pin = Pin(shot="sh001", hit=(HitKey(0, 0.0), HitKey(47, -0.5)))
    assert _decided(DEEP, pins=(pin,)).plan.shots[0].subpixel


def test_spare_columns_and_the_shape_of_pixels_are_kept_and_a_table_without_them_has_none(tmp_path: Path) -> None:
    clip = replace(CLIP, spare_px=24, pixel_aspect=Fraction(4, 3))
    made = measurement(lambda i: frame(), 3, clip=clip)
    text = table_text(made)
    assert text.splitlines()[0].endswith(",spare_px,pixel_aspect")
    rows_of = [line.split(",") for line in text.splitlines()]
    for lacking, expected in enumerate((clip, replace(clip, pixel_aspect=Fraction(1)), CLIP)):
        lines = "\n".join(",".join(cells[: len(cells) - lacking]) for cells in rows_of)
        path = _written(tmp_path / f"lacks-{lacking}.csv", lines)
        assert read_table(path).clip == read_columns(path).clip == expected
    for read in (read_table, read_columns):
        for wrong in ("-1,4/3", "24,0", "24,-4/3", "24,1/0", "24,wide", "24,"):
            with pytest.raises(InputError, match="line 2 unreadable"):
                read(_written(tmp_path / "wrong.csv", text.replace(",24,4/3\n", f",{wrong}\n")))


def test_a_plan_for_another_number_of_spare_columns_is_of_other_footage() -> None:
    plan = _decided(DEEP).plan
    require_same_footage(plan, CLIP, 48, Path("measure.csv"))
    with pytest.raises(InputError, match="24 columns to spare"):
        require_same_footage(plan, replace(CLIP, spare_px=24), 48, Path("measure.csv"))
    wide = replace(CLIP, pixel_aspect=Fraction(4, 3))
    with pytest.raises(InputError, match=r"pixels 4/3 times as wide as high.*pixels 1 times as wide as high"):
        require_same_footage(plan, wide, 48, Path("measure.csv"))
    require_same_footage(replace(plan, clip=wide), wide, 48, Path("measure.csv"))
    text = rendered(differences_text(plan_differences(plan, replace(plan, clip=wide))))
    assert "width over height of a pixel: 1 → 4/3" in text
