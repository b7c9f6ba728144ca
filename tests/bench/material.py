"""Pictures whose parallax is known: photographed pairs, made-up scenes, what is done to them, and what is hard."""

import io
import sys
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import av
import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from real_pairs import PERCENTILES, real_pairs, seen_by_both
from test_measure_scenes import scene_of

from postfix.demo.layers import Layer, layered_scene

UNKNOWN = (float("nan"),) * 3


@dataclass(frozen=True)
class Known:
    """A pair of pictures and what is true of it.

    Attributes
    ----------
    name, group : str
    left, right : ndarray, (H, W, 3) float32, 0 to 1
    truth_pct : tuple of 3 floats
        Near, median, far; NaN where the eyes have nothing in common, so that every figure would be invented.
    parallax_px : ndarray, (H, W)
        In the left eye, NaN where nobody measured it.
    seen : ndarray, (H, W) bool
        Where the right eye sees that point too.
    doubt_pct : float
        How far rounding alone may have put the truth off.
    """

    name: str
    group: str
    left: np.ndarray
    right: np.ndarray
    truth_pct: tuple[float, float, float]
    parallax_px: np.ndarray
    seen: np.ndarray
    doubt_pct: float = 0.0

    def spoilt(self, how):
        """The same with something done to the eyes, which leaves the truth what it was."""
        left, right = how(self.left, self.right)
        return replace(self, left=_within(left), right=_within(right))


def photographed():
    """The photographed pairs that are there."""
    for pair in real_pairs():
        eyes = (np.float32(pair.left) / 255, np.float32(pair.right) / 255)
        seen = seen_by_both(pair.parallax_px)
        yield Known(pair.name, "pairs", *eyes, pair.truth_pct, pair.parallax_px, seen, pair.doubt_pct)


def made_up(seeds):
    """Made-up scenes with exact parallax, 960×540, −4 % to +2 %."""
    for seed in seeds:
        yield _of_scene(scene_of(seed), f"scene {seed}")


def _of_scene(scene, name):
    truth = scene.truth(0)
    summary = truth.summary
    eyes = (np.asarray(eye, np.float32) for eye in scene.render(0))
    figures = (summary.near_pct, summary.median_pct, summary.far_pct)
    return Known(name, "scenes", *eyes, figures, truth.left_parallax_px, truth.left_seen)


# What may differ between the eyes. Each takes both eyes, (H, W, 3) float32, and returns both.


def on_right(change):
    """Something done to the right eye alone."""
    return lambda left, right: (left, change(right))


def on_both(change):
    """The same thing done to both eyes."""
    return lambda left, right: (change(left), change(right))


def moved(down_share=0.0, turn_deg=0.0, size_pct=0.0):
    """The right eye lower by a share of its height, turned clockwise and enlarged about the picture's centre."""

    def change(eye):
        height, width = eye.shape[:2]
        centre = ((width - 1) / 2, (height - 1) / 2)
        matrix = cv2.getRotationMatrix2D(centre, -turn_deg, 1 + size_pct / 100)
        matrix[1, 2] += down_share * height
        how = {"flags": cv2.INTER_CUBIC, "borderMode": cv2.BORDER_REFLECT}
        return cv2.warpAffine(eye, matrix, (width, height), **how)

    return on_right(change)


def keystone(percent):
    """The right eye's picture stretched in height by so much more at its right side than at its left.

    Columns stay where they are, so that parallax does too.
    """

    def change(eye):
        height, width = eye.shape[:2]
        y, x = np.mgrid[:height, :width].astype(np.float32)
        middle = np.float32((height - 1) / 2)
        stretch = 1 + np.float32(percent / 100 / width) * (x - np.float32((width - 1) / 2))
        return cv2.remap(eye, x, (y - middle) / stretch + middle, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REFLECT)

    return on_right(change)


def gain(red, green=None, blue=None):
    """The right eye's contrast, in all channels or in each."""
    factors = np.float32([red, red if green is None else green, red if blue is None else blue])
    return on_right(lambda eye: eye * factors)


def lifted(black):
    """The right eye's black and everything above it lifted by a share of white."""
    return on_right(lambda eye: eye + np.float32(black))


def softened(sigma_px):
    """The right eye blurred."""
    return on_right(lambda eye: cv2.GaussianBlur(eye, (0, 0), sigma_px))


def noisy(share, seed=7):
    """Noise in luma, of its own in each eye; standard deviation as a share of white."""

    def change(left, right):
        rng = np.random.default_rng(seed)
        return tuple(eye + rng.normal(0, share, (*eye.shape[:2], 1)).astype(np.float32) for eye in (left, right))

    return change


def scaled_to(width):
    """Both eyes at another width, area-averaged where smaller and cubic where larger."""

    def change(eye):
        height = max(1, round(eye.shape[0] * width / eye.shape[1]))
        how = cv2.INTER_AREA if width < eye.shape[1] else cv2.INTER_CUBIC
        return cv2.resize(eye, (width, height), interpolation=how)

    return on_both(change)


def compressed(crf, shown):
    """Each eye by itself as frame ``shown`` of a clip of five frames in H.264 (0 is the intra frame).

    The picture rises by three rows a frame and is in its own place in the frame shown, so that what is predicted from
    other frames is predicted from motion, not copied.
    """
    return on_both(lambda eye: _through_h264(eye, crf, shown))


def _through_h264(eye, crf, shown, frames=5, rows_a_frame=3):
    height, width = eye.shape[:2]
    codes = np.rint(_within(eye) * 255).astype(np.uint8)
    even = np.pad(codes, ((0, height % 2), (0, width % 2), (0, 0)), "edge")
    held = io.BytesIO()
    with av.open(held, "w", format="matroska") as container:
        stream = container.add_stream("libx264", rate=24)
        stream.height, stream.width = even.shape[:2]
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": str(crf), "preset": "medium"}
        for index in range(frames):
            moved_up = np.roll(even, rows_a_frame * (shown - index), axis=0)
            container.mux(stream.encode(av.VideoFrame.from_ndarray(moved_up, format="rgb24")))
        container.mux(stream.encode())
    held.seek(0)
    with av.open(held) as container:
        decoded = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]
    assert len(decoded) == frames
    return np.float32(decoded[shown][:height, :width]) / 255


def _within(eye):
    return np.clip(eye, 0, 1).astype(np.float32)


# What is hard, or cannot be measured at all. Confidence must know it.


def hard_of(known):
    """Hard versions of one pair of pictures, parallax as before."""
    width = known.left.shape[1]
    darker = noisy(0.004)
    yield "dark with grain", known.spoilt(lambda left, right: darker(left * np.float32(0.03), right * np.float32(0.03)))
    yield "out of focus in both eyes", known.spoilt(on_both(lambda eye: cv2.GaussianBlur(eye, (0, 0), width / 120)))
    yield "noise of 10 %", known.spoilt(noisy(0.10))
    yield "H.264 crf 45", known.spoilt(compressed(45, 0))
    yield "right eye lower by 5 %", known.spoilt(moved(down_share=0.05))
    yield "right eye turned by 5 degrees", known.spoilt(moved(turn_deg=5))
    yield "right eye 8 % larger", known.spoilt(moved(size_pct=8))
    yield "right half black in both eyes", _half_black(known, np.arange(width) >= width // 2, both=True)
    yield "right half black in the right eye", _half_black(known, np.arange(width) >= width // 2, both=False)
    yield "right eye exchanged for noise", _unrelated(known, _noise(known.right.shape))
    yield "right eye upside down", _unrelated(known, known.right[::-1].copy())
    yield "eyes exchanged", _exchanged(known)


def _half_black(known, dark, *, both):
    """Columns of the right eye, or of both, made black; what then has no partner takes no part in the truth."""
    lit = np.float32(~dark)[None, :, None]
    width = known.parallax_px.shape[1]
    partner = np.rint(np.arange(width)[None, :] + np.nan_to_num(known.parallax_px)).astype(int).clip(0, width - 1)
    seen = known.seen & ~dark[partner] & ~(dark & both)[None, :]
    truth = np.percentile(known.parallax_px[seen], PERCENTILES) * 100 / width
    left = known.left * lit if both else known.left
    return replace(known, left=left, right=known.right * lit, truth_pct=tuple(truth), seen=seen)


def _exchanged(known):
    """The right eye for the left and the left for the right: every parallax turns its sign.

    The truth is that of the former left eye's pixels; slanted surfaces have a few more or less in the other eye.
    """
    near, median, far = known.truth_pct
    return replace(known, left=known.right, right=known.left, truth_pct=(-far, -median, -near))


def _unrelated(known, right):
    return replace(known, right=right, truth_pct=UNKNOWN)


def _noise(shape, seed=11):
    return np.random.default_rng(seed).random(shape, np.float32)


def hard_by_itself():
    """Hard pictures that are made from nothing else."""
    pairs = list(photographed())
    for one, other in pairwise(pairs):
        right = cv2.resize(other.right, one.left.shape[1::-1], interpolation=cv2.INTER_AREA)
        yield f"left eye of {one.name}, right eye of {other.name}", _unrelated(one, right)
    for seed in range(3):
        yield f"flat wall behind a thing, {seed}", _flat_wall(seed)
        for period_pct in (1.5, 3.0):
            yield f"stripes every {period_pct} % of width, {seed}", _stripes(seed, period_pct)


def _flat_wall(seed):
    """A thing before a wall without texture: how far the wall lies cannot be seen, and the truth alone tells."""
    rng = np.random.default_rng(600 + seed)
    wall, thing = rng.uniform(0.5, 2.0), rng.uniform(-3.0, -1.0)
    box = (0.35, 0.3, 0.6, 0.8)
    scene = layered_scene(960, 540, [Layer(wall, seed=seed), Layer(thing, box, 50 + seed)], seed=seed)
    known, truth = _of_scene(scene, "wall"), scene.truth(0)

    def painted(eye, surface):
        grain = rng.normal(0, 0.004, (*surface.shape, 1))
        return np.float32(np.where(surface[..., None] == 0, np.float32([0.55, 0.52, 0.48]) + grain, eye))

    left, right = painted(known.left, truth.left_surface), painted(known.right, truth.right_surface)
    return replace(known, left=left, right=right)


def _stripes(seed, period_pct, width=960, height=540):
    """Upright stripes all over, so that every multiple of their distance would match as well."""
    rng = np.random.default_rng(700 + seed)
    parallax = rng.uniform(-4.0, 2.0) * width / 100
    period = period_pct * width / 100

    def eye(shift):
        wave = 0.5 + 0.35 * np.sin(2 * np.pi * (np.arange(width) - shift) / period)
        picture = np.broadcast_to(wave[None, :, None], (height, width, 3))
        return _within(picture + rng.normal(0, 0.004, (height, width, 1)))

    truth = (parallax * 100 / width,) * 3
    everywhere = np.full((height, width), parallax)
    return Known("stripes", "scenes", eye(0.0), eye(parallax), truth, everywhere, np.ones((height, width), bool))
