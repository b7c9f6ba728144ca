"""Opening a pair that a person named by one path: both eyes in one file, or a pattern that stands for two."""

from __future__ import annotations

import logging
import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

from postfix.errors import InputError, UsageError
from postfix.source.layout import PACKED, Layout, full_or_half, why_not_split
from postfix.source.opening import open_eye
from postfix.source.packed_eye import packed_eyes, pixel_aspect_of
from postfix.source.pair import AS_GIVEN, PairSource, Reading, check_alike, first_in_file, open_late, open_pair, paired
from postfix.source.picture import EyeSource, OnBad
from postfix.source.stills import still_numbers, views_in
from postfix.source.video import VideoSource

log = logging.getLogger("postfix")

_EYE_PLACES = {"%V": ("left", "right"), "%v": ("l", "r")}
_LAYOUT_CHOICES = ", ".join(PACKED)
_LAYOUT_WORD = re.compile(rf"(?<=.)[\W_]+(?:{'|'.join(sorted(PACKED, key=len, reverse=True))})$", re.IGNORECASE)
"""What names of packed deliveries end with, so that such a delivery has the name of its clip again."""


def open_packed(
    path: Path,
    layout: Layout | None = None,
    *,
    rate: Fraction | None = None,
    frames: tuple[int, int] | None = None,
    reading: Reading = AS_GIVEN,
    on_bad: OnBad = "stop",
) -> PairSource:
    """Open both eyes by one path and check them before the first frame.

    Parameters
    ----------
    path : Path
        A file or sequence that holds both eyes, as :func:`postfix.source.opening.open_eye` takes it; or one with
        ``%V`` (which stands for ``left`` and ``right``) or ``%v`` (``l`` and ``r``) for two of them.
    layout : Layout, optional
        How the eyes lie in it. Without it the file's own signalling decides.
    rate : Fraction, optional
        Frames per second of the file. Where the eyes take turns, each has half of it.
    frames : (int, int), optional
        Of the file: the numbers in the names for stills, counted from 0 for video. With an offset those of the eye
        that is given as the left one.
    reading : Reading, optional
        How the eyes belong together. ``swapped`` exchanges what the file holds as left and right eye.
    on_bad : OnBad
        Anything but ``stop`` also takes stills with gaps between their numbers and with headers that cannot be read.

    Raises
    ------
    UsageError
        Where the layout cannot be meant, or the offset leaves nothing that both eyes have.
    InputError
        Where the file cannot be used, its layout is not known, or it cannot be parted that way.
    """
    if any(place in str(path) for place in _EYE_PLACES):
        if layout not in (None, "left-right"):
            raise UsageError(
                "--layout", f"{layout} with a file for each eye ({path})", "no layout here", "leave --layout out"
            )
        return open_pair(_for_eye(path, 0), _for_eye(path, 1), rate=rate, frames=frames, reading=reading, on_bad=on_bad)
    if layout == "left-right":
        raise UsageError(
            "--layout",
            f"left-right with one file ({path})",
            f"one of {_LAYOUT_CHOICES}",
            "name how the eyes lie in the file, or give each eye's with --left and --right",
        )
    patient = on_bad != "stop"
    if layout == "views" or (layout is None and not path.is_file() and views_in(path, patient=patient)):
        return _open_views(path, rate, frames, reading, on_bad)
    whole = open_eye(path, rate=rate, frames=frames, patient=patient)
    chosen, right_first = _layout_of(whole, layout)
    _check_split(whole, chosen, frames)
    left, right = packed_eyes(whole, chosen, right_first=right_first)
    partner = reading.offset_frames
    if partner and frames is not None:
        each = left.frames_each
        other, first = open_late(path, partner, rate, frames, each=each, patient=patient)
        right, partner = packed_eyes(other, chosen, right_first=right_first)[1], first // each
    return _packed_pair(paired(left, right, partner, reading, frames), chosen, whole, on_bad)


