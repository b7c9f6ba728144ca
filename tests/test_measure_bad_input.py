"""Pictures nothing can be measured in: empty figures, low confidence and a note, never a fault or an invented figure.

Every warning is an error in these tests. What must come out is said by the pictures themselves (computed): there is no
parallax in what is black, flat or not a number, and none between pictures that have nothing in common.
"""

from dataclasses import fields, replace
from fractions import Fraction

import numpy as np
import pytest
from footage import SPECS, yuv422p10
from memory_clips import MemoryEye

from postfix.deliver.video import write_video
from postfix.demo.layers import Layer, layered_scene
from postfix.measure import measure_pair
from postfix.measure.clip import measure_clip
from postfix.source.pair import PairSource, open_pair
from postfix.source.picture import PictureFormat, PlaneFormat, grey

LOW = 0.3
NOT_FIGURES = {
    "coverage_pct",
    "confidence",
    "left_hidden_px",
    "right_hidden_px",
    "left_bars_px",
    "right_bars_px",
    "rivalry_boxes",
    "interpolated",
    "note",
}
SHAPE = (180, 320)


def textured(seed=1, shape=SHAPE):
    """A pair with something at two depths, (H, W, 3) float32."""
    layers = [Layer(0.5, seed=seed), Layer(-1.5, (0.3, 0.3, 0.7, 0.8), seed + 5)]
    return [np.asarray(eye, np.float32) for eye in layered_scene(shape[1], shape[0], layers, seed=seed).render(0)]


def flat(level, shape=SHAPE):
    return np.full((*shape, 3), level, np.float32)


def grain(seed, level=0.0, sigma=0.004, shape=SHAPE):
    rng = np.random.default_rng(seed)
    return (level + rng.normal(0.0, sigma, (*shape, 3))).astype(np.float32)


def figures_of(measure):
    """Every figure of a frame as one flat list."""
    values = [getattr(measure, field.name) for field in fields(measure) if field.name not in NOT_FIGURES]
    return np.concatenate([np.atleast_1d(value) for value in values])


def says_nothing(measure):
    assert np.isnan(figures_of(measure)).all(), measure
    assert measure.rivalry_boxes == ()
    assert measure.confidence < LOW
    assert measure.note


# ---- nothing in the pictures


@pytest.mark.parametrize("level", [0.0, 0.5, 1.0])
def test_flat_pictures_have_no_figures(level):
    says_nothing(measure_pair(flat(level), flat(level)))


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_flat_pictures_of_different_brightness_have_no_figures(level):
    says_nothing(measure_pair(flat(level), flat(0.5)))


@pytest.mark.parametrize("dtype", ["uint8", "uint16"])
@pytest.mark.parametrize("level", [0.0, 1.0])
def test_flat_integer_pictures_have_no_figures(level, dtype):
    one = np.full(SHAPE, round(level * np.iinfo(dtype).max), dtype)
    says_nothing(measure_pair(one, one))


@pytest.mark.parametrize("level", [0.0, 0.5])
def test_grain_alone_has_no_figures(level):
    says_nothing(measure_pair(grain(1, level), grain(2, level)))


@pytest.mark.parametrize("level", [0.0, 1.0])
@pytest.mark.parametrize("eye", [0, 1])
def test_one_black_or_white_eye_leaves_no_figures(eye, level):
    pair = textured()
    pair[eye] = flat(level)
    says_nothing(measure_pair(*pair))


@pytest.mark.parametrize("eye", [0, 1])
def test_one_black_eye_with_grain_leaves_no_figures(eye):
    pair = textured()
    pair[eye] = grain(3)
    says_nothing(measure_pair(*pair))


def test_eyes_with_nothing_in_common_leave_no_figures():
    says_nothing(measure_pair(textured(1)[0], textured(50)[1]))


# ---- the same picture twice


@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32"])
def test_identical_eyes_are_said_to_be_and_trusted_little(dtype):
    left = textured()[0]
    if dtype != "float32":
        left = np.rint(np.clip(left, 0, 1) * np.iinfo(dtype).max).astype(dtype)
    measure = measure_pair(left, left.copy())
    assert measure.note == "both eyes are identical"
    assert measure.confidence < LOW
    known = figures_of(measure)[np.isfinite(figures_of(measure))]
    # Without any difference every figure that is given at all can only be zero.
    assert np.allclose(known, 0.0, atol=1e-3)


