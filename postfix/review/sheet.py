"""A contact sheet of shots before and after, as one picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import imageio.v3 as imageio
import numpy as np

from postfix.deliver.staging import staged
from postfix.review.logged import LoggedShot, Version
from postfix.review.pictures import Rgb, anaglyph, draw_text, fit_within, text_width, with_window_outline
from postfix.review.runs import read_version
from postfix.review.stills import NO_STRIPS, Sides, Stills, frame_to_show, hidden_strips, open_stills_of
from postfix.review.words import pct_text, px_text

SHEET_WIDTH_PX = 1880
_MARGIN_PX = 20
_GAP_PX = 8
_BLOCK_PX = (SHEET_WIDTH_PX - 3 * _MARGIN_PX) // 2
_TITLE_PX, _TEXT_PX = 22, 16
_LINE_PX = 24
_GROUND = (26, 28, 32)
_BRIGHT, _SOFT, _ALERT = (240, 240, 240), (180, 184, 190), (255, 190, 90)


@dataclass(frozen=True)
class SheetRow:
    """One shot on the sheet.

    Attributes
    ----------
    title : str
    before, after : (left, right) of (H, W, 3) uint8, or None
        Both eyes; None where there is no picture, which the sheet then says.
    before_caption, after_caption : str
        One line under each half.
    before_strips, after_strips : (left eye, right eye) of Sides
        Strips to hatch and outline in the single eyes, in pixels of these pictures.
    note : str
        Said beside the title in a colour of its own, with a sign before it: what stays outside its limits.
    """

    title: str
    before: tuple[Rgb, Rgb] | None
    after: tuple[Rgb, Rgb] | None
    before_caption: str = ""
    after_caption: str = ""
    before_strips: tuple[Sides, Sides] = (NO_STRIPS, NO_STRIPS)
    after_strips: tuple[Sides, Sides] = (NO_STRIPS, NO_STRIPS)
    note: str = ""


def contact_sheet(rows: Sequence[SheetRow], heading: str = "") -> Rgb:
    """All rows under each other: before on the left, after on the right.

    Each half holds the anaglyph, and beside it the left eye above the right eye, so that what moved can be told by
    looking straight down. Windows are hatched in the single eyes; the anaglyph stays clean for glasses.

    Parameters
    ----------
    rows : sequence of SheetRow
        At least one.
    heading : str
        One line at the top.

    Returns
    -------
    (H, SHEET_WIDTH_PX, 3) uint8
    """
    if not rows:
        raise ValueError("no rows")
    return np.concatenate([_head(heading), *(_row(row) for row in rows)], axis=0)


def write_png(path: Path, rgb: Rgb) -> None:
    """Write a preview as 8-bit PNG, whole or not at all; what was there is replaced.

    Raises
    ------
    OutputError
        Where the file system refuses.
    """
    with staged(path, force=True) as temporary:
        imageio.imwrite(temporary, rgb, extension=".png")


def version_rows(folder: Path) -> list[SheetRow]:
    """A row for each shot of the version in ``folder`` (what run wrote for one screen).

    Raises
    ------
    InputError
        Where the change log or an output is missing or cannot be read.
    """
    version = read_version(folder)
    stills = open_stills_of(version)
    return [_version_row(version, shot, stills) for shot in version.shots]


def _version_row(version: Version, shot: LoggedShot, stills: Stills) -> SheetRow:
    frame, why = frame_to_show(version, shot)
    limits = version.limits
    low, high = shot.applied_hit_px
    hit = px_text(low) if low == high else f"{px_text(low)} to {px_text(high)}"
    before, after = (
        "not measured" if figures is None else f"near {pct_text(figures.near_pct)}   far {pct_text(figures.far_pct)}"
        for figures in (shot.before, shot.after)
    )
    limit_text = f"limits {pct_text(limits.near_pct)} to {pct_text(limits.far_pct)}"
    flags = "  ".join(flag.code for flag in shot.flags)
    return SheetRow(
        title=f"{shot.plan.name}   frame {frame} ({why})   {version.screen.name}",
        before=stills.before_rgb(frame),
        after=stills.after_rgb(frame),
        before_caption=before,
        after_caption=f"{after}   ({limit_text})   HIT {hit}",
        after_strips=hidden_strips(version, shot, frame),
        note=f"outside: {flags}" if flags else "",
    )


def _head(heading: str) -> Rgb:
    band = _ground(_LINE_PX * 2 + (34 if heading else 0))
    y = 14
    if heading:
        band = draw_text(band, (_MARGIN_PX, y), _fitted(heading, 26, SHEET_WIDTH_PX - 2 * _MARGIN_PX), 26, _BRIGHT)
        y += 38
    for x, word in ((_MARGIN_PX, "Before"), (2 * _MARGIN_PX + _BLOCK_PX, "After")):
        band = draw_text(band, (x, y), word, _TEXT_PX, _SOFT)
    return band


def _row(row: SheetRow) -> Rgb:
    title = _ground(_LINE_PX + 12)
    title[0] = (70, 74, 80)
    title = draw_text(title, (_MARGIN_PX, 8), _fitted(row.title, _TITLE_PX, 1200), _TITLE_PX, _BRIGHT)
    if row.note:
        note = _fitted(f"! {row.note}", _TITLE_PX, SHEET_WIDTH_PX - 1240 - 2 * _MARGIN_PX)
        x = SHEET_WIDTH_PX - _MARGIN_PX - int(text_width(note, _TITLE_PX)) - 1
        title = draw_text(title, (x, 8), note, _TITLE_PX, _ALERT)
    halves = [
        _half(pictures, strips) for pictures, strips in ((row.before, row.before_strips), (row.after, row.after_strips))
    ]
    height = max(half.shape[0] for half in halves)
    body = _ground(height + 2 * _GAP_PX)
    captions = _ground(_LINE_PX + 10)
    for index, (half, caption) in enumerate(zip(halves, (row.before_caption, row.after_caption))):
        x = _MARGIN_PX + index * (_BLOCK_PX + _MARGIN_PX)
        body[_GAP_PX : _GAP_PX + half.shape[0], x : x + half.shape[1]] = half
        captions = draw_text(captions, (x, 0), _fitted(caption, _TEXT_PX, _BLOCK_PX), _TEXT_PX, _SOFT)
    return np.concatenate([title, body, captions], axis=0)


def _half(pictures: tuple[Rgb, Rgb] | None, strips: tuple[Sides, Sides]) -> Rgb:
    """Anaglyph, and beside it the left eye above the right one at half its height."""
    if pictures is None:
        return draw_text(
            _ground(60, _BLOCK_PX), (0, 20), "no picture: the source is not there any more", _TEXT_PX, _SOFT
        )
    # Two thirds for the anaglyph, one third for the eyes, so that both come out equally high.
    eye_width = (_BLOCK_PX - _GAP_PX) // 3
    eyes = []
    for picture, sides in zip(pictures, strips):
        small = fit_within(picture, eye_width)
        scale = small.shape[1] / picture.shape[1]
        left_px, right_px = (((top * scale), (bottom * scale)) for top, bottom in sides)
        eyes.append(with_window_outline(small, left_px, right_px))
    both = fit_within(anaglyph(*pictures), _BLOCK_PX - _GAP_PX - eye_width)
    gap = _ground(_GAP_PX, eyes[0].shape[1])
    stack = np.concatenate([eyes[0], gap, eyes[1]], axis=0)
    out = _ground(max(both.shape[0], stack.shape[0]), _BLOCK_PX)
    out[: both.shape[0], : both.shape[1]] = both
    x = both.shape[1] + _GAP_PX
    out[: stack.shape[0], x : x + stack.shape[1]] = stack
    return out


def _ground(height: int, width: int = SHEET_WIDTH_PX) -> Rgb:
    return np.full((height, width, 3), _GROUND, np.uint8)


def _fitted(text: str, size_px: int, width: float) -> str:
    """The text, its end left out where it would not fit."""
    if text_width(text, size_px) <= width:
        return text
    while text and text_width(text + "...", size_px) > width:
        text = text[:-1]
    return text + "..."