def _open_views(
    path: Path, rate: Fraction | None, frames: tuple[int, int] | None, reading: Reading, on_bad: OnBad
) -> PairSource:
    """The views ``left`` and ``right`` of OpenEXR stills."""
    if path.is_file():
        raise UsageError(
            "--layout", f"views in one file ({path})", "OpenEXR stills, which alone have views", "choose another layout"
        )
    patient = on_bad != "stop"
    views = views_in(path, patient=patient)
    if not {"left", "right"} <= set(views):
        raise InputError(
            path,
            f"the views {', '.join(views)}" if views else "no views",
            "views named left and right",
            "render both views, or say how the eyes lie in the pictures with --layout",
        )
    left = open_eye(path, rate=rate, frames=frames, view="left", patient=patient)
    if reading.offset_frames:
        right, partner = open_late(path, reading.offset_frames, rate, frames, view="right", patient=patient)
    else:
        right, partner = open_eye(path, rate=rate, frames=frames, view="right", patient=patient), 0
    check_alike(left, right, counts=False)
    return _packed_pair(paired(left, right, partner, reading, frames), "views", left, on_bad)


def _packed_pair(pair: PairSource, layout: Layout, whole: EyeSource, on_bad: OnBad) -> PairSource:
    return replace(pair, name=_LAYOUT_WORD.sub("", pair.name), layout=layout, packed=whole, on_bad=on_bad)


def _for_eye(path: Path, eye: int) -> Path:
    text = str(path)
    for place, words in _EYE_PLACES.items():
        text = text.replace(place, words[eye])
    return Path(text)


def _layout_of(whole: EyeSource, layout: Layout | None) -> tuple[Layout, bool]:
    """How the eyes lie in a file, and whether the right one comes first: what was given, else what the file says."""
    signal = whole.tags.stereo if isinstance(whole, VideoSource) else None
    if layout is not None:
        if signal is None:
            return layout, False
        agrees = signal.layout == layout.removesuffix("-half")
        if not agrees:
            log.warning("%s says %s of itself; it is read as %s as --layout asks", whole.path, signal.layout, layout)
        return layout, agrees and signal.right_first
    if signal is None:
        raise InputError(
            whole.path,
            "no word of how the two eyes lie in it",
            "a file that says so itself, or a layout",
            f"add --layout, one of {_LAYOUT_CHOICES}",
        )
    chosen = full_or_half(signal.layout, whole.format, pixel_aspect_of(whole))
    if chosen is None:
        raise InputError(
            whole.path,
            f"{signal.layout} in pictures of {whole.format.width}x{whole.format.height}, in which neither whole nor "
            "half eyes have a usual shape",
            "eyes from 5:4 to 5:2 wide",
            f"say which with --layout {signal.layout} or --layout {signal.layout}-half",
        )
    first = "right" if signal.right_first else "left"
    log.info("%s: both eyes in one file, %s with the %s one first, as it says itself", whole.path, chosen, first)
    return chosen, signal.right_first


def _check_split(whole: EyeSource, layout: Layout, frames: tuple[int, int] | None) -> None:
    """Refuse a file that cannot be parted that way into whole samples, or whole turns."""
    reason = why_not_split(whole.format, layout)
    if reason is not None:
        found, expected = reason
        raise InputError(
            whole.path, f"{found}, read as {layout}", expected, "export it so, or give each eye a file of its own"
        )
    if layout != "frame-sequential":
        return
    first = first_in_file(whole)
    start = 0 if isinstance(whole, VideoSource) else still_numbers(whole.path)[0]
    if frames is not None and ((first - start) % 2 or whole.count % 2):
        raise UsageError(
            "--frames",
            f"{frames[0]}-{frames[1]}, which parts two frames that belong together",
            f"the first frame of two, counted from {start}, and an even number of frames",
            "move the ends by one frame",
        )
    if whole.count % 2:
        raise InputError(
            whole.path, f"{whole.count} frames", "an even number: the eyes take turns", "cut or export the clip again"
        )
