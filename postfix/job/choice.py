"""The footage of a job as a person named it."""

from __future__ import annotations

import hashlib
import logging
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from postfix import __version__
from postfix.source.editlist import read_edit_list
from postfix.source.framed import framed
from postfix.source.layout import Layout
from postfix.source.packed import open_packed
from postfix.source.pair import AS_GIVEN, PairSource, Reading, open_pair
from postfix.source.picture import OnBad
from postfix.source.shots import EditList, Shot
from postfix.source.timecode import timecode_at
from postfix.versions import libraries

log = logging.getLogger("postfix")


Opened = tuple[PairSource, EditList | None]
"""A pair, and how it is cut where that is known before anything is measured."""


@dataclass(frozen=True)
class SourceChoice:
    """Both eyes of one clip as a person named them, and where its cuts come from.

    Attributes
    ----------
    left, right : Path or None
        A file, a folder of stills or a pattern for each eye; None where ``pair`` names both.
    pair : Path or None
        What holds both eyes.
    layout : Layout or None
        How they lie in it; None where it says so itself.
    frame_px : (int, int) or None
        Width and height of the frame that is delivered, cut from the source's or larger than it.
    on_bad : OnBad
        What is done about a frame that cannot be decoded.
    """

    left: Path | None = None
    right: Path | None = None
    rate: Fraction | None = None
    frames: tuple[int, int] | None = None
    edit: Path | None = None
    one_shot: bool = False
    reading: Reading = AS_GIVEN
    pair: Path | None = None
    layout: Layout | None = None
    frame_px: tuple[int, int] | None = None
    on_bad: OnBad = "stop"

    def open(self) -> Opened:
        """Open both eyes, check them against each other and count their frames; that reads a video file through."""
        pair = self._pair()
        if self.frame_px is not None:
            pair = framed(pair, *self.frame_px)
        if self.one_shot:
            return pair, EditList((Shot("s001", 0, pair.count - 1),), (), ())
        if self.edit is not None:
            return pair, _as_listed(self.edit, pair)
        return pair, None

    def facts(self) -> dict[str, Any]:
        """What a measurement of it depends on besides the footage itself, for recipes."""
        return {
            "program version": __version__,
            "libraries": libraries(),
            "frames": self.frames and list(self.frames),
            "rate": self.rate and str(self.rate),
            "offset": self.reading.offset_frames,
            "order of the eyes": "exchanged" if self.reading.swapped else "as given",
            "layout of the eyes": self.layout,
            "frame size": self.frame_px and list(self.frame_px),
            "policy for bad frames": self.on_bad,
        }

    def cuts_fact(self) -> str:
        """Where its cuts come from: another edit list is another one also under the same name."""
        if self.edit is None:
            return "one shot" if self.one_shot else "found in the picture"
        return f"{self.edit} {hashlib.sha256(self.edit.read_bytes()).hexdigest()}"

    def _pair(self) -> PairSource:
        rate, frames, reading, on_bad = self.rate, self.frames, self.reading, self.on_bad
        if self.pair is not None:
            return open_packed(self.pair, self.layout, rate=rate, frames=frames, reading=reading, on_bad=on_bad)
        assert self.left is not None
        assert self.right is not None
        return open_pair(self.left, self.right, rate=rate, frames=frames, reading=reading, on_bad=on_bad)


def _as_listed(edit: Path, pair: PairSource) -> EditList:
    """Shots of an edit list, which speaks of the left eye as it is, also where an offset leaves out some of it."""
    timecode = None if pair.timecode is None else timecode_at(pair.timecode, -pair.before, pair.rate)
    count = pair.before + pair.count + pair.after
    listed = read_edit_list(edit, rate=pair.rate, count=count, timecode=timecode)
    for note in listed.notes:
        log.info("%s: %s", edit.name, note)
    return listed.within(pair.before, pair.count)
