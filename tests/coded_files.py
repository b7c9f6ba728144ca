"""Small videos of every codec and container, made with the library directly, apart from the project."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
from eyes_out import video_writer
from picture_files import picture

from postfix.deliver.codecs import spec_of, suffix_for
from postfix.source.opening import open_eye

RATE = Fraction(24000, 1001)
SMALL, LARGE = (70, 38), (322, 182)
"""Even, but no multiple of 4 or 8; the second is large enough for every codec."""

INTERLEAVED = {"rgb24": 3, "rgb48le": 3, "rgba": 4, "rgba64le": 4}


@dataclass(frozen=True)
class Kind:
    """An encoder with its settings, the name that its codec is read under, and what it makes of samples."""

    codec: str
    encoder: str
    options: dict[str, str] = field(default_factory=dict)
    formats: tuple[str, ...] = ()
    suffixes: tuple[str, ...] = ()
    size: tuple[int, int] = SMALL
    mean_error: float = 0.0
    profile: str | None = None


_FFV1 = {"level": "3", "slices": "4", "slicecrc": "1"}
LOSSLESS = {
    "ffv1": Kind(
        "ffv1", "ffv1", _FFV1,
        ("yuv420p", "yuv422p", "yuv444p", "yuva444p", "yuv440p", "gray", "yuv420p10le", "yuv422p10le",
         "yuv444p10le", "yuva444p10le", "yuv422p12le", "yuv444p12le", "yuv444p14le", "yuv420p16le", "yuv422p16le",
         "yuv444p16le", "yuva444p16le", "gray10le", "gray12le", "gray16le", "gbrp9le", "gbrp10le", "gbrp12le",
         "gbrap12le", "gbrp14le", "gbrp16le", "gbrap16le"),
        (".mkv", ".mp4", ".mxf"),
    ),
    "h264": Kind(
        "h264", "libx264", {"qp": "0"},
        ("yuv420p", "yuv422p", "yuv444p", "yuv420p10le", "yuv422p10le", "yuv444p10le"),
        (".mov", ".mp4", ".mkv", ".mxf"),
    ),
    "h265": Kind(
        "hevc", "libx265", {"x265-params": "lossless=1:log-level=none"},
        ("yuv420p", "yuv422p10le", "yuv420p10le", "yuv444p12le", "yuv420p12le", "gbrp", "gbrp10le", "gbrp12le",
         "gray12le"),
        (".mov", ".mp4", ".mkv"),
    ),
    "jpeg2000": Kind(
        "jpeg2000", "jpeg2000", {"pred": "1"},
        ("yuv420p", "yuv422p10le", "yuv444p12le", "yuv444p16le", "gray", "gray16le", "rgb24", "rgb48le", "rgba64le"),
        (".mov", ".mp4", ".mkv", ".mxf"),
    ),
}  # fmt: skip


def _prores(option: str, profile: str, error: float) -> Kind:
    return Kind(
        "prores", "prores_ks", {"profile": option}, ("yuv422p10le",), (".mov", ".mkv", ".mxf"), LARGE, error, profile
    )


def _dnxhr(name: str, pixel_format: str, error: float) -> Kind:
    options, profile = {"profile": f"dnxhr_{name}"}, f"DNXHR {name.upper()}"
    return Kind("dnxhd", "dnxhd", options, (pixel_format,), (".mov", ".mxf"), LARGE, error, profile)


_X265 = {"crf": "12", "x265-params": "log-level=none"}

# Mean differences from the source in codes, a little above what the coders do on this grain: computed.
LOSSY = {
    "prores-proxy": _prores("0", "Proxy", 8),
    "prores-lt": _prores("1", "LT", 7),
    "prores": _prores("2", "Standard", 7),
    "prores-hq": _prores("3", "HQ", 6),
    "dnxhr-lb": _dnxhr("lb", "yuv422p", 2),
    "dnxhr-sq": _dnxhr("sq", "yuv422p", 1.5),
    "dnxhr-hq": _dnxhr("hq", "yuv422p", 1.2),
    "dnxhr-hqx": _dnxhr("hqx", "yuv422p10le", 4.5),
    "dnxhr-444": _dnxhr("444", "yuv444p10le", 4.5),
    "dnxhr-444-rgb": _dnxhr("444", "gbrp10le", 4.5),
    "h264": Kind("h264", "libx264", {"crf": "12"}, ("yuv420p",), (".mov", ".mp4", ".mkv", ".mxf"), LARGE, 2, "High"),
    "h264-10": Kind("h264", "libx264", {"crf": "12"}, ("yuv422p10le",), (".mov", ".mxf"), LARGE, 8, "High 4:2:2"),
    "h264-intra": Kind(
        "h264", "libx264", {"crf": "12", "g": "1", "profile": "high422"}, ("yuv422p10le",), (".mov", ".mxf"), LARGE, 8,
        "High 4:2:2 Intra",
    ),
    "h265": Kind("hevc", "libx265", _X265, ("yuv420p10le",), (".mp4", ".mkv"), LARGE, 10, "Main 10"),
    "h265-12": Kind("hevc", "libx265", _X265, ("yuv422p12le",), (".mov",), LARGE, 40, "Rext"),
}  # fmt: skip


def cases(kinds: dict[str, Kind]) -> list[tuple[str, str, str]]:
    """(kind, pixel format, suffix): every format once, every suffix at least once."""
    found = []
    for name, kind in kinds.items():
        for index in range(max(len(kind.formats), len(kind.suffixes))):
            found.append((name, kind.formats[index % len(kind.formats)], kind.suffixes[index % len(kind.suffixes)]))
    return found


def bits_of(pixel_format: str) -> int:
    return av.VideoFormat(pixel_format, 16, 16).components[0].bits


def frame_of(pixel_format: str, index: int, size: tuple[int, int]) -> av.VideoFrame:
    """A frame of moving patterns, each plane another."""
    frame = av.VideoFrame(*size, pixel_format)
    largest = (1 << bits_of(pixel_format)) - 1
    for number, plane in enumerate(frame.planes):
        channels = INTERLEAVED.get(pixel_format, 1)
        samples = picture((plane.height, plane.width * channels), largest, 7 * index + number)
        np.frombuffer(plane, samples.dtype).reshape(plane.height, -1)[:, : samples.shape[1]] = samples
    return frame


def samples_of(pixel_format: str, index: int, size: tuple[int, int]) -> list[np.ndarray]:
    """What :func:`frame_of` holds, in the project's order of planes."""
    frame = frame_of(pixel_format, index, size)
    dtype, channels = np.uint8 if bits_of(pixel_format) == 8 else np.uint16, INTERLEAVED.get(pixel_format, 1)
    planes = []
    for plane in frame.planes:
        rows = np.frombuffer(plane, dtype).reshape(plane.height, -1)[:, : plane.width * channels].copy()
        planes.append(rows if channels == 1 else rows.reshape(plane.height, plane.width, channels))
    return [planes[2], planes[0], planes[1], *planes[3:]] if pixel_format.startswith("gbr") else planes


