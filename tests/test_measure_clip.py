"""A whole clip: measured in any number of threads, in bounded memory, whole or as a quick look, judged shot by shot.

What must come out follows from how the clips are made, or from measuring every frame (computed).
"""

from dataclasses import dataclass, fields, replace
from fractions import Fraction

import cv2
import numpy as np
import pytest
from clips import fails, source_words, write_pair
from memory_clips import RATE, crop, joined, pair_of, shown, with_pictures

from postfix.cli import main
from postfix.demo.layers import Layer, layered_scene
from postfix.errors import InputError
from postfix.measure import measure_pair
from postfix.measure.between import NOT_MEASURED, filled_in
from postfix.measure.clip import measure_clip
from postfix.measure.frame import Trace
from postfix.measure.likeness import signature
from postfix.measure.matching import match, search_range, seen_from_right
from postfix.measure.remarks import RIVALRY_PCT, told
from postfix.measure.shot import ShotWatcher, out_of_step
from postfix.measure.sync import sync_signature
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable, RivalBox, ShotFinding
from postfix.measure.table_csv import as_written, read_table, table_text
from postfix.source.pair import PairSource
from postfix.source.shots import EditList, Shot, Transition

CUT, COUNT, EVERY = 13, 25, 5
MEASURED = {0, 5, 10, 15, 20, 24}
"""Every fifth frame, and the last."""

OF_THE_FRAME = {"near_box", "far_box", "rivalry_boxes", "interpolated", "note"}
"""Stay with the frame in which they were seen."""

FIGURES = [field.name for field in fields(FrameMeasure) if field.name not in OF_THE_FRAME]
OF_COLOUR = {"gain_pct", "black_pct", "red_gain_pct", "green_gain_pct", "blue_gain_pct", "sharpness_pct"}
"""Looked at in some frames only, others with --every than without."""


def two_shots():
    return joined(shown(3, CUT), shown(20, COUNT - CUT, first=CUT))


@pytest.fixture(scope="module")
def whole():
    return measure_clip(two_shots(), workers=2)


@pytest.fixture(scope="module")
def quick():
    return measure_clip(two_shots(), every=EVERY)


def same(some, others):
    return np.array_equal(np.atleast_1d(some), np.atleast_1d(others), equal_nan=True)


# ---- all cores, bounded memory


@pytest.mark.parametrize("workers", [1, 3])
def test_the_figures_do_not_depend_on_how_many_threads_measure(whole, workers):
    table = measure_clip(two_shots(), workers=workers)
    assert table_text(table) == table_text(whole)
    for name in FIGURES:
        assert same(table.column(name), whole.column(name)), name


@dataclass(frozen=True)
class CountingPair(PairSource):
    """Counts the frames that are taken from it."""

    taken: list = None

    def frames(self, first=0, last=None, *, colour_every=1):
        for item in super().frames(first, last, colour_every=colour_every):
            self.taken.append(item[0])
            yield item


@pytest.mark.parametrize(("workers", "every"), [(1, 1), (4, 1), (2, 4)])
def test_only_a_few_frames_are_under_way_at_once(workers, every):
    pair = two_shots()
    counting = CountingPair(pair.left, pair.right, "gull", taken=[])
    done, ahead = [], []

    def progress(frames):
        done.append(frames)
        ahead.append(len(counting.taken) - sum(done))

    measure_clip(counting, workers=workers, every=every, progress=progress)
    assert sum(done) == COUNT
    assert counting.taken == list(range(COUNT))
    assert max(ahead) <= workers + 2


def test_the_first_frame_that_fails_ends_the_work():
    class Fault(Exception):
        pass

    def breaks_off(frames):
        raise Fault

    with pytest.raises(Fault):
        measure_clip(two_shots(), progress=breaks_off)


