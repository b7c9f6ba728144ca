"""What a person decided of each shot before planning: pins, and the parts of an earlier plan that are theirs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from postfix.errors import InputError
from postfix.plan.edit import Edit, EditShot
from postfix.plan.locked import locked_shots
from postfix.plan.model import PARTS, HitKey, Pin, Plan, ShotPlan, Subject
from postfix.plan.settings import PlanSettings


def wishes_of(edit: Edit, settings: PlanSettings, pins: Sequence[Pin], previous: Plan | None) -> list[ShotPlan]:
    """A plan for each shot of an edit that holds what a person decided and nothing else.

    Raises
    ------
    InputError
        Where a pin is of no shot, leaves its shot or the picture, or is one of two for the same shot; where a subject
        was not looked for in the footage; where a locked shot of ``previous`` is no shot any more.
    """
    locked = locked_shots(previous, edit.columns, edit.shots)
    earlier = {} if previous is None else {(shot.first, shot.last): shot for shot in previous.shots}
    wishes = []
    for shot in edit.shots:
        bounds = (shot.first, shot.last)
        bare = ShotPlan(shot.name, shot.first, shot.last, (HitKey(shot.first, 0.0),), fill=settings.fill)
        wishes.append(locked.get(bounds) or _kept(bare, earlier.get(bounds)))
    taken: dict[int, Pin] = {}
    for pin in pins:
        index = shot_of_pin(pin, edit)
        if index in taken:
            raise InputError(
                pin.where or "the pins",
                f"a second pin for shot {edit.shots[index].name}, after the one in {taken[index].where or 'the same'}",
                "one pin for each shot",
                "leave one of them out",
            )
        taken[index] = pin
        if not wishes[index].locked:
            wishes[index] = _pinned(wishes[index], pin, edit.shots[index])
    for wish in wishes:
        if (
            wish.subject is not None
            and wish.subject.found_pct is None
            and not wish.locked
            and "hit" not in wish.by_hand
        ):
            raise InputError(
                f"the subject of shot {wish.name}",
                "no parallax that was measured for it",
                "the footage, to look at what is in its box",
                "give the footage too, with --left and --right",
            )
    return wishes


def _kept(bare: ShotPlan, earlier: ShotPlan | None) -> ShotPlan:
    """What of an earlier plan's shot is a person's."""
    if earlier is None:
        return bare
    wish = replace(bare, subject=earlier.subject, by_hand=earlier.by_hand)
    if "fill" in earlier.by_hand:
        wish = replace(wish, fill=earlier.fill)
    if "hit" in earlier.by_hand:
        wish = replace(wish, hit=earlier.hit, zoom=earlier.zoom)
    if "window" in earlier.by_hand:
        wish = replace(
            wish,
            window=earlier.window,
            window_soft_px=earlier.window_soft_px,
            window_opacity_pct=earlier.window_opacity_pct,
        )
    return wish


def shot_of_pin(pin: Pin, edit: Edit) -> int:
    """Which shot a pin is for; raises InputError where it is for none."""
    where = pin.where or "the pins"
    if pin.shot is not None:
        for index, shot in enumerate(edit.shots):
            if shot.name == pin.shot:
                return index
        names = ", ".join(shot.name for shot in edit.shots[:6]) + (" …" if len(edit.shots) > 6 else "")
        raise InputError(where, f"a pin for shot {pin.shot!r}", f"a shot of the clip: {names}", "correct the name")
    frame = pin.frame if pin.frame is not None else pin.subject.frame if pin.subject is not None else -1
    for index, shot in enumerate(edit.shots):
        if shot.first <= frame <= shot.last:
            return index
    raise InputError(
        where, f"a pin for frame {frame}", f"a frame of the clip, 0 to {edit.shots[-1].last}", "correct the frame"
    )


def _pinned(wish: ShotPlan, pin: Pin, shot: EditShot) -> ShotPlan:
    if pin.subject is not None:
        _require_inside(pin.subject, shot, pin.where)
        return replace(
            wish, subject=pin.subject, by_hand=tuple(part for part in wish.by_hand if part != "hit"), zoom=1.0
        )
    keys = pin.hit if len(pin.hit) > 1 else tuple(HitKey(shot.first, key.pct) for key in pin.hit)
    for key in keys:
        if not shot.first <= key.frame <= shot.last:
            raise InputError(
                pin.where or "the pins",
                f"HIT at frame {key.frame}",
                f"a frame of shot {shot.name}, {shot.first} to {shot.last}",
                "correct the frame",
            )
    return replace(
        wish, hit=keys, subject=None, by_hand=tuple(part for part in PARTS if part == "hit" or part in wish.by_hand)
    )


def _require_inside(subject: Subject, shot: EditShot, where: str) -> None:
    if not shot.first <= subject.frame <= shot.last:
        raise InputError(
            where or f"the subject of shot {shot.name}",
            f"frame {subject.frame}",
            f"a frame of shot {shot.name}, {shot.first} to {shot.last}",
            "correct the frame",
        )


def require_in_picture(subject: Subject, size_px: tuple[int, int], where: str) -> None:
    """Refuse a box that is not wholly inside a picture of ``size_px``, width and height."""
    x, y, width, height = subject.box
    if x < 0 or y < 0 or width < 1 or height < 1 or x + width > size_px[0] or y + height > size_px[1]:
        raise InputError(
            where,
            f"a box of {width}x{height} px at {x}, {y}",
            f"one inside the picture of {size_px[0]}x{size_px[1]} px",
            "correct the box",
        )
