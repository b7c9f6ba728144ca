"""A pair as a preview shows it: each frame moved as a plan wants it, made small, seen in one view, written upon."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal, TypeVar, get_args

import numpy as np

from postfix import effort
from postfix.limits import Limits
from postfix.measure.dense import Pct, parallax_pct
from postfix.plan.model import Plan, ShotPlan
from postfix.render.moves import render_pair
from postfix.review.burn_in import Lines, draw_grid, draw_lines
from postfix.review.depth import DepthSpan, depth_picture, legend_picture, span_for
from postfix.review.pictures import Rgb
from postfix.review.preview_figures import FrameFigures, Rows, figure_rows
from postfix.review.shown import Weights, luma_weights, shown_rgb
from postfix.review.views import View, shows_both_eyes, view_of, view_size
from postfix.source.ahead import frames_ahead
from postfix.source.framed import bars_of
from postfix.source.in_order import in_order
from postfix.source.pair import PairSource
from postfix.source.picture import Planes
from postfix.source.shots import Shot
from postfix.source.timecode import timecode_at
from postfix.viewing import Screen

BurnIn = Literal["timecode", "shot", "figures", "grid"]
BURN_INS: tuple[BurnIn, ...] = get_args(BurnIn)

_MOST_WAITING = 4
_LOOKED_AT = 12
_ENDS = (1.0, 99.0)
"""Frames whose maps decide what the colours of depth span where no figures do, and which percentiles of each."""

LEGEND_LEAST_PX = 240
"""Below it the words of a depth map's legend have no room: a smaller map stands over a wider legend."""

Done = TypeVar("Done")


