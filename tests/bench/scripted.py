"""What one would script without this program: OpenCV's StereoSGBM at full resolution on RGB frames, percentiles."""

import cv2
import numpy as np

USUAL_RANGE_PCT = (-10.0, 10.0)


def scripted_figures(left, right, range_pct=USUAL_RANGE_PCT):
    """Near, median and far in percent of width: percentiles of the map over its valid pixels."""
    found = scripted_parallax_pct(left, right, range_pct)
    valid = found[np.isfinite(found)]
    return tuple(float(v) for v in np.percentile(valid, (1, 50, 99))) if valid.size else (float("nan"),) * 3


def scripted_parallax_pct(left, right, range_pct=USUAL_RANGE_PCT):
    """Parallax at each pixel of the left eye, (H, W) float32 in percent of width, NaN where the matcher gives none.

    Parameters
    ----------
    left, right : ndarray, (H, W, 3) uint8
    range_pct : tuple of 2 floats
        Parallax that is searched, percent of width.

    Notes
    -----
    Block of 5, penalties 8 and 32 times 3·5², uniqueness 10, speckles under 100 pixels within 32 dropped: the values
    that OpenCV's own sample of stereo matching uses or its documentation advises (from memory).
    """
    width = left.shape[1]
    block = 5
    lowest = -round(range_pct[1] * width / 100)
    count = -(-(round(-range_pct[0] * width / 100) - lowest) // 16) * 16
    matcher = cv2.StereoSGBM.create(
        minDisparity=lowest,
        numDisparities=count,
        blockSize=block,
        P1=8 * 3 * block**2,
        P2=32 * 3 * block**2,
        disp12MaxDiff=1,
        uniquenessRatio=10,
        speckleWindowSize=100,
        speckleRange=32,
    )
    disparity = matcher.compute(np.ascontiguousarray(left), np.ascontiguousarray(right))
    valid = disparity > (lowest - 1) * 16
    return np.where(valid, disparity.astype(np.float32) / -16 * 100 / width, np.float32(np.nan))


def range_that_holds(truth_pct):
    """The usual range, or one that reaches 1.5 % of width beyond the pair where the usual one would cut it off."""
    near, _, far = truth_pct
    return min(USUAL_RANGE_PCT[0], near - 1.5), max(USUAL_RANGE_PCT[1], far + 1.5)
