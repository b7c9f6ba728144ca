"""The misfit of the right eye against the left (:class:`postfix.measure.misfit.Misfit`), found from points in both.

The height of a point in the right eye depends on its height in the left and its place across the right picture alone,
whatever its parallax: so shift, rotation, size and keystone are all told from heights, and none of the parallax leaks
into them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
import numpy.typing as npt

from postfix.measure.matching import Parallax, coarse_parallax
from postfix.measure.misfit import Misfit, without_misfit
from postfix.measure.proxy import Grey8

__all__ = ["Misfit", "PointMatches", "find_alignment", "find_misfit", "without_misfit"]

Points = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]

_CELLS = 360
_FEW_POINTS = 80
_MIN_POINTS = 24
_AGREEING_SHARE = 0.4
_TRACK_WINDOW = (13, 13)
_TRACK_LEVELS = 2
_ROUND_TRIP_PX = 0.3
_FAINTEST_CORNER = 0.004
_ROW_REACH_SHARE = 0.035
_MOST_SPREAD_SHARE = 0.0015
_TUKEY = 4.685
_MOST_CORNER_ERROR_PX = 0.3
_KEYSTONE_ERRORS = 4.0


@dataclass(frozen=True)
class PointMatches:
    """Points found in both eyes, (n, 2) float32 as (x, y) in proxy pixels."""

    left: Points
    right: Points


def find_alignment(
    left: Grey8, right: Grey8, coarse: Parallax, known: Misfit | None = None, pixel_aspect: float = 1.0
) -> tuple[Misfit | None, PointMatches]:
    """The misfit between two proxies, and points matched between them, the right ones as they lie once it is out.

    A large misfit is looked for twice: what was found first says where to look for the points the second time. Where
    the first look finds none, the rows of both eyes are compared for a shift that hides the points from it. Points are
    always followed into the right eye as it is: straightening it first would add what resampling shifts it by.

    Parameters
    ----------
    left, right : (h, w) uint8
    coarse : (h', w') float32
        Parallax of any smaller size in proxy pixels, NaN where unknown; it may be poor where the misfit is large.
    known : Misfit, optional
        About what it is; ``coarse`` then is of the pair with that taken out. The one returned is the whole misfit.
    pixel_aspect : float
        Width over height of one pixel as it is shown.
    """
    corners = _corners(left)
    misfit, points = _looked_twice(left, right, corners, coarse, known, pixel_aspect)
    if misfit is None and known is None:
        rows = _row_shift(left, right)
        if rows:
            shifted = Misfit(float(rows), 0.0, 1.0)
            level = coarse_parallax(left, without_misfit(right, shifted, 1.0))
            found, found_points = _looked_twice(left, right, corners, level, shifted, pixel_aspect)
            if found is not None:
                return found, found_points
    return misfit, points


def _looked_twice(
    left: Grey8, right: Grey8, corners: Points, coarse: Parallax, known: Misfit | None, pixel_aspect: float
) -> tuple[Misfit | None, PointMatches]:
    height, width = left.shape
    about = known or Misfit(0.0, 0.0, 1.0)
    across = _sampled(_filled(coarse), corners, left.shape)
    guess = about.in_right(_moved_across(corners, across), width, height).astype(np.float32)
    points = _followed(left, right, corners, guess)
    misfit = find_misfit(points, width, height, pixel_aspect)
    if misfit is not None and known is None and misfit.is_large(width, height):
        level = _moved_across(corners, _borne_out(corners, across, points))
        points = _followed(left, right, corners, misfit.in_right(level, width, height).astype(np.float32))
        misfit = find_misfit(points, width, height, pixel_aspect)
    if misfit is None:
        return None, points
    straight = misfit.straightened(points.right, width, height).astype(np.float32)
    return misfit, PointMatches(points.left, straight)


def _moved_across(points: Points, across: npt.NDArray[np.float32]) -> Points:
    moved = points.copy()
    moved[:, 0] += across
    return moved


def _row_shift(left: Grey8, right: Grey8) -> int:
    """By how many rows the right eye lies lower as far as the mean of each row tells; parallax hardly touches that."""
    height, width = left.shape
    reach: int = round(_ROW_REACH_SHARE * height)
    if reach < 2 or height < 8 * reach:
        return 0
    # Four bands across, so that a bright thing on one side does not speak for the whole row.
    edges = np.linspace(0, width, 5).astype(int)
    own, other = (
        np.diff(np.column_stack([eye[:, a:b].mean(axis=1) for a, b in pairwise(edges)]), axis=0)
        for eye in (left, right)
    )
    middle = own[reach:-reach]
    likeness: list[float] = []
    for rows in range(-reach, reach + 1):
        shown = other[reach + rows : len(other) - reach + rows]
        likeness.append(float((middle * shown).sum()) / math.sqrt(float((middle**2).sum() * (shown**2).sum()) + 1e-9))
    return likeness.index(max(likeness)) - reach


def _corners(picture: Grey8) -> Points:
    """The best corner of each of the cells that cover the picture, as far as a cell has one, (n, 2)."""
    height, width = picture.shape
    half = cv2.resize(picture, (max(1, width // 2), max(1, height // 2)), interpolation=cv2.INTER_AREA)
    strength = np.asarray(cv2.cornerMinEigenVal(half, 3, ksize=3), np.float32)
    found = _best_of_cells(strength, _CELLS)
    if len(found) < _FEW_POINTS:
        # Lettering on black fills few cells: smaller ones find more in it.
        found = _best_of_cells(strength, 4 * _CELLS)
    # Following a point reads both pictures between their pixels, which softens each by how far between it lies. That
    # pulls a shift of a quarter pixel by a fiftieth, one way or the other; starts at all fractions cancel it.
    fractions = np.arange(len(found))[:, None] * np.array([0.7548776662, 0.5698402910]) % 1.0
    return np.asarray(found * (width / half.shape[1], height / half.shape[0]) + fractions, np.float32)


def _best_of_cells(strength: npt.NDArray[np.float32], count: int) -> Floats:
    """Where the strongest pixel of each of about ``count`` square cells is, (n, 2); none where nothing is strong."""
    cell = max(4, round(math.sqrt(strength.size / count)))
    down, across = strength.shape[0] // cell, strength.shape[1] // cell
    if down == 0 or across == 0:
        return np.empty((0, 2))
    top, start = (strength.shape[0] - down * cell) // 2, (strength.shape[1] - across * cell) // 2
    cells = strength[top : top + down * cell, start : start + across * cell]
    cells = cells.reshape(down, cell, across, cell).transpose(0, 2, 1, 3).reshape(down * across, cell * cell)
    best, number = cells.argmax(axis=1), np.arange(down * across)
    value = cells[number, best]
    y, x = top + number // across * cell + best // cell, start + number % across * cell + best % cell
    good = value > max(_FAINTEST_CORNER * float(value.max()), 1e-7)
    return np.column_stack([x[good], y[good]]).astype(np.float64)


def _followed(left: Grey8, right: Grey8, start: Points, guess: Points) -> PointMatches:
    """Points followed into the right eye from a guess; kept where they lead back to where they came from."""
    if not len(start):
        return PointMatches(start, start)
    there, went = _tracked(left, right, start, guess, _TRACK_LEVELS)
    height, width = left.shape
    went &= (there >= 0).all(axis=1) & (there[:, 0] <= width - 1) & (there[:, 1] <= height - 1)
    start, there = start[went], there[went]
    if not len(start):
        return PointMatches(start, there)
    # One level only: what has to be looked for over more than a window is not back where it came from.
    back, came = _tracked(right, left, there, start, 0)
    good = came & (np.abs(back - start).max(axis=1) < _ROUND_TRIP_PX)
    return PointMatches(start[good], there[good])


def _tracked(a: Grey8, b: Grey8, at: Points, seed: Points, levels: int) -> tuple[Points, npt.NDArray[np.bool_]]:
    criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 10, 0.02)
    found, status, _ = cv2.calcOpticalFlowPyrLK(
        a, b, at, seed.copy(), winSize=_TRACK_WINDOW, maxLevel=levels, criteria=criteria,
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW, minEigThreshold=1e-3,
    )  # fmt: skip
    return np.asarray(found, np.float32), np.asarray(status).ravel() == 1


def _filled(coarse: Parallax) -> Parallax:
    """The map with its gaps set to its median, or to zero where it holds nothing at all (a starting guess only)."""
    known = np.isfinite(coarse)
    return np.where(known, coarse, np.float32(np.median(coarse[known]) if known.any() else 0.0))


def _sampled(coarse: Parallax, points: Points, shape: tuple[int, ...]) -> npt.NDArray[np.float32]:
    rows = np.clip((points[:, 1] * coarse.shape[0] / shape[0]).astype(int), 0, coarse.shape[0] - 1)
    columns = np.clip((points[:, 0] * coarse.shape[1] / shape[1]).astype(int), 0, coarse.shape[1] - 1)
    return np.asarray(coarse[rows, columns], np.float32)


def _borne_out(corners: Points, across: npt.NDArray[np.float32], points: PointMatches) -> npt.NDArray[np.float32]:
    """A better guess at each corner's parallax: that of the nearest point that was followed there and back."""
    if not len(points.left):
        return across
    apart = ((corners[:, None] - points.left[None]) ** 2).sum(axis=2)
    return np.asarray((points.right[:, 0] - points.left[:, 0])[apart.argmin(axis=1)], np.float32)


