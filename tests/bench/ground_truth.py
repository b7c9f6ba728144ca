"""What the measured disparity of the photographed pairs leaves open: rounding, gaps, and what the pictures say."""

import cv2
import numpy as np
from material import seen_by_both
from scripted import range_that_holds, scripted_parallax_pct
from tables import heading, row

_PATCH_PX = 9
_LEAST_TEXTURE = (3 / 255) ** 2
_LEAST_PIXELS = 200
_STEPS_PX = np.arange(-2.0, 2.01, 0.25)
_ENDS = {"near": (0, 2), "far": (97, 100)}


def tell(pairs):
    """Print one table a question."""
    print(
        "\nThe truth itself: how near and far move, in % of width, where its steps are spread evenly, and where pixels"
    )
    print("that nobody measured are taken for the nearer or the farther of their neighbours in the row.\n")
    columns = ("spread: near", "far", "gaps nearer: near", "far", "gaps farther: near", "far")
    heading("material", "rounded by ±", "nobody measured, % of picture", *columns)
    for known in pairs:
        moved = [number for dense in _readings(known) for number in _moved(known, dense)]
        row(known.name, f"{known.doubt_pct:.3f}", f"{100 * np.isnan(known.parallax_px).mean():.1f}", *moved)
    print(
        "\nWhat the pictures say: patches of full-size pixels moved to their best match around the truth, at its near"
    )
    print(
        "and far ends; and how the ends of a full-resolution StereoSGBM map move when the pixels that nobody measured"
    )
    print(
        "are counted with those that were. Both in % of width; what is there is the truth's doing, not a measurement's."
    )
    print()
    heading("material", "best match less truth: near", "far", "counting the gaps: near", "far")
    for known in pairs:
        row(known.name, *best_match_less_truth(known), *_gaps_counted(known))


def _readings(known):
    """The disparity as it might have been."""
    step_px = known.doubt_pct * known.parallax_px.shape[1] / 100
    spread = np.random.default_rng(1).uniform(-step_px, step_px, known.parallax_px.shape)
    yield known.parallax_px + spread
    yield _filled(known.parallax_px, np.fmin)
    yield _filled(known.parallax_px, np.fmax)


def _moved(known, dense):
    """Near and far of such a reading less the truth; what is seen by both is kept where the gaps are the same."""
    same_gaps = (np.isnan(dense) == np.isnan(known.parallax_px)).all()
    seen = known.seen if same_gaps else seen_by_both(dense)
    return np.percentile(dense[seen], (1, 99)) * 100 / dense.shape[1] - np.take(known.truth_pct, (0, 2))


def _filled(parallax_px, choose):
    """Unknown pixels as the nearer (``fmin``) or farther (``fmax``) of the known ones left and right in their row."""

    def from_left(parallax):
        known = np.isfinite(parallax)
        last = np.maximum.accumulate(np.where(known, np.arange(parallax.shape[1]), -1), axis=1)
        return np.where(last >= 0, np.take_along_axis(parallax, last.clip(0), axis=1), np.nan)

    sides = choose(from_left(parallax_px), from_left(parallax_px[:, ::-1])[:, ::-1])
    return np.where(np.isfinite(parallax_px), parallax_px, sides)


def best_match_less_truth(known):
    """Median over the pixels of the near and of the far end, % of width; NaN where too few can be judged.

    Judged are pixels with texture, seen by both eyes together with all around them, where the truth is smooth.
    """
    parallax = np.nan_to_num(known.parallax_px).astype(np.float32)
    left, right = (cv2.cvtColor(eye, cv2.COLOR_RGB2GRAY) for eye in (known.left, known.right))
    best, inside = _best_step(left, right, parallax)
    kernel = np.ones((_PATCH_PX, _PATCH_PX), np.uint8)
    texture = _mean(left * left) - _mean(left) ** 2
    rough = cv2.dilate(parallax, kernel) - cv2.erode(parallax, kernel)
    step_px = 2 * known.doubt_pct * parallax.shape[1] / 100
    usable = inside & (cv2.erode(np.uint8(known.seen), kernel) > 0) & (texture > _LEAST_TEXTURE)
    usable &= rough <= max(1.0, 2 * step_px)
    found = []
    for shares in _ENDS.values():
        lowest, highest = np.percentile(known.parallax_px[known.seen], shares)
        some = best[usable & (parallax >= lowest) & (parallax <= highest)]
        found.append(np.median(some) * 100 / parallax.shape[1] if some.size >= _LEAST_PIXELS else np.nan)
    return found


def _best_step(left, right, parallax):
    """By how many pixels more than the truth each patch matches best, and where that is not the end of the search."""
    y, x = np.mgrid[: left.shape[0], : left.shape[1]].astype(np.float32)
    costs = []
    for step in _STEPS_PX:
        moved = cv2.remap(right, x + parallax + np.float32(step), y, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        difference = moved - left
        difference -= _mean(difference)
        costs.append(_mean(difference * difference))
    costs = np.array(costs)
    lowest = costs.argmin(axis=0)
    inner = lowest.clip(1, len(_STEPS_PX) - 2)
    before, at, after = (np.take_along_axis(costs, inner[None] + i, axis=0)[0] for i in (-1, 0, 1))
    # The parabola through the three costs has its lowest point here.
    part = 0.5 * (before - after) / np.maximum(before - 2 * at + after, 1e-12)
    return _STEPS_PX[inner] + (_STEPS_PX[1] - _STEPS_PX[0]) * part, lowest == inner


def _mean(picture):
    return cv2.blur(picture, (_PATCH_PX, _PATCH_PX))


def _gaps_counted(known):
    """Ends of a dense map over measured and unmeasured pixels, less its ends over the measured ones alone."""
    left, right = (np.rint(eye * 255).astype(np.uint8) for eye in (known.left, known.right))
    found = scripted_parallax_pct(left, right, range_that_holds(known.truth_pct))
    valid = np.isfinite(found)
    counted = valid & (known.seen | np.isnan(known.parallax_px))
    return np.percentile(found[counted], (1, 99)) - np.percentile(found[valid & known.seen], (1, 99))
