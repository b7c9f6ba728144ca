"""What two eyes become in one picture: the views of a preview."""

from __future__ import annotations

from typing import Literal, get_args

import cv2
import numpy as np

from postfix.review.pictures import Rgb, anaglyph

View = Literal["anaglyph", "side-by-side", "over-under", "difference", "depth"]
VIEWS: tuple[View, ...] = get_args(View)

ALIKE = 128
"""The code of what is the same in both eyes, in the view of their difference."""

_ACROSS: dict[View, tuple[int, int]] = {"side-by-side": (2, 1), "over-under": (1, 2)}


def shows_both_eyes(view: View) -> bool:
    """True where each eye has a place of its own, so that what is drawn must be drawn in each."""
    return view in _ACROSS


def view_size(view: View, eye_px: tuple[int, int]) -> tuple[int, int]:
    """Width and height of a view of eyes of a size; a depth map's without its legend."""
    across, down = _ACROSS.get(view, (1, 1))
    return eye_px[0] * across, eye_px[1] * down


def view_of(left: Rgb, right: Rgb, view: View) -> Rgb:
    """Both eyes in one picture.

    Parameters
    ----------
    left, right : (h, w, 3) uint8
    view : View
        Any but the depth map, which is not made of these.

    Returns
    -------
    (h, w, 3) uint8, or twice as wide or as high where each eye has its own place
    """
    if view == "anaglyph":
        return anaglyph(left, right)
    if view == "difference":
        return difference(left, right)
    if view == "side-by-side":
        return np.concatenate([left, right], axis=1)
    if view == "over-under":
        return np.concatenate([left, right], axis=0)
    raise ValueError(f"no view {view!r} of two pictures")


def difference(left: Rgb, right: Rgb) -> Rgb:
    """Left eye minus right eye about mid grey, channel by channel, (h, w, 3) uint8.

    What is alike is plain grey; brighter is what is brighter in the left eye. One code of difference is one code here,
    so that small ones are seen; beyond half the range it is cut off.
    """
    # Two steps of bytes that cannot both be cut off: of each pixel one of the two is zero.
    more, less = cv2.subtract(left, right), cv2.subtract(right, left)
    grey = np.full_like(left, ALIKE)
    return np.asarray(cv2.subtract(cv2.add(grey, more), less), np.uint8)
