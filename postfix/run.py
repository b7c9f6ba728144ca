"""One clip for many screens: measured once, then planned, rendered, measured again and logged for each."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from postfix import __version__
from postfix.deliver.changelog import EyeFile
from postfix.errors import InputError
from postfix.job import (
    Settings,
    SourceChoice,
    Version,
    check_writing,
    make_version,
    measured,
    source_files,
    write_table,
    write_text,
)
from postfix.measure.table_csv import read_table
from postfix.plan.clip import plan_clip
from postfix.plan.file import plan_text
from postfix.plan.model import Plan
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
        origin = _Origin(outputs[0].with_suffix(".origin.json"), choice, checksums.result)
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
        version = _finished(folder, plan, sources) if settings.resume else None
        versions.append(version or make_version(pair, sources, table, plan, folder, settings))
    return ClipRun(out, outputs[0], tuple(versions))


@dataclass(frozen=True)
class _Origin:
    """What a measurement was made from, kept beside it so that a later run can tell whether it still holds."""

    path: Path
    choice: SourceChoice
    sources: Callable[[], tuple[EyeFile, ...]]

    def _facts(self) -> dict[str, Any]:
        edit = self.choice.edit
        return {
            "program version": __version__,
            "cuts": "one shot" if self.choice.one_shot else "found in the picture" if edit is None else str(edit),
            "frames": self.choice.frames and list(self.choice.frames),
            **{f"{source.eye} eye": asdict(source) for source in self.sources()},
        }

    def keep(self) -> None:
        """Write it down; only now does the measurement count as finished."""
        write_text(self.path, json.dumps(self._facts(), indent=2, ensure_ascii=False) + "\n", force=True)

    def is_kept(self) -> bool:
        """Whether a finished measurement of these very files is there.

        Raises
        ------
        InputError
            Where there is one of other files, cuts or program version; names what differs.
        """
        if not self.path.exists():
            return False
        kept, now = _read_json(self.path), self._facts()
        changed = [name for name in now if kept.get(name) != now[name]]
        if changed:
            raise InputError(
                self.path,
                f"an earlier run with another {' and another '.join(changed)}",
                "the run that is to be carried on",
                "give the same source, or start anew with --force instead of --resume",
            )
        return True


def _finished(folder: Path, plan: Plan, sources: tuple[EyeFile, ...]) -> Version | None:
    """The version that an earlier run finished, where it is the one this plan asks for."""
    log_file = folder / "changes.json"
    if not log_file.exists():
        return None
    kept = _read_json(log_file)
    plan_file = folder / "plan.toml"
    same_plan = plan_file.exists() and plan_file.read_text(encoding="utf-8") == plan_text(plan)
    if not same_plan or kept.get("sources") != [asdict(source) for source in sources]:
        return None
    log.info("%s: kept as an earlier run finished it", folder)
    return Version(folder, kept)


def _read_json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(
            path, f"no JSON in it ({error})", "what an earlier run wrote", "start anew with --force"
        ) from error
    if not isinstance(data, dict):
        raise InputError(path, "no JSON object in it", "what an earlier run wrote", "start anew with --force")
    return data
