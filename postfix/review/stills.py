"""Stills of a version, before and after: opening what the log names, and choosing the frame to show."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt

from postfix.errors import InputError, UsageError
from postfix.outside import is_inside
from postfix.plan.geometry import SIDES, Moves, bare_px, drawing_of, held_moves
from postfix.review.logged import LoggedFile, LoggedShot, Version
from postfix.review.pictures import Rgb
from postfix.review.shown import REC_709, Weights, luma_weights, shown_rgb
from postfix.source.framed import framed
from postfix.source.opening import open_eye
from postfix.source.packed import open_packed
from postfix.source.pair import AS_GIVEN, PairSource, Reading, open_pair
from postfix.source.picture import EyeSource, OnBad, PictureFormat, Planes
from postfix.source.stills import StillsSource, is_pattern
from postfix.source.timecode import frames_from_timecode

SMOOTHED_FRAMES = 5
"""Frames of the running median before the worst one is chosen, so that a single wild frame is not shown."""

Sides = tuple[tuple[float, float], tuple[float, float]]
"""Hidden strips of one eye: (top, bottom) at the left edge, (top, bottom) at the right edge, in pixels."""

NO_STRIPS: Sides = ((0.0, 0.0), (0.0, 0.0))


@dataclass(frozen=True)
class Seen:
    """One frame of both eyes as it lies in its files.

    Attributes
    ----------
    left, right : Planes
        In the codes of ``fmt``.
    fmt : PictureFormat
    weights : Weights
        Luma weights of the matrix that their file names.
    """

    left: Planes
    right: Planes
    fmt: PictureFormat
    weights: Weights = REC_709

    def rgb(self, size_px: tuple[int, int]) -> tuple[Rgb, Rgb]:
        """Both eyes for looking at, in a width and height."""
        left, right = (shown_rgb(planes, self.fmt, size_px, self.weights) for planes in (self.left, self.right))
        return left, right


@dataclass(frozen=True)
class Stills:
    """Where the pictures of a version are.

    Attributes
    ----------
    before : PairSource or None
        The source, where it is still there and is the one in the log.
    before_offset : int
        Frame of ``before`` that is frame 0 of the clip.
    before_missing : str
        Why there is no ``before``, as part of a sentence; empty where there is one.
    after : PairSource
    size_px : (int, int)
        Width and height of the clip's pictures.
    """

    before: PairSource | None
    before_offset: int
    before_missing: str
    after: PairSource
    size_px: tuple[int, int]

    def before_at(self, frame: int) -> Seen | None:
        """Both eyes of the source at a frame of the clip; None where there is no source or it cannot be decoded."""
        if self.before is None:
            return None
        try:
            return _seen(self.before, self.before_offset + frame)
        except InputError:
            return None

    def after_at(self, frame: int) -> Seen:
        """Both eyes of the output at a frame of the clip, as they were delivered."""
        return _seen(self.after, frame)

    def before_rgb(self, frame: int) -> tuple[Rgb, Rgb] | None:
        """:meth:`before_at` for looking at, in the clip's size."""
        seen = self.before_at(frame)
        return None if seen is None else seen.rgb(self.size_px)

    def after_rgb(self, frame: int) -> tuple[Rgb, Rgb]:
        """:meth:`after_at` for looking at, in the clip's size also where eyes were delivered squeezed."""
        return self.after_at(frame).rgb(self.size_px)


def _seen(pair: PairSource, frame: int) -> Seen:
    for shown in pair.filled_frames(frame, frame):
        return Seen(shown.left, shown.right, pair.format, luma_weights(pair))
    raise AssertionError(f"no frame {frame}")


def stills_of(versions: Sequence[Version]) -> tuple[Stills, ...]:
    """:func:`open_stills_of` each version of a clip; a source that several name alike is opened once, for that reads a
    video file through."""
    opened: list[Stills] = []
    of_source: dict[tuple[object, ...], Stills] = {}
    for version in versions:
        clip = version.clip
        key = (version.sources, version.reading, version.framed_from_px, clip.width_px, clip.height_px, clip.frames)
        known = of_source.get(key)
        if known is None or known.before is None:
            stills = of_source[key] = open_stills_of(version)
        else:
            stills = replace(known, after=_open_after(version))
        opened.append(stills)
    return tuple(opened)


