"""What differs between two plans, in words: screen, limits, clip, settings, and every shot."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any, Literal

from postfix.camera import FIGURE_WORDS, Camera
from postfix.measure.table import ClipInfo
from postfix.plan.camera_table import camera_data
from postfix.plan.geometry import applied_hit_px, is_resampled, widest_px
from postfix.plan.matching import shot_pairs
from postfix.plan.model import HitKey, Misalignment, Plan, ShotPlan, WindowKey
from postfix.plan.settings_file import settings_data
from postfix.viewing import px_from_pct

Kind = Literal["added", "removed", "changed"]

_UNITS = {
    "_pct_per_s": " % a second", "_pct": " %", "_px": " px", "_mm": " mm", "_deg": "°", "_arcmin": " arcmin",
    "_s": " s", "_frames": " frames",
}  # fmt: skip
"""What a name of a figure ends in, and how its value is then said."""

_FILLS = {"hide": "black in the eye that lacks them", "crop": "black in both eyes", "zoom": "covered by enlarging"}

_PARTS = {
    "hit": "HIT", "fill": "fill", "window": "window", "subpixel": "fractions of a pixel", "align": "alignment",
}  # fmt: skip


@dataclass(frozen=True)
class Difference:
    """One thing that differs; ``before`` and ``after`` are words, empty where there was or is nothing.

    Attributes
    ----------
    where : str
        ``screen``, ``limits``, ``clip``, ``settings``, or a shot with its frames.
    what : str
    before, after : str
    kind : Kind
    """

    where: str
    what: str
    before: str
    after: str
    kind: Kind = "changed"


def plan_differences(a: Plan, b: Plan, *, reasons: bool = False) -> tuple[Difference, ...]:
    """What differs from one plan to another; nothing where they are equal.

    Shots are the same where their frames are, else where their names are. Reasons, and the rules behind limits, are
    compared only where ``reasons`` asks for it; then plans without a difference are equal.
    """
    found = [*_screens(a, b), *_limits(a, b, reasons), *_clips(a, b), *_settings(a, b)]
    for before, after in shot_pairs(a.shots, b.shots):
        if before is None or after is None:
            shot = before or after
            assert shot is not None
            words = _shot_words(shot, (a if after is None else b).clip)
            if after is None:
                found.append(Difference(_place(shot), "shot", words, "", "removed"))
            else:
                found.append(Difference(_place(shot), "shot", "", words, "added"))
        elif before != after or (a.clip.width_px, a.clip.step_px) != (b.clip.width_px, b.clip.step_px):
            found += _shots(before, after, a.clip, b.clip, reasons)
    return tuple(found)


def _changed(where: str, what: str, before: object, after: object, unit: str = "") -> Iterator[Difference]:
    """A difference of two values, with so many digits that it shows; nothing where they are equal."""
    if before == after:
        return
    words = _value(before, unit), _value(after, unit)
    if words[0] == words[1]:
        words = _value(before, unit, exact=True), _value(after, unit, exact=True)
    kind: Kind = "added" if words[0] == "" else "removed" if words[1] == "" else "changed"
    yield Difference(where, what, *words, kind)


def _value(value: object, unit: str, *, exact: bool = False) -> str:
    if value is None or value == "":
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return f"{_number(value, exact=exact)}{unit}"
    return _shown(str(value))


def _number(value: float, *, exact: bool = False) -> str:
    text = f"{float(value)!r}" if exact else f"{round(value, 2) + 0.0:.2f}"
    return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text


def _shown(text: str) -> str:
    """Text of a person as it can stand in a line."""
    return "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in text)


def _named(name: str) -> tuple[str, str]:
    """Name of a figure in words, and its unit: ``ease_pct_per_s`` → ``ease speed``, `` % a second``."""
    for ending, unit in _UNITS.items():
        if name.endswith(ending):
            words = name.removesuffix(ending).replace("_", " ")
            return words if "per" not in ending or words == "speed" else f"{words} speed", unit
    return name.replace("_", " "), ""


def _screens(a: Plan, b: Plan) -> Iterator[Difference]:
    for name in ("name", "width_mm", "distance_mm", "eye_mm", "note"):
        what, unit = _named(name)
        yield from _changed("screen", what, getattr(a.screen, name), getattr(b.screen, name), unit)


def _limits(a: Plan, b: Plan, reasons: bool) -> Iterator[Difference]:
    for name in ("near", "far", "range"):
        yield from _changed("limits", name, getattr(a.limits, f"{name}_pct"), getattr(b.limits, f"{name}_pct"), " %")
        if reasons:
            rules = getattr(a.limits, f"{name}_rule"), getattr(b.limits, f"{name}_rule")
            yield from _changed("limits", f"rule for {name}", *rules)


def _clips(a: Plan, b: Plan) -> Iterator[Difference]:
    for what, before, after in (
        ("name", a.clip.name, b.clip.name),
        ("size", f"{a.clip.width_px}x{a.clip.height_px} px", f"{b.clip.width_px}x{b.clip.height_px} px"),
        ("rate", f"{a.clip.rate} frames/s", f"{b.clip.rate} frames/s"),
        ("length", f"{a.shots[-1].last + 1} frames", f"{b.shots[-1].last + 1} frames"),
        ("steps of a move", f"{a.clip.step_px} px", f"{b.clip.step_px} px"),
        ("columns to spare", f"{a.clip.spare_px} px", f"{b.clip.spare_px} px"),
        ("width over height of a pixel", str(a.clip.pixel_aspect), str(b.clip.pixel_aspect)),
        ("footage mark", a.clip.footage, b.clip.footage),
    ):
        yield from _changed("clip", what, before, after)


def _settings(a: Plan, b: Plan) -> Iterator[Difference]:
    before, after = settings_data(a.settings), settings_data(b.settings)
    for section in {**before, **after}:
        if not isinstance(before[section], dict):
            yield from _changed("settings", section, before[section], after[section])
            continue
        for name in {**before[section], **after[section]}:
            what, unit = _named(name)
            values = before[section].get(name), after[section].get(name)
            yield from _changed("settings", f"{section}, {what}", *values, unit)


def _place(shot: ShotPlan) -> str:
    return f"shot {_shown(shot.name)}, {_frames(shot)}"


def _frames(shot: ShotPlan) -> str:
    return f"frames {shot.first} to {shot.last}"


def _shot_words(shot: ShotPlan, clip: ClipInfo) -> str:
    """A whole shot in a few words."""
    parts = [f"HIT {_hit_words(shot, clip)}"]
    if shot.zoom != 1.0:
        parts.append(f"zoom {_zoom_words(shot.zoom)}")
    if shot.align:
        parts.append("aligned")
    parts.append("no window" if not shot.window else f"window {_window_words(shot.window)}")
    return "; ".join([*parts, *(["locked"] if shot.locked else [])])


def _shots(a: ShotPlan, b: ShotPlan, clip_a: ClipInfo, clip_b: ClipInfo, reasons: bool) -> Iterator[Difference]:
    """Everything that differs within one shot."""
    where = _place(b)
    yield from _changed(where, "name", a.name, b.name)
    yield from _changed(where, "frames", _frames(a), _frames(b))
    words = _hit_words(a, clip_a), _hit_words(b, clip_b)
    if a.hit != b.hit or words[0] != words[1]:
        yield _keys_changed(where, "HIT", a.hit, b.hit, *words)
    if a.zoom != b.zoom:
        yield from _changed(where, "zoom", _zoom_words(a.zoom, b.zoom), _zoom_words(b.zoom, a.zoom))
    if a.fill != b.fill:
        yield Difference(where, "columns laid bare", _FILLS[a.fill], _FILLS[b.fill])
    if a.window != b.window:
        yield _keys_changed(where, "window", a.window, b.window, _window_words(a.window), _window_words(b.window))
    yield from _changed(where, "soft edge of windows", a.window_soft_px, b.window_soft_px, " px")
    yield from _changed(where, "opacity of windows", a.window_opacity_pct, b.window_opacity_pct, " %")
    yield from _changed(where, "at fractions of a pixel", a.subpixel, b.subpixel)
    yield from _changed(where, "aligned", a.align, b.align)
    yield from _changed(where, "misalignment", *_misalignments(a.misalignment, b.misalignment))
    yield from _subjects(where, a, b)
    yield from _changed(where, "camera", *(_camera_words(shot.camera) for shot in (a, b)))
    yield from _changed(where, "decided by hand", _by_hand(a), _by_hand(b))
    yield from _changed(where, "locked", a.locked, b.locked)
    if reasons:
        yield from _changed(where, "reason", a.reason, b.reason)


def _misalignments(a: Misalignment | None, b: Misalignment | None) -> tuple[str, str]:
    """Both in words, with all digits: what differs at all must show."""

    def words(known: Misalignment | None) -> str:
        figures = {} if known is None else asdict(known)
        return ", ".join(
            f"{what} {float(value)!r}{unit}"
            for (what, unit), value in ((_named(name), value) for name, value in figures.items())
            if value is not None
        )

    return words(a), words(b)


def _camera_words(camera: Camera | None) -> str:
    """What was noted, with all digits."""
    parts = []
    for key, value in ({} if camera is None else camera_data(camera)).items():
        what = FIGURE_WORDS.get(key, key)
        parts.append(f"{what} {value if isinstance(value, str) else _length_words(value)}")
    return ", ".join(parts)


def _length_words(mm: float) -> str:
    return "infinity" if math.isinf(mm) else f"{_number(mm, exact=True)} mm"


def _by_hand(shot: ShotPlan) -> str:
    return ", ".join(_PARTS[part] for part in shot.by_hand) or "nothing"


def _zoom_words(zoom: float, other: float | None = None) -> str:
    if zoom == 1.0:
        return "none"
    short = f"{(zoom - 1.0) * 100.0:.2f} %"
    return f"× {zoom!r}" if other is not None and short == f"{(other - 1.0) * 100.0:.2f} %" else short


def _hit_words(shot: ShotPlan, clip: ClipInfo) -> str:
    """HIT in percent of width and in the pixels that are applied, where it moves from one end to the other."""
    keys = shot.hit

    def words(key: HitKey) -> str:
        exact = round(px_from_pct(key.pct, clip.width_px), 1)
        px = _number(exact if is_resampled(shot) else applied_hit_px(key.pct, clip))
        return f"{_signed(key.pct)} % ({px} px)"

    if len(keys) == 1:
        return words(keys[0])
    first, last = keys[0], keys[-1]
    between = f", over {len(keys)} entries" if len(keys) > 2 else ""
    return f"{words(first)} at frame {first.frame} to {words(last)} at frame {last.frame}{between}"


def _signed(pct: float) -> str:
    return f"{pct + 0.0:+.2f}" if round(pct, 2) else "0"


def _window_words(keys: tuple[WindowKey, ...]) -> str:
    """The widest left and right, and over which frames anything is hidden."""
    if not any(max(*key.left_px, *key.right_px) > 0.0 for key in keys):
        return "none" if not keys else "none, with entries of 0 px"
    left, right = widest_px(keys)
    return f"left up to {_number(left)} px, right up to {_number(right)} px, {_window_span(keys)}"


def _window_span(keys: tuple[WindowKey, ...]) -> str:
    """From where to where a window is open; the widths of the first and the last entry hold beyond them."""
    is_open = [max(*key.left_px, *key.right_px) > 0.0 for key in keys]
    if is_open[0] and is_open[-1]:
        return "the whole shot"
    first = max(is_open.index(True) - 1, 0)
    last = min(len(keys) - is_open[::-1].index(True), len(keys) - 1)
    start = "from the first frame" if is_open[0] else f"from frame {keys[first].frame}"
    end = "to the last frame" if is_open[-1] else f"to frame {keys[last].frame}"
    return f"{start} {end}"


def _keys_changed(where: str, what: str, a: tuple[Any, ...], b: tuple[Any, ...], before: str, after: str) -> Difference:
    """A change of key frames; where the short words are the same, the first entry that differs is told."""
    if before == after:
        index = next((i for i, (x, y) in enumerate(zip(a, b)) if x != y), min(len(a), len(b)))
        before, after = (
            f"{words}; entry {index + 1} of {len(keys)}: {_key_words(keys[index]) if index < len(keys) else 'none'}"
            for words, keys in ((before, a), (after, b))
        )
    kind: Kind = "changed"
    if what == "window":
        kind = "added" if not a else "removed" if not b else "changed"
        before, after = before if a else "", after if b else ""
    return Difference(where, what, before, after, kind)


def _key_words(key: HitKey | WindowKey) -> str:
    if isinstance(key, HitKey):
        return f"frame {key.frame}, {float(key.pct)!r} %"
    left, right = (" and ".join(repr(float(px)) for px in side) for side in (key.left_px, key.right_px))
    return f"frame {key.frame}, left {left} px, right {right} px at top and bottom"


def _subjects(where: str, a: ShotPlan, b: ShotPlan) -> Iterator[Difference]:
    if a.subject == b.subject:
        return

    def words(shot: ShotPlan) -> str:
        subject = shot.subject
        if subject is None:
            return ""
        x, y, width, height = subject.box
        found = "" if subject.found_pct is None else f", found at {float(subject.found_pct)!r} %"
        at = f"at {float(subject.at_pct)!r} %"
        return f"{width}x{height} px at {x}, {y} in frame {subject.frame}, {at}{found}"

    yield from _changed(where, "subject", words(a), words(b))
