"""What containers hold and carry, and what is lost on the way; said before the first frame."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

from postfix.deliver.depth import bits_of, layout_of
from postfix.deliver.spec import UNSPECIFIED, VideoSpec
from postfix.errors import InputError
from postfix.source.turning import turn_of

_HELD = {
    "prores": (".mov", ".mkv", ".mxf"),
    "dnxhd": (".mov", ".mxf"),
    "ffv1": (".mkv", ".mp4", ".mxf", ".avi"),
    "h264": (".mov", ".mp4", ".m4v", ".mkv", ".mxf", ".ts", ".m2ts"),
    "hevc": (".mov", ".mp4", ".mkv", ".ts", ".m2ts"),
    "jpeg2000": (".mov", ".mp4", ".mkv", ".mxf"),
}
"""Suffixes that each codec may have, the first where the source's own will not do."""

_UNEVEN = ("yuv422p", "yuva422p", "yuv440p", "yuv411p")
"""Layouts whose chroma is not subsampled alike both ways: they cannot be written turned."""

CLOCKED = (".mov", ".mp4", ".m4v")
"""Containers whose clock can be set, so that every frame time is exact."""

_TURNS = (*CLOCKED, ".mkv")
"""Containers with a place for rotation."""


_PRORES_FRAME_CODES = {
    "primaries": {0, 1, 2, 5, 6, 9, 11, 12},
    "transfer": {0, 1, 2, 16, 18},
    "matrix": {0, 1, 2, 6, 9},
}
"""Colour codes that the ProRes encoder puts into a frame's header; it turns all others into 0, "unknown". Seen with
the FFmpeg 8.1 of PyAV 18.1, by writing each code from 0 to 22 and reading the header's bytes."""


_DNXHR_FRAME_CODES = {"matrix": {1, 2}}
"""The DNxHR encoder writes BT.709 into every frame, seen with the same; readers take primaries from the container."""


def suffix_for(spec: VideoSpec, suffix: str) -> str:
    """The suffix of a file of this codec: the given one where the codec may have it, and AVI only where it loses
    nothing: it has no place for colour codes, range and pixel aspect."""
    held = _HELD.get(spec.codec, ())
    if not held or (suffix.lower() in held and not (suffix.lower() == ".avi" and _has_tags(spec))):
        return suffix
    return held[0]


def _has_tags(spec: VideoSpec) -> bool:
    colours = {spec.color_primaries, spec.color_transfer, spec.color_matrix} - {UNSPECIFIED}
    return bool(colours) or spec.color_range not in (0, _usual_range(spec)) or spec.pixel_aspect not in (None, 1)


def range_told(spec: VideoSpec, suffix: str) -> int:
    """The range code that is written: RGB and grey of unknown range are full, and are said to be so where readers
    would else be told of a narrow one. Seen with the FFmpeg 8.1 of PyAV 18.1."""
    needed = suffix.lower() in CLOCKED or spec.codec in ("hevc", "dnxhd")
    return 2 if spec.color_range == 0 and needed and not spec.pixel_format.startswith("yuv") else spec.color_range


def needs_colour_box(spec: VideoSpec) -> bool:
    """True where MOV and MP4 must be told to say colours and range: by themselves they do only if all codes are known.

    Where nothing is known nothing is said. Seen with the FFmpeg 8.1 of PyAV 18.1.
    """
    known = {spec.color_primaries, spec.color_transfer, spec.color_matrix} - {UNSPECIFIED}
    return bool(known) or spec.color_range not in (0, _usual_range(spec))


def _usual_range(spec: VideoSpec) -> int:
    """The range that readers take where none is said."""
    return 1 if spec.pixel_format.startswith("yuv") and not spec.pixel_format.startswith("yuvj") else 2


def carries_turn(path: Path) -> bool:
    """True where the container has a place for rotation; elsewhere pictures are written upright."""
    return path.suffix.lower() in _TURNS


