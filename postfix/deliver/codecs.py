"""The video codecs that can be written, and how."""

from __future__ import annotations

import functools
from contextlib import suppress
from fractions import Fraction
from pathlib import Path
from typing import Any

import av

from postfix.deliver.containers import losses, lost_in_frames, suffix_for
from postfix.deliver.depth import bits_of, nearest_format
from postfix.deliver.encoders import (
    CODECS,
    ENCODERS,
    Encoder,
    choice_to_make,
    formats_of,
    read_back_as,
    size_fault,
)
from postfix.deliver.spec import UNSPECIFIED, VideoSpec, coded_size
from postfix.errors import InputError, UsageError
from postfix.source.picture import PictureFormat
from postfix.source.pixel_formats import FULL_RANGE, video_format
from postfix.source.signalling import frame_packing_type
from postfix.source.turning import UPRIGHT, format_turned, turn_of
from postfix.source.video import VideoSource

_X265_THREADS = "frame-threads=2:pools=4"
"""x265's choices follow its threads; fixed, so that the bytes are the same on every machine."""

_WITHOUT_AVX512 = "MMX2,SSE,SSE2,SSSE3,SSE4,SSE42,AVX,FMA3,BMI1,BMI2,AVX2"
"""x264's instruction sets up to AVX2, which every processor with AVX-512 has too."""

_KEPT_BY_MUXER = {
    "encoder", "duration", "timecode", "creation_time", "major_brand", "minor_version", "compatible_brands",
    "handler_name", "vendor_id", "language", "number_of_frames", "number_of_bytes", "bps", "stereo_mode",
    "operational_pattern_ul", "uid", "generation_uid", "company_name", "product_name", "product_version_num",
    "product_version",
    "application_platform", "product_uid", "toolkit_version_num", "material_package_umid", "file_package_umid",
    "reel_umid", "modification_date", "data_type",
}  # fmt: skip
"""Metadata that the container writes itself, or that told of the old file only."""


def spec_of(source: VideoSource, codec: str | None = None) -> VideoSpec:
    """The spec that makes a video like its source.

    Parameters
    ----------
    source : VideoSource
    codec : str, optional
        A key of :data:`CODECS`; the source's own without it.

    Raises
    ------
    UsageError
        Where there is no such codec, or it does not take the source's pictures.
    """
    tags, fmt = source.tags, source.format
    told = {key.lower(): value for key, value in (*tags.metadata, *tags.stream_metadata)}
    # A timecode that cannot be counted is handed on as it is, unless the clip starts later than the file.
    unread = told.get("timecode") if source.first_frame == 0 else None
    name, profile, pixel_format = tags.codec, tags.profile, fmt.pixel_format
    if codec is not None:
        name, profile, pixel_format = _chosen(source, codec)
    return VideoSpec(
        codec=name,
        pixel_format=pixel_format,
        width=fmt.width,
        height=fmt.height,
        rate=source.rate,
        profile=profile,
        color_range=_told_range(fmt.pixel_format, tags.color_range),
        color_primaries=tags.color_primaries,
        color_transfer=tags.color_transfer,
        color_matrix=_told_matrix(name, pixel_format, tags.color_matrix),
        pixel_aspect=tags.pixel_aspect,
        timecode=source.timecode or unread,
        metadata=tuple((k, v) for k, v in tags.metadata if k.lower() not in _KEPT_BY_MUXER),
        stream_metadata=tuple(
            (k, v) for k, v in tags.stream_metadata if k.lower() not in _KEPT_BY_MUXER - {"language"}
        ),
        given_format=None if pixel_format == fmt.pixel_format else fmt.pixel_format,
        lossless=tags.lossless and name == tags.codec,
        intra=source.is_intra and name == tags.codec,
        stereo=tags.stereo,
        display_matrix=tags.display_matrix,
        mastering=tags.mastering,
        content_light=tags.content_light,
    )


def _told_range(pixel_format: str, code: int) -> int:
    """The range code of a source: ``yuvj…`` says by its name that it is full, which another codec may not keep."""
    return 2 if pixel_format.startswith("yuvj") and code not in FULL_RANGE else code


def _told_matrix(codec: str, pixel_format: str, code: int) -> int:
    """The matrix code that is written: RGB has none, and frames of DNxHR always say one, BT.709 where none is known.

    Seen with the FFmpeg 8.1 of PyAV 18.1.
    """
    if code != UNSPECIFIED or codec not in ("dnxhd", "hevc"):
        return code
    if pixel_format.startswith(("gbr", "rgb")):
        return 0
    return 1 if codec == "dnxhd" else code


def matrix_words(source: VideoSource, spec: VideoSpec) -> tuple[str, ...]:
    """What is said of a matrix that the source does not tell and the written file will, as a part of a sentence."""
    if spec.color_matrix == source.tags.color_matrix:
        return ()
    return (f"its colour matrix is not said; frames of {spec.codec} always say one, {spec.color_matrix} here",)


def _chosen(source: VideoSource, codec: str) -> tuple[str, str, str]:
    """Codec, profile and pixel format for a codec that a person typed."""
    tags, given = source.tags, source.format.pixel_format
    if codec not in CODECS:
        raise UsageError(f"--codec {codec}", "no such codec", "one of " + ", ".join(CODECS), "choose one of them")
    name, profile = CODECS[codec]
    if not profile and name == tags.codec:
        profile = tags.profile
    pixel_format = nearest_format(given, formats_of(name, profile))
    if pixel_format is None:
        size = source.format.width, source.format.height
        raise UsageError(
            f"--codec {codec}",
            f"pictures of {given} in {source.path}",
            "pictures that it takes",
            choice_to_make(given, size),
        )
    return name, profile, pixel_format


