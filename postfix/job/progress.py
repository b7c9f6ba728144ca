"""Progress on stderr, one bar a stage: none where stderr is no terminal, none when asked to be quiet.

A stage that ends leaves one line with its time and rate.
"""

from __future__ import annotations

import logging
import numbers
import os
import sys
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from contextvars import ContextVar
from copy import copy
from dataclasses import dataclass
from typing import TextIO

from tqdm import tqdm
from tqdm.std import Bar

from postfix.job.lettering import ELLIPSIS, columns, shortened, visible

RATE_OVER_S = 10.0
"""The rate is that of so many seconds back: long enough to be steady, short enough to be of what is done now."""

_REDRAWN_EVERY_S = 0.25
_SAMPLE_EVERY_S = 0.2
_MOST_COLUMNS = 120
_MOST_BAR = 30
_LEAST_CLIP = 6
"""Columns that the name of a clip is never shortened below; where there are fewer, it is left out."""
_LEAST_STAGE = 12
"""The same for the name of a stage, which is never left out: ``check …a-12m``."""
_STAGE = 16
"""Columns for the name of a stage before that of its clip has any: ``check cinema-12m``."""


@dataclass(frozen=True)
class Place:
    """Where in a job the work is: which clip of how many, and the stages that it goes through."""

    clip: str = ""
    number: int = 1
    clips: int = 1
    stages: tuple[str, ...] = ()

    def figures(self, what: str) -> tuple[str, str]:
        """Words before the clip's name and before the stage's: ``clip 2/5 `` and ``3/4 ``."""
        clip = f"clip {self.number}/{self.clips} " if self.clips > 1 else ""
        stage = self._stage(what)
        return clip, "" if stage is None or len(self.stages) < 2 else f"{stage}/{len(self.stages)} "

    def _stage(self, what: str) -> int | None:
        if what in self.stages:
            return self.stages.index(what) + 1
        # A stage may say more of itself than was known before: render, and for which screens.
        begun = [number for number, stage in enumerate(self.stages, 1) if what.startswith(f"{stage} ")]
        return begun[0] if begun else None


_NOWHERE = Place()
_PLACE: ContextVar[Place] = ContextVar("place", default=_NOWHERE)


@contextmanager
def stages_of(stages: Sequence[str], clip: str = "", number: int = 1, clips: int = 1) -> Iterator[None]:
    """While the block goes on, bars say which of these stages they are, and of which clip.

    Parameters
    ----------
    stages : sequence of str
        What bars are called, or how their names begin, in order; one that turns out not to be needed is passed over.
    clip : str
    number, clips : int
        Which clip of how many, from 1.
    """
    token = _PLACE.set(Place(clip, number, clips, tuple(stages)))
    try:
        yield
    finally:
        _PLACE.reset(token)


