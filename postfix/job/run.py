"""One clip for many screens: measured once, then planned, rendered, measured again and logged for each."""

from __future__ import annotations

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from postfix.deliver.changelog import EyeFile
from postfix.deliver.own import PAGE, PAGE_FOLDER
from postfix.job.checksums import source_files
from postfix.job.choice import Opened, SourceChoice
from postfix.job.kept import finished_version
from postfix.job.measured import Origin, measured_source, told_of
from postfix.job.settings import Settings
from postfix.job.steady import Steady
from postfix.job.unfinished import clear_away
from postfix.job.version import Output, Version, make_versions
from postfix.measure.columns import columns_of
from postfix.measure.remarks import Told
from postfix.measure.table import MeasurementTable
from postfix.measure.table_csv import read_table
from postfix.plan.cameras import Cameras, with_cameras
from postfix.plan.clip import plan_edit
from postfix.plan.edit import edit_of
from postfix.plan.fits import Fit, fits_of
from postfix.plan.model import Pin
from postfix.plan.settings import PlanSettings
from postfix.viewing import Screen

log = logging.getLogger("postfix")


@dataclass(frozen=True)
class ClipRun:
    """What a run of one clip made."""

    out: Path
    measurement: Path
    versions: tuple[Version, ...]
    told: Told
    """What the source's measurement says besides its figures."""
    fits: Mapping[str, tuple[Fit, ...]]
    """How every shot fares on each screen, by its name, as planned."""

    @property
    def flagged(self) -> bool:
        """Whether anything stays outside its limits in any version."""
        return any(version.flagged for version in self.versions)


def planned_outputs(out: Path, clip: str, screens: tuple[Screen, ...]) -> list[Output]:
    """Files and folders that a run of one clip makes, its measurement first."""
    table = Output(out / "measure" / f"{clip}.csv")
    return [table, *(Output(out / screen.name, folder=True) for screen in screens)]


def page_outputs(out: Path) -> list[Output]:
    """The review page of a job, and the folder beside it."""
    return [Output(out / PAGE), Output(out / PAGE_FOLDER, folder=True)]


def run_clip(
    choice: SourceChoice,
    opened: Opened,
    screens: tuple[Screen, ...],
    out: Path,
    settings: Settings,
    settings_for: Callable[[str], PlanSettings] = lambda screen: PlanSettings(),
    pins: tuple[Pin, ...] = (),
    steady: Steady | None = None,
    cameras: Cameras | None = None,
) -> ClipRun:
    """Measure once, then plan, render, re-measure and log for each screen.

    The caller has opened the choice, checked the outputs and looked for the subjects of pins, for all clips of a job
    before the first of them. ``settings_for`` gives the settings of planning for a screen's name, ``steady`` tells how
    the files of the source were when it was opened, ``cameras`` how its shots were filmed.

    With ``settings.resume`` a measurement and versions that an earlier run finished are kept, as long as the source
    and the program are the same.

    Raises
    ------
    InputError, OutputError
        As the stages do; and where an earlier run to be carried on was of another source or program version, or a
        version that it left is not the one that would be made now.
    """
    pair, _ = opened
    measurement = planned_outputs(out, pair.name, screens)[0].path
    steady = steady or Steady.of(pair)
    table, sources = _measured_or_kept(choice, opened, measurement, settings, steady)
    edit = edit_of(columns_of(table))
    decided = [plan_edit(edit, screen, settings_for(screen.name), pins=pins) for screen in screens]
    decided = [replace(one, plan=with_cameras(one.plan, cameras or Cameras())) for one in decided]
    plans = [one.plan for one in decided]
    finished: list[Version | None] = [None] * len(plans)
    if settings.resume:
        # All of them before the first is rendered: one may be refused.
        finished = [finished_version(out / plan.screen.name, plan, pair, sources, settings) for plan in plans]
    said = told_of(choice, opened, table)
    missing = [(plan, out / plan.screen.name) for plan, version in zip(plans, finished) if version is None]
    made = iter(make_versions(pair, sources, lambda _: (table, said), missing, settings, steady))
    versions = tuple(version or next(made) for version in finished)
    fits = {one.plan.screen.name: fits_of(one) for one in decided}
    return ClipRun(out, measurement, versions, said, fits)


def _measured_or_kept(
    choice: SourceChoice, opened: Opened, measurement: Path, settings: Settings, steady: Steady
) -> tuple[MeasurementTable, tuple[EyeFile, ...]]:
    origin = Origin(measurement.with_suffix(".origin.json"), choice)
    if settings.resume and origin.path.exists():
        sources = source_files(opened[0])
        steady.require()
        origin.require(sources)
        clear_away(measurement)
        clear_away(origin.path)
        log.info("%s: kept as an earlier run finished it", measurement)
        return read_table(measurement), sources
    # Before the table: what is there while its origin is not does not count as finished.
    origin.path.unlink(missing_ok=True)
    return measured_source(choice, opened, measurement, settings, origin, steady)
