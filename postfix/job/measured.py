"""The measurement of a source: made, written down with what it was made from, and known again later."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from postfix.deliver.changelog import EyeFile
from postfix.deliver.staging import staged
from postfix.errors import InputError
from postfix.job.checksums import source_files_beside
from postfix.job.choice import Opened, SourceChoice
from postfix.job.measuring import Kept, measured_in_parts
from postfix.job.progress import bar
from postfix.job.settings import Settings
from postfix.job.steady import Steady
from postfix.job.unfinished import differences, unfinished
from postfix.measure.remarks import Told, told
from postfix.measure.table import MeasurementTable, footage_mark
from postfix.measure.table_csv import as_written, table_lines
from postfix.outside import JSON_MAX_BYTES, bounded_bytes, json_from
from postfix.source.pair import PairSource
from postfix.source.shots import EditList


@dataclass(frozen=True)
class Origin:
    """What a measurement was made from, kept beside it so that a later run can tell whether it still holds."""

    path: Path
    choice: SourceChoice

    def _facts(self, sources: tuple[EyeFile, ...]) -> dict[str, Any]:
        files = {f"{source.eye} eye": asdict(source) for source in sources}
        return {**self.choice.facts(), "cuts": self.choice.cuts_fact(), **files}

    def keep(self, sources: tuple[EyeFile, ...]) -> None:
        """Write it down; only now does the measurement count as finished."""
        write_text(self.path, json.dumps(self._facts(sources), indent=2, ensure_ascii=False) + "\n", force=True)

    def require(self, sources: tuple[EyeFile, ...]) -> None:
        """Refuse a finished measurement of anything but these very files.

        Raises
        ------
        InputError
            Where it is of other files, cuts or program version; names what differs.
        """
        changed = differences(read_json(self.path), self._facts(sources))
        if changed:
            raise InputError(
                self.path,
                f"an earlier run with {changed}",
                "the run that is to be carried on",
                "give the same footage and options, or start anew with --force instead of --resume",
            )


def measured(
    pair: PairSource,
    cuts: EditList | None,
    what: str,
    settings: Settings,
    kept: Kept | None = None,
    steady: Steady | None = None,
) -> MeasurementTable:
    """Measure a pair behind a progress bar; the figures have the digits of their file.

    Parameters
    ----------
    pair : PairSource
    cuts : EditList or None
    what : str
        What the bar says.
    settings : Settings
    kept : Kept, optional
        Where what each segment left is kept for a later run.
    steady : Steady, optional
        How the files of the pair were when it was opened; as they are now without it.
    """
    steady = steady or Steady.of(pair)
    with bar(what, pair.count, quiet=settings.quiet) as progress:
        table = measured_in_parts(
            pair, cuts, every=settings.every, crew=settings.crew, kept=kept, tell=progress, steady=steady
        )
        return as_written(table)


def measured_source(
    choice: SourceChoice,
    opened: Opened,
    output: Path,
    settings: Settings,
    origin: Origin | None = None,
    steady: Steady | None = None,
) -> tuple[MeasurementTable, tuple[EyeFile, ...]]:
    """Measure a source into a table file while every byte of it is read for the checksums.

    Parameters
    ----------
    choice : SourceChoice
    opened : (PairSource, EditList or None)
    output : Path
    settings : Settings
    origin : Origin, optional
        What says beside the table, once it is finished, what it was made from.
    steady : Steady, optional
        How the files of the source were when it was opened; as they are now without it.

    Returns
    -------
    table : MeasurementTable
        It says which footage it is of.
    sources : tuple of EyeFile

    Raises
    ------
    InputError, OutputError
        As measuring does, or where unfinished work that is to be carried on is of something else.
    """
    pair, cuts = opened
    steady = steady or Steady.of(pair)
    steady.require()
    recipe = {**choice.facts(), "every": settings.every, **steady.facts()}
    with (
        unfinished(
            output, recipe, resume=settings.resume, force=settings.force, folder=False, replace=settings.resume
        ) as work,
        source_files_beside(pair) as files,
    ):
        table = measured(pair, cuts, "measure", settings, Kept(work, "measure"), steady)
        sources = files()
        steady.require()
        table = marked(table, sources)
        write_table(output, table, force=settings.force or settings.resume)
        if origin is not None:
            origin.keep(sources)
    return table, sources


def marked(table: MeasurementTable, sources: Iterable[EyeFile]) -> MeasurementTable:
    """The table with the mark of the footage that it was measured on."""
    return replace(table, clip=replace(table.clip, footage=footage_of(sources)))


def footage_of(sources: Iterable[EyeFile]) -> str:
    """Mark of the very frames of both eyes, left first."""
    return footage_mark((source.sha256, source.first_frame, source.frames) for source in sources)


def told_of(choice: SourceChoice, opened: Opened, table: MeasurementTable) -> Told:
    """What a source's measurement says besides its figures; an edit list is held against the picture."""
    pair, cuts = opened
    return told(table, pair.reading, cuts if choice.edit is not None else None)


def write_text(path: Path, text: str, *, force: bool) -> None:
    """Write a small file whole or not at all."""
    _write_lines(path, [text], force=force)


def _write_lines(path: Path, lines: Iterable[str], *, force: bool) -> None:
    with staged(path, force=force) as temporary, temporary.open("w", encoding="utf-8", newline="\n") as file:
        file.writelines(lines)


def write_table(path: Path, table: MeasurementTable, *, force: bool) -> None:
    """Write a measurement table whole or not at all."""
    _write_lines(path, table_lines(table), force=force)


def read_json(path: Path) -> dict[str, Any]:
    """What an earlier run wrote; InputError where it is no JSON object."""
    try:
        data = json_from(bounded_bytes(path, JSON_MAX_BYTES, "what an earlier run wrote").decode("utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise InputError(
            path, f"no JSON in it ({error})", "what an earlier run wrote", "start anew with --force"
        ) from error
    if not isinstance(data, dict):
        raise InputError(path, "no JSON object in it", "what an earlier run wrote", "start anew with --force")
    return data