def make_coded(
    path: Path,
    encoder: str,
    pixel_format: str,
    options: dict[str, str] | None = None,
    *,
    count: int = 3,
    size: tuple[int, int] = SMALL,
    rate: Fraction = RATE,
    timecode: str | None = "10:00:00:00",
    colours: tuple[int, int, int] = (9, 16, 9),
    color_range: int | None = None,
    aspect: Fraction | None = None,
    matrix: tuple[int, ...] | None = None,
    metadata: dict[str, str] | None = None,
    stream_metadata: dict[str, str] | None = None,
    sounds: tuple[tuple[str, str], ...] = (),
    seconds: Fraction | None = None,
) -> Path:
    """A video of :func:`frame_of`; ``sounds`` are the codec and channel layout of each stream of noise."""
    rgb = pixel_format.startswith(("gbr", "rgb"))
    code_range = color_range or (2 if rgb else 1)
    primaries, transfer, colour_matrix = colours[0], colours[1], 0 if rgb else colours[2]
    clocked = path.suffix in (".mov", ".mp4")
    options_of_container = {"video_track_timescale": "24000", "movflags": "+use_metadata_tags"} if clocked else {}
    with av.open(str(path), "w", container_options=options_of_container) as container:
        stream = container.add_stream(encoder, rate=rate, options=dict(options or {}))
        stream.width, stream.height, stream.pix_fmt = *size, pixel_format
        context = stream.codec_context
        context.time_base = 1 / rate
        context.color_range, context.color_primaries = code_range, primaries
        context.color_trc, context.colorspace = transfer, colour_matrix
        if aspect:
            context.sample_aspect_ratio = aspect
        if matrix:
            stream.set_display_matrix(matrix)
        container.metadata.update(metadata or {})
        for key, value in (stream_metadata or {}).items():
            stream.metadata[key] = value
        if timecode:
            container.metadata["timecode"] = timecode
        tones = [container.add_stream(codec, rate=48000, layout=layout) for codec, layout in sounds]
        context.open(strict=False)
        container.start_encoding()
        for index in range(count):
            frame = frame_of(pixel_format, index, size)
            frame.pts, frame.time_base = index, 1 / rate
            frame.color_range, frame.color_primaries = code_range, primaries
            frame.color_trc, frame.colorspace = transfer, colour_matrix
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
        for number, tone in enumerate(tones):
            _noise(container, tone, float(seconds or count / rate), number)
    return path


def _noise(container, stream, seconds: float, seed: int) -> None:
    context = stream.codec_context
    name, channels = context.format.name, context.layout.nb_channels
    rng, total = np.random.default_rng(seed), int(seconds * 48000)
    for start in range(0, total, 1024):
        length = min(1024, total - start)
        shape = (channels, length) if name.endswith("p") else (1, channels * length)
        if name.startswith("flt"):
            block = rng.uniform(-0.3, 0.3, shape).astype(np.float32)
        else:
            block = rng.integers(-9000, 9000, shape).astype(np.int16 if name.startswith("s16") else np.int32) * (
                1 if name.startswith("s16") else 65536
            )
        frame = av.AudioFrame.from_ndarray(block, format=name, layout=context.layout.name)
        frame.sample_rate, frame.pts, frame.time_base = 48000, start, Fraction(1, 48000)
        container.mux(stream.encode(frame))
    container.mux(stream.encode(None))


def written_again(path: Path, folder: Path, codec: str | None = None, change=None):
    """A clip written by the project, in a codec chosen or its own, and opened: ``change`` may alter each frame."""
    eye = open_eye(path)
    spec = spec_of(eye, codec)
    folder.mkdir(exist_ok=True)
    place = folder / f"{path.stem}{suffix_for(spec, path.suffix)}"
    with video_writer(place, spec, eye.count, audio_from=eye) as writer:
        for index, planes in enumerate(eye.frames()):
            writer.write(index, change(planes) if change else planes)
    return open_eye(place)


def sound_of(path: Path):
    """For each sound stream its codec, rate, channels and all of its bytes."""
    with av.open(str(path)) as container:
        streams = container.streams.audio
        told = [(s.codec_context.name, s.rate, s.codec_context.layout.nb_channels) for s in streams]
        packets = {s.index: [] for s in streams}
        for packet in container.demux(*streams) if streams else ():
            packets[packet.stream.index].append(bytes(packet))
    return told, list(packets.values())
