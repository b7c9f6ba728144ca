"""The measurement table: one row a frame, written and read as CSV.

Empty means "could not be measured" and is NaN in memory; it is never a made-up zero.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

from postfix.source.shots import Shot, Transition

EDGE_BANDS = 24
"""Row bands, top to bottom, in which edge parallax is kept, so that a window can be told apart top and bottom."""

NEARER_STEPS_PCT = (
    *(float(step) for step in range(-8, -5)),
    *(step / 2.0 for step in range(-10, -5)),
    *(step / 4.0 for step in range(-10, 11)),
    *(step / 2.0 for step in range(6, 11)),
    *(float(step) for step in range(6, 9)),
)
"""Depths for which it is kept how much of a frame lies nearer, percent of width, rising: a quarter of a percent apart
up to 2.5 % from the screen, wider beyond. 0 is one of them."""

NAN = float("nan")

_NO_BOX = (NAN,) * 4


@dataclass(frozen=True, slots=True)
class RivalBox:
    """Where one eye sees what the other does not: pixels of the source picture, in that eye."""

    eye: str
    x_px: int
    y_px: int
    width_px: int
    height_px: int


@dataclass(frozen=True, slots=True)
class FrameMeasure:
    """What was measured in one frame. NaN where nothing could be.

    Attributes
    ----------
    near_pct, far_pct, median_pct : float
        1st, 99th and 50th percentile of parallax over the area both eyes see, percent of width.
    nearest_pct, farthest_pct : float
        Extremes held by at least 0.1 % of the picture area.
    left_edge_pct, right_edge_pct : float
        Most negative parallax of content that touches that frame edge.
    vertical_px, rotation_deg, size_pct : float
        Right eye against left eye about the picture centre: lower is positive; clockwise as seen, on pixels of the
        shape that they are shown with, is positive; larger is positive. Pixels of the source picture.
    keystone_pct : float
        How much more the right eye's picture is stretched in height at its right side than at its left, against the
        left eye, percent.
    gain_pct, black_pct : float
        Right eye against left, in luma: contrast brighter (positive) in percent, and how much higher its black lies, in
        percent of white.
    red_gain_pct, green_gain_pct, blue_gain_pct : float
        The same gain in each channel.
    sharpness_pct : float
        Fine detail of the right eye against the left; negative is softer.
    rivalry_pct : float
        Share of the picture that only one eye sees, half-hidden strips beside depth edges left out.
    coverage_pct : float
        Share of the picture in which parallax was found.
    confidence : float
        0 to 1.
    top_edge_pct, bottom_edge_pct : float
        Most negative parallax of content that touches the top or bottom edge; for information.
    left_beside_pct, right_beside_pct : float
        Most negative parallax of content near that side edge that does not touch it.
    left_rows_pct, right_rows_pct : tuple of float
        Edge parallax in each of :data:`EDGE_BANDS` row bands, top to bottom.
    left_hidden_px, right_hidden_px : tuple of 4 floats
        Black already hiding that side: (left eye top, left eye bottom, right eye top, right eye bottom), in pixels of
        the source picture, as a straight line from top to bottom.
    left_bars_px, right_bars_px : tuple of 2 floats
        Black at the top and bottom of each eye, in pixels of the source picture.
    near_box, far_box : tuple of 4 ints or empty
        Where what lies at near and nearer, or at far and farther, is to be found: x, y, width, height in pixels of the
        source's left eye.
    nearer_share_pct, nearer_width_pct, nearer_height_pct : tuple of float
        For each step of :data:`NEARER_STEPS_PCT`: share of the picture that both eyes see that lies nearer, and width
        and height of the largest thing there, percent of the picture's width and of its height.
    rivalry_boxes : tuple of RivalBox
        Where one eye sees what the other does not, largest first.
    interpolated : bool
        True where the frame itself was not measured and its figures lie between measured neighbours.
    note : str
        Why something could not be measured; empty where all is well.
    """

    near_pct: float = NAN
    far_pct: float = NAN
    median_pct: float = NAN
    nearest_pct: float = NAN
    farthest_pct: float = NAN
    left_edge_pct: float = NAN
    right_edge_pct: float = NAN
    vertical_px: float = NAN
    rotation_deg: float = NAN
    size_pct: float = NAN
    keystone_pct: float = NAN
    gain_pct: float = NAN
    black_pct: float = NAN
    red_gain_pct: float = NAN
    green_gain_pct: float = NAN
    blue_gain_pct: float = NAN
    sharpness_pct: float = NAN
    rivalry_pct: float = NAN
    coverage_pct: float = NAN
    confidence: float = 0.0
    top_edge_pct: float = NAN
    bottom_edge_pct: float = NAN
    left_beside_pct: float = NAN
    right_beside_pct: float = NAN
    left_rows_pct: tuple[float, ...] = (NAN,) * EDGE_BANDS
    right_rows_pct: tuple[float, ...] = (NAN,) * EDGE_BANDS
    left_hidden_px: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    right_hidden_px: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)
    left_bars_px: tuple[float, float] = (0.0, 0.0)
    right_bars_px: tuple[float, float] = (0.0, 0.0)
    near_box: tuple[int, ...] = ()
    far_box: tuple[int, ...] = ()
    nearer_share_pct: tuple[float, ...] = (NAN,) * len(NEARER_STEPS_PCT)
    nearer_width_pct: tuple[float, ...] = (NAN,) * len(NEARER_STEPS_PCT)
    nearer_height_pct: tuple[float, ...] = (NAN,) * len(NEARER_STEPS_PCT)
    rivalry_boxes: tuple[RivalBox, ...] = ()
    interpolated: bool = False
    note: str = ""


@dataclass(frozen=True)
class ClipInfo:
    """What a plan must know of the clip a table was measured on."""

    name: str
    width_px: int
    height_px: int
    rate: Fraction
    step_px: int
    """Luma pixels an eye must move by a multiple of (2 where chroma is subsampled)."""
    footage: str = ""
    """:func:`footage_mark` of the very frames that were measured; empty where it was not taken."""
    spare_px: int = 0
    """Columns of picture that there are beyond each side of the frame, where it was cut from a wider picture."""
    pixel_aspect: Fraction = Fraction(1)
    """Width over height of one pixel as it is shown: 2 for halves side by side; 1 where nothing is said."""

    @property
    def square_width_px(self) -> float:
        """Width of the picture in pixels as wide as its own are high, the unit in which a turn is a turn."""
        return self.width_px * float(self.pixel_aspect)

    @property
    def step_pct(self) -> float:
        """The same step in percent of width."""
        return self.step_px * 100.0 / self.width_px


def footage_mark(parts: Iterable[tuple[str, int, int]]) -> str:
    """Mark of the very frames that two eyes show, 16 hexadecimal digits.

    Other files, other frames of the same files, exchanged eyes or another offset between them give another mark.

    Parameters
    ----------
    parts : iterable of (str, int, int)
        For the left eye, then the right: the checksum of its file or files
        (:func:`postfix.source.opening.sha256_of`), the first frame used (:func:`postfix.source.pair.first_in_file`) and
        the number of frames used.
    """
    text = "".join(f"{sha256} {first} {count}\n" for sha256, first, count in parts)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class ShotFinding:
    """What only a whole shot tells.

    Attributes
    ----------
    confidence : float
        0 to 1, of the shot's figures.
    offset_frames : float
        How many frames later the right eye shows what the left eye shows (negative: earlier); NaN where nothing moves
        enough to tell.
    offset_confidence : float
        0 to 1.
    swap_reason : str
        Why the eyes may be exchanged; empty where nothing speaks for it.
    transition : str
        How the shot begins: ``cut``, or ``dissolve``.
    transition_frames : int
        Frames in which both shots are seen; 0 for a cut.
    """

    confidence: float = 0.0
    offset_frames: float = NAN
    offset_confidence: float = 0.0
    swap_reason: str = ""
    transition: str = "cut"
    transition_frames: int = 0


@dataclass(frozen=True)
class MeasurementTable:
    """All frames of a clip. ``frames[i]`` is frame i; ``shots`` cover every frame once, in order.

    ``findings`` holds one entry a shot, or nothing where no shot was looked at as a whole. ``seen_transitions`` are
    those in the picture, whatever the shots were taken from; they are not in the file, and None when read from one.
    """

    clip: ClipInfo
    frames: Sequence[FrameMeasure]
    timecodes: Sequence[str]
    shots: tuple[Shot, ...]
    findings: tuple[ShotFinding, ...] = ()
    seen_transitions: tuple[Transition, ...] | None = None

    def column(self, name: str) -> npt.NDArray[np.float64]:
        """One figure over all frames, (frames,) or for the ``_rows_pct`` and ``_hidden_px`` fields (frames, k)."""
        return columns_of_rows(self.frames, (name,))[name]


@runtime_checkable
class _HasColumns(Protocol):
    """Rows that know their columns without being looked at one by one, see :class:`postfix.measure.rows.Rows`."""

    def columns(self, names: Iterable[str]) -> dict[str, npt.NDArray[np.float64]]: ...


def columns_of_rows(rows: Sequence[FrameMeasure], names: Iterable[str]) -> dict[str, npt.NDArray[np.float64]]:
    """Columns of numbers under their names: (rows,), or (rows, k) for fields of several; a box that is none is NaN."""
    if isinstance(rows, _HasColumns):
        return rows.columns(names)
    each = {name: [getattr(row, name) for row in rows] for name in names}
    return {
        name: np.array([_NO_BOX if isinstance(own, tuple) and not own else own for own in values], dtype=np.float64)
        for name, values in each.items()
    }
