"""What an earlier run finished and a later one may keep."""

from __future__ import annotations

import logging
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from postfix.deliver.changelog import EyeFile
from postfix.errors import InputError, OutputError
from postfix.job.checksums import source_files
from postfix.job.choice import Opened
from postfix.job.measured import footage_of, read_json
from postfix.job.settings import Settings
from postfix.job.unfinished import clear_away, differences
from postfix.job.version import Version, require_same_table, tool
from postfix.measure.table import MeasurementTable
from postfix.measure.table_csv import read_table
from postfix.plan.file import plan_text
from postfix.plan.model import Plan
from postfix.source.pair import PairSource

log = logging.getLogger("postfix")

_ANEW = "give the same options, or start anew with --force instead of --resume"


def finished_version(
    folder: Path, plan: Plan, pair: PairSource, sources: tuple[EyeFile, ...], settings: Settings
) -> Version | None:
    """The version that an earlier run finished; None where it is still to be made.

    Parameters
    ----------
    folder : Path
    plan : Plan
        What this run would do.
    pair : PairSource
    sources : tuple of EyeFile
    settings : Settings
        With ``force`` a folder that holds another version is to be made anew.

    Raises
    ------
    OutputError
        Where the folder is there but is not the version that this plan asks for: a person may have edited its plan,
        and that work must not be lost.
    """
    if not folder.exists():
        return None
    log_file, plan_file = folder / "changes.json", folder / "plan.toml"
    kept = read_json(log_file) if log_file.exists() else {}
    same_plan = plan_file.exists() and plan_file.read_bytes() == plan_text(plan).encode()
    different = _differences(kept, pair, sources, settings)
    if same_plan and not different:
        clear_away(folder)
        log.info("%s: kept as an earlier run finished it", folder)
        return Version(folder, kept)
    if settings.force:
        return None
    if not same_plan and plan_file.exists():
        raise OutputError(
            plan_file,
            "a plan that was edited, or made with other settings, since the earlier run",
            "the plan that this run would make",
            f"to use it, give it to render with another folder: render --plan '{plan_file}' -o …; "
            f"to do without it, move '{folder}' away",
        )
    found = f"a version of an earlier run with {different}" if same_plan else "a folder that is no finished version"
    raise OutputError(
        folder, found, "one to keep", "give the same options, move it away, or add --force to make it anew"
    )


def _differences(kept: dict[str, Any], pair: PairSource, sources: tuple[EyeFile, ...], settings: Settings) -> str:
    """What differs between a finished version, as its log tells, and one that would be made now; empty for nothing."""
    outputs = kept.get("outputs")
    told = outputs if isinstance(outputs, list) else []
    delivered = sorted({str(output.get("layout")) for output in told if isinstance(output, dict)})
    made = kept.get("tool")
    facts = made if isinstance(made, dict) else {}
    now = tool()
    there = {
        "footage": kept.get("sources"),
        "layouts of delivery": delivered,
        "codec": kept.get("codec"),
        "policy for bad frames": kept.get("on_bad_frame"),
        "program version": facts.get("version"),
        "libraries": facts.get("libraries"),
    }
    wanted = {
        "footage": [asdict(source) for source in sources],
        "layouts of delivery": sorted(settings.delivery.layouts_of(pair)),
        "codec": settings.delivery.codec,
        "policy for bad frames": pair.on_bad,
        "program version": now["version"],
        "libraries": now["libraries"],
    }
    words = differences(there, wanted)
    unchecked = settings.check and kept.get("measured_layout") is None
    return " and ".join(
        [*([words] if words else []), *(["no check of what it wrote (--no-check)"] if unchecked else [])]
    )


def kept_table(opened: Opened, path: Path, every: int) -> MeasurementTable:
    """A finished measurement that an earlier run wrote.

    Raises
    ------
    InputError
        Where it is of other footage, not of these very frames, was cut otherwise or measured at another step.
    """
    pair, cuts = opened
    table = read_table(path)
    require_same_table(table.clip, len(table.frames), path, pair)
    if table.clip.footage != footage_of(source_files(pair)):
        raise InputError(path, "a measurement of other pictures", "one of this source", _ANEW)
    if not _is_of_step(table, every):
        raise InputError(path, "a measurement with another --every", f"--every {every}", _ANEW)
    if cuts is not None and cuts.shots != table.shots:
        raise InputError(path, "a measurement with other cuts", "the cuts that were given", _ANEW)
    clear_away(path)
    log.info("%s: kept as an earlier run finished it", path)
    return table


def _is_of_step(table: MeasurementTable, every: int) -> bool:
    """Whether the frames that are measured at this step were, and no others."""
    last = len(table.frames) - 1
    for frame, row in enumerate(table.frames):
        left_out = frame % every != 0 and frame != last
        if row.interpolated and not left_out:
            return False
        if left_out and not row.interpolated and np.isfinite(row.coverage_pct):
            return False
    return True
