"""The text of a CMX 3600 list, put into the one form that the reader of the interchange library takes without loss.

What it would lose or refuse (seen with otio-cmx3600-adapter 1.0): a dissolve written on one line comes back as a plain
clip; of an event whose first line has a length of its own, that line is dropped; picture and sound of one event with
the same number are taken for a dissolve; drop-frame times written with colons under ``FCM: DROP FRAME`` are counted as
non-drop; a change of speed that keeps the length is forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

from postfix.source.timecode import can_drop

_CLOCK = re.compile(r"(\d\d:\d\d:\d\d):(\d\d)", re.ASCII)
_SPEED = re.compile(r"M2\s+(?P<reel>\S+)\s+(?P<speed>-?\d+(?:\.\d*)?)\s+\d", re.ASCII)


@dataclass
class _Event:
    """One line of an event with the comments after it."""

    fields: list[str]
    comments: list[str] = field(default_factory=list)

    @property
    def is_transition(self) -> bool:
        return len(self.fields) == 9

    @property
    def has_length(self) -> bool:
        return self.fields[-2] != self.fields[-1]


@dataclass(frozen=True)
class CmxText:
    """A list in the form the library's reader takes.

    Attributes
    ----------
    text : str
    numbers : dict
        Number of the event in the list as it was written, by the record time at which it starts.
    speeds : dict
        Frames per second at which the event's source runs, by the same, where the list says one.
    notes : tuple of str
    """

    text: str
    numbers: dict[str, str]
    speeds: dict[str, float]
    notes: tuple[str, ...]


def plain_cmx(text: str, rate: Fraction) -> CmxText:
    """Bring a list into the form the library reads; lines that are none of an edit list stay as they are."""
    head, events, notes = _parts(text, rate)
    lines, numbers, speeds = list(head), {}, {}
    for number, event in enumerate(_paired(events), 1):
        count = f"{number:06d}"
        first = event.fields[-2]
        if event.is_transition:
            # The reader takes all but the number from the second line.
            still = event.fields[6]
            lines.append(" ".join([count, *event.fields[1:3], "C", still, still, first, first]))
        lines += [" ".join([count, *event.fields[1:]]), *event.comments]
        if "V" in event.fields[2].upper() or event.fields[2].upper() == "B":
            numbers[first] = event.fields[0]
            speed = [found for found in map(_SPEED.match, event.comments) if found and found["reel"] == event.fields[1]]
            if speed:
                speeds[first] = float(speed[-1]["speed"])
    return CmxText("\n".join(lines) + "\n", numbers, speeds, tuple(notes))


def _parts(text: str, rate: Fraction) -> tuple[list[str], list[_Event], list[str]]:
    """Lines before the first event, the events, and notes."""
    head: list[str] = []
    events: list[_Event] = []
    notes: list[str] = []
    drop = False
    for line in filter(None, (line.strip() for line in text.splitlines())):
        if line.upper().startswith("FCM"):
            drop = "DROP" in line.upper() and "NON" not in line.upper()
            if drop and not can_drop(rate):
                drop = False
                notes.append(f"the list counts drop-frame, which does not exist at {rate} frames/s: counted without")
            continue
        fields = line.split()
        if fields[0].isdigit() and len(fields) in (8, 9):
            if drop:
                fields[-4:] = [_CLOCK.sub(r"\1;\2", clock) for clock in fields[-4:]]
            events.append(_Event(fields))
        elif events:
            # The reader looks for colons in the time of a speed change.
            events[-1].comments.append(line.replace(";", ":") if line.startswith("M2") else line)
        else:
            head.append(line)
    return head, events, notes


def _paired(events: list[_Event]) -> Iterator[_Event]:
    """Events one by one: what a dissolve comes from is an event of its own, or nothing where it has no length."""
    for event, following in zip(events, [*events[1:], None]):
        leads_in = (
            not event.is_transition
            and following is not None
            and following.is_transition
            and following.fields[0] == event.fields[0]
        )
        if not leads_in or following is None:
            yield event
            continue
        if not event.has_length:
            following.comments[:0] = event.comments
            continue
        if not any("CLIP NAME" in comment for comment in event.comments):
            event.comments += [c for c in following.comments if "FROM CLIP NAME" in c]
        yield event
