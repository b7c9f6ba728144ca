"""Who decided a part of a shot: a short checksum of what the program decided tells whether it was changed since."""

from __future__ import annotations

import hashlib
from dataclasses import fields

from postfix.limits import Limits
from postfix.plan.model import PARTS, Part, ShotPlan


def checksums(shot: ShotPlan) -> dict[Part, str]:
    """For every part of a shot, 8 hexadecimal digits that change with any figure of it.

    ``hit`` covers HIT and zoom; ``fill`` the fill; ``window`` the windows, their soft edge and their opacity; ``align``
    the misalignment too.
    """
    known = shot.misalignment
    values: dict[Part, object] = {
        "hit": ([(int(key.frame), _plain(key.pct)) for key in shot.hit], _plain(shot.zoom)),
        "fill": str(shot.fill),
        "window": (
            [(int(key.frame), *map(_plain, (*key.left_px, *key.right_px))) for key in shot.window],
            _plain(shot.window_soft_px),
            _plain(shot.window_opacity_pct),
        ),
        "subpixel": bool(shot.subpixel),
        "align": (bool(shot.align), known and tuple(_known(getattr(known, field.name)) for field in fields(known))),
    }
    return {part: hashlib.sha256(repr(values[part]).encode()).hexdigest()[:8] for part in PARTS}


LIMIT_NAMES = ("near", "far", "range")


def limit_checksums(limits: Limits) -> dict[str, str]:
    """The same for each figure of the limits."""
    values = {name: _plain(getattr(limits, f"{name}_pct")) for name in LIMIT_NAMES}
    return {name: hashlib.sha256(repr(value).encode()).hexdigest()[:8] for name, value in values.items()}


def limits_as_planned(limits: Limits) -> dict[str, str]:
    """The checksums that a file keeps: of the figures that the rules gave."""
    return {name: digits for name, digits in limit_checksums(limits).items() if name not in limits.by_hand}


def as_planned(shot: ShotPlan) -> dict[Part, str]:
    """The checksums that a file keeps: of the parts that no person decided, and that it says something of."""
    silent = {"subpixel": not shot.subpixel, "align": not (shot.align or shot.misalignment)}
    return {
        part: digits
        for part, digits in checksums(shot).items()
        if part not in shot.by_hand and not silent.get(part, False)
    }


def _known(value: float | None) -> float | None:
    return None if value is None else _plain(value)


def _plain(value: float) -> float:
    """A float whose text depends on its value alone: no other type of number, and one zero."""
    return float(value) + 0.0