def format_written(spec: VideoSpec) -> PictureFormat:
    """The format that the written file's upright pictures are read in."""
    full_range = FULL_RANGE.get(spec.color_range)
    name = read_back_as(spec.codec, spec.pixel_format, full_range)
    coded = video_format(name, *coded_size(spec), full_range, spec.color_matrix)
    return format_turned(coded, turn_of(spec.display_matrix) or UPRIGHT)


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
        Where codec, profile, pixel format, size or pixel aspect cannot be written; names what can, and the choice to
        make.
    """
    encoder = ENCODERS.get(spec.codec)
    if encoder is None:
        raise _cannot(path, spec, f"codec {spec.codec}, which can be read but not written", ", ".join(sorted(ENCODERS)))
    if encoder.profiles and spec.profile and spec.profile not in encoder.profiles:
        raise _cannot(path, spec, f"{spec.codec} profile {spec.profile}", ", ".join(encoder.profiles))
    formats = formats_of(spec.codec, spec.profile)
    if spec.pixel_format not in formats:
        less = nearest_format(spec.pixel_format, formats)
        found = f"{spec.codec} {spec.profile} with pixel format {spec.pixel_format}".replace("  ", " ")
        if less is not None:
            found += f", whose {bits_of(spec.pixel_format)} bits would become {bits_of(less)}"
        raise _cannot(path, spec, found, ", ".join(sorted(formats)))
    fault = size_fault(spec.codec, spec.pixel_format, *coded_size(spec))
    if fault is not None:
        raise _cannot(path, spec, *fault)
    return encoder, _options(spec, encoder)


def _options(spec: VideoSpec, encoder: Encoder) -> dict[str, str]:
    options = dict(encoder.options)
    profile = encoder.profiles.get(spec.profile)
    if profile is not None and profile.option:
        options["profile"] = profile.option
    if spec.codec == "ffv1":
        options["slices"] = _ffv1_slices(spec.pixel_format, *coded_size(spec))
    if encoder.name == "libx264":
        options["x264-params"] = ":".join(_x264(spec))
        if spec.lossless:
            del options["crf"]
            options["qp"] = "0"
        if spec.intra:
            options["g"] = "1"
    if encoder.name == "libx265":
        options["x265-params"] = ":".join(_x265(spec))
        if spec.lossless:
            options.pop("crf")
    return {key: value for key, value in options.items() if value}


@functools.cache
def _ffv1_slices(pixel_format: str, width: int, height: int) -> str:
    """Four slices, or the number next to it that the encoder makes of such a size: of some odd ones it makes none."""
    for slices in ("4", "6", "9", "12", "16", "1"):
        context: Any = av.CodecContext.create("ffv1", "w")
        context.width, context.height, context.pix_fmt, context.time_base = width, height, pixel_format, Fraction(1, 24)
        context.options = {"level": "3", "slices": slices}
        with suppress(av.FFmpegError):
            context.open()
            return slices
    return "4"


def _x264(spec: VideoSpec) -> list[str]:
    told = [f"asm={_WITHOUT_AVX512}"] if _has_avx512() else []
    if spec.mastering is not None:
        told.append(f"mastering-display={spec.mastering.x265_text()}")
    if spec.content_light is not None:
        told.append(f"cll={spec.content_light.max_cll_cd_m2},{spec.content_light.max_fall_cd_m2}")
    packing = None if spec.stereo is None else frame_packing_type(spec.stereo)
    if packing is not None:
        told.append(f"frame-packing={packing}")
    return told


def _x265(spec: VideoSpec) -> list[str]:
    # Its info would tell of the processor, and so differ between machines.
    told = ["log-level=none", "info=0", _X265_THREADS]
    if spec.lossless:
        told.append("lossless=1")
    if spec.intra:
        told.append("keyint=1")
    if spec.mastering is not None:
        told.append(f"master-display={spec.mastering.x265_text()}")
    if spec.content_light is not None:
        told.append(f"max-cll={spec.content_light.max_cll_cd_m2},{spec.content_light.max_fall_cd_m2}")
    return told


@functools.cache
def _has_avx512() -> bool:
    """True where x264 would use AVX-512, with which the same pictures gave other bytes in about one run of a hundred.

    Seen with the x264 of PyAV 18.1 at 322x182, on one thread too; never with AVX2 in over 200 runs each.
    """
    try:
        return "avx512" in Path("/proc/cpuinfo").read_text(encoding="ascii", errors="replace")
    except OSError:
        return False


def _cannot(path: Path, spec: VideoSpec, found: str, expected: str) -> InputError:
    step = choice_to_make(spec.handed_format, coded_size(spec))
    return InputError(path, found, f"one of what can be written: {expected}", step)


__all__ = [
    "CODECS",
    "ENCODERS",
    "UNSPECIFIED",
    "VideoSpec",
    "encoder_for",
    "format_written",
    "losses",
    "lost_in_frames",
    "matrix_words",
    "spec_of",
    "suffix_for",
]