def open_stills_of(version: Version) -> Stills:
    """Open the outputs, and the sources where they are still what the log says.

    Raises
    ------
    InputError
        Where an output is missing, cannot be read or is not what the log says.
    """
    after = _open_after(version)
    wanted = (version.clip.width_px, version.clip.height_px)
    try:
        before = _open_source(version)
        size = (before.format.width, before.format.height)
        if size != wanted:
            return Stills(None, 0, f"it is {size[0]}x{size[1]} now", after, wanted)
        offset = _offset(version, before, after)
    except (InputError, UsageError) as error:
        return Stills(None, 0, f"{error.where}: {error.found}", after, wanted)
    if offset is None:
        reason = f"the log does not say which {version.clip.frames} of its {before.count} frames were used"
        return Stills(None, 0, reason, after, wanted)
    return Stills(before, offset, "", after, wanted)


def _open_after(version: Version) -> PairSource:
    after = _open(version, version.outputs)
    _require_same(version, after)
    strange = next(
        (file for eye in (after.left, after.right) for file in eye.files() if _leads_out(file, version)), None
    )
    if strange is not None:
        raise InputError(
            strange, "a link to another place", "the file that run wrote", "run the job again with --force"
        )
    return after


def _leads_out(file: Path, version: Version) -> bool:
    return file.is_symlink() and not is_inside(file, version.folder)


def _open(
    version: Version,
    files: tuple[LoggedFile, ...],
    reading: Reading = AS_GIVEN,
    *,
    used: bool = False,
    on_bad: OnBad = "stop",
) -> PairSource:
    """Both eyes as the log names their files: one for each eye where there are such, else what holds both; of that with
    ``used`` only the frames that the log names."""
    by_eye = {file.eye: file.path for file in files if file.layout == "left-right"}
    if set(by_eye) == {"left", "right"}:
        left = by_eye["left"]
        return open_pair(left, by_eye["right"], rate=version.clip.rate if _is_stills(left) else None, on_bad=on_bad)
    both = next((file for file in files if file.eye == "both"), None)
    if both is not None:
        rate = version.clip.rate if _is_stills(both.path) else None
        first = both.first_frame or 0
        frames = (first, first + version.clip.frames - 1) if used else None
        return open_packed(both.path, both.layout, rate=rate, frames=frames, reading=reading, on_bad=on_bad)
    raise InputError(
        version.folder / "changes.json",
        f"the eyes {', '.join(sorted({file.eye for file in files})) or 'none'}",
        "a left and a right eye",
        "run the job again with --force",
    )


def _open_source(version: Version) -> PairSource:
    """The source as it was used: the eyes paired, and cut to the frame that was delivered."""
    packed = any(file.eye == "both" for file in version.sources)
    told = all(file.first_frame is not None for file in version.sources)
    if not packed and (told or version.reading.offset_frames):
        before = _open_used(version)
    elif packed and told and not version.reading.offset_frames:
        before = _open(version, version.sources, version.reading, used=True, on_bad=version.on_bad)
    else:
        before = _open(version, version.sources, version.reading if packed else AS_GIVEN, on_bad=version.on_bad)
    size = (before.format.width, before.format.height)
    if version.framed_from_px == size:
        return framed(before, version.clip.width_px, version.clip.height_px)
    return before


def _open_used(version: Version) -> PairSource:
    """The sources of two eyes: of each the frames that were used, as the log names them."""
    eyes = {}
    for file in version.sources:
        rate = version.clip.rate if _is_stills(file.path) else None
        first = file.first_frame or 0
        frames = (first, first + version.clip.frames - 1)
        eyes[file.eye] = open_eye(file.path, rate=rate, frames=frames, patient=version.on_bad != "stop")
    if set(eyes) != {"left", "right"}:
        raise InputError(
            version.folder / "changes.json", "sources of other eyes", "a left and a right eye", "run the job again"
        )
    return PairSource(eyes["left"], eyes["right"], version.clip.name, on_bad=version.on_bad)


def _is_stills(path: Path) -> bool:
    return path.is_dir() or (is_pattern(path) and not path.is_file())


