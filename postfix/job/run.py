"""One clip for many screens: measured once, then planned, rendered, measured again and logged for each."""

from __future__ import annotations

import logging
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from postfix.job.kept import Origin, finished_version
from postfix.job.version import (
    Settings,
    SourceChoice,
    Version,
    check_writing,
    make_version,
    measured,
    source_files,
    write_table,
)
from postfix.measure.table_csv import read_table
from postfix.plan.clip import plan_clip
from postfix.viewing import Screen

log = logging.getLogger("postfix")

REPORT = "report.html"


@dataclass(frozen=True)
class ClipRun:
    """What a run of one clip made."""

    out: Path
    measurement: Path
    versions: tuple[Version, ...]

    @property
    def flagged(self) -> bool:
        """Whether anything stays outside its limits in any version."""
        return any(version.flagged for version in self.versions)


def planned_outputs(out: Path, clip: str, screens: tuple[Screen, ...]) -> list[Path]:
    """Files and folders that a run of one clip makes."""
    return [out / "measure" / f"{clip}.csv", *(out / screen.name for screen in screens), out / REPORT]


def run_clip(choice: SourceChoice, screens: tuple[Screen, ...], out: Path, settings: Settings) -> ClipRun:
    """Measure once, then plan, render, re-measure and log for each screen.

    With ``settings.resume`` a measurement and versions that an earlier run finished are kept, as long as the source
    and the program are the same.

    Raises
    ------
    InputError, OutputError
        As the stages do; and where an earlier run to be carried on was of another source or program version.
    """
    pair, shots = choice.open()
    outputs = tuple(planned_outputs(out, pair.name, screens))
    check_writing(pair, outputs, force=settings.force or settings.resume)
    with ThreadPoolExecutor(1) as beside:
        # Reading every byte for the checksums overlaps the measuring.
        checksums = beside.submit(source_files, pair)
        origin = Origin(outputs[0].with_suffix(".origin.json"), choice, checksums.result)
        table = read_table(outputs[0]) if settings.resume and origin.is_kept() else None
        if table is None:
            table = measured(pair, shots, "measure", settings)
            write_table(outputs[0], table, force=settings.force or settings.resume)
            origin.keep()
        else:
            log.info("%s: kept as an earlier run finished it", outputs[0])
        sources = checksums.result()
    versions = []
    for screen in screens:
        plan = plan_clip(table, screen, fill=settings.fill)
        folder = out / screen.name
        version = finished_version(folder, plan, sources) if settings.resume else None
        versions.append(version or make_version(pair, sources, table, plan, folder, settings))
    return ClipRun(out, outputs[0], tuple(versions))
