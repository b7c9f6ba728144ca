"""Whether one eye runs late: the whole-frame offset between the eyes of a shot, from how things move.

Both eyes see the same movement, so what moves at an uneven speed does so in both at once, wherever parallax puts it.
Three kinds of evidence are held against each other at every offset:

- how the whole picture moves from frame to frame (across, down, in size, turning, in brightness), each as a curve over
  time whose mean, that is the steady part, is taken out;
- where the camera stands still, in which rows things change;
- where the camera stands still, how much changes.

Steady level movement tells nothing: a late eye and more or less parallax look alike there. So only uneven movement
counts of the first, and only as far as opposite halves of the two eyes agree on it, as they do on what the camera does
but not on what a steady pan brings into the picture. Frames in which something moves at the side edges, where parallax
decides when it comes in, are left out of the others. The method is the project's own; offsets of less than a frame are
not looked for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.table import NAN

MOST_FRAMES = 12
"""Widest offset looked for, either way."""

SIZE = (48, 54)
"""Columns and rows of the pictures kept of each frame: fine downwards, where parallax does not reach."""

LEAST_FRAMES = 8
"""Shots with fewer frames are not judged."""

LONGEST_FRAMES = 240
"""Of longer shots, the run of this many frames in which most moves is judged."""

Small = npt.NDArray[np.uint8]
Curve = npt.NDArray[np.float64]
Stack = npt.NDArray[np.float32]
Valid = npt.NDArray[np.bool_]

_OWN_MOVES = ("across", "down", "size", "turn", "brightness")

_CONTRAST_CODES = 50.0
"""Standard deviation to which each eye's pictures are brought; the figures in codes below are of such pictures."""

_CLEAR_CODES = 2.0
_WHOLE_SHARE = 0.4
"""The picture moves as a whole where at least this share of the places that its motion should change by so many codes
do change so. Seen: 0.73 and more under a moving camera, 0.09 and less where things move before a still one."""

_LEAST_UNEVEN = 0.02
_UNEVEN_OF_STEADY = 0.08
"""Motion is uneven from this standard deviation in small pixels, and from this share of its mean."""

_UNEVEN_OF_TRAVEL = 0.2
"""Size and turn have to be uneven by this share of the steady motion across and down: things at different depths that
pass at different speeds look like some of both. Seen: 0.17 for size in half of 73 steady pans past things, but 0.73 and
more in a tenth, so this alone does not settle it."""

_LEAST_COMMON = 0.6
"""Correlation over time of one eye's opposite halves from which a motion is the camera's own. In steady pans what
passes through the picture moves one half after the other: seen there 0.64 and less in nine of ten, 0.84 at most."""

_NOISE_CODES = 3.0
_LEAST_CHANGE = 60.0
"""A change below three times the noise is none; less than this sum of codes a step over the picture is nothing."""

_EDGE_COLUMNS = 6
_EDGE_SHARE = 0.05
"""Rows in which more than this share of the change lies in the outermost columns are left out."""

_LEAST_SPREAD = 0.15
"""Change over time in the rows, as a share of the whole, below which movement is too steady to tell. Seen: 0.10 and
less for things crossing level and steadily, 0.16 and more for others."""

_LEAST_PAIRS = 8
_LEAST_RESIDUE = 0.01

_SURE_MARGIN = 6.0
_DISTINCT = 0.5
_LEAST_MARGIN = 0.5
_SHORT_RESIDUE = 0.05
_UNSURE = 0.3
"""How evidence becomes confidence, see :func:`_confidence`; set on 240 made-up clips, whole and cut short, so that
none of the whole ones was told wrong with a confidence of 0.5 or more."""


@dataclass(frozen=True, slots=True)
class SyncSignature:
    """One frame of both eyes, (54, 48) uint8 each: all that is kept of it for the whole shot."""

    left: Small
    right: Small


def sync_signature(left: Small, right: Small) -> SyncSignature:
    """Reduce a frame of both eyes to what the shot's offset is found from.

    Parameters
    ----------
    left, right : (h, w) uint8
        Both eyes at proxy size or smaller; they may differ in brightness.
    """
    small = (np.asarray(cv2.resize(eye, SIZE, interpolation=cv2.INTER_AREA), np.uint8) for eye in (left, right))
    return SyncSignature(*small)


