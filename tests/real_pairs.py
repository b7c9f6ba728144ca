"""Real stereo pairs with measured disparity that packages carry."""

from functools import cache

import numpy as np
from skimage import data


@cache
def motorcycle():
    """Middlebury 2014 "Motorcycle" at quarter size from scikit-image: left, right (500, 741, 3) uint8 and P (500, 741).

    P is ``−d``; NaN where unknown. Scharstein et al. 2014, GCPR.
    """
    left, right, disparity = data.stereo_motorcycle()
    return left, right, np.where(np.isfinite(disparity), -disparity, np.nan)


def seen_by_both(parallax_px):
    """Mask of left-eye pixels whose point the right eye sees too, from a dense map: nearest surface wins."""
    height, width = parallax_px.shape
    x_right = np.arange(width)[None, :] + parallax_px
    inside = np.isfinite(parallax_px) & (x_right >= 0) & (x_right <= width - 1)
    rows, columns = np.nonzero(inside)
    landing = x_right[rows, columns]
    nearest = np.full((height, width + 1), np.inf)
    for rounded in (np.floor(landing), np.ceil(landing)):
        np.minimum.at(nearest, (rows, rounded.astype(int)), parallax_px[rows, columns])
    seen = np.zeros_like(inside)
    seen[rows, columns] = parallax_px[rows, columns] <= nearest[rows, np.rint(landing).astype(int)] + 1.0
    return seen
