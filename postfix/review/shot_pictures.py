"""Pictures of one shot for its card: the source, its depth map, and the finished files of each screen."""

from __future__ import annotations

import base64
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from postfix.measure.dense import parallax_pct
from postfix.review.beside import QUALITY, Beside
from postfix.review.clips import ReviewedClip, ReviewedShot
from postfix.review.depth import DepthSpan, depth_picture
from postfix.review.histogram import histogram_of
from postfix.review.logged import LoggedShot, Version
from postfix.review.pictures import GAP_PX, Rgb, anaglyph, jpeg_bytes, side_by_side, with_window_outline
from postfix.review.shown import shown_size
from postfix.review.stills import Seen, Stills, frame_to_show, hidden_strips

PICTURE_PX = 480
"""Width of a picture on a card."""

TRY_OUT_PX = 640
"""Width of each eye in a try-out."""

ParallaxPct = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Drawn:
    """A drawing beside the page, and what it tells in words."""

    src: str
    words: str


@dataclass(frozen=True)
class Before:
    """The shot as it was given.

    Attributes
    ----------
    left, right, both, depth : str
        Addresses of each eye, the anaglyph, the depth map; their size is that of :func:`picture_sizes`.
    pct : (h, w) float32
        Parallax, percent of width; NaN where it is not known.
    note : str
        Why there is no parallax; empty where there is.
    eyes : (str, str)
        Each eye as a ``data:`` address, which a script may read where it may not read a file.
    """

    left: str
    right: str
    both: str
    depth: str
    pct: ParallaxPct
    note: str
    eyes: tuple[str, str]


@dataclass(frozen=True)
class After:
    """The shot on one screen, as it was delivered: addresses of the anaglyph and of both eyes with what is hidden
    outlined, and parallax."""

    both: str
    eyes: str
    pct: ParallaxPct


@dataclass(frozen=True)
class ShotPictures:
    """All pictures of a card.

    Attributes
    ----------
    frame : int
        Of the clip, the one shown.
    why : str
        Why this one, as part of a sentence.
    before : Before or None
    before_missing : str
        Why there is none, as part of a sentence.
    after : tuple of After or None
        One a screen; None where nothing was changed for it.
    histograms : tuple of Drawn or None
        One a screen, of the frame shown before and after; None where the shot has no result.
    """

    frame: int
    why: str
    before: Before | None
    before_missing: str
    after: tuple[After | None, ...]
    histograms: tuple[Drawn | None, ...]


def picture_sizes(clip: ReviewedClip) -> tuple[int, int, int]:
    """Width of a picture on the cards of a clip, of both eyes side by side, and the height of either, in pixels."""
    facts = clip.versions[0].clip
    width, height = shown_size((facts.width_px, facts.height_px), facts.pixel_aspect, PICTURE_PX)
    return width, 2 * width + GAP_PX, height


def shot_pictures(
    clip: ReviewedClip, shot: ReviewedShot, stills: tuple[Stills, ...], span: DepthSpan, beside: Beside
) -> ShotPictures:
    """Decode the frame to show, and write its pictures beside the page.

    Parameters
    ----------
    clip : ReviewedClip
    shot : ReviewedShot
    stills : tuple of Stills
        One a version of the clip.
    span : DepthSpan
        Scale of the depth map, the same for every shot of a clip.
    beside : Beside

    Raises
    ------
    InputError
        Where an output cannot be decoded.
    """
    frame, why = _frame(clip, shot)
    facts = clip.versions[0].clip
    aspect = float(facts.pixel_aspect)
    width, _, height = picture_sizes(clip)
    size_px = (width, height)
    name = shot.ident.replace("n", "/")
    source = next((one for one in stills if one.before is not None), stills[0])
    seen = source.before_at(frame)
    before = None
    if seen is not None:
        try_out_px = shown_size((facts.width_px, facts.height_px), facts.pixel_aspect, TRY_OUT_PX)
        before = _before(seen, (size_px, try_out_px), aspect, span, beside, name)
    missing = "" if before is not None else source.before_missing or "this frame could not be decoded"
    before_pct = None if before is None else before.pct
    after: list[After | None] = []
    histograms: list[Drawn | None] = []
    for index, (version, result, one) in enumerate(zip(clip.versions, shot.results, stills)):
        finished, drawn = None, None
        if result is not None:
            if result.is_changed or before is None:
                finished = _after(version, result, one.after_at(frame), frame, size_px, beside, f"{name}-s{index}")
            after_pct = before_pct if finished is None else finished.pct
            shares = histogram_of(before_pct, after_pct, version.limits, version.screen, f"{shot.ident}s{index}")
            drawn = Drawn(beside.drawing(f"{name}-s{index}-histogram", shares.svg), shares.words)
        after.append(finished)
        histograms.append(drawn)
    return ShotPictures(frame, why, before, missing, tuple(after), tuple(histograms))


def _frame(clip: ReviewedClip, shot: ReviewedShot) -> tuple[int, str]:
    """The frame to show: that of the screen which asks for the widest window."""
    chosen = []
    for version, result in zip(clip.versions, shot.results):
        if result is not None:
            frame, why = frame_to_show(version, result)
            strips = hidden_strips(version, result, frame)
            where = f" on {version.screen.name}" if len(clip.versions) > 1 and "window" in why else ""
            chosen.append((sum(float(end) for eye in strips for side in eye for end in side), (frame, why + where)))
    return max(chosen, key=lambda one: one[0])[1]


def _before(
    seen: Seen,
    sizes_px: tuple[tuple[int, int], tuple[int, int]],
    aspect: float,
    span: DepthSpan,
    beside: Beside,
    name: str,
) -> Before:
    """Pictures of the source: those of the card in the first size, those to try out with in the second."""
    size_px, try_out_px = sizes_px
    left, right = seen.rgb(size_px)
    found = parallax_pct(seen.left, seen.right, seen.fmt, aspect)
    depth = depth_picture(found.pct, span, size_px)
    data = tuple(map(_data_address, seen.rgb(try_out_px)))
    return Before(
        beside.picture(f"{name}-left", left, full_chroma=False),
        beside.picture(f"{name}-right", right, full_chroma=False),
        beside.picture(f"{name}-both", anaglyph(left, right)),
        beside.picture(f"{name}-depth", depth),
        found.pct,
        found.note,
        (data[0], data[1]),
    )


def _after(
    version: Version,
    result: LoggedShot,
    written: Seen,
    frame: int,
    size_px: tuple[int, int],
    beside: Beside,
    name: str,
) -> After:
    """Pictures of one screen's finished files."""
    eyes, scale = written.rgb(size_px), size_px[0] / version.clip.width_px
    marked = []
    for picture, sides in zip(eyes, hidden_strips(version, result, frame)):
        left_px, right_px = ((top * scale, bottom * scale) for top, bottom in sides)
        marked.append(with_window_outline(picture, left_px, right_px))
    found = parallax_pct(written.left, written.right, written.fmt, float(version.clip.pixel_aspect))
    return After(
        beside.picture(f"{name}-both", anaglyph(*eyes)),
        beside.picture(f"{name}-eyes", side_by_side(marked[0], marked[1]), full_chroma=False),
        found.pct,
    )


def _data_address(rgb: Rgb) -> str:
    return "data:image/jpeg;base64," + base64.b64encode(jpeg_bytes(rgb, QUALITY)).decode("ascii")
