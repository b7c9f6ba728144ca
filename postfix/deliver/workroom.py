"""Where the pictures of a version are made, and what of them is finished."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from postfix.deliver.durable import make_folder

Sealed = Callable[[int], None]
"""Told of the index of a segment that is whole and on the disk, from any thread."""

Look = Callable[[], object]
"""Called every now and then; what it raises ends the work."""


@dataclass(frozen=True)
class Workroom:
    """Two folders of an unfinished version, which exist.

    Attributes
    ----------
    pictures : Path
        Becomes the version: finished files lie in it under their own names.
    parts : Path
        What the finished segments of each output left: coded pictures to be joined, and checksums.
    """

    pictures: Path
    parts: Path

    def parts_of(self, name: str) -> Path:
        """The folder of one output's parts, made where it is missing."""
        folder = self.parts / name
        make_folder(folder)
        return folder
