"""Small clips for the tests of reading and writing, made with the libraries directly, apart from the project."""

from __future__ import annotations

import hashlib
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
import tifffile
from exr_files import float_samples, half_samples, uint_samples, write_exr_file

RATE = Fraction(24000, 1001)
SIZE = (322, 182)
"""Width and height: even, as 4:2:0 asks, but no multiple of 4, 8 or 16."""

# name: (suffix, encoder, pixel format, options)
VIDEOS = {
    "ffv1": (".mkv", "ffv1", "yuv422p10le", {"level": "3", "slices": "4", "slicecrc": "1"}),
    "ffv1-avi": (".avi", "ffv1", "yuv420p", {"level": "3", "slices": "4", "slicecrc": "1"}),
    "ffv1-rgb": (".mkv", "ffv1", "gbrp10le", {"level": "3", "slices": "4"}),
    "ffv1-grey": (".mkv", "ffv1", "gray16le", {"level": "3"}),
    "prores": (".mov", "prores_ks", "yuv422p10le", {"profile": "3"}),
    "h264": (".mp4", "libx264", "yuv420p", {"crf": "12", "g": "5"}),
}
# name: (suffix, dtype, channels)
STILLS = {
    "png8": (".png", "uint8", 3),
    "png16": (".png", "uint16", 3),
    "png16-alpha": (".png", "uint16", 4),
    "tiff8": (".tif", "uint8", 3),
    "tiff16": (".tif", "uint16", 3),
    "tiff16-grey": (".tiff", "uint16", 1),
    "tiff-half": (".tif", "float16", 3),
    "tiff-float": (".tif", "float32", 3),
    "dpx8": (".dpx", "uint8", 3),
    "dpx10": (".dpx", "uint16", 3),
    "dpx10-packed": (".dpx", "uint16", 3),
    "dpx10-alpha": (".dpx", "uint16", 4),
    "dpx12": (".dpx", "uint16", 3),
    "dpx16": (".dpx", "uint16", 3),
    "dpx10-grey": (".dpx", "uint16", 1),
    "exr-half": (".exr", "float16", 3),
    "exr-half-alpha": (".exr", "float16", 4),
    "exr-half-piz": (".exr", "float16", 3),
    "exr-float": (".exr", "float32", 3),
    "exr-grey": (".exr", "float32", 1),
    "exr-channels": (".exr", "float16", 3),
    "exr-parts": (".exr", "float16", 3),
    "jpeg": (".jpg", "uint8", 3),
}
LOSSLESS = (*(name for name in VIDEOS if name.startswith("ffv1")), *(name for name in STILLS if name != "jpeg"))


def bits_of_still(kind: str) -> int:
    """Bits of a sample: DPX holds 10 and 12 in codes of their own."""
    return next((bits for bits in (10, 12) if str(bits) in kind), 8 * np.dtype(STILLS[kind][1]).itemsize)


