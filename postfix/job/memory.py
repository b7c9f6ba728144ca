"""How much memory a job takes with so many workers, and the most workers that stay within what was allowed.

A process takes what its libraries take, and some pictures for everyone who holds any: decoders, queues, workers,
writers and encoders. They are counted here as the stages hold them, a little generously; ``tests/bench/memory.py`` sets
what was asked for beside what was taken.
"""

from __future__ import annotations

import logging
import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

from postfix.deliver.delivery import Delivery, eye_outputs
from postfix.deliver.packing import packing_of
from postfix.deliver.spec import VideoSpec
from postfix.effort import MOST_AHEAD, Effort, current, settle, size_text
from postfix.errors import UsageError
from postfix.source.ahead import MOST_QUEUE_BYTES
from postfix.source.packed_eye import PackedEye, origin_of
from postfix.source.pair import PairSource
from postfix.source.picture import PictureFormat
from postfix.source.pixel_formats import video_format
from postfix.source.video import VideoSource

log = logging.getLogger("postfix")

_PROGRAM_BYTES = 165_000_000
"""Python, its libraries and their threads, before the first picture."""

_BYTES_A_FRAME = 2_500
"""Rows and columns of a measurement while a plan is made of them."""

_WORK_BYTES_A_PIXEL = 12
"""What one worker has in its hands besides the pictures of both eyes: their luma, copies reduced, maps."""

_MARGIN = 1.1

_PREDICTING = ("h264", "hevc")
"""Codecs that are written with pictures predicted from others; decoders of others too are reckoned by their threads."""

_MANY_PX = 2_300_000
_DECODER_HOLDS, _DECODER_HOLDS_OF_MANY_PX = 19, 9
"""Pictures that a decoder keeps to predict others from, and those on their way in and out: 16, and 6 of those so large
that no level allows more (ITU-T H.264 and H.265, Annex A, from memory)."""

_ENCODER_HOLDS = 105
"""Pictures that an encoder looks ahead over and predicts from, and half as much again that it derives from them; at the
settings that they are written with."""

_FEW = 2
_STILL_COPIES = 2
"""A still on its way between file and samples: its bytes, and a copy in another order."""


