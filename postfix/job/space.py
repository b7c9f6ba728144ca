"""Room on the disk: what a job will take, looked at before its first frame and again while it goes on."""

from __future__ import annotations

import logging
import shutil
from dataclasses import dataclass
from pathlib import Path

from postfix.deliver.delivery import Delivery, eye_outputs
from postfix.deliver.packing import Packing, packing_of
from postfix.deliver.spec import VideoSpec
from postfix.effort import size_text
from postfix.errors import OutputError
from postfix.source.packed_eye import origin_of
from postfix.source.pair import PairSource
from postfix.source.picture import EyeSource
from postfix.source.pixel_formats import video_format
from postfix.source.video import VideoSource

log = logging.getLogger("postfix")

RESERVE_BYTES = 64_000_000
"""Room that is left when a job stops of its own accord: for what waits in queues and encoders, and for the logs."""

_MOST_RESERVED = 20
"""Of a small disk no more than this part is kept back."""

_MARGIN = 1.05
_LOG_BYTES_A_FRAME = 2_000
_PAGE_BYTES = 25_000_000
_LOSSLESS_SHARE = 0.6
_PNG_LEVEL = 1.3

BITS_A_PIXEL = {
    ("prores", "Proxy"): 1.1,
    ("prores", "LT"): 2.1,
    ("prores", "Standard"): 3.5,
    ("prores", "HQ"): 5.3,
    ("prores", "4444"): 7.1,
    ("prores", "XQ"): 10.5,
    ("dnxhd", "DNXHR LB"): 0.76,
    ("dnxhd", "DNXHR SQ"): 2.35,
    ("dnxhd", "DNXHR HQ"): 3.55,
    ("dnxhd", "DNXHR HQX"): 3.55,
    ("dnxhd", "DNXHR 444"): 7.1,
    ("h264", ""): 1.0,
    ("hevc", ""): 0.9,
}
"""Coded bits of one pixel by codec and profile. Those of ProRes and DNxHR are what the demo film took at 960x540,
rounded up (XQ: half as much again as 4444, common practice, no source); larger pictures take less of ProRes. H.264 and
H.265 took 0.53 and 0.46 there, which has no grain; twice that is reckoned, so that even such footage is not refused
wrongly. Without loss the demo film took 0.45 (FFV1) and 0.48 (JPEG 2000) of its bare bits; grain takes more: 0.6 is
reckoned."""


@dataclass(frozen=True)
class _Piece:
    """One file, or sequence of stills, of a version."""

    nbytes: int
    is_video: bool


def needed_bytes(pair: PairSource, delivery: Delivery, screens: int) -> int:
    """What versions of a clip will take on disk at most while they are made; an estimate.

    A video that keeps its codec, or its coding without loss, takes what the source took for the same number of pixels;
    another codec is reckoned from :data:`BITS_A_PIXEL`. Stills take what the source's take. A video is written in
    segments first, which are joined file by file: the largest file is there twice for a while. Logs, the review page
    and a margin of 5 % are added.

    Parameters
    ----------
    pair : PairSource
    delivery : Delivery
        May be written: :func:`postfix.deliver.delivery.check_delivery` has passed it.
    screens : int
        Versions that are still to be made; 0 for what is measured and shown alone.
    """
    pieces = [piece for layout in delivery.layouts_of(pair) for piece in _pieces(pair, delivery, layout)]
    twice = max((piece.nbytes for piece in pieces if piece.is_video), default=0) if screens else 0
    pictures = screens * sum(piece.nbytes for piece in pieces) + twice
    logs = _LOG_BYTES_A_FRAME * pair.count * (screens + 1)
    return round(pictures * _MARGIN) + logs + (_PAGE_BYTES if screens else 0)


def _pieces(pair: PairSource, delivery: Delivery, layout: str) -> list[_Piece]:
    if layout == "left-right":
        return [
            _video(output.spec, output.source.count, output.source)
            if isinstance(origin_of(output.source), VideoSource)
            else _stills(output.source, output.source.count)
            for output in eye_outputs(pair, delivery)
        ]
    packing: Packing = packing_of(pair, layout)  # type: ignore[arg-type]
    if isinstance(origin_of(pair.left), VideoSource):
        return [_video(packing.spec(delivery.codec), packing.count, pair.left)]
    share = packing.format.width * packing.format.height / (pair.format.width * pair.format.height)
    eyes = 2.0 if layout == "views" else share
    one = _stills(pair.left, packing.count)
    return [_Piece(round(one.nbytes * eyes), False)]


