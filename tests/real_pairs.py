"""Real stereo pairs with measured disparity that packages carry.

Three pairs of the Middlebury collection, each measured with structured light by those who took the photographs:

- "Motorcycle" (2014), in the Python package scikit-image;
- "Aloe" (2006), in the Debian package ``opencv-doc``;
- "Cones" (2003), in the source package of ``pandora`` 1.9.0 on PyPI.

The first is always there where the tests run. The others are looked for in the folder that the environment variable
``POSTFIX_PAIRS`` names (``tests/bench/fetch_pairs.py FOLDER`` fills one) and where Debian installs them.
"""

import os
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import OpenImageIO as oiio
from skimage import data

PERCENTILES = (1, 50, 99)
"""Near, median, far."""

INSTALLED = Path("/usr/share/doc/opencv-doc/examples/data")
ALOE_FILES = ("aloeL.jpg", "aloeR.jpg", "aloeGT.png")
CONES_FILES = ("left_rgb.tif", "right_rgb.tif", "Cones_LEFT_GT.tif")


@dataclass(frozen=True)
class RealPair:
    """A photographed pair.

    Attributes
    ----------
    name : str
    left, right : ndarray, (H, W, 3) uint8
    parallax_px : ndarray, (H, W)
        In the left eye, ``x_right − x_left``; NaN where nobody measured it.
    step_px : float
        Step of the numbers that the disparity was written down in; 0 for floating point.
    """

    name: str
    left: np.ndarray
    right: np.ndarray
    parallax_px: np.ndarray
    step_px: float

    @property
    def doubt_pct(self) -> float:
        """How far rounding alone may have put the truth off, percent of width."""
        return self.step_px / 2 * 100 / self.parallax_px.shape[1]

    @property
    def truth_pct(self) -> tuple[float, float, float]:
        """Near, median and far over what both eyes see, percent of width."""
        seen = self.parallax_px[seen_by_both(self.parallax_px)]
        near, median, far = np.percentile(seen, PERCENTILES) * 100 / self.parallax_px.shape[1]
        return float(near), float(median), float(far)


@cache
def motorcycle():
    """Middlebury 2014 "Motorcycle" at quarter size from scikit-image: left, right (500, 741, 3) uint8 and P (500, 741).

    P is ``−d``; NaN where unknown. Scharstein et al. 2014, GCPR.
    """
    left, right, disparity = data.stereo_motorcycle()
    return left, right, np.where(np.isfinite(disparity), -disparity, np.nan)


@cache
def aloe():
    """Middlebury 2006 "Aloe" at full size, or None where it is not there: (1110, 1282), whole pixels of disparity.

    Files ``aloeL.jpg``, ``aloeR.jpg``, ``aloeGT.png`` of Debian's package ``opencv-doc`` (seen in 4.6.0+dfsg-12); 0 in
    the disparity is unknown. Scharstein & Pal 2007, CVPR; Hirschmüller & Scharstein 2007, CVPR.
    """
    files = _found(ALOE_FILES)
    if files is None:
        return None
    left, right, disparity = (_pixels(path) for path in files)
    return RealPair("Aloe", _bytes(left), _bytes(right), _parallax(disparity), 1.0)


@cache
def cones():
    """Middlebury 2003 "Cones" at quarter size, or None where it is not there: (375, 450), quarter pixels of disparity.

    Files ``left_rgb.tif``, ``right_rgb.tif``, ``Cones_LEFT_GT.tif`` under ``notebooks/data`` in the source package of
    ``pandora`` 1.9.0 on PyPI; 0 in the disparity is unknown. Scharstein & Szeliski 2003, CVPR.
    """
    files = _found(CONES_FILES)
    if files is None:
        return None
    left, right, disparity = (_pixels(path) for path in files)
    return RealPair("Cones", _bytes(left), _bytes(right), _parallax(disparity), 0.25)


def real_pairs():
    """Every pair that is there, Motorcycle first."""
    return [pair for pair in (RealPair("Motorcycle", *motorcycle(), 0.0), aloe(), cones()) if pair is not None]


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


def _found(names):
    """The files of one pair, from the first folder that has them all."""
    named = os.environ.get("POSTFIX_PAIRS")
    for folder in (Path(named) if named else None, INSTALLED):
        if folder is not None and all((folder / name).is_file() for name in names):
            return [folder / name for name in names]
    return None


def _pixels(path):
    picture = oiio.ImageBuf(str(path))
    pixels = picture.get_pixels(oiio.FLOAT if picture.spec().format == oiio.FLOAT else oiio.UINT8)
    assert pixels is not None, f"{path}: {oiio.geterror()}"
    return pixels


def _bytes(pixels):
    """Codes 0 to 255 as (H, W, 3) uint8; some of the files hold them as float."""
    return np.clip(np.rint(pixels[..., :3]), 0, 255).astype(np.uint8)


def _parallax(disparity):
    d = disparity[..., 0].astype(np.float64)
    return np.where(d > 0, -d, np.nan)
