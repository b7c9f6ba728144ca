"""Files that hold both eyes, made with the libraries directly, apart from the project."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import OpenImageIO as oiio
from picture_files import RATE, picture, plane_shapes, write_still_file

EYE = (96, 60)
"""Width and height of a whole eye in most tests."""


def eye_planes(pixel_format: str, index: int, eye: int, size: tuple[int, int] = EYE) -> list[np.ndarray]:
    """Planes of frame ``index`` of the left (0) or right (1) eye, in FFmpeg's order."""
    largest = 1023 if "10" in pixel_format else 65535 if "16" in pixel_format else 255
    shapes = plane_shapes(pixel_format, *size)
    return [picture(shape, largest, 11 * index + 101 * eye + i) for i, shape in enumerate(shapes)]


def joined(left: list[np.ndarray], right: list[np.ndarray], layout: str) -> list[np.ndarray]:
    """Two eyes in one picture, the first at the left, on top or in the first row."""
    if layout.startswith("side-by-side"):
        return [np.concatenate(pair, axis=1) for pair in zip(left, right)]
    if layout.startswith("top-bottom"):
        return [np.concatenate(pair, axis=0) for pair in zip(left, right)]
    assert layout == "rows"
    return [np.stack(pair, axis=1).reshape(-1, *pair[0].shape[1:]) for pair in zip(left, right)]


def file_pictures(left: list[list[np.ndarray]], right: list[list[np.ndarray]], layout: str) -> list[list[np.ndarray]]:
    """The pictures of a file that holds both eyes, frame by frame."""
    if layout == "frame-sequential":
        return [planes for pair in zip(left, right) for planes in pair]
    return [joined(one, other, layout) for one, other in zip(left, right)]


def write_packed_video(
    path: Path,
    pictures: list[list[np.ndarray]],
    pixel_format: str = "yuv444p10le",
    *,
    encoder: str = "ffv1",
    options: dict[str, str] | None = None,
    stereo_mode: str | None = None,
    rate: Fraction = RATE,
    pixel_aspect: Fraction | None = None,
    timecode: str | None = None,
    audio: bool = False,
) -> Path:
    """A video of given pictures (planes in FFmpeg's order)."""
    height, width = pictures[0][0].shape
    clock = {"video_track_timescale": "24000"} if path.suffix in (".mov", ".mp4") else {}
    with av.open(str(path), "w", container_options=clock) as container:
        stream = container.add_stream(encoder, rate=rate, options=options or {})
        stream.width, stream.height, stream.pix_fmt = width, height, pixel_format
        stream.codec_context.time_base = 1 / rate
        if pixel_aspect is not None:
            stream.codec_context.sample_aspect_ratio = pixel_aspect
        if stereo_mode is not None:
            stream.metadata["stereo_mode"] = stereo_mode
        if timecode is not None:
            container.metadata["timecode"] = timecode
        sound = container.add_stream("pcm_s16le", rate=48000, layout="stereo") if audio else None
        for index, planes in enumerate(pictures):
            frame = av.VideoFrame(width, height, pixel_format)
            for plane, samples in zip(frame.planes, planes):
                np.frombuffer(plane, samples.dtype).reshape(plane.height, -1)[:, : plane.width] = samples
            frame.pts, frame.time_base = index, 1 / rate
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
        if sound is not None:
            wave = (9000 * np.sin(np.arange(int(len(pictures) / rate * 48000)) / 20)).astype(np.int16)
            for start in range(0, len(wave), 1024):
                part = np.repeat(wave[start : start + 1024], 2)[np.newaxis]
                block = av.AudioFrame.from_ndarray(part, format="s16", layout="stereo")
                block.sample_rate, block.pts, block.time_base = 48000, start, Fraction(1, 48000)
                container.mux(sound.encode(block))
            container.mux(sound.encode(None))
    return path


def write_packed_stills(folder: Path, pictures: list[np.ndarray], *, suffix: str = ".tif", first: int = 1001) -> Path:
    """Numbered stills of given pictures, each (rows, columns, channels)."""
    folder.mkdir(parents=True, exist_ok=True)
    for index, samples in enumerate(pictures):
        write_still_file(folder / f"gust.{first + index:04d}{suffix}", samples)
    return folder


def stills_eye(index: int, eye: int, size: tuple[int, int] = EYE) -> np.ndarray:
    """16-bit RGB of frame ``index`` of the left (0) or right (1) eye."""
    return picture((size[1], size[0], 3), 65535, 11 * index + 101 * eye)


def light_eye(index: int, eye: int, size: tuple[int, int] = EYE) -> np.ndarray:
    """Half-float RGB of frame ``index`` of the left (0) or right (1) eye, beyond white and below black too."""
    return (stills_eye(index, eye, size).astype(np.float32) / 30000.0 - 0.2).astype(np.float16)


def write_exr_file(path: Path, samples: list[np.ndarray], *, views: bool = False, parts: bool = False) -> None:
    """One OpenEXR file: of one eye, or of two as its views, in one part or in two."""
    height, width = samples[0].shape[:2]
    names = ["R", "G", "B"]
    if parts:
        specs, pictures = [oiio.ImageSpec(width, height, 3, "half") for _ in samples], samples
        for spec, view in zip(specs, ("left", "right")):
            spec.attribute("view", view)
            spec.attribute("oiio:subimagename", f"rgb.{view}")
    else:
        if views:
            names += ["right.R", "right.G", "right.B"]
        specs, pictures = [oiio.ImageSpec(width, height, len(names), "half")], [np.concatenate(samples, axis=2)]
        specs[0].channelnames = tuple(names)
        if views:
            specs[0].attribute("multiView", "string[2]", ("left", "right"))
    for spec in specs:
        spec.attribute("compression", "zip")
        spec.attribute("owner", "kite workshop")
    output = oiio.ImageOutput.create(str(path))
    assert output.open(str(path), tuple(specs) if parts else specs[0]), output.geterror()
    for index, picture_samples in enumerate(pictures):
        assert not index or output.open(str(path), specs[index], "AppendSubimage"), output.geterror()
        assert output.write_image(np.ascontiguousarray(picture_samples)), output.geterror()
    assert output.close()


def write_views(folder: Path, count: int = 3, *, parts: bool = False, first: int = 1001) -> Path:
    """OpenEXR stills that hold :func:`light_eye` of both eyes as views."""
    folder.mkdir(parents=True, exist_ok=True)
    for index in range(count):
        both = [light_eye(index, 0), light_eye(index, 1)]
        write_exr_file(folder / f"gust.{first + index}.exr", both, views=True, parts=parts)
    return folder