@dataclass(frozen=True)
class _Eye:
    """Pictures on their way in or out: how large, of which codec (none: stills), and how many such streams."""

    fmt: PictureFormat
    codec: str | None
    streams: int

    def queue(self, effort: Effort) -> int:
        """Pictures in one queue, as :func:`postfix.source.ahead.frames_ahead` bounds it."""
        return max(min(2, effort.ahead), min(effort.ahead, MOST_QUEUE_BYTES // max(1, self.fmt.frame_bytes)))

    @property
    def decoder_holds(self) -> int:
        """Pictures that a decoder keeps to predict others from."""
        return _DECODER_HOLDS_OF_MANY_PX if self.fmt.width * self.fmt.height > _MANY_PX else _DECODER_HOLDS

    def pictures(self, effort: Effort, held: int) -> int:
        """Pictures that all streams have in queues and in decoders or encoders."""
        queue = self.queue(effort)
        if self.codec is None:
            threads = effort.threads_an_eye
            return self.streams * (max(queue, threads) + 1 + threads * _STILL_COPIES)
        threads = effort.library_threads or (os.cpu_count() or 1) + 1
        return self.streams * (queue + 1 + (held if self.codec in _PREDICTING else threads + _FEW))


def peak_bytes(pair: PairSource, effort: Effort, delivery: Delivery | None = None, versions: int = 0) -> int:
    """What measuring a clip, and rendering ``versions`` of it at the same time, take at most; reckoned.

    Parameters
    ----------
    pair : PairSource
    effort : Effort
    delivery : Delivery, optional
        How versions are written.
    versions : int
        0 for measuring, checking and looking alone.
    """
    source = _source(pair)
    eye_bytes = (pair.whole or pair).format.frame_bytes
    work_bytes = effort.workers * _WORK_BYTES_A_PIXEL * pair.format.width * pair.format.height
    decoded = source.pictures(effort, source.decoder_holds) * source.fmt.frame_bytes
    # Pairs that are measured or wait for it.
    measuring = decoded + 2 * (effort.workers + _FEW) * eye_bytes + work_bytes
    rendering = 0
    if versions:
        drawn = 2 * (effort.workers + 1) * eye_bytes * (1 + versions)
        written = sum(
            out.pictures(effort, _ENCODER_HOLDS) * out.fmt.frame_bytes for out in _written(pair, delivery or Delivery())
        )
        rendering = decoded + drawn + versions * written + work_bytes
    return _PROGRAM_BYTES + _BYTES_A_FRAME * pair.count + round(_MARGIN * max(measuring, rendering))


def least_bytes(pair: PairSource, delivery: Delivery | None = None, versions: int = 0) -> int:
    """What one worker with the shortest queues takes."""
    return peak_bytes(pair, Effort(1, memory_bytes=1, ahead=1), delivery, versions)


def fitting(asked: Effort, pairs: Sequence[PairSource], delivery: Delivery | None = None, versions: int = 0) -> Effort:
    """The most workers, and then the longest queues, with which each of some clips stays within what was allowed.

    Raises
    ------
    UsageError
        Where one worker does not; names the least that would do.
    """
    allowed = asked.memory_bytes
    if allowed is None:
        return asked
    for workers in range(asked.workers, 0, -1):
        for ahead in range(min(asked.ahead, MOST_AHEAD), 0, -1):
            chosen = replace(asked, workers=workers, ahead=ahead)
            if all(peak_bytes(pair, chosen, delivery, versions) <= allowed for pair in pairs):
                return chosen
    least, pair = max(((least_bytes(pair, delivery, versions), pair) for pair in pairs), key=lambda entry: entry[0])
    several = f" and {versions} screens at the same time" if versions > 1 else ""
    raise UsageError(
        f"--memory {size_text(allowed)}",
        f"too little for one worker{several}",
        # Rounded up, so that what is named is enough.
        f"at least {-(-least // 10**6)}M for {pair.format.width}x{pair.format.height} {pair.format.pixel_format}",
        "allow more" + (", or make fewer screens at the same time" if several else ""),
    )


def settle_for(pairs: Sequence[PairSource], delivery: Delivery | None = None, versions: int = 0) -> Effort:
    """Settle what the process may use for the rest of a command, once its clips are open; told with ``-v``.

    Raises
    ------
    UsageError
        As :func:`fitting`.
    """
    asked = current()
    chosen = fitting(asked, pairs, delivery, versions)
    bound = "" if asked.memory_bytes is None else f", to stay within {size_text(asked.memory_bytes)}"
    workers = "1 worker" if chosen.workers == 1 else f"{chosen.workers} workers"
    queued = "1 frame" if chosen.ahead == 1 else f"{chosen.ahead} frames"
    log.debug("effort: %s, at most %s in a queue%s", workers, queued, bound)
    if chosen != asked:
        settle(chosen)
    return chosen


def _source(pair: PairSource) -> _Eye:
    origin = origin_of(pair.left)
    shared = isinstance(pair.left, PackedEye) or pair.packed is not None
    codec = origin.tags.codec if isinstance(origin, VideoSource) else None
    return _Eye(origin.format, codec, 1 if shared and codec is not None else 2)


def _written(pair: PairSource, delivery: Delivery) -> list[_Eye]:
    found = []
    for layout in delivery.layouts_of(pair):
        if layout == "left-right":
            is_video = isinstance(origin_of(pair.left), VideoSource)
            outs = eye_outputs(pair, delivery)
            found += [_out(out.spec if is_video else None, out.source.format) for out in outs]
        else:
            packing = packing_of(pair, layout)
            is_video = isinstance(origin_of(pair.left), VideoSource)
            one = _out(packing.spec(delivery.codec) if is_video else None, packing.format)
            # Pairs being joined, or waiting for it.
            found += [one, _Eye(packing.format, "joined", 1)]
    return found


def _out(spec: VideoSpec | None, fmt: PictureFormat) -> _Eye:
    if spec is None:
        return _Eye(fmt, None, 1)
    return _Eye(video_format(spec.handed_format, spec.width, spec.height, None), spec.codec, 1)
