"""The demo film: six shots of a day at a kite workshop on a windy coast, each with what was planted in it."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

from postfix.demo.coast import beach, flying_kite, lane
from postfix.demo.scenes import Scene
from postfix.demo.workshop import HEIGHT, WIDTH, line_spool, push_in, title_card

RATE = Fraction(24)
"""Frames per second."""

SIZE_PX = (WIDTH, HEIGHT)

# By shot name; the only thing here that changes, and only under the lock.
_scenes: dict[str, Scene] = {}
_drawing = threading.Lock()


@dataclass(frozen=True)
class FilmShot:
    """One shot of the film.

    Attributes
    ----------
    name : str
    frames : int
    build : callable
        Draws the scene; call :attr:`scene` instead, which draws it once.
    planted : str
        What is wrong in it, and on purpose; figures in percent of picture width.
    """

    name: str
    frames: int
    build: Callable[[], Scene]
    planted: str

    @property
    def scene(self) -> Scene:
        """The scene, drawn when it is first asked for; safe to ask for from several threads."""
        with _drawing:
            if self.name not in _scenes:
                _scenes[self.name] = self.build()
            return _scenes[self.name]


FILM: tuple[FilmShot, ...] = (
    FilmShot(
        "line-spool",
        32,
        line_spool,
        "the line spool is cut by the left edge 1.4 % in front of the screen, in the lower 60 % of the rows; "
        "the wall is 0.2 % behind",
    ),
    FilmShot(
        "beach",
        36,
        lambda: beach(36),
        "the horizon is 1.6 % behind the screen; the sand begins at the screen and the nearest kite is 0.1 % in front",
    ),
    FilmShot(
        "kite",
        32,
        flying_kite,
        "the kite leaves by the right edge 1.3 % in front of the screen, from about frame 20 of the shot; "
        "the sky is 0.3 % behind",
    ),
    FilmShot(
        "lane",
        32,
        lane,
        "banners at both edges in front of the screen: 1.0 % at the left in the upper rows, 1.3 % at the right from "
        "top to bottom; the sky is 0.3 % behind",
    ),
    FilmShot(
        "push-in",
        40,
        lambda: push_in(40),
        "the table's front comes from 0.5 % to 1.3 % in front of the screen while the wall stays 0.3 % behind",
    ),
    FilmShot("title", 24, title_card, "nothing: lettering 0.3 % in front of the screen on cloth 0.1 % behind it"),
)


def film_length() -> int:
    """Frames of the whole film."""
    return sum(shot.frames for shot in FILM)


def film_frame(number: int) -> tuple[FilmShot, int]:
    """The shot that frame ``number`` of the film belongs to, and the frame within that shot, both counted from 0.

    Raises
    ------
    IndexError
        Where the film has no such frame.
    """
    if number < 0:
        raise IndexError(f"frame {number}: the film's frames are counted from 0")
    left = number
    for shot in FILM:
        if left < shot.frames:
            return shot, left
        left -= shot.frames
    raise IndexError(f"frame {number}: the film has {film_length()} frames")