@dataclass(frozen=True, eq=False)
class Preview:
    """What is shown of a pair.

    Attributes
    ----------
    pair : PairSource
    view : View
    eye_px : (int, int)
        Width and height of one eye's picture.
    plan : Plan or None
        What is done to the pictures before they are shown.
    shots : tuple of Shot
        Empty where they are not known.
    figures : FrameFigures or None
    burn_in : frozenset of BurnIn
    screen : Screen or None
        For millimetres.
    limits : Limits or None
        Written beside the figures.
    letters_px : int
        Size of what is written.
    span : DepthSpan or None
        What the colours of a depth map span; needed for that view alone.
    """

    pair: PairSource
    view: View
    eye_px: tuple[int, int]
    plan: Plan | None = None
    shots: tuple[Shot, ...] = ()
    figures: FrameFigures | None = None
    burn_in: frozenset[BurnIn] = frozenset()
    screen: Screen | None = None
    limits: Limits | None = None
    letters_px: int = 0
    span: DepthSpan | None = None

    @cached_property
    def _weights(self) -> Weights:
        return luma_weights(self.pair)

    @cached_property
    def _shot_firsts(self) -> list[int]:
        return [shot.first for shot in self.shots]

    def shot_name(self, frame: int) -> str:
        """Name of the shot a frame belongs to; empty where that is not known."""
        return self.shots[bisect_right(self._shot_firsts, frame) - 1].name if self.shots else ""

    def time_text(self, frame: int) -> str:
        """Timecode of a frame; its number, counted from 0, where there is none."""
        return timecode_at(self.pair.timecode, frame, self.pair.rate) or f"frame {frame}"

    def lines(self, frame: int) -> Lines:
        """What is written into a frame."""
        rows: Rows = ()
        if "figures" in self.burn_in and self.figures is not None:
            rows = figure_rows(self.figures, frame, self.screen, self.limits)
        return Lines(
            self.time_text(frame) if "timecode" in self.burn_in else "",
            self.shot_name(frame) if "shot" in self.burn_in else "",
            rows,
        )

    def picture(self, frame: int, left: Planes, right: Planes, *, legend: bool = True) -> Rgb:
        """The preview of one frame.

        Parameters
        ----------
        frame : int
            Of the clip, counted from 0.
        left, right : Planes
            As :meth:`decoded` gives them.
        legend : bool
            Whether a depth map has its legend beneath it.

        Returns
        -------
        (h, w, 3) uint8
        """
        left, right = self._moved(frame, left, right)
        fmt = self.pair.format
        if self.view == "depth":
            assert self.span is not None
            found = parallax_pct(left, right, fmt, float(self.pair.pixel_aspect))
            seen = depth_picture(found.pct, self.span, self.eye_px)
            self._write(frame, seen)
            return _on_top_of(seen, self._own_legend) if legend else seen
        left_rgb, right_rgb = (shown_rgb(planes, fmt, self.eye_px, self._weights) for planes in (left, right))
        if shows_both_eyes(self.view):
            for eye in (left_rgb, right_rgb):
                self._write(frame, eye)
            return view_of(left_rgb, right_rgb, self.view)
        seen = view_of(left_rgb, right_rgb, self.view)
        self._write(frame, seen)
        return seen

    def legend(self, width_px: int) -> Rgb:
        """What the colours of the depth map mean, as wide as asked and an even number of rows high."""
        assert self.span is not None
        return _even_rows(legend_picture(self.span, self.screen, width_px))

    @cached_property
    def _own_legend(self) -> Rgb:
        return self.legend(self._legend_px)

    @property
    def _legend_px(self) -> int:
        return max(self.eye_px[0], LEGEND_LEAST_PX)

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height of a picture with its legend, whatever that spans."""
        if self.view != "depth":
            return view_size(self.view, self.eye_px)
        legend = _even_rows(legend_picture(span_for(()), self.screen, self._legend_px))
        return self._legend_px, self.eye_px[1] + len(legend)

    def decoded(self, first: int, last: int) -> Iterator[tuple[int, Planes, Planes]]:
        """Frames ``first`` to ``last``, both included, as :meth:`picture` takes them."""
        return ((shown.index, shown.left, shown.right) for shown in self._given.filled_frames(first, last))

    @property
    def frames_for_span(self) -> list[int]:
        """Frames of the whole clip whose maps :meth:`with_span` has to look at; none where figures say it already."""
        if self.view != "depth" or self.span is not None or self.figures is not None:
            return []
        count = self.pair.count
        return sorted({round(share * (count - 1)) for share in np.linspace(0.0, 1.0, min(count, _LOOKED_AT))})

    def with_span(self, progress: Callable[[int], object] = lambda frames: None) -> Preview:
        """The same with a span of its own for the colours of depth: that of the figures where there are any, else that
        of the maps of some frames, each of which moves ``progress`` on."""
        if self.view != "depth" or self.span is not None:
            return self
        if self.figures is not None:
            return replace(self, span=span_for([*self.figures.near_pct, *self.figures.far_pct]))
        ends: list[float] = []
        for pct in made_of(self, self.frames_for_span, self._map_of):
            known = pct[np.isfinite(pct)]
            ends += [float(end) for end in np.percentile(known, _ENDS)] if known.size else []
            progress(1)
        return replace(self, span=span_for(ends))

    def _map_of(self, frame: int, left: Planes, right: Planes) -> Pct:
        left, right = self._moved(frame, left, right)
        return parallax_pct(left, right, self.pair.format, float(self.pair.pixel_aspect)).pct

    def _moved(self, frame: int, left: Planes, right: Planes) -> tuple[Planes, Planes]:
        if self.plan is None:
            return left, right
        moved_left, moved_right, _ = render_pair(
            left,
            right,
            self._given.format,
            self.plan.clip,
            self._planned(frame),
            frame,
            spare_px=self.pair.spare_px,
            bars=bars_of(self.pair),
        )
        return moved_left, moved_right

    @property
    def _given(self) -> PairSource:
        """What is decoded: with a plan also the columns beyond the frame, which a move may bring in."""
        return self.pair if self.plan is None else self.pair.whole or self.pair

    def _planned(self, frame: int) -> ShotPlan:
        assert self.plan is not None
        shots = self.plan.shots
        return shots[bisect_right(shots, frame, key=lambda shot: shot.first) - 1]

    def _write(self, frame: int, picture: Rgb) -> None:
        if "grid" in self.burn_in:
            draw_grid(picture)
        if self.letters_px:
            draw_lines(picture, self.lines(frame), self.letters_px)


def _even_rows(picture: Rgb) -> Rgb:
    return np.concatenate([picture, picture[-1:]], axis=0) if picture.shape[0] % 2 else picture


def _on_top_of(picture: Rgb, legend: Rgb) -> Rgb:
    """A picture over its legend, which may be wider."""
    beside = np.broadcast_to(legend[0, 0], (picture.shape[0], legend.shape[1] - picture.shape[1], 3))
    return np.concatenate([np.concatenate([picture, beside], axis=1), legend], axis=0)


def made_of(
    preview: Preview, frames: Sequence[int], work: Callable[[int, Planes, Planes], Done]
) -> Generator[Done, None, None]:
    """Decode frames of a preview and give what ``work`` makes of each, in the order asked for.

    Decoding runs ahead in threads of its own and the work in others; what waits is bounded.

    Raises
    ------
    InputError
        Where a frame cannot be decoded.
    """
    each = (
        (frame, left, right) for first, last in runs_of(frames) for frame, left, right in preview.decoded(first, last)
    )
    threads = effort.current().workers
    waiting = max(threads, min(_MOST_WAITING, frames_ahead(preview.pair.format)))
    return in_order(work, each, threads=threads, waiting=waiting, name="preview")


def runs_of(frames: Sequence[int]) -> list[tuple[int, int]]:
    """Frames as (first, last) of what follows each other, in the order given."""
    runs: list[tuple[int, int]] = []
    for frame in frames:
        if runs and frame == runs[-1][1] + 1:
            runs[-1] = runs[-1][0], frame
        else:
            runs.append((frame, frame))
    return runs


def frames_of_shots(shots: Sequence[Shot]) -> list[int]:
    """The frame in the middle of each shot."""
    return [(shot.first + shot.last) // 2 for shot in shots]