def shot_offset(signatures: Sequence[SyncSignature]) -> tuple[float, float]:
    """Offset of a shot from the signatures of its frames in order.

    Returns
    -------
    offset_frames : float
        How many frames later the right eye shows what the left eye shows, −12 to 12, a whole number; NaN where nothing
        moves unevenly enough to tell.
    confidence : float
        0 to 1: how clearly the offset beats every other.
    """
    if len(signatures) < LEAST_FRAMES:
        return NAN, 0.0
    left, right = _stack([s.left for s in signatures]), _stack([s.right for s in signatures])
    run = _liveliest(left, right)
    told = _evidence(_Movement.of(left[run]), _Movement.of(right[run]))
    if told is None:
        return NAN, 0.0
    best = int(np.argmax(told[0]))
    confidence = _confidence(told, best)
    return (float(best - MOST_FRAMES), confidence) if confidence > 0.0 else (NAN, 0.0)


def _confidence(told: Curve, best: int) -> float:
    """0 to 1 from the evidence (2, 25) at every offset: how far the best lies above the others."""
    evidence, compared = told
    margin = float(evidence[best] - np.delete(evidence, best).max())
    if margin < _LEAST_MARGIN:
        return 0.0
    # Movement that repeats itself looks nearly as much alike a whole swing later.
    apart = np.abs(np.arange(len(evidence)) - best) > 2
    distinct = 1.0 - float(evidence[apart].max()) / float(evidence[best])
    confidence = (1.0 - math.exp(-margin / _SURE_MARGIN)) * min(1.0, distinct / _DISTINCT)
    tried = np.nonzero(compared)[0]
    if len(tried) < len(compared):
        # The shot is too short to try every offset: the true one may be among the others.
        left_over = math.exp(-2.0 * float(evidence[best] / compared[best]))
        if best in (tried[0], tried[-1]) or left_over > _SHORT_RESIDUE:
            return min(confidence, _UNSURE)
    return confidence


@dataclass(frozen=True)
class _Movement:
    """How one eye's picture changes from each frame to the next; the first axis is the step in time."""

    curves: Curve
    halves: Curve
    followed: float
    rows: Curve
    edges: Curve

    @staticmethod
    def of(stack: Stack) -> _Movement:
        change = np.abs(np.diff(stack, axis=0))
        noise = max(1.0, 1.5 * float(np.median(change)))
        active = np.maximum(change - np.float32(_NOISE_CODES * noise), 0.0)
        edges = active[:, :, :_EDGE_COLUMNS].sum(axis=2) + active[:, :, -_EDGE_COLUMNS:].sum(axis=2)
        return _Movement(*_own_motion(stack), active.sum(axis=2, dtype=np.float64), edges.astype(np.float64))


