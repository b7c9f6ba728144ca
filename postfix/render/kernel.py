"""The kernel that pictures are drawn anew with: a sinc under a window of a few cosines.

What it does to a picture, worst case over all fractions of a sample (computed; ``tests/bench/resampling.py kernel``):

=================================  ===========================  ==================================
against an exact Fourier shift     this window, 48 taps         Kaiser window, beta 6, 16 taps
=================================  ===========================  ==================================
up to 0.5 of Nyquist               −66 dB                       −61 dB
up to 0.65 of Nyquist              −62 dB                       −59 dB
up to 0.8 of Nyquist               −40 dB                       −33 dB
overshoot on a full step           11.99 %                      13.5 %
least gain up to Nyquist           −0.62                        0.00
ringing beyond three samples       4.6 %                        3.4 %
=================================  ===========================  ==================================

A sinc that is exact up to Nyquist overshoots a step between two neighbouring samples by 13.7 % half-way between them
(2/π = 0.637 of it comes from the sample beside the step). No more than 12 % must be paid for close to Nyquist:
half-way between samples, waves above about 0.87 of it are turned over, with up to 0.62 of their height, so that the
finest grain may flip as a move eases through half a sample. The coefficients are those that turn over least with all
the other figures kept, found by a linear programme (the same file, ``design``). Without the turning over, 12.5 % is the
least that 48 or 64 taps can do. Longer kernels come closer, but little of a picture's edge may be felt 16
samples from it, which leaves the outer taps next to no weight.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

TAPS = 48
"""Input samples that make one output sample along an axis, unless the picture is made smaller."""

WINDOW = (
    -0.32442,
    -0.31983,
    0.2486,
    0.77834,
    0.57734,
    0.04428,
    -0.01416,
    0.00804,
    0.00112,
    -0.00018,
    0.00019,
    0.00039,
)
"""Coefficient k belongs to cos(2πk·distance/TAPS)."""

_FRACTIONS = 1024
"""Steps of the table of weights; between two of them weights are interpolated, which is off by 2e-6 at most."""

Positions = npt.NDArray[np.float64]


def kernel(distance: Positions) -> Positions:
    """Weight, not normalised, of a sample so many samples away; 0 beyond half of :data:`TAPS`."""
    angle = (2.0 * np.pi / TAPS) * distance
    window = np.zeros_like(distance)
    for k, coefficient in enumerate(WINDOW):
        window += coefficient * np.cos(k * angle)
    return np.asarray(np.sinc(distance) * window * (np.abs(distance) <= TAPS / 2))


def weights_at(position: Positions, scale: float) -> tuple[npt.NDArray[np.int64], Positions]:
    """Which input samples make the outputs that are read at these positions.

    Parameters
    ----------
    position : (n,)
        In samples; sample k is at k.
    scale : float
        Input samples per output sample. Above 1 the kernel is widened by it, so that nothing is left that the output
        could not hold.

    Returns
    -------
    first : (n,) int64
        The first input sample, which may lie outside the picture.
    weights : (n, taps)
        Of that and the following samples; each row sums to 1.
    """
    base = np.floor(position)
    fraction = position - base
    if scale <= 1.0:
        at = fraction * _FRACTIONS
        below = np.minimum(at.astype(np.int64), _FRACTIONS - 1)
        share = (at - below)[:, None]
        table = _table()
        weights = table[below] * (1.0 - share) + table[below + 1] * share
        return base.astype(np.int64) - (TAPS // 2 - 1), weights
    half = math.ceil(TAPS / 2 * scale)
    weights = kernel((fraction[:, None] - np.arange(1 - half, half + 1)) / scale)
    weights /= weights.sum(axis=1, keepdims=True)
    return base.astype(np.int64) - (half - 1), weights


@lru_cache(maxsize=1)
def _table() -> Positions:
    fraction = np.arange(_FRACTIONS + 1)[:, None] / _FRACTIONS
    weights = kernel(fraction - np.arange(1 - TAPS // 2, TAPS // 2 + 1))
    return np.asarray(weights / weights.sum(axis=1, keepdims=True))