def test_what_matches_between_two_pixels_has_its_partner_inside_the_frame():
    rng = np.random.default_rng(2)
    wide = cv2.GaussianBlur(rng.integers(0, 256, (60, 420)).astype(np.uint8), (0, 0), 1.2)
    halves = 0
    for twice in range(-9, 10):
        # Made at twice the size, so that parallax of half a pixel is exact.
        left, right = (cv2.resize(wide[:, 50 + at : 350 + at], (150, 30)) for at in (0, -twice))
        found = match(left, right, -8.0, 8.0)
        y, x = np.nonzero(np.isfinite(found))
        halves += int(np.count_nonzero(found[y, x] % 1.0 == 0.5))
        partners = x + np.rint(found[y, x])
        assert partners.size
        assert partners.min() >= 0
        assert partners.max() < 150
        assert seen_from_right(found).shape == found.shape
    assert halves > 100


def test_where_everything_lies_beyond_the_search_there_is_nothing_to_search():
    width, none = 400, np.zeros(0, np.float32)
    for pct in (-17.0, 17.0):
        coarse = np.full((20, 40), pct / 100 * width, np.float32)
        assert search_range(coarse, none, width) is None
        assert search_range(coarse, np.full(30, pct / 100 * width, np.float32), width) is None
    low, high = search_range(np.full((20, 40), -14.9 * 4, np.float32), none, width)
    assert low == -60.0
    assert -59.6 < high < -50.0


@pytest.mark.parametrize("x", [176, 188, 200])
def test_a_window_beside_lighter_content_is_not_named_as_rivalry(x):
    layers = [Layer(0.5, seed=3), Layer(-0.7, (0.3, 0.3, 0.7, 0.8), 8)]
    shown = layered_scene(720, 330, layers, seed=3, grain=0.0).render(0)
    left, right = (np.asarray(eye[5:275, x : x + 480], np.float32).copy() for eye in shown)
    left[:, :12] = 0.0
    measure = measure_pair(left, right)
    assert measure.left_hidden_px[:2] == pytest.approx((12, 12), abs=1.5)
    # Slivers of two columns at the window's own edge are left.
    assert measure.rivalry_pct < RIVALRY_PCT
    assert all(box.width_px <= 8 for box in measure.rivalry_boxes)


# ---- a quick look


def test_frames_that_a_quick_look_measures_are_those_of_a_full_run(whole, quick):
    assert quick.shots == whole.shots == (Shot("s001", 0, CUT - 1), Shot("s002", CUT, COUNT - 1))
    assert quick.seen_transitions == whole.seen_transitions
    assert quick.timecodes == whole.timecodes
    for number in sorted(MEASURED):
        some, all_ = quick.frames[number], whole.frames[number]
        assert not some.interpolated
        for name in set(FIGURES) - OF_COLOUR:
            assert same(getattr(some, name), getattr(all_, name)), (number, name)
        assert some.rivalry_boxes == all_.rivalry_boxes


def test_the_frames_between_are_marked_and_lie_on_straight_lines_that_no_cut_crosses(quick):
    assert {number for number, frame in enumerate(quick.frames) if not frame.interpolated} == MEASURED
    assert not any(frame.interpolated for frame in measure_clip(joined(shown(3, 3))).frames)
    for shot in quick.shots:
        known = sorted(MEASURED & set(range(shot.first, shot.last + 1)))
        numbers = np.arange(shot.first, shot.last + 1)
        for name in set(FIGURES) - OF_COLOUR:
            values = quick.column(name)
            for k in range(1 if values.ndim == 1 else values.shape[1]):
                one = values if values.ndim == 1 else values[:, k]
                if np.isfinite(one[known]).all():
                    # numpy's own repeats the first and the last beyond the ends.
                    expected = np.interp(numbers, known, one[known])
                    assert one[shot.first : shot.last + 1] == pytest.approx(expected, abs=1e-9), name
    assert np.isfinite(quick.column("near_pct")).all()
    near = quick.column("near_pct")
    assert abs(near[CUT - 1] - near[CUT]) > 0.3, "the cut shows in the figures"
    assert all(frame.rivalry_boxes == () for frame in quick.frames if frame.interpolated)


