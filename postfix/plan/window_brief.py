"""What lies in front of a side edge for so short a time that it is left alone."""

from __future__ import annotations

from fractions import Fraction

import numpy as np

from postfix.plan.geometry import Array, Mask
from postfix.plan.settings import WindowSettings


def lasting(in_front: Mask, rate: Fraction, settings: WindowSettings) -> Mask:
    """Frames of a shot in which something is in front of an edge, without those that are over too soon to matter.

    Two stretches nearer to each other than ``settings.hold_s`` count as one, from the first frame to the last: a window
    would not close between them either.

    Parameters
    ----------
    in_front : (n,) bool
        Frames of one shot in which content is in front of one edge.
    rate : Fraction
        Frames a second.
    settings : WindowSettings
        Stretches of less than ``brief_s`` are left out.

    Returns
    -------
    (n,) bool
    """
    brief_frames = settings.brief_s * float(rate) - 1e-6
    if brief_frames <= 1.0 or not in_front.any():
        return in_front
    frames = np.flatnonzero(in_front)
    apart = np.diff(frames) - 1
    splits = np.flatnonzero((apart > 0) & (apart >= settings.hold_s * float(rate) - 1e-6))
    starts, ends = np.concatenate([[0], splits + 1]), np.concatenate([splits, [len(frames) - 1]])
    long_enough = frames[ends] - frames[starts] + 1 >= brief_frames
    kept = np.zeros_like(in_front)
    kept[frames[np.repeat(long_enough, ends - starts + 1)]] = True
    return kept


def counted(excess_px: Array, tolerance_px: float, rate: Fraction, settings: WindowSettings) -> Mask:
    """Bands and frames in which content is in front of an edge by more than the tolerance, for long enough to count;
    (n, bands), as :func:`excess_beyond_brief` takes them."""
    in_front = excess_px > tolerance_px
    return np.asarray(in_front & lasting(np.asarray(in_front.any(axis=1)), rate, settings)[:, None])


def excess_beyond_brief(excess_px: Array, tolerance_px: float, rate: Fraction, settings: WindowSettings) -> Array:
    """How far content lies in front of an edge, where it does so for long enough to count.

    Parameters
    ----------
    excess_px : (n, bands) float64
        How far the content of each band lies in front of the edge, all frames of one shot; NaN where there is none.
    tolerance_px : float
        Up to this much in front does not count.
    rate : Fraction
        Frames a second.
    settings : WindowSettings
        Of the plan, so that what it left alone on purpose (``brief_s``) is left alone here too.

    Returns
    -------
    (n, bands) float64
        The same, but nothing above 0 in the frames of brief stretches.
    """
    in_front = np.asarray((excess_px > tolerance_px).any(axis=1))
    brief = in_front & ~lasting(in_front, rate, settings)
    return np.where(brief[:, None], np.minimum(excess_px, 0.0), excess_px)