def test_eyes_that_differ_anywhere_are_not_called_identical():
    left = textured()[0]
    right = np.roll(left, 4, axis=1)
    assert measure_pair(left, right).note != "both eyes are identical"


# ---- very small


@pytest.mark.parametrize("shape", [(1, 1), (1, 320), (180, 1), (8, 8), (8, 320), (180, 8), (31, 320)])
@pytest.mark.parametrize("what", ["texture", "flat", "same"])
def test_tiny_pictures_have_no_figures(shape, what):
    left, right = grain(1, 0.5, 0.2, shape), grain(2, 0.5, 0.2, shape)
    if what == "flat":
        left = right = flat(0.5, shape)
    says_nothing(measure_pair(left, left if what == "same" else right))


# ---- samples that are no numbers


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("eyes", [(0,), (1,), (0, 1)])
def test_an_eye_without_a_single_number_leaves_no_figures(eyes, value):
    pair = textured()
    for eye in eyes:
        pair[eye] = np.full_like(pair[eye], value)
    says_nothing(measure_pair(*pair))


@pytest.mark.parametrize("value", [np.nan, np.inf, -np.inf])
def test_half_an_eye_without_numbers_leaves_no_figures(value):
    pair = textured()
    pair[1][:, :160] = value
    says_nothing(measure_pair(*pair))


@pytest.mark.parametrize("values", [(np.nan,), (np.inf,), (-np.inf,), (np.inf, -np.inf, np.nan)])
def test_a_few_samples_that_are_no_numbers_do_not_spread(values):
    pair = textured()
    clean = measure_pair(*pair)
    rng = np.random.default_rng(4)
    for number in range(9):
        row, column = rng.integers(0, SHAPE[0]), rng.integers(0, SHAPE[1])
        for channel in range(3):
            pair[number % 2][row, column, channel] = values[(number + channel) % len(values)]
    measure = measure_pair(*pair)
    assert measure.note
    assert measure.confidence <= 0.5
    for name in ("near_pct", "far_pct", "median_pct"):
        found = getattr(measure, name)
        assert np.isnan(found) or found == pytest.approx(getattr(clean, name), abs=0.1), name
    assert np.isnan(figures_of(measure)).sum() >= np.isnan(figures_of(clean)).sum()
    assert np.isfinite(figures_of(measure)[~np.isnan(figures_of(measure))]).all()


def test_an_infinite_sample_in_one_channel_alone_is_no_fault():
    pair = textured()
    pair[0][20, 30, 0], pair[0][20, 30, 1] = np.inf, -np.inf
    measure = measure_pair(*pair)
    assert measure.note
    assert np.isfinite(figures_of(measure)[~np.isnan(figures_of(measure))]).all()


@pytest.mark.parametrize("value", [1e30, -1e30, 3e38, 60000.0])
def test_a_few_enormous_samples_do_not_upset_the_figures(value):
    pair = textured()
    clean = measure_pair(*pair)
    pair[0][50:53, 60:63] = value
    measure = measure_pair(*pair)
    if measure.confidence >= LOW:
        assert measure.near_pct == pytest.approx(clean.near_pct, abs=0.15)
        assert measure.far_pct == pytest.approx(clean.far_pct, abs=0.15)
    else:
        assert measure.note


def float_format(shape, channels):
    plane = PlaneFormat(1, 1, channels, (0.0,) * channels)
    return PictureFormat(shape[1], shape[0], "rgb-float", "float32", 32, 1.0, False, (plane,))


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("values", [(np.nan,), (np.inf,), (np.inf, -np.inf), (3e38,)])
def test_luma_of_samples_that_are_no_numbers_is_made_without_a_warning(values, channels):
    samples = np.full((6, 8, channels), 0.5, np.float32)
    samples[2, 3] = [values[i % len(values)] for i in range(channels)]
    plane = samples[..., 0] if channels == 1 else samples
    luma = grey((plane,), float_format((6, 8), channels))
    assert luma.shape == (6, 8)
    good = np.ones((6, 8), bool)
    good[2, 3] = False
    assert np.allclose(luma[good], 0.5, atol=1e-6)
    assert values == (3e38,) or not np.isfinite(luma[2, 3])


# ---- whole clips


