"""Made-up edits whose cuts are known: photographs and drawn scenes, moved, lit and joined as in a film.

What is easily taken for a cut is in them on purpose: flashes, strobes, whips, crash zooms, lamps that are switched,
things that pass before the lens. So is what is easily overlooked: shots of one set in a row, dark and pale shots,
dissolves between moving shots.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from typing import NamedTuple

import cv2
import numpy as np
import numpy.typing as npt
import skimage.data

from postfix.measure.cuts import CutFinder
from postfix.measure.likeness import signature
from postfix.source.shots import Transition

WIDTH, HEIGHT = 480, 270
SHOTS = 60
SHOT_FRAMES = (20, 80)
DISSOLVE_FRAMES = (8, 24)
BLACK_FRAMES = 8
CUT_WITHIN = 1
"""A found cut hits a true one at most this many frames away."""
DISSOLVE_WITHIN = 2
"""A found dissolve hits a true one if its middle lies in its frames or at most this many beside them."""

Picture = npt.NDArray[np.float32]

PHOTOGRAPHS = (
    "astronaut",
    "camera",
    "chelsea",
    "clock",
    "coffee",
    "coins",
    "hubble_deep_field",
    "immunohistochemistry",
    "moon",
    "retina",
    "rocket",
    "stereo_motorcycle",
)
"""Photographs that lie in the scikit-image wheel; nothing is fetched."""

INCIDENTS = ("flash", "strobe", "ramp", "whip", "lamp", "passer", "crash zoom")


@cache
def photograph(name: str) -> Picture:
    """Luma of a photograph, 0 to 1."""
    picture = getattr(skimage.data, name)()
    picture = picture[0] if isinstance(picture, tuple) else picture
    if picture.ndim == 3:
        picture = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    return np.asarray(picture, np.float32) / 255.0


@lru_cache(maxsize=8)
def drawn(number: int) -> Picture:
    """A drawn scene (360, 640): a slope of light, clouds of several sizes, walls and round things."""
    rng = np.random.default_rng([number, 77])
    height, width = 360, 640
    across, down = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height))
    picture = 0.5 + rng.normal(0, 0.2) * across + rng.normal(0, 0.2) * down
    for cell in (120, 40, 12):
        coarse = rng.normal(0, 1, (height // cell + 3, width // cell + 3)).astype(np.float32)
        picture += rng.uniform(0.02, 0.12) * cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    picture = picture.astype(np.float32)
    for _ in range(rng.integers(4, 14)):
        x, y = int(rng.integers(0, width)), int(rng.integers(0, height))
        half_width, half_height = (int(v) for v in rng.integers(8, 110, 2))
        level = float(rng.uniform(0, 1))
        if rng.random() < 0.5:
            cv2.rectangle(picture, (x - half_width, y - half_height), (x + half_width, y + half_height), level, -1)
        else:
            cv2.ellipse(picture, (x, y), (half_width, half_height), float(rng.uniform(0, 180)), 0, 360, level, -1)
    return np.clip(picture, 0.0, 1.0)


@dataclass(frozen=True)
class Layer:
    """A thing that moves across the picture before the backdrop."""

    texture: Picture
    mask: Picture
    start: tuple[float, float]
    speed: tuple[float, float]

    def over(self, picture: Picture, frame: float) -> Picture:
        x, y = (self.start[axis] + self.speed[axis] * frame for axis in (0, 1))
        move = np.array([[1, 0, x], [0, 1, y]], np.float32)
        size = (WIDTH, HEIGHT)
        mask = cv2.warpAffine(self.mask, move, size)
        return picture + mask * (cv2.warpAffine(self.texture, move, size) - picture)


@dataclass
class MadeShot:
    """One shot: where it looks, how it moves, how it is lit, and what happens in it."""

    backdrop: Picture
    look: tuple[float, float, float]
    """Column and row of the middle and width of the view, in pixels of the backdrop."""
    frames: int
    seed: int
    pan: tuple[float, float] = (0.0, 0.0)
    zoom: float = 0.0
    shake_px: float = 0.0
    gain: float = 1.0
    lift: float = 0.0
    gamma: float = 1.0
    grain: float = 0.01
    layers: list[Layer] = field(default_factory=list)
    light: Picture = field(default_factory=lambda: np.zeros(0, np.float32))
    flash: Picture = field(default_factory=lambda: np.zeros(0, np.float32))
    whip_px: Picture = field(default_factory=lambda: np.zeros(0, np.float32))
    jump_zoom: Picture = field(default_factory=lambda: np.zeros(0, np.float32))
    incidents: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.light = np.ones(self.frames, np.float32)
        self.flash = np.zeros(self.frames, np.float32)
        self.whip_px = np.zeros(self.frames, np.float32)
        self.jump_zoom = np.zeros(self.frames, np.float32)
        rng = np.random.default_rng([self.seed, 5])
        self._shake = rng.normal(0, self.shake_px, (self.frames, 2)) + 3 * self.shake_px * np.sin(
            np.arange(self.frames)[:, None] / rng.uniform(2, 8, 2) + rng.uniform(0, 6, 2)
        )

    def picture(self, frame: int) -> Picture:
        """Luma of a frame, (HEIGHT, WIDTH), before grain."""
        x, y, view = self.look
        travelled = float(self.whip_px[: frame + 1].sum())
        scale = WIDTH / view * float(np.exp(self.zoom * frame + self.jump_zoom[: frame + 1].sum()))
        x += (self.pan[0] * frame + travelled + self._shake[frame, 0]) / scale
        y += (self.pan[1] * frame + self._shake[frame, 1]) / scale
        warp = np.array([[scale, 0, WIDTH / 2 - scale * x], [0, scale, HEIGHT / 2 - scale * y]], np.float32)
        out = cv2.warpAffine(self.backdrop, warp, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT_101)
        for layer in self.layers:
            out = layer.over(out, frame)
        blur = int(abs(self.whip_px[frame]) / 2)
        if blur > 1:
            out = cv2.blur(out, (blur, 1))
        out = self.lift + self.gain * self.light[frame] * np.clip(out, 0.0, 1.0) ** self.gamma
        return np.clip(out + self.flash[frame], 0.0, 1.0)


def _cut_out(rng: np.random.Generator, texture: Picture, size_px: tuple[int, int]) -> tuple[Picture, Picture]:
    """A rounded piece of a texture and its mask, with soft rims, on a canvas of the frame's size."""
    width, height = size_px
    canvas, mask = np.zeros((2, HEIGHT, WIDTH), np.float32)
    piece = cv2.resize(texture, (max(2, width), max(2, height)))[:HEIGHT, :WIDTH]
    canvas[: piece.shape[0], : piece.shape[1]] = piece
    half = (max(1, piece.shape[1] // 2 - 2), max(1, piece.shape[0] // 2 - 2))
    if rng.random() < 0.6:
        cv2.ellipse(mask, (half[0] + 1, half[1] + 1), half, 0, 0, 360, 1.0, -1)
    else:
        mask[2 : 2 * half[1], 2 : 2 * half[0]] = 1.0
    return canvas, cv2.GaussianBlur(mask, (0, 0), 1.0)


def _layers(rng: np.random.Generator) -> list[Layer]:
    layers = []
    for _ in range(int(rng.choice([0, 0, 1, 1, 2, 3]))):
        width, height = int(rng.uniform(0.05, 0.35) * WIDTH), int(rng.uniform(0.15, 0.8) * HEIGHT)
        texture, mask = _cut_out(rng, _backdrop(rng), (width, height))
        speed = (float(rng.normal(0, 3.0)), float(rng.normal(0, 0.5)))
        layers.append(Layer(texture, mask, (float(rng.uniform(0, WIDTH)), float(rng.uniform(0, HEIGHT / 2))), speed))
    return layers


def _backdrop(rng: np.random.Generator) -> Picture:
    if rng.random() < 0.7:
        return photograph(PHOTOGRAPHS[int(rng.integers(len(PHOTOGRAPHS)))])
    return drawn(int(rng.integers(10_000)))


def made_shot(rng: np.random.Generator, frames: int, like: MadeShot | None = None) -> MadeShot:
    """A shot; with ``like``, of the same set in the same light from another place."""
    backdrop = _backdrop(rng) if like is None else like.backdrop
    height, width = backdrop.shape
    view = float(rng.uniform(0.35, 0.75) * width)
    x, y = float(rng.uniform(0.3, 0.7) * width), float(rng.uniform(0.3, 0.7) * height)
    if like is not None:
        # Another place on the same set: more than half a view aside, or much nearer or farther.
        x = like.look[0] + float(rng.choice([-1, 1])) * rng.uniform(0.55, 0.9) * max(view, like.look[2])
    move = rng.choice(["still", "pan", "zoom", "hand"])
    shake_px = float(rng.uniform(0.5, 4.0)) if move == "hand" else 0.0
    shot = MadeShot(backdrop, (x, y, view), frames, int(rng.integers(1 << 30)), shake_px=shake_px)
    if move == "pan":
        shot.pan = (float(rng.normal(0, 4.0)), float(rng.normal(0, 0.8)))
    if move == "zoom":
        shot.zoom = float(rng.normal(0, 0.006))
    if move == "hand":
        shot.pan = (float(rng.normal(0, 1.0)), 0.0)
    shot.layers = _layers(rng)
    shot.grain = float(rng.uniform(0.002, 0.02))
    if like is not None:
        shot.gain, shot.lift, shot.gamma = like.gain, like.lift, like.gamma
    else:
        look = rng.choice(["plain", "plain", "plain", "dark", "pale"])
        shot.gamma = float(rng.uniform(0.8, 1.4))
        if look == "dark":
            shot.gain, shot.lift, shot.grain = float(rng.uniform(0.06, 0.2)), 0.01, shot.grain / 2
        if look == "pale":
            shot.gain = float(rng.uniform(0.12, 0.3))
            shot.lift = float(rng.uniform(0.2, 0.6))
    return shot


def _add_incident(rng: np.random.Generator, shot: MadeShot, first: int, last: int) -> None:
    """One incident in frames first to last, where both are of one shot alone."""
    room = last - first + 1
    kind = str(rng.choice(INCIDENTS))
    length = {
        "flash": int(rng.integers(1, 4)),
        "strobe": int(rng.integers(8, 20)),
        "ramp": int(rng.integers(8, 30)),
        "whip": int(rng.integers(4, 10)),
        "lamp": 1,
        "passer": int(rng.integers(6, 14)),
        "crash zoom": int(rng.integers(6, 14)),
    }[kind]
    if length + 8 > room:
        return
    start = int(rng.integers(first + 4, last - length - 3 + 1))
    during = slice(start, start + length)
    if kind == "flash":
        shot.flash[during] = float(rng.uniform(0.15, 0.9)) * np.linspace(1.0, 0.5, length)
    elif kind == "strobe":
        period = int(rng.integers(1, 4))
        shot.light[during] = np.where((np.arange(length) // period) % 2, 1.0, float(rng.choice([0.1, 0.4, 1.8, 2.5])))
    elif kind == "ramp":
        goal = float(rng.choice([0.3, 0.5, 1.8, 2.2]))
        shot.light[during] = np.linspace(1.0, goal, length)
        shot.light[during.stop :] = goal
    elif kind == "whip":
        speed = np.sin(np.linspace(0.3, np.pi - 0.3, length))
        shot.whip_px[during] = float(rng.choice([-1, 1])) * rng.uniform(0.6, 1.5) * WIDTH * speed / speed.sum()
    elif kind == "lamp":
        shot.light[start:] *= float(rng.choice([0.45, 0.6, 1.6, 2.0]))
    elif kind == "crash zoom":
        shot.jump_zoom[during] = float(rng.choice([-0.5, 0.5, 0.7])) / length
    else:
        texture, mask = _cut_out(rng, 0.4 * _backdrop(rng), (int(rng.uniform(0.4, 0.8) * WIDTH), HEIGHT))
        step = 1.7 * WIDTH / length
        way = 1 if rng.random() < 0.5 else -1
        begin = -way * (0.35 * WIDTH + 0.5 * WIDTH)
        shot.layers.append(Layer(texture, mask, (begin + 0.2 * WIDTH - way * step * start, 0.0), (way * step, 0.0)))
    shot.incidents.append(kind)


@dataclass(frozen=True)
class Joint:
    """How one shot follows another: ``cut``, ``dissolve`` or ``fade`` (to black and back), and over how many frames."""

    kind: str
    frames: int = 0


class Edit:
    """An edit made from a seed.

    Attributes
    ----------
    transitions : tuple of Transition
        The truth. A fade to black and back is a cut in the middle of the black.
    """

    def __init__(self, seed: int, shots: int = SHOTS) -> None:
        rng = np.random.default_rng([seed, 20])
        self.seed = seed
        self._joints = [self._joint(rng) for _ in range(shots - 1)]
        ends = [Joint("cut"), *self._joints, Joint("cut")]
        self._shots: list[MadeShot] = []
        for number in range(shots):
            own = int(rng.integers(SHOT_FRAMES[0], SHOT_FRAMES[1] + 1))
            before, after = ends[number].frames, ends[number + 1].frames
            like = self._shots[-1] if self._shots and rng.random() < 0.3 else None
            shot = made_shot(rng, own + before + after, like)
            for _ in range(int(rng.choice([0, 1, 1, 2]))):
                _add_incident(rng, shot, before, before + own - 1)
            self._shots.append(shot)
        self.transitions = tuple(self._truth())
        self.incidents = Counter(kind for shot in self._shots for kind in shot.incidents)

    @staticmethod
    def _joint(rng: np.random.Generator) -> Joint:
        kind = str(rng.choice(["cut", "dissolve", "fade"], p=[0.70, 0.25, 0.05]))
        if kind == "dissolve":
            return Joint(kind, int(rng.integers(DISSOLVE_FRAMES[0], DISSOLVE_FRAMES[1] + 1)))
        return Joint(kind, int(rng.integers(8, 20)) if kind == "fade" else 0)

    def _truth(self) -> Iterator[Transition]:
        at = 0
        for shot, joint, before in zip(self._shots, self._joints, [Joint("cut"), *self._joints]):
            at += shot.frames - joint.frames - (before.frames if before.kind == "dissolve" else 0)
            first, at = at, at + joint.frames
            if joint.kind == "dissolve":
                yield Transition(first + joint.frames // 2, "dissolve", first, at - 1)
            elif joint.kind == "fade":
                yield Transition(at + BLACK_FRAMES // 2, "cut", at, at + BLACK_FRAMES - 1)
                at += BLACK_FRAMES
            else:
                yield Transition(at, "cut", at, at)

    def frames(self) -> Iterator[npt.NDArray[np.uint8]]:
        """Luma, (HEIGHT, WIDTH) uint8, frame by frame."""
        rng = np.random.default_rng([self.seed, 21])
        noise = rng.normal(0, 1, (HEIGHT + 64, WIDTH + 64)).astype(np.float32)

        def grained(picture: Picture, grain: float) -> npt.NDArray[np.uint8]:
            y, x = rng.integers(0, 64, 2)
            out = picture + grain * noise[y : y + HEIGHT, x : x + WIDTH]
            return np.clip(out * 255.0 + 0.5, 0, 255).astype(np.uint8)

        joints = [*self._joints, Joint("cut")]
        for number, (shot, joint) in enumerate(zip(self._shots, joints)):
            before = self._joints[number - 1] if number else Joint("cut")
            start = before.frames if before.kind == "dissolve" else 0
            for frame in range(start, shot.frames - joint.frames):
                shown = 1.0
                if before.kind == "fade" and frame < before.frames:
                    shown = (frame + 1) / (before.frames + 1)
                yield grained(shown * shot.picture(frame), shot.grain)
            if joint.kind == "cut":
                continue
            for step in range(joint.frames):
                share = (step + 1) / (joint.frames + 1)
                old = shot.picture(shot.frames - joint.frames + step)
                new = self._shots[number + 1].picture(step) if joint.kind == "dissolve" else np.zeros_like(old)
                yield grained((1 - share) * old + share * new, shot.grain)
            if joint.kind == "fade":
                for _ in range(BLACK_FRAMES):
                    yield grained(np.zeros((HEIGHT, WIDTH), np.float32), 0.002)


class Score(NamedTuple):
    """Precision and recall with kinds right, and what they come from."""

    precision: float
    recall: float
    counts: dict[str, int]


def hits(truth: Transition, found: Transition) -> bool:
    """Whether a found transition is at a true one, whatever its kind."""
    if truth.kind == "dissolve":
        return truth.first - DISSOLVE_WITHIN <= found.frame <= truth.last + DISSOLVE_WITHIN
    if truth.last > truth.first:
        return truth.first - CUT_WITHIN <= found.frame <= truth.last + CUT_WITHIN
    return abs(truth.frame - found.frame) <= CUT_WITHIN


def score(truths: Sequence[Transition], found: Sequence[Transition]) -> Score:
    """Each true transition takes at most one found one; a hit of another kind is a miss and a false one."""
    left = list(found)
    counts: Counter[str] = Counter(true=len(truths), found=len(found))
    for truth in truths:
        near = [one for one in left if hits(truth, one)]
        if not near:
            counts[f"missed {truth.kind}"] += 1
            continue
        best = min(near, key=lambda one: (one.kind != truth.kind, abs(one.frame - truth.frame)))
        left.remove(best)
        counts["hit"] += best.kind == truth.kind
        counts["hit of another kind"] += best.kind != truth.kind
    for one in left:
        counts[f"false {one.kind}"] += 1
    return Score(counts["hit"] / max(1, len(found)), counts["hit"] / max(1, len(truths)), dict(counts))


def evaluate(seed: int, shots: int = SHOTS) -> Score:
    """Find the cuts of a made-up edit and hold them against the truth."""
    edit = Edit(seed, shots)
    finder = CutFinder()
    for picture in edit.frames():
        finder.add(signature(picture))
    return score(edit.transitions, finder.transitions())
