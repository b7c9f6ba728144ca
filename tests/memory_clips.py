"""Clips that lie in memory: a crop that moves unevenly across made-up scenes, as a pair that can be measured."""

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from pathlib import Path

import numpy as np

from postfix.demo.layers import Layer, layered_scene
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat, PlaneFormat

WIDTH, HEIGHT = 320, 180
RATE = Fraction(24)
SCENES = {3: (0.5, -0.7), 20: (0.9, -0.2), 41: (-0.4, -1.5)}
"""Parallax of backdrop and front by the scene's seed, in percent of the crop's width; kept in every crop."""

_SPARE = (80, 40)


@dataclass(frozen=True)
class MemoryEye:
    """An eye whose pictures (H, W, 3) uint8 are in memory."""

    pictures: tuple
    path: Path = Path("gull")
    rate: Fraction = RATE
    first_number: int = 1001
    timecode: str | None = None

    @property
    def format(self):
        height, width = self.pictures[0].shape[:2]
        plane = PlaneFormat(1, 1, 3, (0.0,) * 3)
        return PictureFormat(width, height, "rgb-8bit", "uint8", 8, 255.0, False, (plane,))

    @property
    def count(self):
        return len(self.pictures)

    def frames(self, first=0, last=None, *, colour_every=1):
        for picture in self.pictures[first : None if last is None else last + 1]:
            yield (picture,)

    def files(self):
        return []


def pair_of(lefts, rights, timecode="10:00:00:00"):
    return PairSource(MemoryEye(tuple(lefts), timecode=timecode), MemoryEye(tuple(rights)), "gull")


@cache
def scene(seed):
    """Both eyes of a scene larger than the crop, (H, W, 3) uint8."""
    share = WIDTH / (WIDTH + _SPARE[0])
    far, near = (pct * share for pct in SCENES[seed])
    layers = [Layer(far, seed=seed), Layer(near, (0.3, 0.3, 0.7, 0.8), seed + 5)]
    shown = layered_scene(WIDTH + _SPARE[0], HEIGHT + _SPARE[1], layers, seed=seed, grain=0.0).render(0)
    return [(np.clip(np.asarray(eye), 0, 1) * 255).astype(np.uint8) for eye in shown]


def crop(seed, eye, number):
    """The crop at a moment: 0 is left; some pixels a frame, never steadily."""
    x = round(_SPARE[0] / 2 * (1 + 0.8 * np.sin(number * 0.11) + 0.2 * np.sin(number * 0.53)))
    y = round(_SPARE[1] / 2 * (1 + 0.9 * np.sin(number * 0.13 + 1.0)))
    return scene(seed)[eye][y : y + HEIGHT, x : x + WIDTH].copy()


def shown(seed, frames, *, first=0, late=0):
    """Left and right pictures of a shot, the right eye ``late`` by some frames."""
    numbers = range(first, first + frames)
    return [crop(seed, 0, number) for number in numbers], [crop(seed, 1, number - late) for number in numbers]


def joined(*shots):
    lefts, rights = ([picture for shot in shots for picture in shot[eye]] for eye in (0, 1))
    return pair_of(lefts, rights)


def with_pictures(pair, change):
    """The pair with ``change(frame, left, right)`` applied to copies of its pictures."""
    both = [
        change(frame, left.copy(), right.copy())
        for frame, (left, right) in enumerate(zip(pair.left.pictures, pair.right.pictures))
    ]
    lefts, rights = zip(*both)
    return replace(pair, left=replace(pair.left, pictures=lefts), right=replace(pair.right, pictures=rights))
