"""What the header of a still says of its samples, whatever the format, and which files are refused for it."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import OpenImageIO as oiio

from postfix.errors import InputError, OtherFormatError
from postfix.source.bounds import must_be_looked_through, sample_problem, size_problem, tile_problem
from postfix.source.dpx import read_dpx_header
from postfix.source.exr import ExrPlane, exr_format, planes_of, views_of
from postfix.source.exr_header import read_exr_header
from postfix.source.image import open_image
from postfix.source.numbered import FORMATS_IN_WORDS, PICTURE_SUFFIXES
from postfix.source.picture import PictureFormat, PlaneFormat
from postfix.source.timecode import valid_timecode

OIIO_TYPES = {"uint8": "uint8", "uint16": "uint16", "uint32": "uint", "float16": "half", "float32": "float"}
"""The library's words for numpy's types."""

_DTYPES = {oiio.UINT8: "uint8", oiio.UINT16: "uint16", oiio.HALF: "float16", oiio.FLOAT: "float32"}
_LAYOUTS = {1: "gray", 3: "rgb", 4: "rgba"}
_DEPTHS = {"png": "8 or 16 bits", "jpeg": "8 bits", "tiff": "8 or 16 bits or 16- or 32-bit float"}
_PNG_START, _PNG_END = b"\x89PNG\r\n\x1a\n", bytes.fromhex("0000000049454e44ae426082")
_TIFF_STARTS = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_PNG_KINDS = {0: "grey", 2: "RGB", 3: "a palette", 4: "grey with alpha", 6: "RGBA"}


@dataclass(frozen=True)
class StillHeader:
    """One still before its samples are read.

    Attributes
    ----------
    format : PictureFormat
    timecode : str or None
    channels : tuple of ExrPlane
        Of OpenEXR: where the samples of each plane stand.
    """

    format: PictureFormat
    timecode: str | None
    channels: tuple[ExrPlane, ...] = ()


def read_header(path: Path, frame: int | None, rate: Fraction, view: str | None = None) -> StillHeader:
    """Header of one still of any format.

    Raises
    ------
    InputError
        Where it is missing, empty, cut short, no picture, or holds what cannot be carried.
    """
    kind = must_be_there(path, frame)
    if kind == "dpx":
        dpx = read_dpx_header(path, frame)
        fmt = picture_format(dpx.width, dpx.height, dpx.channels, "uint8" if dpx.bits == 8 else "uint16", dpx.bits)
        return StillHeader(fmt, timecode_of_word(dpx.timecode_word, rate))
    if kind == "exr":
        return _exr_header(path, frame, rate, view)
    if view is not None:
        raise InputError(path, "a file without views", "an OpenEXR file with views", "give each eye its own files")
    opened = open_still(path, frame)
    try:
        spec = opened.spec()
        more = opened.seek_subimage(1, 0)
    finally:
        opened.close()
    dtype, problem = _DTYPES.get(spec.format.basetype), _problem(spec, path, kind, more)
    if problem is not None or dtype is None:
        expected = f"one grey, RGB or RGBA picture of {_DEPTHS[kind]}"
        found = problem or f"samples of {spec.format}"
        raise OtherFormatError(path, found, expected, "export the stills so", frame=frame)
    bits = {"uint8": 8, "uint16": 16, "float16": 16, "float32": 32}[dtype]
    fmt = picture_format(spec.width, spec.height, spec.nchannels, dtype, bits)
    return StillHeader(fmt, header_timecode(spec, rate))


def picture_format(width: int, height: int, channels: int, dtype: str, bits: int) -> PictureFormat:
    """Format of an interleaved picture that uses every code; floats are taken for light, 1 for white."""
    is_float = dtype.startswith("float")
    white = 1.0 if is_float else float((1 << bits) - 1)
    plane = PlaneFormat(step_x=1, step_y=1, channels=channels, black=(0.0, 0.0, 0.0, white)[:channels])
    name = f"{_LAYOUTS[channels]}-{ {16: 'half', 32: 'float'}[bits] if is_float else f'{bits}bit' }"
    return PictureFormat(width, height, name, dtype, bits, white, False, (plane,), is_linear=is_float)


def _exr_header(path: Path, frame: int | None, rate: Fraction, view: str | None) -> StillHeader:
    header = read_exr_header(path, frame)
    views = views_of(header)
    if view is not None and view not in views:
        found = f"the views {', '.join(views)}" if views else "no views"
        raise InputError(
            path, found, f"a view '{view}'", "render the view, or give each eye its own files", frame=frame
        )
    if view is None and len(views) > 1:
        raise InputError(
            path,
            f"the views {', '.join(views)} in one file",
            "one eye",
            "give the file as both eyes with --pair",
            frame=frame,
        )
    try:
        planes = planes_of(header, view)
    except ValueError as error:
        raise InputError(
            path, str(error), "channels R, G and B, or Y, of type half or float", "render the stills so", frame=frame
        ) from error
    displays = {part.window("displayWindow") for part in header.parts}
    if len(displays) > 1:
        raise InputError(
            path, "parts with different display windows", "one for all parts", "render the stills so", frame=frame
        )
    word = header.parts[planes[0].part].get("timeCode")
    timecode = timecode_of_word(int.from_bytes(word[:4], "little") if word else None, rate)
    return StillHeader(exr_format(header, planes), timecode, planes)


def must_be_there(path: Path, frame: int | None) -> str:
    """Format by the suffix; InputError where there is no file, or nothing in it."""
    kind = PICTURE_SUFFIXES.get(path.suffix.lower())
    if not path.is_file():
        raise InputError(path, "nothing", "a picture", "check the path", frame=frame)
    if kind is None:
        raise InputError(path, f"a '{path.suffix}' file", FORMATS_IN_WORDS, "export the stills so", frame=frame)
    if path.stat().st_size == 0:
        raise InputError(path, "an empty file", "a picture", "copy or export the still again", frame=frame)
    return kind


def open_still(path: Path, frame: int | None = None) -> oiio.ImageInput:
    """Open a PNG, TIFF or JPEG for reading as it is: alpha is not multiplied in. Close it after use.

    Raises
    ------
    InputError
        Where it is missing, empty, cut short or no picture.
    """
    kind = must_be_there(path, frame)
    if kind != "tiff":
        must_be_looked_through(path, frame)
    if not still_is_whole(path, kind):
        word = kind.upper()
        raise InputError(
            path, f"a picture cut short, or no {word}", f"a whole {word}", "copy or export the still again", frame=frame
        )
    hints = oiio.ImageSpec()
    hints.attribute("oiio:UnassociatedAlpha", 1)
    opened = open_image(path, hints)
    if opened is None:
        reason = first_line(oiio.geterror())
        raise InputError(
            path,
            f"no readable picture ({reason})",
            f"a whole {kind.upper()}",
            "copy or export the still again",
            frame=frame,
        )
    return opened


def _problem(spec: oiio.ImageSpec, path: Path, kind: str, more: bool) -> str | None:
    stored, photometric = spec.getattribute("oiio:BitsPerSample"), spec.getattribute("tiff:PhotometricInterpretation")
    dtype = _DTYPES.get(spec.format.basetype)
    bits = {"uint8": 8, "uint16": 16, "float16": 16, "float32": 32}.get(dtype or "")
    if kind == "png" and (problem := _png_problem(path)):
        return problem
    if problem := size_problem(spec.width, spec.height) or sample_problem(
        spec.image_bytes(), spec.nchannels, path.stat().st_size, spec.get_string_attribute("compression")
    ):
        return problem
    if spec.tile_width and (problem := tile_problem((spec.tile_width, spec.tile_height), (spec.width, spec.height))):
        return problem
    if bits is None or (stored is not None and stored != bits):
        return f"{stored or spec.format} bits a sample" if stored else f"samples of type {spec.format}"
    if spec.nchannels not in _LAYOUTS:
        return f"{spec.nchannels} channels"
    if photometric not in (None, 1, 2):
        return f"TIFF colour model {photometric}"
    if spec.getattribute("jpeg:ColorSpace") not in (None, "", "YCbCr", "RGB", "Gray", "Grayscale"):
        return f"JPEG colour model {spec.getattribute('jpeg:ColorSpace')}"
    if more:
        return "more than one picture in the file"
    return "a volume" if spec.depth > 1 else None


def _png_problem(path: Path) -> str | None:
    """What the library would quietly turn into something else."""
    with path.open("rb") as file:
        head = file.read(1 << 16)
    bits, kind = head[24], head[25]
    if bits < 8 and kind != 3:
        return f"{bits} bits a sample"
    if kind == 3:
        return _PNG_KINDS[kind]
    if b"tRNS" in head[: max(0, head.find(b"IDAT"))]:
        return "one colour that stands for transparent"
    return None


def header_timecode(spec: oiio.ImageSpec, rate: Fraction) -> str | None:
    """Timecode from the header: two 32-bit words as SMPTE ST 12-1 packs them."""
    words = spec.getattribute("smpte:TimeCode")
    return timecode_of_word(int(words[0]) if isinstance(words, tuple) and words else None, rate)


def timecode_of_word(word: int | None, rate: Fraction) -> str | None:
    """Timecode from 32 bits, read as binary-coded decimals with the hours first; None where they are none."""
    if word is None:
        return None
    frames, seconds, minutes, hours = (
        10 * (word >> shift + 4 & tens) + (word >> shift & 0xF)
        for shift, tens in ((0, 0x3), (8, 0x7), (16, 0x7), (24, 0x3))
    )
    separator = ";" if word & 0x40 else ":"
    return valid_timecode(f"{hours:02d}:{minutes:02d}:{seconds:02d}{separator}{frames:02d}", rate)


def still_is_whole(path: Path, kind: str) -> bool:
    """False where a PNG or a JPEG has no end, or a TIFF no beginning; other formats are not looked at."""
    whole = {"png": _png_is_whole, "jpeg": _jpeg_is_whole, "tiff": _tiff_begins}.get(kind)
    return whole is None or whole(path)


def _png_is_whole(path: Path) -> bool:
    """True where the last chunk is there: libpng would report a cut file on stderr by itself, and late."""
    with path.open("rb") as file:
        if file.read(8) != _PNG_START or path.stat().st_size < 20:
            return False
        file.seek(-12, 2)
        if file.read(12) == _PNG_END:
            return True
        file.seek(8)  # bytes may follow the end; walk the chunks
        while len(head := file.read(8)) == 8:
            if head[4:] == b"IEND":
                return len(file.read(4)) == 4
            file.seek(int.from_bytes(head[:4], "big") + 4, 1)
    return False


def _tiff_begins(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(4) in _TIFF_STARTS


def _jpeg_is_whole(path: Path) -> bool:
    """True where the end marker follows the samples: the library fills what is missing with grey."""
    data = path.read_bytes()
    at = 2
    while data[:2] == b"\xff\xd8" and at + 4 <= len(data) and data[at] == 0xFF:
        if data[at + 1] == 0xDA:
            return data.rfind(b"\xff\xd9") > at
        at += 2 + int.from_bytes(data[at + 2 : at + 4], "big")
    return False


def first_line(text: str) -> str:
    """The first line of what a library says, not too long."""
    return text.strip().split("\n")[0][:160]
