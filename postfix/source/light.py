"""What a file says about the display it was graded on and about its brightest light (HDR side data)."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np

Chromaticity = tuple[Fraction, Fraction]
"""CIE 1931 x and y."""

_CHROMATICITY_UNITS, _LUMINANCE_UNITS = 50000, 10000
"""SMPTE ST 2086 counts chromaticity in steps of 0.00002 and luminance in steps of 0.0001 cd/m² (from memory); so do
the side data of H.264 and H.265 (mastering_display_colour_volume)."""


@dataclass(frozen=True)
class MasteringDisplay:
    """The display that a film was graded on (SMPTE ST 2086).

    Attributes
    ----------
    red, green, blue, white : (Fraction, Fraction)
        CIE 1931 x and y.
    darkest_cd_m2, brightest_cd_m2 : Fraction
    """

    red: Chromaticity
    green: Chromaticity
    blue: Chromaticity
    white: Chromaticity
    darkest_cd_m2: Fraction
    brightest_cd_m2: Fraction

    def x265_text(self) -> str:
        """As x264 and x265 are told: whole steps of 0.00002 and of 0.0001 cd/m²."""
        points = {"G": self.green, "B": self.blue, "R": self.red, "WP": self.white}
        text = "".join(
            f"{name}({round(x * _CHROMATICITY_UNITS)},{round(y * _CHROMATICITY_UNITS)})"
            for name, (x, y) in points.items()
        )
        ends = [round(value * _LUMINANCE_UNITS) for value in (self.brightest_cd_m2, self.darkest_cd_m2)]
        return f"{text}L({ends[0]},{ends[1]})"


@dataclass(frozen=True)
class ContentLight:
    """Light levels of the whole film (CTA-861.3): of the brightest pixel, and of the brightest frame on average."""

    max_cll_cd_m2: int
    max_fall_cd_m2: int


def mastering_of(data: bytes) -> MasteringDisplay | None:
    """FFmpeg's MASTERING_DISPLAY_METADATA: ten fractions of two 32-bit integers, then two flags.

    None where either half of it is missing.
    """
    numbers = np.frombuffer(data[:88], np.int32).tolist()
    *pairs, has_primaries, has_luminance = numbers
    if not (has_primaries and has_luminance) or not all(pairs[1::2]):
        return None
    values = [Fraction(top, bottom) for top, bottom in zip(pairs[::2], pairs[1::2])]
    red, green, blue, white = ((values[i], values[i + 1]) for i in (0, 2, 4, 6))
    return MasteringDisplay(red, green, blue, white, values[8], values[9])


def content_light_of(data: bytes) -> ContentLight:
    """FFmpeg's CONTENT_LIGHT_LEVEL: two 32-bit integers."""
    most, average = np.frombuffer(data[:8], np.uint32).tolist()
    return ContentLight(most, average)