@pytest.mark.parametrize("every", [2, 3, 7])
def test_a_quick_look_finds_the_same_cuts(whole, every):
    assert measure_clip(two_shots(), every=every).shots == whole.shots


def test_what_is_empty_at_either_end_stays_empty_between():
    known, empty = FrameMeasure(near_pct=-1.0, far_pct=2.0, confidence=1.0), FrameMeasure(far_pct=3.0, note="dark")
    frames = filled_in([known, None, None, None, empty], [Shot("s001", 0, 4)])
    assert [frame.far_pct for frame in frames] == [2.0, 2.25, 2.5, 2.75, 3.0]
    assert [frame.confidence for frame in frames] == [1.0, 0.75, 0.5, 0.25, 0.0]
    assert all(np.isnan(frame.near_pct) for frame in frames[1:])
    assert [frame.note for frame in frames] == ["", "", "", "", "dark"], "a note says what was seen"
    assert [frame.interpolated for frame in frames] == [False, True, True, True, False]


def test_a_shot_of_which_no_frame_was_measured_has_no_figures_and_says_so():
    one = FrameMeasure(near_pct=-1.0, far_pct=2.0, confidence=1.0)
    frames = filled_in([one, None, None, None, one], [Shot("a", 0, 1), Shot("b", 2, 3), Shot("c", 4, 4)])
    assert [frame.note for frame in frames] == ["", "", NOT_MEASURED, NOT_MEASURED, ""]
    assert [frame.confidence for frame in frames] == [1.0, 1.0, 0.0, 0.0, 1.0]
    assert np.isnan(frames[2].near_pct)
    assert not frames[2].interpolated


def test_a_quick_look_looks_for_no_late_eye_and_for_no_standing_still():
    late = joined(shown(3, 20, late=2))
    assert measure_clip(late).findings[0].offset_frames == 2
    quick = measure_clip(late, every=2)
    assert np.isnan(quick.findings[0].offset_frames)
    assert quick.findings[0].offset_confidence == 0.0
    still = pair_of([crop(3, 0, 0)] * 6, [crop(3, 1, 0)] * 6)
    assert all(frame.note == "" for frame in measure_clip(still, every=2).frames)


def test_every_frame_is_the_same_as_leaving_every_out(tmp_path, capsys):
    left, right = write_pair(tmp_path, frames=3)
    for name, more in (("a.csv", []), ("b.csv", ["--every", "1"])):
        assert main(["measure", *source_words(left, right), *more, "-o", str(tmp_path / name), "-q"]) == 0
    assert (tmp_path / "a.csv").read_bytes() == (tmp_path / "b.csv").read_bytes()


@pytest.mark.parametrize("number", ["0", "-1", "1.5", "", "two", "²"])
@pytest.mark.parametrize("command", ["measure", "check"])
def test_every_needs_a_whole_number_of_one_or_more(tmp_path, capsys, command, number):
    more = ["-o", tmp_path / "m.csv"] if command == "measure" else ["--screen", "cinema-12m"]
    words = [command, *source_words("left.mov", "right.mov"), f"--every={number}", *more]
    line = fails(capsys, words, 2, "--every", "whole number of 1 or more")
    assert "_count" not in line


# ---- the file


def distinct_frame(start):
    """Every field holds something of its own; figures are exact in the digits of the file."""
    facts = {}
    for index, field in enumerate(fields(FrameMeasure), start):
        default = field.default
        if field.name == "confidence":
            facts[field.name] = 0.5 + (start % 7) / 100
        elif isinstance(default, tuple) and default:
            facts[field.name] = tuple(index + k / 2 for k in range(len(default)))
        elif isinstance(default, float):
            facts[field.name] = -index / 2
    boxes = (RivalBox("left", 1 + start, 2, 3, 4), RivalBox("right", 50, 60 + start, 7, 8))
    facts |= {"near_box": (start, 0, 30, 40), "far_box": (5, 6 + start, 7, 8)}
    return FrameMeasure(**facts, rivalry_boxes=boxes, interpolated=bool(start % 2), note=f'note; "{start}", and more')


def test_every_field_of_frames_and_shots_comes_back_from_the_file(tmp_path):
    frames = (distinct_frame(1), FrameMeasure(), distinct_frame(2), distinct_frame(3))
    findings = (
        ShotFinding(0.25, -3.0, 0.875, "the ground, turned round; strips", "cut", 0),
        ShotFinding(0.75, float("nan"), 0.0, "", "dissolve", 12),
    )
    shots = (Shot("KITE, 1", 0, 1), Shot("surf", 2, 3))
    clip = ClipInfo("gull", 320, 180, Fraction(24000, 1001), 2, "0123456789abcdef")
    table = MeasurementTable(clip, frames, ("10:00:00:00", "10:00:00:01", "10:00:00:02", ""), shots, findings)
    path = tmp_path / "m.csv"
    path.write_text(table_text(table), encoding="utf-8")
    back = read_table(path)
    assert (back.clip, back.timecodes, back.shots) == (clip, table.timecodes, shots)
    for field in fields(FrameMeasure):
        for number, (read, written) in enumerate(zip(back.frames, frames)):
            one, other = getattr(read, field.name), getattr(written, field.name)
            is_figure = field.name in FIGURES
            assert same(one, other) if is_figure else one == other, (number, field.name)
    for read, written in zip(back.findings, findings, strict=True):
        for field in fields(ShotFinding):
            one, other = getattr(read, field.name), getattr(written, field.name)
            assert same(one, other) if isinstance(other, float) else one == other, field.name
    assert table_text(back) == table_text(table)


def test_a_quick_look_comes_back_from_its_file_with_its_marks(quick, tmp_path):
    path = tmp_path / "m.csv"
    path.write_text(table_text(quick), encoding="utf-8")
    back = read_table(path)
    assert [frame.interpolated for frame in back.frames] == [frame.interpolated for frame in quick.frames]
    assert table_text(back) == table_text(quick) == table_text(as_written(quick))
    assert back.seen_transitions is None
    assert as_written(quick).seen_transitions == quick.seen_transitions


# ---- what only a shot tells


def trace(left, right):
    """What a frame leaves, as the measurement makes it, of pictures made smaller by eight."""
    small = [np.ascontiguousarray(eye[::2, ::2].mean(axis=2)).astype(np.uint8) for eye in (left, right)]
    return Trace(signature(small[0]), sync_signature(*small))


def watched(shots, given=None):
    """A watcher that has seen ``shots`` of (seed, frames, late), and the most signatures it ever held."""
    watcher, most, frame = ShotWatcher(given), 0, 0
    for seed, frames, late in shots:
        for _ in range(frames):
            # Some time goes by between shots, so that no two begin at the same place.
            watcher.add(trace(crop(seed, 0, frame), crop(seed, 1, frame - late)))
            most, frame = max(most, len(watcher._signatures)), frame + 1
    return watcher, most


def shots_of(lengths):
    ends = np.cumsum(lengths)
    return tuple(Shot(f"s{i + 1:03d}", int(end - n), int(end - 1)) for i, (n, end) in enumerate(zip(lengths, ends)))


def findings_of(watcher, shots):
    frames = [FrameMeasure(confidence=1.0)] * (shots[-1].last + 1)
    return watcher.findings(shots, frames, watcher.transitions())


@pytest.mark.parametrize("known", [True, False])
def test_each_shot_tells_its_own_offset(known):
    made = [(3, 50, 2), (20, 60, 0), (41, 45, -3), (3, 90, 5)]
    shots = shots_of([frames for _, frames, _ in made])
    watcher, _ = watched(made, shots if known else None)
    assert [one.frame for one in watcher.transitions()] == [shot.first for shot in shots[1:]]
    findings = findings_of(watcher, shots)
    assert [finding.offset_frames for finding in findings] == [late for _, _, late in made]
    assert min(finding.offset_confidence for finding in findings) > 0.5


@pytest.mark.parametrize("known", [True, False])
def test_a_long_shot_is_kept_in_bounded_memory_and_the_short_one_after_it_still_tells(known):
    made = [(3, 680, 2), (20, 60, -3), (41, 70, 1)]
    shots = shots_of([frames for _, frames, _ in made])
    watcher, most = watched(made, shots if known else None)
    # 480 of a shot, and those that no cut is known before yet: looked at every 64 frames, 64 frames back.
    assert most <= 480 + 2 * 64
    assert [finding.offset_frames for finding in findings_of(watcher, shots)] == [2, -3, 1]


def test_known_shots_are_judged_where_they_are_known_to_be():
    # The list has its cut ten frames late: what it calls the second shot is one picture, the first is mixed.
    made = [(3, 50, 0), (20, 70, 4)]
    listed = shots_of([60, 60])
    watcher, _ = watched(made, listed)
    assert [one.frame for one in watcher.transitions()] == [50]
    assert findings_of(watcher, listed)[1].offset_frames == 4


def test_a_shot_says_how_it_begins():
    watcher, _ = watched([(3, 30, 0), (20, 30, 0)])
    shots = shots_of([30, 30])
    frames = [FrameMeasure(near_pct=-1.0, far_pct=1.0, confidence=number / 59) for number in range(60)]
    listed = (Transition(30, "dissolve", 26, 33),)
    seen = watcher.findings(shots, frames, watcher.transitions())
    by_list = watcher.findings(shots, frames, listed)
    assert [(one.transition, one.transition_frames) for one in seen] == [("cut", 0), ("cut", 0)]
    assert [(one.transition, one.transition_frames) for one in by_list] == [("cut", 0), ("dissolve", 8)]
    for finding, shot in zip(seen, shots):
        worse = sum(frames[f].confidence < finding.confidence for f in range(shot.first, shot.last + 1))
        assert 30 / 4 - 1 <= worse <= 30 / 4 + 1, "a quarter of the frames may be worse"


def test_a_shot_is_as_sure_as_its_frames_with_figures():
    dark, known = FrameMeasure(note="no texture to match"), FrameMeasure(near_pct=-1.0, far_pct=1.0, confidence=0.9)
    watcher, shots = ShotWatcher(), shots_of([36, 10])
    found = watcher.findings(shots, [dark] * 12 + [known] * 24 + [dark] * 10, ())
    assert [one.confidence for one in found] == [0.9, 0.0]


def test_black_before_and_after_the_picture_costs_no_trust_and_agrees_with_a_list_that_has_it():
    def leader(frame, left, right):
        return (left, right) if 12 <= frame < 30 else (np.zeros_like(left), np.zeros_like(right))

    table = measure_clip(with_pictures(joined(shown(3, 36)), leader))
    assert [(shot.first, shot.last) for shot in table.shots] == [(0, 35)]
    assert table.findings[0].confidence > 0.9
    listed = EditList(shots_of([12, 18, 6]), (Transition(12, "cut", 12, 12), Transition(30, "cut", 30, 30)), ())
    said = told(table, listed=listed).remarks
    assert [(one.kind, one.facts["stretches"]) for one in said if one.kind in ("list", "confidence", "unmeasured")] == [
        ("unmeasured", [(0, 11), (30, 35)])
    ]


@pytest.mark.parametrize("eye", [0, 1])
@pytest.mark.parametrize("wrong", [[[0, 1], [2, 3]], None, "picture.png"])
def test_what_is_no_array_is_named_as_such(eye, wrong):
    eyes = [np.zeros((20, 30), np.uint8)] * 2
    eyes[eye] = wrong
    with pytest.raises(InputError, match=f"{type(wrong).__name__} for the {('left', 'right')[eye]} eye"):
        measure_pair(*eyes)


