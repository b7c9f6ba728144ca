"""One eye out that is not a file of its own as it came: part of a packed picture, or in another frame."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from postfix.deliver.codecs import encoder_for, spec_of
from postfix.deliver.containers import check_container, losses, suffix_for
from postfix.deliver.packing import colour_checks, numbered_like, still_behind
from postfix.deliver.spec import VideoSpec
from postfix.deliver.stills import StillsWriter, write_still
from postfix.deliver.video import VideoWriter
from postfix.errors import InputError, OutputError
from postfix.source.opening import open_eye
from postfix.source.packed_eye import origin_of, pixel_aspect_of
from postfix.source.pair import PairSource
from postfix.source.picture import EyeSource, Planes
from postfix.source.stills import StillsSource
from postfix.source.video import VideoSource

Eye = Literal["left", "right"]


@dataclass(frozen=True)
class EyeOut:
    """One eye of a pair as a file or sequence of its own.

    Attributes
    ----------
    pair : PairSource
    eye : str
        ``left`` or ``right``.
    codec : str or None
        What a person chose instead of the source's own.
    """

    pair: PairSource
    eye: Eye
    codec: str | None = None

    @property
    def source(self) -> EyeSource:
        """The eye."""
        return self.pair.left if self.eye == "left" else self.pair.right

    @property
    def spec(self) -> VideoSpec:
        """The video of this eye; the pixels of a squeezed eye are told as wide as they are shown."""
        source, origin = self.source, origin_of(self.source)
        assert isinstance(origin, VideoSource)
        spec = spec_of(origin, self.codec)
        unread = spec.timecode if origin.rate == source.rate else None
        return replace(
            spec,
            width=source.format.width,
            height=source.format.height,
            rate=source.rate,
            pixel_aspect=pixel_aspect_of(source),
            timecode=source.timecode or unread,
            stereo=None if self.pair.packed is not None else spec.stereo,
        )

    @property
    def video_name(self) -> str:
        """The file's name: the source's own where that holds this eye alone, else ``<clip>_<eye>``."""
        origin = origin_of(self.source).path
        stem = origin.stem if self.pair.packed is None else f"{self.pair.name}_{self.eye}"
        return stem + suffix_for(self.spec, origin.suffix)

    @property
    def still_likes(self) -> tuple[Path, ...]:
        """For each still the one whose header it takes over."""
        return tuple(still_behind(self.source, index) for index in range(self.source.count))

    @property
    def still_names(self) -> tuple[str, ...]:
        """Names of the stills: the source's own where they hold this eye alone, else numbered from its first."""
        likes = self.still_likes
        if self.pair.packed is None:
            return tuple(path.name for path in likes)
        return numbered_like(likes[0], f"{self.pair.name}_{self.eye}", self.source.first_number, self.source.count)

    def check(self) -> None:
        """Refuse, before the first frame, what cannot be written; InputError names the choice to make."""
        origin = origin_of(self.source)
        if isinstance(origin, VideoSource):
            spec = self.spec
            encoder_for(spec, origin.path)
            check_container(spec, Path(self.video_name))

    def losses(self) -> tuple[str, ...]:
        """What a written video will not hold, each as a part of a sentence; nothing is said of stills here."""
        if not isinstance(origin_of(self.source), VideoSource):
            return ()
        return losses(self.spec, Path(self.video_name).suffix)

    def writer(self, folder: Path) -> VideoWriter | StillsWriter:
        """A writer into a folder, which exists and is itself unfinished; its frames are this eye's."""
        origin = origin_of(self.source)
        if isinstance(origin, VideoSource):
            return VideoWriter(folder / self.video_name, self.spec, self.source.count, audio_from=origin)
        return _EyeStills(self, folder)

    def reopen(self, folder: Path) -> EyeSource:
        """Open what was written, counted and held against what it was to be (OutputError where it differs)."""
        origin, source = origin_of(self.source), self.source
        stills = isinstance(origin, StillsSource)
        place = folder if stills else folder / self.video_name
        try:
            written = open_eye(place, rate=source.rate if stills else None)
        except InputError as error:
            raise OutputError(
                place,
                f"a written file that cannot be used ({error.found})",
                error.expected,
                "run again",
                frame=error.frame,
            ) from error
        a, b = written.format, source.format
        checks = [
            (f"{written.count} frames", f"{source.count} frames"),
            (f"{a.width}x{a.height}", f"{b.width}x{b.height}"),
            (f"{written.rate} frames/s", f"{source.rate} frames/s"),
        ]
        if isinstance(written, VideoSource):
            checks += colour_checks(written, self.spec)
        else:
            checks.append((a.pixel_format, b.pixel_format))
        for found, expected in checks:
            if found != expected:
                raise OutputError(place, f"{found} in what was written", f"{expected} like {source.path}", "run again")
        return written


class _EyeStills(StillsWriter):
    """Stills of one eye, with the headers of the stills they come from."""

    def __init__(self, out: EyeOut, folder: Path) -> None:
        source, origin = out.source, origin_of(out.source)
        assert isinstance(origin, StillsSource)
        super().__init__(
            replace(origin, format=source.format, count=source.count, paths=out.still_likes, view=origin.view), folder
        )
        self._names, self._as_it_came = out.still_names, source is origin and origin.view is None

    def _write_one(self, index: int, planes: Planes, unchanged: bool) -> None:
        like, target = self._source.paths[index], self._folder / self._names[index]
        if unchanged and self._as_it_came:
            shutil.copyfile(like, target)
        else:
            write_still(target, planes, like=like, view=self._source.view, frame=self._source.first_number + index)