def check_container(spec: VideoSpec, path: Path, suffix: str) -> None:
    """Refuse what a container would silently drop: it would change how the picture looks.

    Parameters
    ----------
    spec : VideoSpec
    path : Path
        The file that asks for it, named in errors.
    suffix : str
        Of the file to be written: its container.

    Raises
    ------
    InputError
        Naming what would be lost and the choice to make.
    """
    suffix = suffix.lower()
    if spec.pixel_aspect not in (None, Fraction(1)) and (
        suffix == ".avi" or (suffix == ".mxf" and spec.codec == "dnxhd")
    ):
        raise InputError(
            path,
            f"pixels {spec.pixel_aspect} times as wide as high",
            f"square pixels for {spec.codec} in a '{suffix}' file",
            "choose another codec with --codec, or another container",
        )
    turn = turn_of(spec.display_matrix)
    if turn is not None and turn.swaps and suffix not in _TURNS and layout_of(spec.pixel_format) in _UNEVEN:
        raise InputError(
            path,
            f"pictures of {spec.pixel_format} turned by a quarter, with no place to say so in a '{suffix}' file",
            "a container that holds the rotation",
            "choose another container, or export the clip upright first",
        )
    usual = _usual_range(spec)
    if _loses_range(spec, suffix) and spec.color_range not in (0, usual):
        raise InputError(
            path,
            f"the {_RANGES[spec.color_range]} code range of {spec.pixel_format}",
            f"the {_RANGES[usual]} range for {spec.codec} in a '{suffix}' file, which has no place to tell",
            "choose another codec with --codec",
        )


_RANGES = {1: "narrow", 2: "full"}


def _loses_range(spec: VideoSpec, suffix: str) -> bool:
    """True where the range does not come back, seen with PyAV 18.1; a reader then takes the usual one."""
    rgb = spec.pixel_format.startswith(("gbr", "rgb"))
    return (
        (spec.codec, suffix) in (("jpeg2000", ".mov"), ("prores", ".mov"))
        or suffix == ".avi"
        or spec.pixel_format.startswith("yuvj")
        or (suffix == ".mxf" and ((spec.codec == "ffv1" and rgb) or spec.profile == "DNXHR 444"))
    )


def lost_in_frames(spec: VideoSpec) -> tuple[tuple[str, int], ...]:
    """Colour codes (name, code of ITU-T H.273) that the coded frames will not carry: the encoder writes 0 for them."""
    given = {"primaries": spec.color_primaries, "transfer": spec.color_transfer, "matrix": spec.color_matrix}
    known = {"prores": _PRORES_FRAME_CODES, "dnxhd": _DNXHR_FRAME_CODES}.get(spec.codec)
    return tuple((name, code) for name, code in given.items() if known and name in known and code not in known[name])


def losses(spec: VideoSpec, suffix: str) -> tuple[str, ...]:
    """What a written file will not hold of what the spec asks for, each as a part of a sentence."""
    suffix = suffix.lower()
    found = []
    if range_told(spec, suffix) != spec.color_range:
        found.append("its code range is not said; it is written as full, as it is taken to be")
    before, after = bits_of(spec.handed_format), bits_of(spec.pixel_format)
    if after < before:
        found.append(f"samples of {before} bits are rounded to {after}")
    colours = lost_in_frames(spec)
    if colours:
        codes = ", ".join(f"{name} {code}" for name, code in colours)
        found.append(
            f"its colour codes {codes} have no place in the frames of {spec.codec}; only the container will carry them"
        )
    has_light = spec.mastering is not None or spec.content_light is not None
    if has_light and spec.codec not in ("h264", "hevc"):
        found.append(f"the mastering display and the light levels have no place in {spec.codec} as it is written here")
    if spec.stereo is not None and not signals(spec, suffix):
        order = "right eye first " if spec.stereo.right_first else ""
        found.append(f"{spec.stereo.layout} {order}cannot be signalled in {spec.codec} in a '{suffix}' file")
    if spec.display_matrix is not None and suffix not in _TURNS:
        found.append(f"rotation has no place in a '{suffix}' file: pictures are written upright")
    if suffix == ".mxf" and spec.metadata:
        names = ", ".join(name for name, _ in spec.metadata)
        found.append(f"the texts {names} have no place in a '.mxf' file")
    return tuple(found)


def signals(spec: VideoSpec, suffix: str) -> bool:
    """True where a file says that it holds both eyes: Matroska, and H.264 with the left eye first."""
    if spec.stereo is None:
        return False
    return suffix.lower() == ".mkv" or (spec.codec == "h264" and not spec.stereo.right_first)