def find_misfit(points: PointMatches, width: int, height: int, pixel_aspect: float = 1.0) -> Misfit | None:
    """Fit shift, rotation, size and keystone to matched points by reweighted least squares (Tukey's biweight).

    ``pixel_aspect`` is width over height of one pixel as it is shown.

    Keystone is fitted only where it stands out from its standard error, so that its noise cannot leak into the others;
    rotation and size only where the points are spread well enough to tell them.

    Returns None where there are too few points, or too few that agree, to say anything.
    """
    if len(points.left) < _MIN_POINTS:
        return None
    half_x, half_y = width / 2.0, height / 2.0
    x = (points.right[:, 0].astype(np.float64) - (width - 1) / 2.0) / half_x
    y = (points.left[:, 1].astype(np.float64) - (height - 1) / 2.0) / half_y
    rise = points.right[:, 1].astype(np.float64) - points.left[:, 1]
    terms = np.column_stack([np.ones_like(x), x, y, x * y])
    shape = _shape_of(terms, rise, max(_MOST_SPREAD_SHARE * width, 0.5))
    if shape is None:
        return None
    if len(shape) == 1:
        return Misfit(float(shape[0]), math.nan, math.nan, math.nan, pixel_aspect)
    # Heights of the right picture grow with size over the cosine of the rotation where places across are its own, and
    # by the tangent of the rotation with those places, in pixels as wide as they are high.
    rotation, stretch = math.atan(shape[1] / half_x / pixel_aspect), 1.0 + float(shape[2]) / half_y
    keystone = 2.0 * float(shape[3]) / half_y / stretch if len(shape) == 4 else 0.0
    return Misfit(float(shape[0]), rotation, stretch * math.cos(rotation), keystone, pixel_aspect)