@pytest.mark.parametrize(("eye", "name"), [(0, "left"), (1, "right")])
def test_where_one_eye_stands_still_nothing_is_measured(eye, name):
    def freeze(frame, *pictures):
        if 4 <= frame < 9:
            pictures[eye][:] = crop(3, eye, 3)
        return pictures

    table = measure_clip(with_pictures(joined(shown(3, 12)), freeze))
    note = f"the {name} eye stands still while the other moves"
    assert [number for number, frame in enumerate(table.frames) if frame.note == note] == list(range(4, 9))
    for number, frame in enumerate(table.frames):
        figures = np.concatenate([np.atleast_1d(getattr(frame, n)) for n in ("near_pct", "far_pct", "left_rows_pct")])
        if frame.note:
            assert np.isnan(figures).all()
            assert frame.confidence == 0.0
            assert frame.rivalry_boxes == ()
        else:
            assert np.isfinite(frame.near_pct), number


def test_a_frozen_eye_keeps_the_black_that_was_seen():
    def freeze(frame, left, right):
        right[:] = crop(3, 1, 0)
        left[:, :20] = 0
        return left, right

    table = measure_clip(with_pictures(joined(shown(3, 5)), freeze))
    assert all(frame.note for frame in table.frames[1:])
    for frame in table.frames:
        assert frame.left_hidden_px[:2] == pytest.approx((20, 20), abs=1.5)


def test_where_both_eyes_stand_still_the_figures_stay():
    def freeze(frame, left, right):
        return (crop(3, 0, 3), crop(3, 1, 3)) if 4 <= frame < 7 else (left, right)

    table = measure_clip(with_pictures(joined(shown(3, 9)), freeze))
    assert [frame.note for frame in table.frames] == [""] * 4 + ["the frame before, again"] * 3 + [""] * 2
    assert len({frame.near_pct for frame in table.frames[3:7]}) == 1
    assert np.isfinite(table.column("near_pct")).all()
    assert table.frames[5].confidence == table.frames[3].confidence


def test_noise_over_a_still_scene_is_no_standing_still():
    rng = np.random.default_rng(5)

    def noisy(frame, left, right):
        return [np.clip(eye + rng.normal(0, 5, eye.shape), 0, 255).astype(np.uint8) for eye in (left, right)]

    still = pair_of([crop(3, 0, 0)] * 5, [crop(3, 1, 0)] * 5)
    assert all(frame.note == "" for frame in measure_clip(with_pictures(still, noisy)).frames)


def test_a_late_eye_lowers_the_confidence_of_its_own_shot_and_of_its_frames():
    shots = (Shot("a", 0, 1), Shot("b", 2, 3), Shot("c", 4, 5), Shot("d", 6, 7))
    findings = (
        ShotFinding(1.0, 2.0, 0.9),
        ShotFinding(1.0, 0.0, 0.9),
        ShotFinding(1.0, 3.0, 0.3),
        ShotFinding(1.0),
    )
    frames = [FrameMeasure(near_pct=-1.0, confidence=0.8)] * 8
    frames, lowered = out_of_step(frames, shots, findings)
    assert [frame.confidence for frame in frames] == [0.4] * 2 + [0.8] * 6
    assert [finding.confidence for finding in lowered] == [0.5, 1.0, 1.0, 1.0]
    assert [replace(one, confidence=1.0) for one in lowered][:3] == list(findings[:3])
    assert all(frame.near_pct == -1.0 for frame in frames), "the figures themselves stay"


def test_a_clip_with_a_late_eye_is_trusted_half_as_much():
    late, level = (measure_clip(joined(shown(41, 20, late=n))) for n in (3, 0))
    assert [table.findings[0].offset_frames for table in (late, level)] == [3, 0]
    assert late.findings[0].confidence <= 0.5 < 0.9 < level.findings[0].confidence
    assert max(frame.confidence for frame in late.frames) <= 0.5


def test_known_shots_change_no_figure_and_the_picture_is_still_looked_at(whole):
    listed = (Shot("ROCKS", 0, 7), Shot("SURF", 8, COUNT - 1))
    table = measure_clip(two_shots(), shots=listed, transitions=(Transition(8, "cut", 8, 8),))
    assert table.shots == listed
    assert table.seen_transitions == whole.seen_transitions
    for name in ("near_pct", "far_pct", "left_rows_pct"):
        assert same(table.column(name), whole.column(name)), name
    assert table.clip.rate == RATE