def _stack(pictures: Sequence[Small]) -> Stack:
    """(n, rows, columns) float32, brought to one contrast so that both eyes compare."""
    stack = np.stack(pictures).astype(np.float32)
    return stack * np.float32(_CONTRAST_CODES / max(float(stack[:: max(1, len(stack) // 8)].std()), 10.0))


def _liveliest(left: Stack, right: Stack) -> slice:
    """The run of :data:`LONGEST_FRAMES` in which most changes."""
    if len(left) <= LONGEST_FRAMES:
        return slice(0, len(left))
    change = sum(np.abs(np.diff(eye, axis=0)).mean(axis=(1, 2)) for eye in (left, right))
    sums = np.concatenate(([0.0], np.cumsum(change)))
    runs = sums[LONGEST_FRAMES - 1 :] - sums[: -(LONGEST_FRAMES - 1)]
    first = int(np.argmax(runs))
    return slice(first, first + LONGEST_FRAMES)


def _own_motion(stack: Stack) -> tuple[Curve, Curve, float]:
    """Motion of the whole picture from each frame to the next by robust least squares on its gradients.

    Returns the five curves of :data:`_OWN_MOVES` (steps, 5), in pixels at the small picture (size and turn: at its
    side) and shares of contrast, the same of each half alone (4, steps, 5), see :func:`_of_halves`, and the share of
    the places which this should change that do change so. Things that move against the rest count little.
    """
    smooth = stack
    for axis in (1, 2):
        smooth = (np.roll(smooth, 1, axis) + 2.0 * smooth + np.roll(smooth, -1, axis)) * np.float32(0.25)
    middle = 0.5 * (smooth[1:] + smooth[:-1])
    inner = np.s_[:, 2:-2:2, 2:-2:2]
    change = np.diff(smooth, axis=0)[inner]
    down, across = (0.5 * (np.roll(middle, -1, axis) - np.roll(middle, 1, axis))[inner] for axis in (1, 2))
    rows, columns = change.shape[1:]
    x = np.linspace(-1, 1, columns, dtype=np.float32)[None, None, :]
    y = np.linspace(-1, 1, rows, dtype=np.float32)[None, :, None]
    level = np.full_like(change, _CONTRAST_CODES)
    parts = np.stack([-across, -down, -(x * across + y * down), y * across - x * down, level], axis=1)
    parts = parts.reshape(len(change), len(_OWN_MOVES), -1)
    flat = change.reshape(len(change), -1, 1)
    weighted = parts
    for more in (True, True, False):
        curves = _solved(weighted @ parts.transpose(0, 2, 1), weighted @ flat)
        foretold = parts.transpose(0, 2, 1) @ curves.astype(np.float32)
        rest = np.abs(flat - foretold)
        if not more:
            break
        usual = np.maximum(2.0 * np.median(rest, axis=1, keepdims=True), 1.0)
        weighted = parts * (1.0 / (1.0 + (rest / usual) ** 2)).transpose(0, 2, 1)
    foretold = np.abs(foretold)
    clear = foretold > _CLEAR_CODES
    followed = int(np.count_nonzero(clear & (rest < 0.5 * foretold))) / max(1, int(np.count_nonzero(clear)))
    return np.asarray(curves[..., 0]), _of_halves(weighted, parts, flat, (rows, columns)), followed


def _of_halves(weighted: Stack, parts: Stack, flat: Stack, shape: tuple[int, int]) -> Curve:
    """The curves (4, steps, 5) from the left, right, top and bottom half of the places alone."""
    number = np.arange(shape[0] * shape[1]).reshape(shape)
    row, column = shape[0] // 2, shape[1] // 2
    halves = (number[:, :column], number[:, -column:], number[:row], number[-row:])
    told = []
    for half in (places.ravel() for places in halves):
        some, seen = weighted[:, :, half], parts[:, :, half]
        told.append(_solved(some @ seen.transpose(0, 2, 1), some @ flat[:, half])[..., 0])
    return np.stack(told)


def _solved(normal: Stack, told: Stack) -> Curve:
    """Least squares (steps, 5, 1) from normal matrices and right-hand sides, held to 0 where nothing tells."""
    normal = normal.astype(np.float64)
    size = np.trace(normal, axis1=1, axis2=2)[:, None, None]
    normal += np.eye(len(_OWN_MOVES)) * (1e-4 * size + 1.0)
    return np.asarray(np.linalg.solve(normal, told.astype(np.float64)), np.float64)


def _evidence(left: _Movement, right: _Movement) -> Curve | None:
    """All evidence together at each offset, (2, 25), see :func:`_likelihood`; None where nothing tells."""
    channels = [*_own_curves(left, right), *_local_curves(left, right)]
    if not channels:
        return None
    return np.asarray(sum(channels), np.float64)


def _own_curves(left: _Movement, right: _Movement) -> list[Curve]:
    """Evidence from the motion of the whole picture, where there is one and it is uneven."""
    told: list[Curve] = []
    if min(left.followed, right.followed) < _WHOLE_SHARE:
        return told
    travel = max(float(np.hypot(*eye.curves[:, :2].mean(axis=0))) for eye in (left, right))
    for number in range(len(_OWN_MOVES)):
        a, b = left.curves[:, number], right.curves[:, number]
        uneven = min(float(a.std()), float(b.std()))
        least = max(_LEAST_UNEVEN, _UNEVEN_OF_STEADY * max(abs(float(a.mean())), abs(float(b.mean()))))
        if _OWN_MOVES[number] in ("size", "turn"):
            least = max(least, _UNEVEN_OF_TRAVEL * travel)
        common = min(_in_common(eye, number) for eye in (left, right))
        if uneven >= least and common >= _LEAST_COMMON:
            told.append(_shared(left, right, number))
    return told


def _in_common(eye: _Movement, number: int) -> float:
    """Correlation of a curve between opposite halves of one eye, the lower of left with right and top with bottom."""
    apart = eye.halves[:, :, number] - eye.halves[:, :, number].mean(axis=1, keepdims=True)
    size = np.maximum(np.sqrt((apart**2).sum(axis=1)), 1e-12)
    return min(float((apart[i] * apart[i + 1]).sum() / (size[i] * size[i + 1])) for i in (0, 2))


def _shared(left: _Movement, right: _Movement, number: int) -> Curve:
    """Evidence of one curve at each offset, as far as opposite halves of the two eyes agree on it.

    A camera that moves changes both halves at once. What merely comes into the frame or passes through it in a steady
    pan reaches the other half at another time, or never, though it reaches the same half of the other eye with a delay
    of parallax over speed, as if that eye were late. So no half is held against itself.
    """
    valid = np.ones((len(left.curves), 1), bool)
    found = [_likelihood(left.curves[:, number, None], right.curves[:, number, None], valid, valid)]
    for one, other in ((0, 1), (1, 0), (2, 3), (3, 2)):
        a, b = left.halves[one, :, number, None], right.halves[other, :, number, None]
        found.append(_likelihood(a, b, valid, valid))
    return np.stack([np.min([f[0] for f in found], axis=0), found[0][1]])


def _local_curves(left: _Movement, right: _Movement) -> list[Curve]:
    """Evidence from when, and in which rows, things change in the picture of a camera that stands still."""
    eyes = (left, right)
    if max(left.followed, right.followed) >= _WHOLE_SHARE:
        return []
    activity = [np.sqrt(cv2.blur(eye.rows, (1, 3))) for eye in eyes]
    # Where something is at a side edge, parallax decides how much of it is seen; around it nothing is believed.
    apart = [
        cv2.erode((eye.edges <= _EDGE_SHARE * eye.rows).astype(np.uint8), np.ones((5, 5), np.uint8)) > 0 for eye in eyes
    ]
    for eye, seen, good in zip(eyes, activity, apart):
        if (eye.rows * good).sum() < _LEAST_CHANGE * len(eye.rows) or _spread(seen, good) < _LEAST_SPREAD:
            return []
    return [_likelihood(*activity, *apart)]


def _spread(values: Curve, valid: Valid) -> float:
    """How much of curves (steps, k) is change over time: 0 for constant ones."""
    count = np.maximum(valid.sum(axis=0), 1)
    rest = np.where(valid, values - (values * valid).sum(axis=0) / count, 0.0)
    return float(np.sqrt((rest**2).sum() / max(float((values**2 * valid).sum()), 1e-9)))


def _likelihood(left: Curve, right: Curve, left_valid: Valid, right_valid: Valid) -> Curve:
    """How well curves (steps, k) of both eyes match at each offset: (2, 25), log-likelihood and steps compared.

    With correlation ρ over m steps the log-likelihood over chance is ``−m/2 · ln(1 − ρ²)``; what is left over of a
    perfect match is taken to be at least :data:`_LEAST_RESIDUE`.
    """
    steps, width = left.shape
    found = np.zeros((2, 2 * MOST_FRAMES + 1))
    for index, late in enumerate(range(-MOST_FRAMES, MOST_FRAMES + 1)):
        first, last = max(0, -late), min(steps, steps - late)
        if last - first < _LEAST_PAIRS:
            continue
        both = left_valid[first:last] & right_valid[first + late : last + late]
        count = both.sum(axis=0)
        if count.sum() < _LEAST_PAIRS * width:
            continue
        a, b = left[first:last] * both, right[first + late : last + late] * both
        each = np.maximum(count, 1)
        a, b = a - both * (a.sum(axis=0) / each), b - both * (b.sum(axis=0) / each)
        alike = float((a * b).sum() / max(float(np.sqrt((a * a).sum() * (b * b).sum())), 1e-12))
        left_over = max(1.0 - max(0.0, alike) ** 2, _LEAST_RESIDUE)
        compared = float(count.sum()) / width
        found[:, index] = -0.5 * compared * math.log(left_over), compared
    return found
