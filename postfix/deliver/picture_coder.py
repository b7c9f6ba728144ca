"""Pictures in, coded pictures out: the encoder of one file, handed frames in the memory that it codes from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import av
import numpy as np

from postfix.deliver.containers import range_told
from postfix.deliver.depth import Fitting
from postfix.deliver.spec import VideoSpec, coded_size
from postfix.deliver.video_file import VideoFile
from postfix.source.picture import PictureFormat, Planes
from postfix.source.pixel_formats import FULL_RANGE, plane_order, plane_samples, video_format
from postfix.source.turning import UPRIGHT, as_coded, format_turned, turn_of


class PictureCoder:
    """Codes pictures for a video file, on the thread that calls it.

    Parameters
    ----------
    file : VideoFile
        Whose encoder it is; nothing is put into the file.
    """

    def __init__(self, file: VideoFile) -> None:
        spec = file.spec
        self._spec, self._file = spec, file
        self._order = plane_order(spec.pixel_format)
        self._given = handed_format(spec)
        self._written = video_format(spec.pixel_format, *file.written_size, FULL_RANGE.get(spec.color_range))
        self._dtype = np.dtype(self._written.dtype)
        fits = spec.handed_format == spec.pixel_format
        self._fit = None if fits else Fitting(spec.handed_format, spec.pixel_format, FULL_RANGE.get(spec.color_range))
        self._index = 0
        self._frame_memory = self._new_frame()

    def encode(self, planes: Planes) -> list[Any]:
        """Coded pictures that are ready once the next one went in; ``planes`` in the order of the source's own."""
        packets: list[Any] = self._file.coder.encode(self._frame(planes))
        self._index += 1
        return packets

    def rest(self) -> list[Any]:
        """What waits inside the encoder, at the end."""
        packets: list[Any] = self._file.coder.encode(None)
        return packets

    def _new_frame(self) -> Any:
        spec = self._spec
        frame = av.VideoFrame(*self._file.written_size, spec.pixel_format)
        frame.time_base = 1 / spec.rate
        # ProRes takes its tags from each frame, not from the encoder's settings.
        frame.color_range = range_told(spec, self._file.path.suffix)
        frame.color_primaries = spec.color_primaries
        frame.color_trc = spec.color_transfer
        frame.colorspace = spec.color_matrix
        return frame

    def _frame(self, planes: Planes) -> av.VideoFrame:
        """The planes in the memory that every frame is handed to the encoder in; the encoder keeps a copy."""
        given = self._given
        if len(planes) != len(given.planes):
            raise ValueError(f"{len(planes)} planes for {given.pixel_format}")
        for samples, described in zip(planes, given.planes):
            channels = (described.channels,) if described.channels > 1 else ()
            shape = (-(-given.height // described.step_y), -(-given.width // described.step_x), *channels)
            if samples.dtype != given.dtype or samples.shape != shape:
                raise ValueError(f"a plane of {samples.dtype} {samples.shape}, not {given.dtype} {shape}")
        if self._fit is not None:
            planes = self._fit(planes)
        frame = self._frame_memory
        frame.make_writable()
        for index, samples, described in zip(self._order, as_coded(planes, self._file.turn), self._written.planes):
            np.copyto(plane_samples(frame.planes[index], self._dtype, described.channels), samples)
        frame.pts = self._index
        return frame  # type: ignore[no-any-return]


def decoding_ahead(shown: Sequence[int]) -> int:
    """Frames by which pictures must be decoded earlier than in coding order they would be shown.

    Parameters
    ----------
    shown : sequence of int
        The frame that each picture is shown at, in coding order.
    """
    return max((place - at for place, at in enumerate(shown)), default=0)


def handed_format(spec: VideoSpec) -> PictureFormat:
    """The format of the upright frames that are handed over."""
    full_range = FULL_RANGE.get(spec.color_range)
    coded = video_format(spec.handed_format, *coded_size(spec), full_range, spec.color_matrix)
    return format_turned(coded, turn_of(spec.display_matrix) or UPRIGHT)