def _require_same(version: Version, after: PairSource) -> None:
    """Refuse pictures that are not those of the log; eyes may be squeezed to half, or whole where the log has half."""
    clip = version.clip
    found = (after.format.width, after.format.height, after.count)
    scales = (Fraction(found[0], clip.width_px), Fraction(found[1], clip.height_px))
    if not set(scales) <= {Fraction(1, 2), Fraction(1), Fraction(2)} or found[2] != clip.frames:
        raise InputError(
            after.left.path,
            f"{found[2]} frames of {found[0]}x{found[1]}",
            f"{clip.frames} frames of {clip.width_px}x{clip.height_px} as the change log says",
            "run the job again with --force",
        )


def _offset(version: Version, before: PairSource, after: PairSource) -> int | None:
    """Frame of the source that is frame 0 of the clip: not 0 where only a part of it was used; None where unknown."""
    clip = version.clip
    if before.count == clip.frames:
        return 0
    offset = _offset_by_name(before.left, after.left)
    start = version.shots[0].timecode_in
    if offset is None and before.timecode is not None and start:
        offset = frames_from_timecode(start, clip.rate) - frames_from_timecode(before.timecode, clip.rate)
    if offset is None or not 0 <= offset <= before.count - clip.frames:
        return None
    return offset


def _offset_by_name(before: EyeSource, after: EyeSource) -> int | None:
    # Stills are written under the numbers of their source.
    if isinstance(before, StillsSource) and isinstance(after, StillsSource):
        return after.first_number - before.first_number
    return None


def frame_to_show(version: Version, shot: LoggedShot) -> tuple[int, str]:
    """The frame of a shot to look at, and why in words.

    The widest window first; of frames alike in that, the one whose near was most negative before the change; the
    middle of the shot where nothing was measured.
    """
    first, last = shot.plan.first, shot.plan.last
    near = _smoothed(version.frames["near_before_pct"][first : last + 1])
    hidden = sum(np.nan_to_num(version.frames[name][first : last + 1]) for name in _WINDOW_COLUMNS)
    at_widest = hidden >= np.max(hidden) - 1e-6
    candidates = np.where(at_widest, near, np.nan)
    windowed = bool(np.max(hidden) > 0.0)
    if np.isfinite(candidates).any():
        why = "where the window is widest" if windowed else "where near was farthest in front"
        return first + int(np.nanargmin(candidates)), why
    if windowed:
        return first + int(np.argmax(hidden)), "where the window is widest"
    return (first + last) // 2, "the middle of the shot"


_WINDOW_COLUMNS = (
    "window_left_top_px",
    "window_left_bottom_px",
    "window_right_top_px",
    "window_right_bottom_px",
)


def _smoothed(values: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    out = np.full(values.shape, np.nan)
    half = SMOOTHED_FRAMES // 2
    for index in np.flatnonzero(np.isfinite(values)):
        around = values[max(0, index - half) : index + half + 1]
        out[index] = np.median(around[np.isfinite(around)])
    return out


def moves_at(version: Version, shot: LoggedShot, frames: slice) -> Moves:
    """What the frame table says was done to a run of a shot's frames."""
    table = version.frames
    left_px, right_px = (np.nan_to_num(table[f"{eye}_move_px"][frames]) for eye in ("left", "right"))
    return held_moves(drawing_of(shot.plan), version.clip.planned, left_px, right_px, shot.plan.zoom)


def hidden_strips(version: Version, shot: LoggedShot, frame: int) -> tuple[Sides, Sides]:
    """Strips that the change made black at a frame, in the left and in the right eye: bare columns and window.

    Black that was in the source already is not counted.
    """
    at = slice(frame, frame + 1)
    moves = moves_at(version, shot, at)
    window = [float(np.nan_to_num(version.frames[name][frame])) for name in _WINDOW_COLUMNS]
    bare = [bare_px(moves, side, version.clip.width_px) for side in SIDES]
    # bare[side][eye]; the window is in the left eye at the left side and in the right eye at the right side.
    (left_left, left_right), (right_left, right_right) = (tuple(float(eye[0]) for eye in at_side) for at_side in bare)
    left_eye = (max(window[0], left_left), max(window[1], left_left)), (right_left, right_left)
    right_eye = (left_right, left_right), (max(window[2], right_right), max(window[3], right_right))
    return left_eye, right_eye
