"""What a person decided of each shot before planning: pins, and the parts of an earlier plan that are theirs."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import replace

from postfix.errors import InputError
from postfix.plan.edit import Edit
from postfix.plan.locked import Named, locked_shots
from postfix.plan.misaligned import FoundMisalignment
from postfix.plan.model import PARTS, HitKey, Pin, Plan, ShotPlan, Subject
from postfix.plan.settings import PlanSettings


def wishes_of(
    edit: Edit,
    settings: PlanSettings,
    pins: Sequence[Pin],
    previous: Plan | None,
    misalignments: Sequence[FoundMisalignment] = (),
) -> list[ShotPlan]:
    """A plan for each shot of an edit that holds what a person decided, and what is settled before any HIT.

    That is whether it is aligned, by its own one of ``misalignments`` where there are any, and whether a held HIT is
    drawn at fractions of a pixel.

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
        fine = settings.subpixel == "always"
        bare = ShotPlan(shot.name, shot.first, shot.last, (HitKey(shot.first, 0.0),), fill=settings.fill, subpixel=fine)
        wishes.append(locked.get(bounds) or _kept(bare, earlier.get(bounds)))
    for index, found in enumerate(misalignments):
        if not (wishes[index].locked or "align" in wishes[index].by_hand) and found.misalignment is not None:
            wishes[index] = replace(wishes[index], align=True, misalignment=found.misalignment)
    for index, pin in pins_by_shot(pins, edit.shots).items():
        if not wishes[index].locked:
            wishes[index] = _pinned(wishes[index], pin)
    for wish in wishes:
        if awaits_subject(wish):
            raise InputError(
                f"the subject of shot {wish.name}",
                "no parallax that was measured for it",
                "the footage, to look at what is in its box",
                "give the footage too, with --left and --right",
            )
    return wishes


def awaits_subject(shot: ShotPlan) -> bool:
    """Whether a shot's HIT is to follow from a subject whose parallax nobody has looked for yet."""
    decided = shot.locked or "hit" in shot.by_hand  # then the HIT does not follow from it
    return shot.subject is not None and shot.subject.found_pct is None and not decided


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
    if "subpixel" in earlier.by_hand:
        wish = replace(wish, subpixel=earlier.subpixel)
    if "align" in earlier.by_hand:
        wish = replace(wish, align=earlier.align, misalignment=earlier.misalignment)
    return wish


def pins_by_shot(pins: Sequence[Pin], shots: Sequence[Named]) -> dict[int, Pin]:
    """The pin of each shot that has one, by the shot's place.

    Raises
    ------
    InputError
        Where a pin is of no shot, is one of two for the same shot, or names a frame outside the shot that is meant.
    """
    by_name = {shot.name: index for index, shot in enumerate(shots)}
    firsts = [shot.first for shot in shots]
    taken: dict[int, Pin] = {}
    for pin in pins:
        where = pin.where or "the pins"
        if pin.shot is not None and pin.shot not in by_name:
            some = ", ".join(list(by_name)[:6]) + (" …" if len(by_name) > 6 else "")
            raise InputError(f"{where}, name", f"shot {pin.shot!r}", f"a shot of the clip: {some}", "correct it")
        if pin.shot is None and not 0 <= _frame_of(pin) <= shots[-1].last:
            expected = f"a frame of the clip, 0 to {shots[-1].last}"
            raise InputError(f"{where}, frame", f"frame {_frame_of(pin)}", expected, "correct the frame")
        index = by_name[pin.shot] if pin.shot is not None else bisect_right(firsts, _frame_of(pin)) - 1
        shot = shots[index]
        if index in taken:
            found = f"a second pin for shot {shot.name}, after the one in {taken[index].where or 'the same'}"
            raise InputError(where, found, "one pin for each shot", "remove one of them")
        taken[index] = pin
        held = len(pin.hit) == 1  # over the whole shot, whatever its frame
        for key, frame in frames_of(pin):
            if not shot.first <= frame <= shot.last and not (held and key == "hit[0].frame"):
                expected = f"a frame of shot {shot.name}, {shot.first} to {shot.last}"
                raise InputError(f"{where}, {key}", f"frame {frame}", expected, "correct the frame")
    return taken


def _frame_of(pin: Pin) -> int:
    if pin.frame is not None:
        return pin.frame
    return pin.subject.frame if pin.subject is not None else 0


def frames_of(pin: Pin) -> Iterable[tuple[str, int]]:
    """Every frame that a pin names, with its key."""
    if pin.subject is not None:
        yield "subject.frame", pin.subject.frame
    if pin.frame is not None:
        yield "frame", pin.frame
    yield from ((f"hit[{number}].frame", key.frame) for number, key in enumerate(pin.hit))


def _pinned(wish: ShotPlan, pin: Pin) -> ShotPlan:
    if pin.subject is not None:
        others = tuple(part for part in wish.by_hand if part != "hit")
        return replace(wish, subject=pin.subject, by_hand=others, zoom=1.0)
    keys = pin.hit if len(pin.hit) > 1 else tuple(HitKey(wish.first, key.pct) for key in pin.hit)
    by_hand = tuple(part for part in PARTS if part == "hit" or part in wish.by_hand)
    return replace(wish, hit=keys, subject=None, by_hand=by_hand)


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
