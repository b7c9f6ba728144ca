"""A video to be written: all that its file shall say."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from postfix.source.light import ContentLight, MasteringDisplay
from postfix.source.signalling import Signal
from postfix.source.turning import DisplayMatrix, turn_of

UNSPECIFIED = 2
"""The colour code of ITU-T H.273 for "not said"."""


@dataclass(frozen=True)
class VideoSpec:
    """A video to be written.

    Attributes
    ----------
    codec : str
        A key of :data:`postfix.deliver.encoders.ENCODERS`.
    pixel_format : str
        FFmpeg's name.
    width, height : int
        Luma pixels of the upright picture.
    rate : Fraction
        Frames per second.
    profile : str
        As FFmpeg names it when reading (``HQ``); empty for the encoder's own choice.
    color_range : int
        FFmpeg's code: 1 limited, 2 full, 0 not said.
    color_primaries, color_transfer, color_matrix : int
        Codes of ITU-T H.273; 1 is BT.709, 2 not said.
    pixel_aspect : Fraction or None
        Width over height of one pixel of the upright picture.
    timecode : str or None
        Of the first frame.
    metadata, stream_metadata : tuple of (str, str)
        Of the file, and of its video stream.
    given_format : str or None
        Pixel format of the frames that are handed over, where it is not ``pixel_format``: they hold the same with more
        bits, which are rounded away.
    lossless : bool
        True to code without loss where the codec can do both.
    intra : bool
        True to make every picture a key frame where the codec can do both.
    stereo : Signal or None
        Both eyes in this file, to be signalled where codec or container can.
    display_matrix : DisplayMatrix or None
        How a player turns the pictures. Frames are handed over upright and turned back for the file.
    mastering : MasteringDisplay or None
    content_light : ContentLight or None
    """

    codec: str
    pixel_format: str
    width: int
    height: int
    rate: Fraction
    profile: str = ""
    color_range: int = 0
    color_primaries: int = UNSPECIFIED
    color_transfer: int = UNSPECIFIED
    color_matrix: int = UNSPECIFIED
    pixel_aspect: Fraction | None = None
    timecode: str | None = None
    metadata: tuple[tuple[str, str], ...] = ()
    stream_metadata: tuple[tuple[str, str], ...] = ()
    given_format: str | None = None
    lossless: bool = False
    intra: bool = False
    stereo: Signal | None = None
    display_matrix: DisplayMatrix | None = None
    mastering: MasteringDisplay | None = None
    content_light: ContentLight | None = None

    @property
    def handed_format(self) -> str:
        """Pixel format of the frames that are handed over."""
        return self.given_format or self.pixel_format


def coded_size(spec: VideoSpec) -> tuple[int, int]:
    """Width and height as they are in the file."""
    turn = turn_of(spec.display_matrix)
    return (spec.height, spec.width) if turn is not None and turn.swaps else (spec.width, spec.height)
