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
from postfix.deliver.encoders import CODECS, ENCODERS, Encoder, choice_to_make, formats_of, read_back_as
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
    "operational_pattern_ul", "uid", "generation_uid", "product_name", "product_version_num", "product_version",
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
        given_format=None if pixel_format == fmt.pixel_format else fmt.pixel_format,
        lossless=tags.lossless and name == tags.codec,
        intra=source.is_intra and name == tags.codec,
        stereo=tags.stereo,
        display_matrix=tags.display_matrix,
        mastering=tags.mastering,
        content_light=tags.content_light,
    )


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
        raise UsageError(
            f"--codec {codec}", f"pictures of {given} in {source.path}", "pictures that it takes", choice_to_make(given)
        )
    return name, profile, pixel_format


def format_written(spec: VideoSpec) -> PictureFormat:
    """The format that the written file's upright pictures are read in."""
    full_range = FULL_RANGE.get(spec.color_range)
    name = read_back_as(spec.codec, spec.pixel_format)
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
    given = spec.handed_format
    if encoder is None:
        raise _cannot(
            path, f"codec {spec.codec}, which can be read but not written", ", ".join(sorted(ENCODERS)), given
        )
    if encoder.profiles and spec.profile and spec.profile not in encoder.profiles:
        raise _cannot(path, f"{spec.codec} profile {spec.profile}", ", ".join(encoder.profiles), given)
    formats = formats_of(spec.codec, spec.profile)
    if spec.pixel_format not in formats:
        less = nearest_format(spec.pixel_format, formats)
        found = f"{spec.codec} {spec.profile} with pixel format {spec.pixel_format}".replace("  ", " ")
        if less is not None:
            found += f", whose {bits_of(spec.pixel_format)} bits would become {bits_of(less)}"
        raise _cannot(path, found, ", ".join(sorted(formats)), given)
    _check_size(spec, encoder, path)
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


def _check_size(spec: VideoSpec, encoder: Encoder, path: Path) -> None:
    width, height = coded_size(spec)
    least_x, least_y = encoder.smallest_px
    if width < least_x or height < least_y:
        raise _cannot(
            path, f"{width}x{height}, too small for {spec.codec}", f"at least {least_x}x{least_y}", spec.handed_format
        )
    if spec.codec in ("ffv1", "jpeg2000", "dnxhd"):
        return
    layout = av.VideoFormat(spec.pixel_format, 16, 16)
    chroma = layout.components[1] if len(layout.components) > 1 else layout.components[0]
    step_x, step_y = 16 // chroma.width, 16 // chroma.height
    if spec.codec == "prores":
        step_x = 2
    if width % step_x or height % step_y:
        wanted = " and ".join(
            word for step, word in ((step_x, "an even width"), (step_y, "an even height")) if step > 1
        )
        raise _cannot(
            path, f"{width}x{height}, which {spec.codec} cannot hold in {spec.pixel_format}", wanted, spec.handed_format
        )


@functools.cache
def _has_avx512() -> bool:
    """True where x264 would use AVX-512, with which the same pictures gave other bytes in about one run of a hundred.

    Seen with the x264 of PyAV 18.1 at 322x182, on one thread too; never with AVX2 in over 200 runs each.
    """
    try:
        return "avx512" in Path("/proc/cpuinfo").read_text(encoding="ascii", errors="replace")
    except OSError:
        return False


def _cannot(path: Path, found: str, expected: str, given: str) -> InputError:
    return InputError(path, found, f"one of what can be written: {expected}", choice_to_make(given))


__all__ = [
    "CODECS",
    "ENCODERS",
    "UNSPECIFIED",
    "VideoSpec",
    "encoder_for",
    "format_written",
    "losses",
    "lost_in_frames",
    "spec_of",
    "suffix_for",
]