def plane_shapes(pixel_format: str, width: int, height: int) -> list[tuple[int, int]]:
    """(rows, columns) of each plane in FFmpeg's order."""
    chroma_columns = {"yuv420p": (width + 1) // 2, "yuv422p10le": (width + 1) // 2}.get(pixel_format, width)
    chroma_rows = (height + 1) // 2 if pixel_format == "yuv420p" else height
    if pixel_format.startswith("gray"):
        return [(height, width)]
    return [(height, width), (chroma_rows, chroma_columns), (chroma_rows, chroma_columns)]


def picture(shape: tuple[int, ...], largest: int, index: int) -> np.ndarray:
    """A smooth pattern with a little grain that moves from frame to frame; codes from 1/8 to 7/8 of the range."""
    rows, columns = np.mgrid[: shape[0], : shape[1]]
    wave = np.sin((columns + 3 * index) / 17.0) * np.cos((rows + index) / 13.0)
    if len(shape) == 3:
        wave = np.stack([np.roll(wave, 5 * channel, axis=1) for channel in range(shape[2])], axis=-1)
    grain = np.random.default_rng(index).uniform(-0.01, 0.01, shape)
    codes = (0.5 + 0.36 * wave + grain) * largest
    return codes.astype(np.uint8 if largest == 255 else np.uint16)


def bits_of(pixel_format: str) -> int:
    return 16 if "16" in pixel_format else 10 if "10" in pixel_format else 8


def file_planes(pixel_format: str, index: int, size: tuple[int, int] = SIZE) -> list[np.ndarray]:
    """The planes of frame ``index`` in FFmpeg's order."""
    largest = (1 << bits_of(pixel_format)) - 1
    return [picture(shape, largest, 7 * index + i) for i, shape in enumerate(plane_shapes(pixel_format, *size))]


def our_planes(pixel_format: str, index: int, size: tuple[int, int] = SIZE) -> list[np.ndarray]:
    """The same in the project's order: R, G, B where FFmpeg has G, B, R."""
    planes = file_planes(pixel_format, index, size)
    return [planes[2], planes[0], planes[1]] if pixel_format.startswith("gbr") else planes


def make_video(
    path: Path,
    kind: str,
    count: int = 12,
    *,
    size: tuple[int, int] = SIZE,
    rate: Fraction = RATE,
    audio: bool = False,
    full_range: bool = False,
    times: list[int] | None = None,
    interlaced: bool = False,
    timecode: str | None = "10:00:00:00",
    pixel_format: str | None = None,
) -> Path:
    """A video of :func:`file_planes`; with ``audio`` two streams of sound, 16-bit PCM or AAC."""
    _, encoder, own_format, options = VIDEOS[kind]
    pixel_format = pixel_format or own_format
    rgb = pixel_format.startswith("gbr")
    extra = {"flags": "+ildct+ilme"} if interlaced else {}
    clock = {"video_track_timescale": "24000"} if path.suffix in (".mov", ".mp4") else {}
    with av.open(str(path), "w", container_options=clock) as container:
        stream = container.add_stream(encoder, rate=rate, options={**options, **extra})
        stream.width, stream.height, stream.pix_fmt = *size, pixel_format
        context = stream.codec_context
        context.time_base = 1 / rate
        tags = {"color_range": 2 if full_range or rgb else 1, "color_primaries": 9, "color_trc": 16}
        tags["colorspace"] = 0 if rgb else 9
        for name, value in tags.items():
            setattr(context, name, value)
        container.metadata["title"] = "Kite workshop"
        if timecode:
            container.metadata["timecode"] = timecode
        sounds = []
        if audio:
            codec = "aac" if path.suffix == ".mp4" else "pcm_s16le"
            sounds = [container.add_stream(codec, rate=48000, layout="stereo") for _ in range(2)]
        for index in range(count):
            frame = av.VideoFrame(*size, pixel_format)
            for plane, samples in zip(frame.planes, file_planes(pixel_format, index, size)):
                view = np.frombuffer(plane, samples.dtype).reshape(plane.height, -1)
                view[:, : plane.width] = samples
            frame.pts = index if times is None else times[index]
            frame.time_base = 1 / rate
            frame.colorspace, frame.color_range = tags["colorspace"], tags["color_range"]
            frame.color_primaries, frame.color_trc = 9, 16
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
        for number, sound in enumerate(sounds):
            _tone(container, sound, float(count / rate), 220.0 * (number + 1))
    return path


def _tone(container, stream, seconds: float, hertz: float) -> None:
    total = int(seconds * 48000)
    wave = (8000 * np.sin(2 * np.pi * hertz * np.arange(total) / 48000)).astype(np.int16)
    for start in range(0, total, 1024):
        block = np.repeat(wave[start : start + 1024], 2)[np.newaxis]
        frame = av.AudioFrame.from_ndarray(block, format="s16", layout="stereo")
        frame.sample_rate, frame.pts, frame.time_base = 48000, start, Fraction(1, 48000)
        container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


def make_stills(
    folder: Path, kind: str, count: int = 6, *, first: int = 1001, name: str = "sh 010_é", size: tuple[int, int] = SIZE
) -> Path:
    """Stills ``name.1001.tif`` … with a header worth keeping."""
    suffix = STILLS[kind][0]
    folder.mkdir(parents=True, exist_ok=True)
    for index in range(count):
        path = folder / f"{name}.{first + index:04d}{suffix}"
        if kind in ("exr-channels", "exr-parts"):
            write_many_channels(path, index, size, in_parts=kind == "exr-parts")
        else:
            write_still_file(path, still_samples(kind, index, size), kind)
    return folder


def still_samples(kind: str, index: int, size: tuple[int, int] = SIZE) -> np.ndarray:
    """Samples of the first plane, (rows, columns, channels); floats hold what is no number as well."""
    _, dtype, channels = STILLS[kind]
    shape = (size[1], size[0], channels)
    if not dtype.startswith("float"):
        return picture(shape, (1 << bits_of_still(kind)) - 1, index)
    samples = (picture(shape, 65535, index) / 65535.0 * 2.0 - 0.4).astype(dtype)
    odd = [np.inf, -np.inf, np.nan, -0.0, np.finfo(dtype).smallest_subnormal, np.finfo(dtype).max]
    samples[-1, :6, 0] = odd[: size[0]]
    return samples


def write_many_channels(path: Path, index: int, size: tuple[int, int], *, in_parts: bool) -> None:
    """OpenEXR with colour, depth, numbers of objects and another layer, as :func:`expected_planes` lists them."""
    (rgb, ids, light, depth), columns = many_planes(index, size), {}
    for plane, names in ((rgb, "R G B"), (light, "light.B light.G light.R")):
        columns |= {name: plane[..., place] for place, name in enumerate(names.split())}
    if not in_parts:
        write_exr_file(path, {**columns, "Z": depth, "id": ids})
        return
    beauty = {name: columns[name] for name in ("R", "G", "B")}
    lamp = {name.removeprefix("light."): plane for name, plane in columns.items() if name.startswith("light.")}
    write_exr_file(
        path, ("beauty", beauty, ()), ("data", {"id": ids, "Z": depth}, ()), ("light", lamp, ())
    )  # fmt: skip


def many_planes(index: int, size: tuple[int, int]) -> list[np.ndarray]:
    """Colour, numbers of objects, another layer's light, depth."""
    width, height = size
    light = np.stack([half_samples(height, width, 10 * index + place) for place in range(3)], axis=-1)
    ids, depth = uint_samples(height, width, index), float_samples(height, width, 7 + index)
    return [still_samples("exr-half", index, size), ids, light, depth]


def write_still_file(path: Path, samples: np.ndarray, kind: str = "") -> None:
    if kind == "tiff-half":  # which the other library cannot write
        tifffile.imwrite(path, samples, photometric="rgb", software="test bench", resolution=(300, 300))
        return
    words = {"float16": "half", "float32": "float"}
    spec = oiio.ImageSpec(*samples.shape[1::-1], samples.shape[2], words.get(str(samples.dtype), str(samples.dtype)))
    spec.attribute("Software", "test bench")
    spec.attribute("XResolution", 300.0)
    spec.attribute("YResolution", 300.0)
    spec.attribute("ResolutionUnit", "in")
    spec.attribute("oiio:UnassociatedAlpha", 1)
    if path.suffix in (".tif", ".tiff"):
        spec.attribute("compression", "lzw")
        spec.attribute("DateTime", "2020:01:02 03:04:05")
        spec.attribute("Orientation", 3)
    if path.suffix == ".exr":
        spec.attribute("compression", "piz" if kind.endswith("piz") else "zip")
    if path.suffix == ".jpg":
        spec.attribute("compression", "jpeg:95")
        spec.attribute("jpeg:subsampling", "4:4:4")
    if path.suffix == ".dpx":
        bits = bits_of_still(kind)
        spec.attribute("oiio:BitsPerSample", bits)
        spec.attribute("dpx:Packing", "Packed" if kind.endswith("packed") else "Filled, method A")
        spec.attribute("dpx:FilmManufacturerId", 12)
        if bits in (10, 12):  # the library takes 16 bits and keeps the highest
            samples = (samples << (16 - bits) | samples >> (2 * bits - 16)).astype(np.uint16)
    output = oiio.ImageOutput.create(str(path))
    assert output.open(str(path), spec), output.geterror()
    assert output.write_image(np.ascontiguousarray(samples)), output.geterror()
    assert output.close()


def make_eye(folder: Path, kind: str, count: int = 6) -> Path:
    """A clip of any kind in a folder with a space and a letter beyond ASCII in its name."""
    folder = folder / "Drachen über dem Meer"
    folder.mkdir(parents=True, exist_ok=True)
    if kind in VIDEOS:
        return make_video(folder / f"shot é_left{VIDEOS[kind][0]}", kind, count)
    return make_stills(folder / "left", kind, count)


def expected_planes(kind: str, index: int) -> list[np.ndarray]:
    """What frame ``index`` of :func:`make_eye` holds."""
    if kind in VIDEOS:
        return our_planes(VIDEOS[kind][2], index)
    if kind in ("exr-channels", "exr-parts"):
        rgb, ids, light, depth = many_planes(index, SIZE)
        # By part, and within it by type in the order in which the names come.
        return [rgb, depth, ids, light]
    samples = still_samples(kind, index)
    return [samples[..., 0] if samples.shape[2] == 1 else samples]


def fingerprints(folder: Path) -> dict[str, str]:
    """SHA-256 of every file below a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }
