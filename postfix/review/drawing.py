"""Parts of drawings that stand alone, on a light ground of their own so that they can be read anywhere."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from postfix.review.room import FONT, INK
from postfix.review.words import escaped

PAPER, SOFT, LINE = "#ffffff", "#53585f", "#d5d6d1"
FRONT, BEHIND = "#a04600", "#00568f"
"""What is in front of the screen, and what is behind it; shapes, dashes and words say the same."""

SIZE = 14
Point = tuple[float, float]


def sheet(title: str, told: str, size: tuple[int, int], parts: Iterable[str]) -> str:
    """A whole file: one SVG element with a title, what it shows in words, and a light ground."""
    width, height = size
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" font-family="{FONT}" font-size="{SIZE}" fill="{INK}">\n<title>{escaped(title)}</title>\n'
        f'<desc>{escaped(told)}</desc>\n<rect width="{width}" height="{height}" fill="{PAPER}"/>\n'
        + "\n".join(parts)
        + "\n</svg>\n"
    )


def text(x: float, y: float, words: str, *, anchor: str = "start", weight: int = 400, colour: str = INK) -> str:
    """Words from ``x`` on, or about it, or up to it (``anchor`` start, middle, end); lines stop around them."""
    more = f' text-anchor="{anchor}"' if anchor != "start" else ""
    more += f' font-weight="{weight}"' if weight != 400 else ""
    more += f' fill="{colour}"' if colour != INK else ""
    more += f' stroke="{PAPER}" stroke-width="4" paint-order="stroke"'
    return f'<text x="{number(x)}" y="{number(y)}"{more}>{escaped(words)}</text>'


def line(
    points: Sequence[Point], *, width: float = 1.4, colour: str = INK, dashes: str = "", fill: str = "none"
) -> str:
    """A line through points in pixels; closed where the last is the first."""
    closed = len(points) > 2 and points[0] == points[-1]
    through = "L".join(f"{number(x)} {number(y)}" for x, y in (points[:-1] if closed else points))
    return stroke(f"M{through}{'Z' if closed else ''}", width=width, colour=colour, dashes=dashes, fill=fill)


def stroke(path: str, *, width: float = 1.4, colour: str = INK, dashes: str = "", fill: str = "none") -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<path d="{path}" fill="{fill}" stroke="{colour}" stroke-width="{width:g}"{dashed}/>'


def arrow(start: Point, end: Point, *, width: float = 1.4, colour: str = INK) -> str:
    """A line with a head at its end."""
    (x0, y0), (x1, y1) = start, end
    length = max(1e-9, ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5)
    along, across = ((x1 - x0) / length * 9.0, (y1 - y0) / length * 9.0), 0.45
    base = (x1 - along[0], y1 - along[1])
    side = (-along[1] * across, along[0] * across)
    head = [(x1, y1), (base[0] + side[0], base[1] + side[1]), (base[0] - side[0], base[1] - side[1]), (x1, y1)]
    return line([start, base], width=width, colour=colour) + line(head, width=0.5, colour=colour, fill=colour)


def disc(x: float, y: float, radius: float = 4.5, *, fill: str = INK, colour: str = INK) -> str:
    return (
        f'<circle cx="{number(x)}" cy="{number(y)}" r="{number(radius)}" fill="{fill}" stroke="{colour}" '
        'stroke-width="1.6"/>'
    )


def square(x: float, y: float, *, fill: str = INK) -> str:
    """A small one about a point."""
    return line([(x - 4, y - 4), (x + 4, y - 4), (x + 4, y + 4), (x - 4, y + 4), (x - 4, y - 4)], width=1.6, fill=fill)


def diamond(x: float, y: float, *, colour: str = INK) -> str:
    """Where something is seen."""
    return line(
        [(x, y - 8), (x + 7, y), (x, y + 8), (x - 7, y), (x, y - 8)], width=1.6, colour=colour, fill=PAPER
    ) + disc(x, y, 1.5, fill=colour, colour=colour)


def box(
    x: float, y: float, width: float, height: float, *, fill: str = "none", colour: str = INK, dashes: str = ""
) -> str:
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)]
    return line(corners, colour=colour, fill=fill, dashes=dashes)


def number(value: float) -> str:
    """Pixels with one decimal at most."""
    return f"{round(value, 1) + 0.0:g}"