def label(what: str, place: Place, width: int, ellipsis: str = ELLIPSIS) -> str:
    """Name of a stage with its place in the job, in at most ``width`` columns.

    Names are shortened; where that is not enough the clip's goes, then which clip it is, then which stage.
    """
    what, clip = visible(what), visible(place.clip)
    fitting = next((way for way in _ways(what, place) if way[-1] <= width), None)
    if fitting is None:
        return shortened(what, max(width, 1), ellipsis)
    before, is_named, _ = fitting
    room = width - columns("".join(before))
    if not is_named:
        return "".join(before) + shortened(what, room, ellipsis)
    clip = shortened(clip, max(room - columns(what), min(room // 2, room - _STAGE), _LEAST_CLIP), ellipsis)
    return f"{before[0]}{clip}{before[1]}{shortened(what, room - columns(clip), ellipsis)}"


def _ways(what: str, place: Place) -> Iterator[tuple[tuple[str, str], bool, int]]:
    """Ways to say where the work is, the fullest first.

    Each as the words before the clip's name and before the stage's, whether the clip is named, and the least columns.
    """
    before_clip, before_stage = place.figures(what)
    stage = min(columns(what), _LEAST_STAGE)
    if before_clip:
        if place.clip:
            before = before_clip, f": {before_stage}"
            clip = min(columns(visible(place.clip)), _LEAST_CLIP)
            yield before, True, columns("".join(before)) + clip + stage
        before = before_clip.rstrip(), f": {before_stage}"
        yield before, False, columns("".join(before)) + stage
    yield ("", before_stage), False, columns(before_stage) + stage
    yield ("", ""), False, stage


def _fitting(what: str, place: Place, width: int, figures: Sequence[str]) -> str:
    """The first of the figures with which there is room for a name: fewer figures rather than less of the name."""
    for _, _, least in _ways(visible(what), place):
        for way in figures:
            if least + len(way) <= width:
                return way
    return ""


def clock(seconds: float) -> str:
    """Time as it stands on a clock: ``0:07``, ``3:45``, ``1:03:45``."""
    whole = round(max(seconds, 0.0))
    hours, minutes = divmod(whole // 60, 60)
    return f"{hours}:{minutes:02d}:{whole % 60:02d}" if hours else f"{minutes}:{whole % 60:02d}"


def rate_words(per_s: float) -> str:
    """Frames a second with as many digits as mean something."""
    return f"{per_s:.0f}" if per_s >= 99.5 else f"{per_s:.1f}" if per_s >= 0.95 else f"{per_s:.2f}"


class RecentRate:
    """How fast the work goes now, from when how much of it was done."""

    def __init__(self, began_s: float, over_s: float = RATE_OVER_S) -> None:
        self._over_s = over_s
        self._seen: deque[tuple[float, int]] = deque([(began_s, 0)])

    def saw(self, now_s: float, done: int) -> None:
        """Take note that so much is done; what is older than is looked back to is forgotten."""
        if now_s - self._seen[-1][0] >= _SAMPLE_EVERY_S:
            self._seen.append((now_s, done))
        while len(self._seen) > 2 and now_s - self._seen[1][0] > self._over_s:
            self._seen.popleft()

    def per_s(self, now_s: float, done: int) -> float:
        """Frames a second; 0 where that cannot be said yet. It sinks while nothing comes."""
        since_s, before = self._seen[0]
        return (done - before) / (now_s - since_s) if now_s > since_s and done > before else 0.0


def drawn(
    what: str,
    place: Place,
    done: int,
    total: int,
    per_s: float,
    width: int,
    *,
    ascii_only: bool,
    unit: str = "frames",
) -> str:
    """One line of a bar: name, bar, percent, how many are done, rate, time left; at most ``width`` columns.

    Where room is short the bar goes first, then the unit, the rate, how many are done and the percent, then names.
    """
    ellipsis = _ellipsis(ascii_only)
    share = min(done / total, 1.0) if total > 0 else 0.0
    # Figures keep their places while they grow, or the whole line would dance.
    percent, counted = f"  {int(share * 100):3d} %", f"  {done:{len(str(total))}d}/{total}"
    rate = left = ""
    if per_s > 0.0:
        rate, left = f"  {rate_words(per_s):>4}/s", f"  {clock(max(total - done, 0) / per_s):>5} left"
    figures = f"{percent}{counted} {_of(total, unit)}{rate}{left}"
    # The unit says least of all: it stands only where the name has half of the line, or all that it needs.
    least = max(width // 2, next(_ways(visible(what), place))[-1])
    if width - len(figures) < min(columns(label(what, place, _MOST_COLUMNS, ellipsis)), least):
        fewer = (percent + counted + rate + left, percent + counted + left, percent + left, left or percent)
        figures = _fitting(what, place, width, fewer)
    room = width - len(figures)
    named = label(what, place, room, ellipsis)
    long = min(room - columns(named) - 2, _MOST_BAR)
    bar = f"  {Bar(share, long, Bar.ASCII if ascii_only else Bar.UTF)}" if long >= 4 else ""
    return f"{named}{bar}{figures}"


def _ellipsis(ascii_only: bool) -> str:
    return "~" if ascii_only else ELLIPSIS


def _of(count: int, unit: str) -> str:
    """The unit as it stands after a number of them: ``1 frame``, ``2 frames``."""
    return unit.removesuffix("s") if count == 1 else unit


class _Shown(tqdm):  # type: ignore[misc, type-arg, unused-ignore]
    """A bar whose line is our own; when it is drawn, cleared and passed by is the library's business."""

    def __init__(self, what: str, total: int, place: Place, rate: RecentRate, ascii_only: bool, unit: str) -> None:
        self._what, self._place, self._rate, self._ascii_only, self._unit = what, place, rate, ascii_only, unit
        super().__init__(total=total, file=sys.stderr, leave=False, mininterval=_REDRAWN_EVERY_S)

    def __str__(self) -> str:
        per_s = self._rate.per_s(time.monotonic(), self.n)
        # The last column stays empty: some terminals go on to the next line when it is written.
        width = _columns_of(sys.stderr) - 1
        ascii_only, unit = self._ascii_only, self._unit
        return drawn(self._what, self._place, self.n, self.total, per_s, width, ascii_only=ascii_only, unit=unit)


def _columns_of(stream: TextIO) -> int:
    try:
        found = os.get_terminal_size(stream.fileno()).columns
    except (OSError, ValueError):
        found = 0
    return min(found, _MOST_COLUMNS) if found > 0 else 80


def is_terminal(stream: TextIO | None) -> bool:
    """Whether a stream is one; a closed stream is none."""
    try:
        return stream is not None and stream.isatty()
    except ValueError:
        return False


def _takes(text: str, stream: TextIO) -> bool:
    try:
        text.encode(stream.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


_AS_ONE: ContextVar[Callable[[int], None] | None] = ContextVar("as_one", default=None)


@contextmanager
def told_as_one(move_on: Callable[[int], None]) -> Iterator[None]:
    """While the block goes on, stages have no bars of their own: their frames are told to one call.

    A stage that ends by itself counts as whole, also where it had less to do.
    """
    token = _AS_ONE.set(move_on)
    try:
        yield
    finally:
        _AS_ONE.reset(token)


@contextmanager
def _counted(total: int, move_on: Callable[[int], None]) -> Iterator[Callable[[int], None]]:
    """What stands for a bar of a stage that is told of as one with others."""
    lock, left = threading.Lock(), total

    def count(done: int) -> None:
        nonlocal left
        with lock:
            done = min(done, left)
            left -= done
        move_on(done)

    yield count
    count(left)


@contextmanager
def bar(what: str, total: int, *, quiet: bool, unit: str = "frames") -> Iterator[Callable[[int], None]]:
    """A bar over ``total`` frames or whatever ``unit`` says; the value is a call that moves it on by a number of them.

    Where the block ends by itself, a line with time and rate is left. A terminal that says it is ``dumb`` gets that
    line alone.
    """
    as_one = _AS_ONE.get()
    if as_one is not None and unit == "frames":
        with _counted(total, as_one) as count:
            yield count
        return
    if quiet or not is_terminal(sys.stderr):
        yield lambda done: None
        return
    place, began_s, ascii_only = _PLACE.get(), time.monotonic(), not _takes(ELLIPSIS + "█▏", sys.stderr)
    rate, all_done = RecentRate(began_s), 0
    dumb = os.environ.get("TERM") == "dumb"
    with nullcontext() if dumb else _Shown(what, total, place, rate, ascii_only, unit) as shown:

        def move_on(done: int) -> None:
            nonlocal all_done
            all_done += done
            rate.saw(time.monotonic(), all_done)
            if shown is not None:
                shown.update(done)

        yield move_on
    took_s = time.monotonic() - began_s
    width = _columns_of(sys.stderr) - 1
    said = finished(what, place, all_done, took_s, width, ascii_only=ascii_only, unit=unit)
    print(said, file=sys.stderr, flush=True)


REVIEW_PAGE = "review page"
"""What the bar of the review page is called."""


def page_bar(*, quiet: bool) -> Callable[[int], AbstractContextManager[Callable[[int], None]]]:
    """The bar of the review page, counted in shots, from how many there are."""
    return lambda total: bar(REVIEW_PAGE, total, quiet=quiet, unit="shots")


def finished(
    what: str, place: Place, done: int, took_s: float, width: int, *, ascii_only: bool = False, unit: str = "frames"
) -> str:
    """The line that a stage leaves: how much was done in which time; at most ``width`` columns."""
    took = clock(took_s)
    counted = f": {done} {_of(done, unit)} in {took}"
    rate = f", {rate_words(done / took_s)} {unit}/s" if done and took_s > 0.0 else ""
    figures = _fitting(what, place, width, (counted + rate, counted, f": {took}"))
    return label(what, place, width - len(figures), _ellipsis(ascii_only)) + figures


class BesideBars(logging.Handler):
    """Log lines on stderr that no bar is drawn over, with everything in them shown and nothing obeyed.

    Line feeds are our own alone: one in what a message is about, such as a name, stands as its code.
    """

    def emit(self, record: logging.LogRecord) -> None:
        try:
            # Other handlers may want the record as it is.
            record = copy(record)
            if isinstance(record.args, Mapping):
                record.args = {name: _harmless(value) for name, value in record.args.items()}
            elif record.args:
                record.args = tuple(map(_harmless, record.args))
            text = "\n".join(map(visible, self.format(record).split("\n")))
            tqdm.write(text, file=sys.stderr)
            sys.stderr.flush()
        except Exception:
            self.handleError(record)


def _harmless(value: object) -> object:
    return value if isinstance(value, numbers.Number) else visible(str(value))
