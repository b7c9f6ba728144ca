"""What an earlier run finished and a later one may keep."""

from __future__ import annotations

import logging
from dataclasses import asdict
from pathlib import Path

from postfix.deliver.changelog import EyeFile
from postfix.errors import InputError, OutputError
from postfix.job.checksums import source_files
from postfix.job.measured import footage_of, read_json
from postfix.job.unfinished import clear_away
from postfix.job.version import Version, require_same_table
from postfix.measure.table import MeasurementTable
from postfix.measure.table_csv import read_table
from postfix.plan.file import plan_text
from postfix.plan.model import Plan
from postfix.source.layout import Layout
from postfix.source.pair import PairSource

log = logging.getLogger("postfix")


def finished_version(
    folder: Path,
    plan: Plan,
    sources: tuple[EyeFile, ...],
    layouts: tuple[Layout, ...],
    codec: str | None,
    *,
    replace: bool,
) -> Version | None:
    """The version that an earlier run finished; None where it is still to be made.

    Parameters
    ----------
    folder : Path
    plan : Plan
        What this run would do.
    sources : tuple of EyeFile
    layouts : tuple of Layout
    codec : str or None
        What the version is to be delivered in.
    replace : bool
        True where a folder that holds another version is to be made anew (``--force`` beside ``--resume``).

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
    same_sources = kept.get("sources") == [asdict(source) for source in sources]
    outputs = kept.get("outputs")
    told = outputs if isinstance(outputs, list) else []
    delivered = {str(output.get("layout")) for output in told if isinstance(output, dict)}
    same_delivery = delivered == set(layouts) and kept.get("codec") == codec
    if same_plan and same_sources and same_delivery:
        clear_away(folder)
        log.info("%s: kept as an earlier run finished it", folder)
        return Version(folder, kept)
    if replace:
        return None
    if not same_plan and plan_file.exists():
        raise OutputError(
            plan_file,
            "a plan that was edited, or made with other settings, since the earlier run",
            "the plan that this run would make",
            f"to use it, give it to render with another folder: render --plan '{plan_file}' -o …; "
            f"to do without it, move '{folder}' away",
        )
    found = "a folder that is no finished version of this source"
    if same_plan and same_sources:
        found = (
            f"a version delivered as {', '.join(sorted(map(str, delivered)))} in {kept.get('codec') or 'its own codec'}"
        )
    raise OutputError(folder, found, "one to keep", "move it away, or add --force to make it anew")


def kept_table(pair: PairSource, path: Path) -> MeasurementTable:
    """A finished measurement that an earlier run wrote.

    Raises
    ------
    InputError
        Where it is of other footage: not of these very frames.
    """
    table = read_table(path)
    require_same_table(table.clip, len(table.frames), path, pair)
    if table.clip.footage != footage_of(source_files(pair)):
        raise InputError(
            path, "a measurement of other pictures", "one of this source", "start anew with --force instead of --resume"
        )
    clear_away(path)
    log.info("%s: kept as an earlier run finished it", path)
    return table
