"""Whether the pictures themselves bear the dense map out, place by place.

The matcher fills what has no texture with whatever costs least, and follows a repeated pattern at any of its periods.
Neither may become a figure. So the right eye is laid over the left by the map: where the two do not vary alike, the map
is not borne out; and where the left eye looks like itself a little further along the row, a match says little.
"""

from __future__ import annotations

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import SEARCH_PCT, Parallax, filled_from_behind
from postfix.measure.proxy import Grey8, pixel_grid

Mask = npt.NDArray[np.bool_]

_WINDOW = (9, 9)
_LIKENESS = 0.5
_LEAST_SPREAD_CODES = 2.0

_HELD_BY_SHARE = 0.001
_SAME_PCT = 0.15
"""What is not borne out is kept where something that is lies as near and as far, within this much of the width."""

_PATCH = (4, 9)
_ALIKE = 0.95
_OTHER_THING_PX = 5
_PLACES = 16


def borne_out(left: Grey8, right: Grey8, parallax: Parallax) -> Mask:
    """Where both eyes vary alike once laid over each other, (h, w).

    Parameters
    ----------
    left, right : (h, w) uint8
        The proxy, without misfit.
    parallax : (h, w) float32
        Of the left eye; NaN where unknown, and there nothing is borne out.
    """
    columns, rows = pixel_grid(*left.shape)
    place = columns + filled_from_behind(parallax)
    a = left.astype(np.float32)
    b = cv2.remap(right, place, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(np.float32)
    mean_a, mean_b = cv2.blur(a, _WINDOW), cv2.blur(b, _WINDOW)
    power_a = cv2.blur(a * a, _WINDOW) - mean_a * mean_a
    power_b = cv2.blur(b * b, _WINDOW) - mean_b * mean_b
    both = cv2.blur(a * b, _WINDOW) - mean_a * mean_b
    least = np.float32(_LEAST_SPREAD_CODES**2)
    alike = both > np.float32(_LIKENESS) * np.sqrt(np.maximum(power_a, least) * np.maximum(power_b, least))
    return np.asarray(alike & (power_a > least) & np.isfinite(parallax), np.bool_)


def no_guess(parallax: Parallax, supported: Mask) -> Mask:
    """Where the map is borne out, or lies no nearer and no farther than something that is, (h, w).

    The plain inside of a thing keeps the parallax of its borders; a plain wall, which has none, says nothing.
    """
    found = parallax[supported]
    held = int(_HELD_BY_SHARE * parallax.size)
    if found.size <= 2 * held + 2:
        return np.zeros(parallax.shape, np.bool_)
    ordered = np.partition(found, (held, found.size - 1 - held))
    margin = np.float32(_SAME_PCT / 100.0 * parallax.shape[1])
    low, high = ordered[held] - margin, ordered[found.size - 1 - held] + margin
    return np.asarray(supported | ((parallax >= low) & (parallax <= high)), np.bool_)


def share_repeated(left: Grey8, rows: npt.NDArray[np.intp], columns: npt.NDArray[np.intp], reach_px: float) -> float:
    """Of some places of the left eye, the share that look the same elsewhere on their rows, within what was looked at.

    Parameters
    ----------
    left : (h, w) uint8
    rows, columns : (n,) int
    reach_px : float
        How far along the row another match was looked for at proxy size.
    """
    height, width = left.shape
    tall, half = _PATCH
    # That range itself was found by a match over all parallax, which a pattern may have led astray by a whole period.
    reach = int(min(max(reach_px, SEARCH_PCT / 100.0 * width), width // 3))
    taken = np.linspace(0, rows.size - 1, min(_PLACES, rows.size)).astype(np.intp)
    y = np.clip(rows[taken], tall, height - 1 - tall)
    x = np.clip(columns[taken], half, width - 1 - half)
    if reach <= _OTHER_THING_PX or not y.size:
        return 0.0
    steps = np.arange(-reach - half, reach + half + 1)
    line = left[
        (y[:, None] + np.arange(-tall, tall + 1, 2))[:, :, None], np.clip(x[:, None] + steps, 0, width - 1)[:, None, :]
    ]
    shifted = np.lib.stride_tricks.sliding_window_view(line.astype(np.float32), 2 * half + 1, axis=2)
    own = shifted[:, :, reach]
    own = own - own.mean(axis=(1, 2), keepdims=True)
    count = own.shape[1] * own.shape[2]
    mean = shifted.mean(axis=(1, 3))
    power = np.einsum("nrsk,nrsk->ns", shifted, shifted) - count * mean * mean
    both = np.einsum("nrk,nrsk->ns", own, shifted)
    likeness = both / np.sqrt(np.maximum(power * np.einsum("nrk,nrk->n", own, own)[:, None], 1e-6))
    places = x[:, None] + np.arange(-reach, reach + 1)
    other = (np.abs(np.arange(-reach, reach + 1)) > _OTHER_THING_PX) & (places >= 0) & (places < width)
    return float((np.where(other, likeness, 0.0).max(axis=1) > _ALIKE).mean())
