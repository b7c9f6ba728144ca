"""The video codecs that can be written, and how."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import av

from postfix.errors import InputError
from postfix.source.video import VideoSource


@dataclass(frozen=True)
class Encoder:
    """How one codec is written.

    Attributes
    ----------
    name : str
        FFmpeg's encoder.
    options : tuple of (str, str)
        Its settings.
    threads : int
        0 for as many as the machine has. Fixed where the coded bytes depend on it.
    profiles : tuple of (str, str)
        The profile names a file tells, and how the encoder is asked for each; a profile that is not here is refused.
        Empty where the codec has none.
    lossless : bool
    """

    name: str
    options: tuple[tuple[str, str], ...]
    threads: int
    profiles: tuple[tuple[str, str], ...]
    lossless: bool


ENCODERS: dict[str, Encoder] = {
    # Every frame a key frame, four slices each with a checksum: damage stays small and is seen.
    "ffv1": Encoder("ffv1", (("level", "3"), ("g", "1"), ("slices", "4"), ("slicecrc", "1")), 0, (), True),
    # Of the two encoders the library has, this one took a third of the time and came nearer to its input (rmse 1.13
    # against 1.46 of 1023 on the demo film at about the same size, FFmpeg 8.1).
    "prores": Encoder(
        "prores_aw",
        (),
        0,
        (("Proxy", "0"), ("LT", "1"), ("Standard", "2"), ("HQ", "3"), ("4444", "4"), ("XQ", "5")),
        False,
    ),
    # Constant quality 12: visually lossless (common practice, no source). x264's bytes depend on its thread count.
    "h264": Encoder(
        "libx264",
        (("crf", "12"), ("preset", "medium")),
        4,
        (
            ("Baseline", "baseline"),
            ("Constrained Baseline", "baseline"),
            ("Main", "main"),
            ("High", "high"),
            ("High 10", "high10"),
            ("High 4:2:2", "high422"),
            ("High 4:4:4 Predictive", "high444"),
        ),
        False,
    ),
}
"""How each codec that can be read is written, by FFmpeg's name of the codec."""

_WITHOUT_AVX512 = "MMX2,SSE,SSE2,SSSE3,SSE4,SSE42,AVX,FMA3,BMI1,BMI2,AVX2"
"""x264's instruction sets up to AVX2, which every processor with AVX-512 has too."""

UNSPECIFIED = 2
"""The colour code of ITU-T H.273 for "not said"."""

_PRORES_FRAME_CODES = {
    "primaries": {0, 1, 2, 5, 6, 9, 11, 12},
    "transfer": {0, 1, 2, 16, 18},
    "matrix": {0, 1, 2, 6, 9},
}
"""Colour codes that the ProRes encoder puts into a frame's header; it turns all others into 0, "unknown". Seen with
the FFmpeg 8.1 of PyAV 18.1, by writing each code from 0 to 22 and reading the header's bytes."""

_KEPT_BY_MUXER = {
    "encoder", "duration", "timecode", "creation_time", "major_brand", "minor_version", "compatible_brands",
    "handler_name", "vendor_id", "language", "number_of_frames", "number_of_bytes", "bps",
}  # fmt: skip
"""Metadata that the container writes itself, or that told of the old file only."""


