"""A shot: a stretch of the clip between two cuts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Shot:
    """Frames of the clip counted from 0, both ends included."""

    name: str
    first: int
    last: int
