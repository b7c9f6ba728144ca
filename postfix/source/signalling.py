"""What a video file says about two eyes in one picture: Matroska's stereo mode and the side data of decoded frames."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

SignalledLayout = Literal["side-by-side", "top-bottom", "frame-sequential", "rows"]
"""How both eyes lie in a file, as far as a file can say: whether each is whole or squeezed to half is not signalled."""


@dataclass(frozen=True)
class Signal:
    """Both eyes in one file, as the file says.

    Attributes
    ----------
    layout : str
        ``side-by-side``, ``top-bottom``, ``frame-sequential`` or ``rows``.
    right_first : bool
        True where the right eye comes first: at the left, at the top, in the first frame or in the first row.
    """

    layout: SignalledLayout
    right_first: bool = False


UNUSABLE = "unusable"
"""Stands for both eyes mixed in a way that cannot be taken apart: checkerboard, columns, anaglyph."""

# RFC 9559, section 5.1.4.1.28.3 (StereoMode), read; the words are those of FFmpeg's Matroska reader and writer.
_MATROSKA = {
    "left_right": Signal("side-by-side"),
    "right_left": Signal("side-by-side", True),
    "top_bottom": Signal("top-bottom"),
    "bottom_top": Signal("top-bottom", True),
    "row_interleaved_lr": Signal("rows"),
    "row_interleaved_rl": Signal("rows", True),
    "block_lr": Signal("frame-sequential"),
    "block_rl": Signal("frame-sequential", True),
}
_MATROSKA_WORDS = {signal: word for word, signal in _MATROSKA.items()}

# FFmpeg's AVStereo3DType; what the H.264 decoder makes of frame_packing_arrangement_type (ITU-T H.264, Table D-8).
_SIDE_DATA_LAYOUTS: dict[int, SignalledLayout] = {
    1: "side-by-side",
    2: "top-bottom",
    3: "frame-sequential",
    6: "rows",
}
_MONO, _UNSPECIFIED = 0, 8
_RIGHT_VIEW, _INVERTED = 2, 1
_FRAME_SEQUENTIAL = 3

_FRAME_PACKING = {"rows": 2, "side-by-side": 3, "top-bottom": 4, "frame-sequential": 5}
"""frame_packing_arrangement_type of ITU-T H.264, Table D-8, which is also how x264 is told."""


def signal_of_matroska(word: str | None) -> Signal | str | None:
    """The meaning of Matroska's stereo mode; None where it says one picture or nothing, else a Signal or UNUSABLE."""
    if word is None or word == "mono":
        return None
    return _MATROSKA.get(word, UNUSABLE)


def signal_of_side_data(data: bytes) -> Signal | str | None:
    """The meaning of a frame's STEREO3D side data: type, flags and view as native 32-bit integers."""
    kind, flags, view = np.frombuffer(data[:12], np.int32).tolist()
    if kind in (_MONO, _UNSPECIFIED):
        return None
    layout = _SIDE_DATA_LAYOUTS.get(kind)
    if layout is None:
        return UNUSABLE
    inverted = bool(flags & _INVERTED)
    if kind == _FRAME_SEQUENTIAL:
        # The first frame says which view it is; an inverted order turns that round.
        return Signal(layout, (view == _RIGHT_VIEW) != inverted)
    return Signal(layout, inverted)


def signal_in(stream_metadata: Mapping[str, str], side_data: bytes | None) -> Signal | str | None:
    """What a file says: its Matroska stereo mode, else the side data of its first frame."""
    word = next((value for key, value in stream_metadata.items() if key.lower() == "stereo_mode"), None)
    if word is not None:
        return signal_of_matroska(word)
    return None if side_data is None else signal_of_side_data(side_data)


def matroska_word(signal: Signal) -> str:
    """Matroska's stereo mode for a signal."""
    return _MATROSKA_WORDS[signal]


def frame_packing_type(signal: Signal) -> int | None:
    """H.264's frame packing arrangement for a signal; None where x264 has no word for it: it writes left first only."""
    return None if signal.right_first else _FRAME_PACKING[signal.layout]


SIGNALLED: tuple[SignalledLayout, ...] = get_args(SignalledLayout)