@dataclass(frozen=True)
class VideoSpec:
    """A video to be written.

    Attributes
    ----------
    codec : str
        A key of :data:`ENCODERS`.
    pixel_format : str
        FFmpeg's name.
    width, height : int
        Luma pixels.
    rate : Fraction
        Frames per second.
    profile : str
        As FFmpeg names it when reading (``HQ``); empty for the encoder's own choice.
    color_range : int
        FFmpeg's code: 1 limited, 2 full, 0 not said.
    color_primaries, color_transfer, color_matrix : int
        Codes of ITU-T H.273; 1 is BT.709, 2 not said.
    pixel_aspect : Fraction or None
        Width over height of one pixel.
    timecode : str or None
        Of the first frame.
    metadata, stream_metadata : tuple of (str, str)
        Of the file, and of its video stream.
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


def spec_of(source: VideoSource) -> VideoSpec:
    """The spec that makes a video like its source."""
    tags, fmt = source.tags, source.format
    told = {key.lower(): value for key, value in (*tags.metadata, *tags.stream_metadata)}
    # A timecode that cannot be counted is handed on as it is, unless the clip starts later than the file.
    unread = told.get("timecode") if source.first_frame == 0 else None
    return VideoSpec(
        codec=tags.codec,
        pixel_format=fmt.pixel_format,
        width=fmt.width,
        height=fmt.height,
        rate=source.rate,
        profile=tags.profile,
        color_range=tags.color_range,
        color_primaries=tags.color_primaries,
        color_transfer=tags.color_transfer,
        color_matrix=tags.color_matrix,
        pixel_aspect=tags.pixel_aspect,
        timecode=source.timecode or unread,
        metadata=tuple((k, v) for k, v in tags.metadata if k.lower() not in _KEPT_BY_MUXER),
        stream_metadata=tuple(
            (k, v) for k, v in tags.stream_metadata if k.lower() not in _KEPT_BY_MUXER - {"language"}
        ),
    )


def encoder_for(spec: VideoSpec, path: Path) -> tuple[Encoder, dict[str, str]]:
    """The encoder and its options for a spec.

    Parameters
    ----------
    spec : VideoSpec
    path : Path
        The file that asks for it; its suffix is the container, and it is named in errors.

    Raises
    ------
    InputError
        Where codec, profile, pixel format or pixel aspect cannot be written; names what can.
    """
    encoder = ENCODERS.get(spec.codec)
    if encoder is None:
        raise _cannot(path, f"codec {spec.codec}, which can be read but not written", ", ".join(sorted(ENCODERS)))
    formats = [fmt.name for fmt in av.Codec(encoder.name, "w").video_formats or ()]
    if spec.pixel_format not in formats:
        raise _cannot(path, f"{spec.codec} with pixel format {spec.pixel_format}", ", ".join(sorted(formats)))
    options = dict(encoder.options)
    if encoder.name == "libx264" and _has_avx512():
        options["x264-params"] = f"asm={_WITHOUT_AVX512}"
    if encoder.profiles and spec.profile:
        profile = dict(encoder.profiles).get(spec.profile)
        if profile is None:
            known = ", ".join(name for name, _ in encoder.profiles)
            raise _cannot(path, f"{spec.codec} profile {spec.profile}", known)
        options["profile"] = profile
    square = spec.pixel_aspect in (None, Fraction(1))
    if not square and path.suffix.lower() == ".mkv" and spec.codec != "h264":
        raise _cannot(path, f"pixels {spec.pixel_aspect} times as wide as high", "square pixels in this container")
    return encoder, options


def lost_in_frames(spec: VideoSpec) -> tuple[tuple[str, int], ...]:
    """Colour codes (name, code of ITU-T H.273) that the coded frames will not carry: the encoder writes 0 for them."""
    if spec.codec != "prores":
        return ()
    given = {"primaries": spec.color_primaries, "transfer": spec.color_transfer, "matrix": spec.color_matrix}
    return tuple((name, code) for name, code in given.items() if code not in _PRORES_FRAME_CODES[name])


@functools.cache
def _has_avx512() -> bool:
    """True where x264 would use AVX-512, with which the same pictures gave other bytes in about one run of a hundred.

    Seen with the x264 of PyAV 18.1 at 322x182, on one thread too; never with AVX2 in over 200 runs each.
    """
    try:
        return "avx512" in Path("/proc/cpuinfo").read_text(encoding="ascii", errors="replace")
    except OSError:
        return False


def _cannot(path: Path, found: str, expected: str) -> InputError:
    return InputError(path, found, f"one of what can be written: {expected}", "export the clip in one of these first")
