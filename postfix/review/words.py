"""Figures in words and signs, for pages and captions."""

from __future__ import annotations

import html
import math

from postfix.plan.figures import signed_pct
from postfix.viewing import Screen, arcmin_from_mm, mm_from_pct

NOT_MEASURED = "not measured"


def escaped(text: object) -> str:
    """Text from outside, safe inside an element or a quoted attribute."""
    return html.escape(str(text), quote=True)


def pct_text(pct: float) -> str:
    """``+0.54 %``, or words where nothing was measured."""
    return signed_pct(pct) if math.isfinite(pct) else NOT_MEASURED


def signed(value: float, digits: int = 0) -> str:
    """A number with its sign, a real minus sign and no negative zero."""
    rounded = round(value, digits) + 0.0
    return f"{rounded:+.{digits}f}".replace("-", "\N{MINUS SIGN}") if rounded else f"{0:.{digits}f}"


def mm_text(pct: float, screen: Screen) -> str:
    """Parallax in millimetres on a screen, to three figures or so; empty where nothing was measured."""
    if not math.isfinite(pct):
        return ""
    mm = mm_from_pct(pct, screen.width_mm)
    return f"{signed(mm, 0 if abs(mm) >= 99.5 else 1)} mm"


def arcmin_text(pct: float, screen: Screen) -> str:
    """Angle of a parallax in arcminutes; empty where nothing was measured."""
    if not math.isfinite(pct):
        return ""
    mm = mm_from_pct(pct, screen.width_mm)
    return f"{signed(arcmin_from_mm(mm, screen.distance_mm, screen.eye_mm), 1)} arcmin"


def range_arcmin_text(pct: float, screen: Screen) -> str:
    """Angle that a span on the screen takes up, seen straight on; empty where nothing was measured."""
    if not math.isfinite(pct):
        return ""
    angle = 2.0 * math.atan(mm_from_pct(pct, screen.width_mm) / (2.0 * screen.distance_mm))
    return f"{math.degrees(angle) * 60.0:.1f} arcmin"


def px_text(px: float) -> str:
    """Signed pixels, without decimals where they are whole."""
    return f"{signed(px, 0 if abs(px - round(px)) < 0.005 else 2)} px"


def count_text(count: int, one: str, many: str = "") -> str:
    """``1 shot``, ``3 shots``."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def frames_text(first: int, last: int) -> str:
    """``frame 24``, ``frames 0 to 95``."""
    return f"frame {first}" if first == last else f"frames {first} to {last}"


def span_text(first: str, last: str) -> str:
    """Timecodes of a stretch of frames, or that there are none."""
    return f"{first} to {last}" if first else "no timecode"


def fact_list(*entries: tuple[str, str]) -> str:
    """Short facts in a row, each under its word; HTML."""
    items = "".join(f"<div><dt>{escaped(word)}</dt><dd>{escaped(text)}</dd></div>" for word, text in entries)
    return f'<dl class="facts">{items}</dl>'