def video_pair(folder, lefts, rights):
    folder.mkdir(parents=True, exist_ok=True)
    height, width = lefts[0].shape[:2]
    spec = replace(SPECS["ffv1.mkv"], width=width, height=height, rate=Fraction(24), timecode=None)
    paths = []
    for eye, pictures in (("left", lefts), ("right", rights)):
        path = folder / f"gull_{eye}.mkv"
        codes = (np.rint(np.clip(picture, 0.0, 1.0) * 255).astype(np.uint8) for picture in pictures)
        write_video(path, spec, (yuv422p10(picture) for picture in codes))
        paths.append(path)
    return open_pair(*paths)


class FloatEye(MemoryEye):
    """An eye of floating-point pictures in memory, as a half or float still would be read."""

    @property
    def format(self):
        return float_format(self.pictures[0].shape[:2], 3)


def float_pair(lefts, rights):
    return PairSource(FloatEye(tuple(lefts)), FloatEye(tuple(rights)), "gull")


def covers_every_frame_once(table, count):
    assert len(table.frames) == count
    shown = [frame for shot in table.shots for frame in range(shot.first, shot.last + 1)]
    assert shown == list(range(count))


def tells_no_offset(table):
    assert table.findings, "a finding for each shot"
    for finding in table.findings:
        assert np.isnan(finding.offset_frames)
        assert finding.offset_confidence < LOW
        assert finding.swap_reason == ""


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_black_or_white_clip_has_no_figures_and_one_shot(tmp_path, level):
    table = measure_clip(video_pair(tmp_path, [flat(level)] * 4, [flat(level)] * 4))
    covers_every_frame_once(table, 4)
    assert len(table.shots) == 1
    for frame in table.frames:
        says_nothing(frame)
    tells_no_offset(table)
    assert table.findings[0].confidence < LOW


def test_a_clip_with_one_black_eye_has_no_figures(tmp_path):
    table = measure_clip(video_pair(tmp_path, [textured()[0]] * 3, [flat(0.0)] * 3))
    for frame in table.frames:
        says_nothing(frame)
    tells_no_offset(table)


def test_frozen_frames_are_measured_but_tell_no_offset(tmp_path):
    left, right = textured()
    table = measure_clip(video_pair(tmp_path, [left] * 8, [right] * 8))
    covers_every_frame_once(table, 8)
    assert len(table.shots) == 1
    tells_no_offset(table)
    assert len({frame.near_pct for frame in table.frames}) == 1


def test_one_frozen_eye_tells_no_offset(tmp_path):
    left, right = textured()
    moving = [np.roll(left, 3 * number, axis=1) for number in range(8)]
    table = measure_clip(video_pair(tmp_path, moving, [right] * 8))
    covers_every_frame_once(table, 8)
    tells_no_offset(table)


def test_a_single_frame_is_measured_but_tells_no_offset(tmp_path):
    table = measure_clip(video_pair(tmp_path, *([eye] for eye in textured())))
    covers_every_frame_once(table, 1)
    tells_no_offset(table)


def test_identical_eyes_are_said_to_be_in_every_frame_of_a_clip(tmp_path):
    same = [textured()[0]] * 3
    table = measure_clip(video_pair(tmp_path, same, same))
    for frame in table.frames:
        assert frame.note == "both eyes are identical"
        assert frame.confidence < LOW
    tells_no_offset(table)
    assert table.findings[0].confidence < LOW


def test_a_clip_eight_pixels_high_has_no_figures(tmp_path):
    low = [grain(number, 0.5, 0.2, (8, 320)) for number in range(6)]
    table = measure_clip(video_pair(tmp_path, low[:3], low[3:]))
    covers_every_frame_once(table, 3)
    for frame in table.frames:
        says_nothing(frame)
    tells_no_offset(table)


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_pictures_with_samples_that_are_no_numbers_are_flagged_where_they_are(value):
    left, right = textured()
    broken = right.copy()
    broken[:, 160:] = value
    table = measure_clip(float_pair([left] * 3, [right, broken, right]))
    covers_every_frame_once(table, 3)
    says_nothing(table.frames[1])
    assert table.frames[0].near_pct == pytest.approx(table.frames[2].near_pct)
    assert np.isfinite(table.frames[0].near_pct)
    tells_no_offset(table)
