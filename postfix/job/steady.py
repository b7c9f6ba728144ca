"""Footage that must stay as it is while it is in use."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from postfix.errors import InputError
from postfix.source.pair import PairSource
from postfix.source.segments import Segment

Mark = tuple[int, int, int] | None
"""Bytes of a file, and when its content and its entry in the file system were changed, in ns; None where it is not
there."""


def _mark(path: Path) -> Mark:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns, found.st_ctime_ns


@dataclass(frozen=True)
class Steady:
    """How the files of both eyes looked when the work began.

    Attributes
    ----------
    eyes : tuple of tuple of (Path, Mark)
        Of each eye its files, in order.
    count : int
        Frames.
    """

    eyes: tuple[tuple[tuple[Path, Mark], ...], ...]
    count: int

    @classmethod
    def of(cls, pair: PairSource) -> Steady:
        """As the files are now."""
        eyes = dict.fromkeys(tuple(eye.files()) for eye in (pair.left, pair.right))
        return cls(tuple(tuple((path, _mark(path)) for path in eye) for eye in eyes), pair.count)

    def facts(self) -> dict[str, str]:
        """For a recipe: something that differs where any file of an eye does."""
        names = ("left eye", "right eye") if len(self.eyes) > 1 else ("both eyes",)
        return {
            name: hashlib.sha256("\n".join(f"{path.resolve()} {mark}" for path, mark in eye).encode()).hexdigest()
            for name, eye in zip(names, self.eyes)
        }

    def require(self, segment: Segment | None = None) -> None:
        """Refuse footage that was changed since; only the files of a segment where one is given.

        Raises
        ------
        InputError
            Naming the first file that is not what it was.
        """
        for eye in self.eyes:
            for path, mark in _of_segment(eye, segment, self.count):
                if _mark(path) != mark:
                    raise InputError(
                        path,
                        "a file that was changed while it was in use",
                        "footage that stays as it is",
                        "leave it alone until the work is done; if it is as it was, --resume carries on, else begin "
                        "anew with --force",
                    )


def _of_segment(files: Sequence[tuple[Path, Mark]], segment: Segment | None, count: int) -> Sequence[tuple[Path, Mark]]:
    if segment is None or len(files) < count:
        return files
    each = len(files) // count
    return files[segment.first * each : (segment.last + 1) * each]
