"""Stretches of frames in which content in front of the screen touches a side edge: how long, how near, how fast."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.table import EDGE_BANDS, NAN, MeasurementTable, columns_of_rows

IN_FRONT_PCT = -0.1
"""Content nearer than this counts as in front of the screen. Project default, no source."""

BRIDGED_FRAMES = 2
"""A gap of so many frames does not end a run: that is how long the measurement may lose a thing. Project default."""

_STEADY_SHARE = 0.9
_SIDES = ("left", "right")

Values = npt.NDArray[np.float64]


@dataclass(frozen=True)
class EdgeRun:
    """One stretch of frames of one shot at one side.

    Attributes
    ----------
    shot : str
    side : str
        ``"left"`` or ``"right"``.
    first, last : int
        Frames of the clip, both ends included.
    frames : int
        In how many of them content in front of the screen was seen to touch; bridged gaps left out.
    nearest_pct : float
        Most negative edge parallax of the run, percent of width.
    nearest_frame : int
        The first frame that comes within a tenth of it.
    top_band, bottom_band : int
        Highest and lowest row band (0 at the top) in which it touches.
    frames_to_nearest : int
        Frames from the first touch to ``nearest_frame``: how quickly the violation comes. 0 where the run begins at
        its nearest, as it does at a cut. This is not the speed of anything across the picture.
    speed_pct_per_frame : float
        Change of edge parallax from frame to frame, percent of width: median of the steps between neighbouring measured
        frames, without sign; NaN for a run of one frame.
    drift_pct_per_frame : float
        How fast the middle of the rows that touch moves down (positive) or up, percent of height a frame: the slope of
        a straight line through the run; NaN for fewer than three frames.
    """

    shot: str
    side: str
    first: int
    last: int
    frames: int
    nearest_pct: float
    nearest_frame: int
    top_band: int
    bottom_band: int
    frames_to_nearest: int
    speed_pct_per_frame: float
    drift_pct_per_frame: float

    def sentence(self) -> str:
        """The run in words."""
        length = self.last - self.first + 1
        when = f"frames {self.first} to {self.last}" if length > 1 else f"frame {self.first}"
        # Said only where it differs: a gap may be bridged.
        held = f"{self.frames} of the {length} frames {self.first} to {self.last}" if self.frames < length else when
        top, bottom = (round(100.0 * band / EDGE_BANDS) for band in (self.top_band, self.bottom_band + 1))
        text = (
            f"{self.shot}, {self.side} edge: content up to {-self.nearest_pct:.2f} % in front of the screen touches it "
            f"in {held}, between {top} and {bottom} % of the height"
        )
        if self.frames_to_nearest > 0:
            later = "1 frame" if self.frames_to_nearest == 1 else f"{self.frames_to_nearest} frames"
            text += f"; nearest {later} after the first touch"
        return text


def edge_runs(table: MeasurementTable, in_front_pct: float = IN_FRONT_PCT) -> tuple[EdgeRun, ...]:
    """Runs of every shot, in the order of shots, left side first.

    Parameters
    ----------
    table : MeasurementTable
    in_front_pct : float
        What counts as in front of the screen, percent of width.
    """
    runs: list[EdgeRun] = []
    for shot in table.shots:
        frames = table.frames[shot.first : shot.last + 1]
        columns = columns_of_rows(frames, [f"{side}_{what}_pct" for side in _SIDES for what in ("rows", "edge")])
        for side in _SIDES:
            bands = columns[f"{side}_rows_pct"].reshape(len(frames), EDGE_BANDS)
            edge = columns[f"{side}_edge_pct"]
            # A table made elsewhere may hold the edge's figure without rows: it then counts for every row.
            bands = np.where(np.isnan(bands).all(axis=1, keepdims=True), edge[:, None], bands)
            for first, after in _stretches(np.any(bands < in_front_pct, axis=1)):
                runs.append(_run(shot.name, side, shot.first + first, bands[first:after], in_front_pct))
    return tuple(runs)


def _stretches(touching: npt.ArrayLike) -> list[tuple[int, int]]:
    """(first, after) of runs of True, gaps of up to :data:`BRIDGED_FRAMES` bridged."""
    at = np.nonzero(np.asarray(touching, bool))[0]
    if not at.size:
        return []
    breaks = np.nonzero(np.diff(at) > BRIDGED_FRAMES + 1)[0]
    firsts = at[np.concatenate([[0], breaks + 1])]
    lasts = at[np.concatenate([breaks, [at.size - 1]])]
    return [(int(first), int(last) + 1) for first, last in zip(firsts, lasts)]


def _run(shot: str, side: str, first: int, bands: Values, in_front_pct: float) -> EdgeRun:
    """One run from its bands (frames, EDGE_BANDS); ``first`` is the clip's frame of the first of them."""
    touching = bands < in_front_pct
    held = np.nonzero(touching.any(axis=1))[0]
    nearest = np.where(touching, bands, np.inf).min(axis=1)[held]
    most = float(nearest.min())
    reached = int(held[np.nonzero(nearest <= _STEADY_SHARE * most)[0][0]])
    rows = np.nonzero(touching.any(axis=0))[0]
    middles = (touching[held] * (np.arange(EDGE_BANDS) + 0.5)).sum(axis=1) / touching[held].sum(axis=1)
    drift = float(np.polyfit(held, middles, 1)[0]) * 100.0 / EDGE_BANDS if held.size >= 3 else NAN
    speed = float(np.median(np.abs(np.diff(nearest) / np.diff(held)))) if held.size >= 2 else NAN
    return EdgeRun(
        shot=shot,
        side=side,
        first=first,
        last=first + len(bands) - 1,
        frames=int(held.size),
        nearest_pct=most,
        nearest_frame=first + reached,
        top_band=int(rows[0]),
        bottom_band=int(rows[-1]),
        frames_to_nearest=reached,
        speed_pct_per_frame=speed,
        drift_pct_per_frame=drift,
    )
