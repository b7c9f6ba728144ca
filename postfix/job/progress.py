"""Progress on stderr, one bar a stage: none where stderr is no terminal, none when asked to be quiet.

A stage that ends leaves one line with its time and rate.
"""

from __future__ import annotations

import logging
import os
import sys
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from contextvars import ContextVar
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
_LEAST_NAME = 6
_STAGE = 16
"""Columns for the name of a stage before that of its clip has any: ``check cinema-12m``."""
_LEAST_LABEL = 24
"""Columns for what the bar is of; with less, figures are left out."""


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
    """Name of a stage with its place in the job, in at most ``width`` columns; only names are shortened."""
    what, clip = visible(what), visible(place.clip)
    before_clip, before_stage = place.figures(what)
    named = bool(before_clip and clip)
    between = ": " if before_clip else ""
    room = width - columns(before_clip + between + before_stage)
    if named:
        room_clip = max(room - columns(what), min(room // 2, room - _STAGE), _LEAST_NAME)
        clip = shortened(clip, room_clip, ellipsis)
        room -= columns(clip)
    what = shortened(what, max(room, 1), ellipsis)
    return f"{before_clip if named else before_clip.rstrip()}{clip if named else ''}{between}{before_stage}{what}"


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
    name: Callable[[int], str],
    done: int,
    total: int,
    per_s: float,
    width: int,
    *,
    ascii_only: bool,
    unit: str = "frames",
) -> str:
    """One line of a bar: name, bar, percent, how many are done, rate, time left; at most ``width`` columns."""
    share = min(done / total, 1.0) if total > 0 else 0.0
    # Figures keep their places while they grow, or the whole line would dance.
    percent, counted = f"{int(share * 100):3d} %", f"  {done:{len(str(total))}d}/{total}"
    rate = left = ""
    if per_s > 0.0:
        rate, left = f"  {rate_words(per_s):>4}/s", f"  {clock(max(total - done, 0) / per_s):>5} left"
    whole = f"{percent}{counted} {unit}{rate}{left}"
    if width - len(whole) - 2 >= min(columns(name(_MOST_COLUMNS)), width // 2):
        figures = whole
    else:
        # Where room is short the unit goes first; on a narrow terminal there are fewer figures, but whole ones.
        ways = (percent + counted + rate + left, percent + counted + left, percent + left, percent)
        figures = next((way for way in ways if width - len(way) - 2 >= _LEAST_LABEL), percent)
    room = width - len(figures) - 2
    named = name(max(room, 1))
    long = min(room - columns(named) - 2, _MOST_BAR)
    bar = f"  {Bar(share, long, Bar.ASCII if ascii_only else Bar.UTF)}" if long >= 4 else ""
    return f"{named}{bar}  {figures}"


class _Shown(tqdm):  # type: ignore[misc, type-arg, unused-ignore]
    """A bar whose line is our own; when it is drawn, cleared and passed by is the library's business."""

    def __init__(self, what: str, total: int, place: Place, rate: RecentRate, ascii_only: bool, unit: str) -> None:
        self._what, self._place, self._rate, self._ascii_only, self._unit = what, place, rate, ascii_only, unit
        super().__init__(total=total, file=sys.stderr, leave=False, mininterval=_REDRAWN_EVERY_S)

    def __str__(self) -> str:
        per_s = self._rate.per_s(time.monotonic(), self.n)
        # The last column stays empty: some terminals go on to the next line when it is written.
        width = _columns_of(sys.stderr) - 1
        return drawn(self._name, self.n, self.total, per_s, width, ascii_only=self._ascii_only, unit=self._unit)

    def _name(self, width: int) -> str:
        return label(self._what, self._place, width, "~" if self._ascii_only else ELLIPSIS)


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


@contextmanager
def bar(what: str, total: int, *, quiet: bool, unit: str = "frames") -> Iterator[Callable[[int], None]]:
    """A bar over ``total`` frames or whatever ``unit`` says; the value is a call that moves it on by a number of them.

    Where the block ends by itself, a line with time and rate is left. A terminal that says it is ``dumb`` gets that
    line alone.
    """
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
    print(finished(what, place, all_done, took_s, _columns_of(sys.stderr) - 1, unit), file=sys.stderr, flush=True)


def page_bar(*, quiet: bool) -> Callable[[int], AbstractContextManager[Callable[[int], None]]]:
    """The bar of the review page, counted in shots, from how many there are."""
    return lambda total: bar("review page", total, quiet=quiet, unit="shots")


def finished(what: str, place: Place, done: int, took_s: float, width: int, unit: str = "frames") -> str:
    """The line that a stage leaves: how much was done in which time."""
    figures = f": {done} {unit} in {clock(took_s)}"
    rate = f", {rate_words(done / took_s)} {unit}/s" if done and took_s > 0.0 else ""
    if width - len(figures + rate) >= _LEAST_LABEL:
        figures += rate
    return label(what, place, max(width - len(figures), 1)) + figures


class BesideBars(logging.Handler):
    """Log lines on stderr that no bar is drawn over, with everything in them shown and nothing obeyed."""

    def emit(self, record: logging.LogRecord) -> None:
        try:
            text = "\n".join(map(visible, self.format(record).split("\n")))
            tqdm.write(text, file=sys.stderr)
            sys.stderr.flush()
        except Exception:
            self.handleError(record)
