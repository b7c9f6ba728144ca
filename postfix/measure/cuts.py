"""Cuts and dissolves found in the picture, told apart from motion, flashes, changes of light and zooms.

Two frames are compared by their fine structure, block by block, wherever each block went (``likeness.py``): that
leaves out how bright they are and how far things moved. A cut is where no frame before resembles any frame after,
while the frames on either side resemble each other. A dissolve is where the picture goes from one thing to an unlike
one in a straight line, and the frames between are the sum of both. Black that lasts parts two shots in its middle.

The limits here are project defaults without a source, chosen on made-up edits.
"""

from __future__ import annotations

from bisect import bisect_right, insort
from collections import deque
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from postfix.measure.likeness import Floats, Signature, explained_by_both, likeness
from postfix.source.shots import Shot, Transition

UNLIKE = 0.58
"""Likeness under which two frames show different things."""

SUDDEN = 0.65
"""Across a cut the likeness of neighbours is at most this share of what it is on either side."""

CALM = 0.65
"""Frames around a cut change at most this share of what it changes."""

COMES_BACK = 0.5
"""After a flash the picture is within this share of the jump of what it was before."""

FLASH_FRAMES = 3
"""A picture that comes back after this many frames was never left."""

BLACK = 0.02
"""A frame whose brightest part is below this share of white is black."""

BLACK_FRAMES = 4
"""Black of this many frames and more parts two shots."""

SPANS = (8, 10, 13, 16, 20, 25, 31, 38)
"""Frames over which dissolves are looked for."""

_LEAST_CHANGE = 0.2
_LEAST_WAY = 0.55
_STRAIGHT = 0.5
_OFF = 0.3
_UNEVEN = 0.09
_ENDS_ALIKE = 0.7
_MOST_EXPLAINED = 0.3
_EVERY = 3

_SCORE = {
    "always": 6.2,
    "off the straight line": -32.9,
    "log of way over contrast": 5.85,
    "likeness of the ends": -7.1,
    "only brighter or darker": -8.2,
    "explained by both": 19.0,
}
"""What each sign of a dissolve weighs: fitted by logistic regression to made-up edits other than those reported."""

_MEMORY = max(SPANS) + 2 * FLASH_FRAMES + 3

_REACH = 64
"""Frames over which two possible dissolves matter to each other: the longest span, were all of it spent between a fifth
and four fifths of the way."""

_OPEN = 256
"""Frames after which what was found stays as it is: several times the reach, for one may matter to the next."""

_SETTLE_EVERY = 64


class _Course(NamedTuple):
    """A possible dissolve: how much speaks for it, when its middle is and how many frames it takes."""

    score: float
    middle: float
    length: float
    start: int
    end: int


