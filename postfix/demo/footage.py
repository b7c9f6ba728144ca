"""The demo film as files: both eyes as 10-bit ProRes 422 HQ."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt

from postfix import effort
from postfix.deliver.codecs import VideoSpec
from postfix.deliver.staging import staged
from postfix.deliver.video import VideoEncoder
from postfix.demo.film import RATE, SIZE_PX, FilmShot, film_frame, film_length
from postfix.source.in_order import in_order
from postfix.source.picture import Planes

CLIP = "kite-workshop"
START_TIMECODE = "10:00:00:00"

_BT709 = 1
_LIMITED = 1
_KR, _KG, _KB = 0.2126, 0.7152, 0.0722
_BLACK, _WHITE_SPAN, _NEUTRAL, _CHROMA_SPAN = 64.0, 876.0, 512.0, 896.0

SPEC = VideoSpec(
    codec="prores",
    pixel_format="yuv422p10le",
    width=SIZE_PX[0],
    height=SIZE_PX[1],
    rate=RATE,
    profile="HQ",
    color_range=_LIMITED,
    color_primaries=_BT709,
    color_transfer=_BT709,
    color_matrix=_BT709,
    timecode=START_TIMECODE,
)


def yuv422p10(rgb: npt.NDArray[np.generic]) -> Planes:
    """Limited-range BT.709 planes of a picture (H, W, 3), float32 0..1 or integers over their full scale.

    Chroma is filtered by (1, 2, 1)/4 and lies on the even columns.
    """
    scale = 1.0 if rgb.dtype.kind == "f" else 1.0 / float(2 ** (8 * rgb.dtype.itemsize) - 1)
    r, g, b = (rgb[..., i].astype(np.float32) * np.float32(scale) for i in range(3))
    luma = _KR * r + _KG * g + _KB * b
    kernel = np.array([[0.25, 0.5, 0.25]], np.float32)

    def chroma(colour: npt.NDArray[np.float32], weight: float) -> npt.NDArray[np.uint16]:
        difference = (colour - luma) * np.float32(_CHROMA_SPAN / (2.0 * (1.0 - weight)))
        smooth = cv2.filter2D(difference, -1, kernel, borderType=cv2.BORDER_REPLICATE)[:, ::2]
        return np.asarray(np.rint(smooth + _NEUTRAL), np.uint16)

    y = np.asarray(np.rint(luma * _WHITE_SPAN + _BLACK), np.uint16)
    return y, chroma(b, _KB), chroma(r, _KR)


def write_film(folder: Path, progress: Callable[[int], None]) -> tuple[Path, Path]:
    """Render the film and write ``kite-workshop_left.mov`` and ``…_right.mov`` into a new folder."""
    with staged(folder, folder=True) as work:
        encoders = [VideoEncoder(work / f"{CLIP}_{eye}.mov", SPEC) for eye in ("left", "right")]
        try:
            with ThreadPoolExecutor(len(encoders), thread_name_prefix="encode") as pool:
                for eyes in _rendered():
                    for job in [pool.submit(encoder.encode, planes) for encoder, planes in zip(encoders, eyes)]:
                        job.result()
                    progress(1)
            for encoder in encoders:
                encoder.finish()
        except BaseException:
            for encoder in encoders:
                encoder.abandon()
            raise
    left, right = (folder / f"{CLIP}_{eye}.mov" for eye in ("left", "right"))
    return left, right


def _rendered() -> Iterator[tuple[Planes, Planes]]:
    """Both eyes of each frame of the film, a few rendered ahead on all cores."""

    def both_eyes(shot: FilmShot, frame: int) -> tuple[Planes, Planes]:
        left, right = shot.scene.render(frame)
        return yuv422p10(left), yuv422p10(right)

    threads = effort.current().workers
    each = (film_frame(number) for number in range(film_length()))
    return in_order(both_eyes, each, threads=threads, waiting=threads + 3, name="render")
