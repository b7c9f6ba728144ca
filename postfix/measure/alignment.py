"""Vertical shift, rotation and size of the right eye against the left, found from points and removed before matching.

A point at (x, y) from the picture centre in the left eye lies at ``y + t + θ·x + (s − 1)·y`` in the right eye, whatever
its parallax, so the three can be told from heights alone and none of the parallax leaks into them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax
from postfix.measure.proxy import Grey, Grey8

Points = npt.NDArray[np.float32]

_MAX_POINTS = 400
_MIN_POINTS = 24
_AGREEING_SHARE = 0.4
_TRACK_WINDOW = (15, 15)
_ROUND_TRIP_PX = 0.3
_WORTH_REMOVING_PX = 0.08


@dataclass(frozen=True)
class Misfit:
    """Right eye against left, in proxy pixels and about the picture centre.

    Attributes
    ----------
    vertical_px : float
        Positive where the right picture is lower.
    rotation : float
        Radians; positive where the right picture is turned clockwise as seen.
    size : float
        1.01 where the right picture is 1 % larger.
    """

    vertical_px: float
    rotation: float
    size: float

    def worth_removing(self, width: int, height: int) -> bool:
        """Whether any corner of a picture lies off by more than matching by rows should bear."""
        corner = abs(self.vertical_px) + abs(self.rotation) * width / 2 + abs(self.size - 1.0) * height / 2
        return corner > _WORTH_REMOVING_PX


@dataclass(frozen=True)
class PointMatches:
    """Points found in both eyes, (n, 2) float32 as (x, y) in proxy pixels."""

    left: Points
    right: Points


def matched_points(left: Grey8, right: Grey8, coarse: Parallax) -> PointMatches:
    """Corners of the left eye followed into the right, started from a coarse parallax map, there and back."""
    corners = cv2.goodFeaturesToTrack(left, _MAX_POINTS, 0.01, max(4, left.shape[1] // 80), blockSize=5)
    if corners is None:
        none = np.empty((0, 2), np.float32)
        return PointMatches(none, none)
    start = corners.reshape(-1, 2).astype(np.float32)
    guess = start.copy()
    guess[:, 0] += _sampled(_filled(coarse), start, left.shape)
    # Two levels reach about four window widths, enough for 2 % of height and for the coarse map's own error.
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 0.005)

    def track(a: Grey8, b: Grey8, at: Points, seed: Points) -> tuple[Points, npt.NDArray[np.bool_]]:
        found, status, _ = cv2.calcOpticalFlowPyrLK(
            a, b, at, seed.copy(), winSize=_TRACK_WINDOW, maxLevel=2, criteria=criteria,
            flags=cv2.OPTFLOW_USE_INITIAL_FLOW, minEigThreshold=1e-3,
        )  # fmt: skip
        return np.asarray(found, np.float32), np.asarray(status).ravel() == 1

    there, went = track(left, right, start, guess)
    back, came = track(right, left, there, start)
    good = went & came & (np.abs(back - start).max(axis=1) < _ROUND_TRIP_PX)
    height, width = left.shape
    good &= (there >= 0).all(axis=1) & (there[:, 0] < width) & (there[:, 1] < height)
    return PointMatches(start[good], there[good])


def _filled(coarse: Parallax) -> Parallax:
    """The map with its gaps set to its median, or to zero where it holds nothing at all (a starting guess only)."""
    known = np.isfinite(coarse)
    return np.where(known, coarse, np.float32(np.median(coarse[known]) if known.any() else 0.0))


def _sampled(coarse: Parallax, points: Points, shape: tuple[int, ...]) -> npt.NDArray[np.float32]:
    rows = np.clip((points[:, 1] * coarse.shape[0] / shape[0]).astype(int), 0, coarse.shape[0] - 1)
    columns = np.clip((points[:, 0] * coarse.shape[1] / shape[1]).astype(int), 0, coarse.shape[1] - 1)
    return np.asarray(coarse[rows, columns], np.float32)


def find_misfit(points: PointMatches, width: int, height: int) -> Misfit | None:
    """Fit shift, rotation and size to matched points by reweighted least squares (Tukey's biweight).

    Returns None where there are too few points, or too few that agree, to say anything.
    """
    if len(points.left) < _MIN_POINTS:
        return None
    centre = np.array([(width - 1) / 2.0, (height - 1) / 2.0])
    y_left = points.left[:, 1] - centre[1]
    x_right = points.right[:, 0] - centre[0]
    rise = points.right[:, 1].astype(np.float64) - points.left[:, 1]
    unknowns = np.column_stack([np.ones_like(rise), x_right, y_left])
    weights = np.ones_like(rise)
    spread = 1.4826 * float(np.median(np.abs(rise - np.median(rise)))) + 0.5
    solution = np.zeros(3)
    for _ in range(12):
        root = np.sqrt(weights)[:, None]
        solution, *_rest = np.linalg.lstsq(unknowns * root, rise * root[:, 0], rcond=None)
        left_over = rise - unknowns @ solution
        agreeing = np.abs(left_over) < 4.685 * spread
        if np.count_nonzero(agreeing) < max(_MIN_POINTS, _AGREEING_SHARE * len(rise)):
            return None
        weights = np.where(agreeing, (1.0 - (left_over / (4.685 * spread)) ** 2) ** 2, 0.0)
        spread = max(1.4826 * float(np.median(np.abs(left_over[agreeing]))), 0.02)
    return Misfit(float(solution[0]), float(solution[1]), 1.0 + float(solution[2]))


Picture = TypeVar("Picture", Grey, Grey8)


def without_misfit(right: Picture, misfit: Misfit, scale: float) -> Picture:
    """The right eye moved, turned and scaled back onto the left's rows; unchanged where that is not worth it.

    Parameters
    ----------
    right : (H, W) float32 or uint8
    misfit : Misfit
        In proxy pixels.
    scale : float
        Pixels of ``right`` per proxy pixel.
    """
    height, width = right.shape
    if not misfit.worth_removing(round(width / scale), round(height / scale)):
        return right
    centre_x, centre_y = (width - 1) / 2.0, (height - 1) / 2.0
    cos, sin = misfit.size * math.cos(misfit.rotation), misfit.size * math.sin(misfit.rotation)
    # Where each pixel of the straightened picture is found in the right eye.
    source = np.array(
        [
            [cos, -sin, centre_x - cos * centre_x + sin * centre_y],
            [sin, cos, centre_y - sin * centre_x - cos * centre_y + misfit.vertical_px * scale],
        ]
    )
    straight = cv2.warpAffine(
        right, source, (width, height), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(straight, right.dtype)