class CutFinder:
    """Takes the signature of each frame in order; keeps some fifty of them and what it found.

    What lies some hundred frames back is settled once: time grows with the frames, memory with the transitions only.
    """

    def __init__(self) -> None:
        self._seen: deque[Signature] = deque(maxlen=_MEMORY)
        self._count = 0
        self._cuts: list[int] = []
        self._black: list[list[int]] = []
        self._courses: list[_Course] = []
        self._likes: dict[tuple[int, int, bool], float] = {}
        self._settled: list[Transition] = []
        self._settled_courses: list[_Course] = []
        self._border = 0

    def add(self, current: Signature) -> None:
        """Take the next frame's signature."""
        self._seen.append(current)
        self._count += 1
        newest = self._count - 1
        if float(current.luma.max()) < BLACK:
            if self._black and self._black[-1][1] == newest - 1:
                self._black[-1][1] = newest
            else:
                self._black.append([newest, newest])
        self._look_at(newest - FLASH_FRAMES)
        if self._count % _SETTLE_EVERY == 0 and self._count > _OPEN:
            self._settle(self._count - _OPEN)

    def _look_at(self, frame: int) -> None:
        """Decide on a frame once enough of what follows has been seen."""
        if frame >= 1 and self._is_cut(frame):
            self._cuts.append(frame)
        if frame % _EVERY == 0:
            self._courses.extend(self._dissolves_before(frame - 1))
        self._likes = {pair: value for pair, value in self._likes.items() if pair[0] > frame - _MEMORY}

    def _frame(self, frame: int) -> Signature:
        return self._seen[frame - self._count + len(self._seen)]

    def _like(self, first: int, second: int, *, far: bool = False) -> float:
        pair = (first, second, far)
        if pair not in self._likes:
            self._likes[pair] = likeness(self._frame(first).detail, self._frame(second).detail, far=far)
        return self._likes[pair]

    def _change(self, frame: int) -> float:
        return float(np.abs(self._frame(frame).luma - self._frame(frame - 1).luma).mean())

    def _is_cut(self, frame: int) -> bool:
        """Whether a new shot begins at a frame, from the frames around it that have been seen."""
        old, new = self._frame(frame - 1), self._frame(frame)
        change = self._change(frame)
        if change < _LEAST_CHANGE * float(new.luma.std() + old.luma.std()) or self._like(frame - 1, frame) >= UNLIKE:
            return False
        first, last = max(0, frame - 1 - FLASH_FRAMES), min(self._count - 1, frame + FLASH_FRAMES)
        before, after = range(first + 1, frame), range(frame + 1, last + 1)
        around = [float(np.median([self._change(f) for f in part])) for part in (before, after) if part]
        if max(around, default=0.0) > CALM * change or self._comes_back(frame, first, last, change):
            return False
        likes = [[self._like(f - 1, f) for f in part] for part in (before, after) if part]
        calm = min((float(np.median(part)) for part in likes), default=1.0)
        beside = min((self._like(f - 1, f) for f in (frame - 1, frame + 1) if first < f <= last), default=1.0)
        if self._like(frame - 1, frame) > SUDDEN * min(calm, beside):
            return False
        return not any(
            self._like(early, late) >= UNLIKE
            for early in range(first, frame)
            for late in range(frame, min(last, early + FLASH_FRAMES + 1) + 1)
        )

    def _comes_back(self, frame: int, first: int, last: int, change: float) -> bool:
        """Whether the picture soon is what it was before a frame, or now is what it was a little earlier: a flash."""
        pairs = [(frame - 1, late) for late in range(frame + 1, last + 1)]
        pairs += [(early, frame) for early in range(first, frame - 1)]
        return any(
            float(np.abs(self._frame(early).luma - self._frame(late).luma).mean()) < COMES_BACK * change
            for early, late in pairs
        )

    def _dissolves_before(self, end: int) -> Iterator[_Course]:
        """Dissolves that are over by a frame, one for each length that fits."""
        oldest = max(0, self._count - len(self._seen), self._cuts[-1] if self._cuts else 0)
        if self._black:
            oldest = max(oldest, self._black[-1][1] + 1)
        available = end - oldest + 1
        if available <= SPANS[0]:
            return
        path = np.array([self._frame(frame).coarse for frame in range(max(oldest, end - SPANS[-1]), end + 1)])
        for span in SPANS:
            if span >= available:
                return
            course = self._course(path[-span - 1 :], end - span)
            if course is not None:
                yield course

    def _course(self, path: Floats, start: int) -> _Course | None:
        """A dissolve along the coarse pictures (frames, 144) from a frame on, or None where they are none."""
        span = len(path) - 1
        whole = path[-1] - path[0]
        square = float(whole @ whole)
        length = square**0.5
        contrast = float(path[0].std() + path[-1].std()) / 2.0
        way = length / (contrast * whole.size**0.5 + 1e-6)
        if way < _LEAST_WAY:
            return None
        steps = np.diff(path, axis=0)
        if length < _STRAIGHT * float(np.sqrt((steps * steps).sum(axis=1)).sum()):
            return None
        share = (path - path[0]) @ whole / square
        aside = path - path[0] - share[:, None] * whole
        off = float(np.sqrt((aside * aside).sum(axis=1)).mean()) / length
        uneven = float(np.abs(share - np.linspace(0.0, 1.0, span + 1)).mean())
        if off > _OFF or uneven > _UNEVEN:
            return None
        brightening = abs(float(whole.mean())) / float(np.abs(whole).mean())
        score = self._score(start, start + span, off, way, brightening)
        if score < 0.0:
            return None
        early, late = (
            float(np.interp(level, np.maximum.accumulate(share), np.arange(span + 1))) for level in (0.2, 0.8)
        )
        return _Course(score, start + (early + late) / 2.0, (late - early) / 0.6 - 1.0, start, start + span)

    def _score(self, start: int, end: int, off: float, way: float, brightening: float) -> float:
        """How much speaks for a dissolve between two frames; above 0 it is one."""
        alike = self._like(start, end, far=True)
        if alike >= _ENDS_ALIKE:
            return -1.0
        # Grain and shake make neighbours unlike as well; only what goes beyond that counts.
        beside = self._like(start, start + 1, far=True) * self._like(end - 1, end, far=True)
        alike = min(1.0, alike / max(beside, 1e-6) ** 0.5)
        score: float = (
            _SCORE["always"]
            + _SCORE["off the straight line"] * off
            + _SCORE["log of way over contrast"] * min(float(np.log(way)), 1.0)
            + _SCORE["likeness of the ends"] * alike
            + _SCORE["only brighter or darker"] * brightening**8
        )
        if score + _SCORE["explained by both"] * _MOST_EXPLAINED < 0.0:
            return -1.0
        first, last = self._frame(start).luma, self._frame(end).luma
        middles = (self._frame(start + round(part * (end - start))).luma for part in (0.3, 0.5, 0.7))
        explained = float(np.mean([explained_by_both(middle, first, last) for middle in middles]))
        return score + _SCORE["explained by both"] * explained

    def transitions(self, since: int = 0) -> tuple[Transition, ...]:
        """All that was found so far between two shots, in order; those after a frame only, where one is given."""
        tail = range(max(1, self._count - FLASH_FRAMES), self._count)
        cuts = [*self._cuts, *(frame for frame in tail if self._is_cut(frame))]
        settled = self._settled[bisect_right(self._settled, since, key=_frame_of) :]
        found = [*settled, *(one for one, _ in self._unsettled(cuts) if one.frame > since)]
        return tuple(sorted(found, key=_frame_of))

    def black_ends(self) -> tuple[Transition, ...]:
        """Black at the clip's head and at its tail, which parts no shots: from frame 0 on, or to one past the last."""
        return tuple(
            Transition(0 if first == 0 else last + 1, "cut", first, last)
            for first, last in self._long_black()
            if not self._inside(first, last)
        )

    def _settle(self, border: int) -> None:
        """Decide for good on what is over before a frame, and let go of what that needed."""
        for one, course in self._unsettled(self._cuts):
            if one.last < border:
                insort(self._settled, one, key=_frame_of)
                if course is not None:
                    self._settled_courses.append(course)
        self._border = border
        kept = border - _REACH
        self._courses = [course for course in self._courses if course.middle >= kept]
        # What speaks against a course that is kept may lie before it.
        kept -= _REACH
        self._settled_courses = [course for course in self._settled_courses if course.middle >= kept]
        self._cuts = [cut for cut in self._cuts if cut >= kept]
        self._black = [run for run in self._black if run[1] >= kept or run[0] == 0]

    def _unsettled(self, cuts: Sequence[int]) -> Iterator[tuple[Transition, _Course | None]]:
        """What was found and is not settled, each dissolve with the course it was chosen for."""
        blacks = self._long_black()
        for first, last in blacks:
            if last >= self._border and self._inside(first, last):
                yield Transition((first + last + 1) // 2, "cut", first, last), None
        for cut in cuts:
            beside = any(first - FLASH_FRAMES <= cut <= last + FLASH_FRAMES + 1 for first, last in blacks)
            if cut >= self._border and not beside:
                yield Transition(cut, "cut", cut, cut), None
        for best in self._best_courses(cuts, blacks):
            yield self._dissolve(best), best

    def _long_black(self) -> list[list[int]]:
        return [run for run in self._black if run[1] - run[0] + 1 >= BLACK_FRAMES]

    def _inside(self, first: int, last: int) -> bool:
        return first > 0 and last < self._count - 1

    def _best_courses(self, cuts: Sequence[int], blacks: Sequence[Sequence[int]]) -> list[_Course]:
        """The best course of each group of overlapping ones that has none settled."""
        chosen: list[_Course] = []
        for course in sorted(self._courses, reverse=True):
            if any(course.start < cut <= course.end for cut in cuts):
                continue
            if any(course.start <= last + 3 and course.end >= first - 3 for first, last in blacks):
                continue
            if all(
                abs(course.middle - other.middle) > max(course.length, other.length, 0.0)
                for other in (*self._settled_courses, *chosen)
            ):
                chosen.append(course)
        return chosen

    def _dissolve(self, best: _Course) -> Transition:
        # Seen through a window shorter than itself a dissolve looks shorter; a longer window does not stretch it.
        alike = [c for c in self._courses if c.score >= best.score / 2 and best.start <= c.middle <= best.end]
        course = max(
            (c for c in alike if abs(c.middle - best.middle) <= max(c.length, 0.0) / 4),
            key=lambda c: c.length,
            default=best,
        )
        frames = max(1, round(course.length))
        first = round(course.middle - (frames - 1) / 2.0)
        return Transition(first + frames // 2, "dissolve", first, first + frames - 1)

    def first_frames(self) -> list[int]:
        """First frame of each shot, 0 included; empty where nothing was taken."""
        return [0, *(one.frame for one in self.transitions())] if self._count else []


def _frame_of(one: Transition) -> int:
    return one.frame


def shots_between(first_frames: list[int], count: int) -> tuple[Shot, ...]:
    """Shots named ``s001`` onwards from their first frames."""
    ends = [*first_frames[1:], count]
    return tuple(
        Shot(f"s{number:03d}", first, after - 1)
        for number, (first, after) in enumerate(zip(first_frames, ends), start=1)
    )