def _shape_of(terms: Floats, rise: Floats, most_spread: float) -> Floats | None:
    """As many of the four terms as the points can tell: all, without the keystone, or the shift alone."""
    agreed = _agreed(terms, rise)
    if agreed is None:
        return None
    shape, spread, weights = agreed
    for count in (4, 3, 1):
        if count < 4:
            refined = _refined(terms[:, :count], rise, weights, spread)
            if refined is None:
                return None
            shape, spread, weights = refined
        errors = spread * np.sqrt(np.diag(np.linalg.inv(_normal(terms[:, :count], weights))))
        told = count == 1 or errors.max() < _MOST_CORNER_ERROR_PX
        if told and (count < 4 or abs(shape[3]) > _KEYSTONE_ERRORS * errors[3]):
            break
    return shape if spread <= most_spread else None


def _agreed(terms: Floats, rise: Floats) -> tuple[Floats, float, Floats] | None:
    """Solution, spread and weights over the points that agree.

    Least absolute differences come first: a good start however far the false points lie off.
    """
    weights = np.ones_like(rise)
    for _ in range(5):
        left_over = np.abs(rise - terms @ _solved(terms, rise, weights))
        weights = 1.0 / np.maximum(left_over, 0.05)
    return _refined(terms, rise, weights, 1.4826 * float(np.median(left_over)))


def _refined(terms: Floats, rise: Floats, weights: Floats, spread: float) -> tuple[Floats, float, Floats] | None:
    """The same from given weights; None where no large share of the points agrees."""
    for _ in range(4):
        solution = _solved(terms, rise, weights)
        left_over = np.abs(rise - terms @ solution)
        reach = _TUKEY * max(spread, 0.02)
        agreeing = left_over < reach
        if np.count_nonzero(agreeing) < max(_MIN_POINTS, _AGREEING_SHARE * len(rise)):
            return None
        weights = np.where(agreeing, (1.0 - (left_over / reach) ** 2) ** 2, 0.0)
        spread = max(1.4826 * float(np.median(left_over[agreeing])), 0.02)
    return solution, spread, weights


def _solved(terms: Floats, rise: Floats, weights: Floats) -> Floats:
    return np.asarray(np.linalg.solve(_normal(terms, weights), terms.T @ (weights * rise)), np.float64)


def _normal(terms: Floats, weights: Floats) -> Floats:
    # A trace of damping keeps points in a single line from being a fault; where they are told it changes nothing.
    return np.asarray((terms * weights[:, None]).T @ terms + 1e-9 * np.eye(terms.shape[1]), np.float64)