def _video(spec: VideoSpec, count: int, source: EyeSource) -> _Piece:
    origin = origin_of(source)
    assert isinstance(origin, VideoSource)
    tags, pixels = origin.tags, count * spec.width * spec.height
    bits = BITS_A_PIXEL.get((spec.codec, spec.profile)) or BITS_A_PIXEL.get((spec.codec, ""))
    kept = (spec.codec, spec.profile) == (tags.codec, tags.profile) and spec.lossless == tags.lossless
    # H.264 and H.265 are written at a quality of their own, however small the source is.
    if kept and (tags.lossless or spec.codec not in ("h264", "hevc")):
        frame = origin.format.width * origin.format.height
        return _Piece(round(_held_bytes(origin.path) * pixels / (origin.file_count * frame)), True)
    if bits is None or spec.lossless:
        bits = _LOSSLESS_SHARE * _bare_bits(spec.pixel_format)
    return _Piece(round(pixels * bits / 8), True)


def _held_bytes(path: Path) -> int:
    """Size of a file without its holes."""
    found = path.stat()
    return min(found.st_size, getattr(found, "st_blocks", found.st_size) * 512)


def _bare_bits(pixel_format: str) -> float:
    """Bits of one pixel as it is, chroma shared out."""
    fmt = video_format(pixel_format, 64, 64, None)
    return sum(fmt.bit_depth * plane.channels / (plane.step_x * plane.step_y) for plane in fmt.planes)


def _stills(eye: EyeSource, count: int) -> _Piece:
    """Stills as large as the source's for each pixel; of files that hold both eyes each is reckoned half."""
    origin = origin_of(eye)
    files = origin.files()
    each = sum(_held_bytes(path) for path in files) / max(1, len(files))
    if getattr(origin, "view", None) is not None:
        each /= 2
    share = eye.format.width * eye.format.height / (origin.format.width * origin.format.height)
    if files and files[0].suffix.lower() == ".png":
        # Written faster, and so larger, than they may have come.
        each = min(each * _PNG_LEVEL, max(each, 1.01 * origin.format.frame_bytes))
    return _Piece(round(count * each * share), False)


def free_bytes(path: Path) -> int | None:
    """Free room where a path lies or will lie, links followed; None where the system does not tell.

    Quotas of a person or a folder cannot be seen.
    """
    place = _nearest(path)
    try:
        return None if place is None else shutil.disk_usage(place).free
    except OSError:
        return None


def _nearest(path: Path) -> Path | None:
    """The path itself, or the folder above it that is there."""
    try:
        real = path.resolve()
    except (OSError, RuntimeError):  # links that lead in a circle
        return None
    for place in (real, *real.parents):
        try:
            if place.exists():
                return place
        except OSError:
            continue
    return None


def check_space(out: Path, needed: int) -> None:
    """Refuse, before the first frame, a disk that is plainly too small; say so where it may be.

    The need is an estimate: only less than half of it is refused, less than all of it is told on stderr.

    Parameters
    ----------
    out : Path
        Where it will be written; need not be there.
    needed : int
        Bytes, as :func:`needed_bytes` gives them; for several clips their sum.

    Raises
    ------
    OutputError
    """
    free = free_bytes(out)
    if free is None or free >= needed:
        return
    if free < needed / 2:
        raise OutputError(
            out,
            f"{size_text(free)} free on its disk",
            f"about {size_text(needed)}, of which half at the least",
            "choose another disk or fewer screens, or make room",
        )
    log.warning(
        "%s: %s free on its disk, about %s may be needed; a run that stops for want of room goes on with --resume",
        out,
        size_text(free),
        size_text(needed),
    )


@dataclass(frozen=True)
class SpaceWatch:
    """Looks, segment by segment, whether there is still room.

    Attributes
    ----------
    path : Path
        Where it is written.
    reserve_bytes : int
        What must stay free, but never more than a twentieth of the disk.
    """

    path: Path
    reserve_bytes: int = RESERVE_BYTES

    def look(self) -> None:
        """One question to the system, some microseconds.

        Raises
        ------
        OutputError
            Before the disk is full, so that what is finished can still be marked and logged.
        """
        place = _nearest(self.path)
        try:
            usage = None if place is None else shutil.disk_usage(place)
        except OSError:
            return
        if usage is None:
            return
        reserve = min(self.reserve_bytes, usage.total // _MOST_RESERVED)
        if usage.free < reserve:
            raise OutputError(
                self.path,
                f"{size_text(usage.free)} left on its disk",
                f"at least {size_text(reserve)} at all times",
                "make room, then type the same again with --resume",
            )
