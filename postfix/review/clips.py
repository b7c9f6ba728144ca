"""What the page is about: each clip with its shots, their results on every screen, and the measurement behind them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from postfix.errors import InputError
from postfix.measure.columns import Columns
from postfix.measure.columns_csv import read_columns
from postfix.outside import clipped, is_inside, is_path
from postfix.review.logged import LoggedShot, Version
from postfix.review.runs import find_versions


@dataclass(frozen=True)
class ReviewedShot:
    """One shot of a clip on all screens.

    Attributes
    ----------
    ident : str
        Unique on the page, such as ``c0n12``; the name of its card's anchor.
    name : str
    first, last : int
        Frames of the clip, both ends included.
    results : tuple of LoggedShot or None
        One a version of the clip, in their order; None where a version is cut otherwise.
    """

    ident: str
    name: str
    first: int
    last: int
    results: tuple[LoggedShot | None, ...]

    @property
    def any_result(self) -> LoggedShot:
        """The result on the first screen that knows the shot; what was before the change is the same on all."""
        return next(result for result in self.results if result is not None)


@dataclass(frozen=True)
class ReviewedClip:
    """One clip as it was made ready for its screens.

    Attributes
    ----------
    ident : str
        Unique on the page, such as ``c0``; also its folder beside the page.
    versions : tuple of Version
        One a screen, at least one.
    shots : tuple of ReviewedShot
        In order; a version that is cut otherwise adds shots of its own.
    columns : Columns or None
        The source's measurement, where it is still there and is of the very frames in the log.
    columns_missing : str
        Why there is none, as part of a sentence; empty where there is one.
    folder : str
        What a job of many clips calls it; empty where it is the only one.
    """

    ident: str
    versions: tuple[Version, ...]
    shots: tuple[ReviewedShot, ...]
    columns: Columns | None
    columns_missing: str
    folder: str = ""

    @property
    def name(self) -> str:
        """What the job calls it, else what the footage is called."""
        return self.folder or self.versions[0].clip.name


def reviewed_clips(out: Path) -> tuple[ReviewedClip, ...]:
    """Everything that a finished job left under ``out``.

    Raises
    ------
    InputError
        Where there is no change log, or one cannot be read.
    """
    clips = []
    for number, (folder, found) in enumerate(find_versions(out).items()):
        ident, versions = f"c{number}", _told_apart(found)
        columns, missing = _measured(out, folder, versions)
        clips.append(ReviewedClip(ident, versions, _shots(ident, versions), columns, missing, folder))
    return tuple(clips)


def _told_apart(versions: tuple[Version, ...]) -> tuple[Version, ...]:
    """Where there are several versions for one screen, its name with that of their folder."""
    names = [version.screen.name for version in versions]
    return tuple(
        replace(version, screen=replace(version.screen, name=f"{version.screen.name} ({version.folder.name})"))
        if names.count(version.screen.name) > 1
        else version
        for version in versions
    )


def _shots(ident: str, versions: tuple[Version, ...]) -> tuple[ReviewedShot, ...]:
    by_version = [{(s.plan.first, s.plan.last, s.plan.name): s for s in version.shots} for version in versions]
    keys = sorted({key for shots in by_version for key in shots})
    return tuple(
        ReviewedShot(
            f"{ident}n{number}", name, first, last, tuple(shots.get((first, last, name)) for shots in by_version)
        )
        for number, (first, last, name) in enumerate(keys)
    )


def _measured(out: Path, folder: str, versions: tuple[Version, ...]) -> tuple[Columns | None, str]:
    """The measurement of the source as run leaves it, and why not where there is none that can be used."""
    facts = versions[0].clip
    path = out / folder / "measure" / f"{facts.name}.csv"
    if Path(facts.name).name != facts.name or "\0" in facts.name or not is_path(path) or not is_inside(path, out):
        return None, f"the log names the footage {clipped(facts.name)!r}, which is no name of a file beside the page"
    if not path.is_file():
        return None, f"there is no {path.relative_to(out)} beside the page"
    try:
        columns = read_columns(path)
    except InputError as error:
        return None, f"{error.where}: {error.found}"
    clip = columns.clip
    same = (clip.width_px, clip.height_px, clip.rate) == (facts.width_px, facts.height_px, facts.rate)
    same = same and len(columns.near_pct) == facts.frames
    if not same or any(v.clip.footage and clip.footage and v.clip.footage != clip.footage for v in versions):
        return None, f"{path.relative_to(out)} is a measurement of other footage"
    return columns, ""
