"""Work on one output that is kept while it goes on, so that a later run can carry on where it stopped.

Beside an output ``cinema`` lies the hidden folder ``.cinema.unfinished`` until it is finished:

    recipe.json     what it is made from; only the same is ever carried on
    parts/…         what each finished segment left
    marks/…         one file for each segment that is finished, written last
    out/…           what becomes the output

Nothing there counts unless its mark does, and marks are written when everything that they speak of is on the disk.
"""

from __future__ import annotations

import json
import logging
import os
import stat
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from postfix.deliver.durable import BEGUN, sync_file, sync_folder, unsealed, write_durably, write_sealed
from postfix.deliver.staging import (
    check_output,
    clear_left,
    give_back_replaced,
    make_parents,
    put_in_place,
    refused,
    remove,
)
from postfix.deliver.workroom import Workroom
from postfix.errors import InputError, OutputError, PostfixError
from postfix.job.lock import LOCK, check_unclaimed, claimed
from postfix.outside import JSON_MAX_BYTES, bounded_bytes, json_from

log = logging.getLogger("postfix")

Recipe = Mapping[str, Any]
"""What an output is made from: a name that a person understands → a value that JSON holds."""

_MARK_MAX_BYTES = 1 << 20

_RECIPE, _PARTS, _MARKS, _OUT = "recipe.json", "parts", "marks", "out"

_DIFFERENT = {
    "cuts": "other cuts",
    "frames": "other frames",
    "libraries": "other libraries",
    "layouts of delivery": "other layouts of delivery",
    "every": "another --every",
}
"""How to say that a fact differs, where "another" would not do."""


def differences(kept: Recipe, now: Recipe) -> str:
    """What differs between two recipes, as a part of a sentence; empty where nothing does."""
    different = [name for name in now if kept.get(name) != now[name]]
    if {"frames", "offset", "order of the eyes"} & set(different):
        # The eyes differ then as a matter of course.
        different = [name for name in different if not name.endswith(" eye")]
    words = [_DIFFERENT.get(name, f"another {name}") for name in different]
    return ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + "".join(words[-1:])


@dataclass(frozen=True)
class Unfinished:
    """The hidden folder of an output that is being made.

    Attributes
    ----------
    target : Path
        The output, a file or a folder.
    """

    target: Path

    @property
    def folder(self) -> Path:
        """The hidden folder."""
        return self.target.with_name(f".{self.target.name}.unfinished")

    @property
    def room(self) -> Workroom:
        """Where pictures and parts of them are made."""
        return Workroom(self.folder / _OUT, self.folder / _PARTS)

    @property
    def parts(self) -> Path:
        """What each finished segment left."""
        return self.folder / _PARTS

    def mark(self, name: str, facts: Any) -> None:
        """Count something as finished, for ever; everything that it speaks of must be on the disk. Raises OSError."""
        write_sealed(self._mark(name), json.dumps(facts).encode())

    def marked(self, name: str) -> Any:
        """The facts of a mark; None where there is none, or it is not what it was."""
        with suppress(OSError, ValueError, RecursionError, InputError):
            data = unsealed(bounded_bytes(self._mark(name), _MARK_MAX_BYTES, "a mark"))
            return None if data is None else json_from(data.decode("utf-8"))
        return None

    def unmark(self, names: Iterable[str]) -> None:
        """Take marks back whose work turned out not to be whole."""
        for name in names:
            self._mark(name).unlink(missing_ok=True)

    def marks(self) -> list[str]:
        """Names of all marks."""
        folder = self.folder / _MARKS
        return sorted(path.stem for path in folder.glob("[!.]*.mark")) if folder.is_dir() else []

    def _mark(self, name: str) -> Path:
        return self.folder / _MARKS / f"{name}.mark"

    def begin(self, recipe: Recipe) -> None:
        """Lay out an empty folder."""
        for name in (_PARTS, _MARKS, _OUT):
            (self.folder / name).mkdir(exist_ok=True)
        sync_folder(self.folder.parent)
        write_durably(self.folder / _RECIPE, (json.dumps(recipe, indent=2, ensure_ascii=False) + "\n").encode())

    def kept_recipe(self) -> Recipe | None:
        """The recipe of the work that is there; None where there is none that can be read."""
        with suppress(OSError, ValueError, RecursionError, InputError):
            path = self.folder / _RECIPE
            recipe = json_from(bounded_bytes(path, JSON_MAX_BYTES, "a recipe").decode("utf-8"))
            return recipe if isinstance(recipe, dict) else None
        return None

    def clear(self) -> None:
        """Remove everything in the folder but the claim on it; raises OSError."""
        # First what makes the rest count: whenever this ends, nothing half removed is carried on.
        (self.folder / _RECIPE).unlink(missing_ok=True)
        sync_folder(self.folder)
        for entry in list(self.folder.iterdir()):
            if entry.name != LOCK:
                remove(entry)

    def sweep(self) -> None:
        """Remove files that were being written when a process ended."""
        for path in self.folder.rglob(f"{BEGUN}*"):
            remove(path)


def check_unfinished(target: Path, *, resume: bool, force: bool) -> None:
    """Refuse, before any work, to lose what an earlier run finished of an output; nothing is written.

    Raises
    ------
    OutputError
        Where another process is at work on it, or finished work is there that is neither to be carried on
        (``resume``) nor to be thrown away (``force``).
    """
    work = Unfinished(target)
    _require_own(work.folder)
    if not work.folder.is_dir():
        return
    with _named(work):
        check_unclaimed(work.folder)
    done = len(work.marks())
    if done and not resume and not force:
        raise OutputError(
            target,
            f"{done} {'piece' if done == 1 else 'pieces'} of it finished by an earlier run that was broken off",
            "a new output",
            "add --resume to carry it on, or --force to begin anew",
        )


def say_unfinished(out: Path) -> None:
    """Say what of an earlier run lies unfinished under a job's folder, for this one was asked for less."""
    for folder in sorted((*out.glob(".*.unfinished"), *out.glob("*/.*.unfinished"))):
        log.info("%s: unfinished work of an earlier run is kept there; remove it to do without", folder)


def clear_away(target: Path) -> None:
    """Remove what lies hidden beside a finished output: its run ended before it could. What cannot be removed stays."""
    work = Unfinished(target)
    with suppress(OSError, OutputError):
        _require_own(work.folder)
        if work.folder.is_dir():
            with claimed(work.folder):
                remove(work.folder)
    clear_left(target)


@contextmanager
def unfinished(
    target: Path, recipe: Recipe, *, resume: bool, force: bool, folder: bool = True, replace: bool = False
) -> Iterator[Unfinished]:
    """Work on an output in its hidden folder; where the block ends without an exception it is put in its place.

    Parameters
    ----------
    target : Path
    recipe : mapping
    resume : bool
        True to carry on what is there of the same recipe.
    force : bool
        True to replace an output, and to throw away what is there.
    folder : bool
        True where the output is the folder ``out``; False where the block writes the output, a file, by itself.
    replace : bool
        True to replace an output also without ``force``.

    Raises
    ------
    InputError
        Where what is to be carried on was made from something else; names what differs.
    OutputError
        Where it cannot be written, or another process is at work on it.
    """
    work = Unfinished(target)
    made: list[Path] = []
    try:
        with _refused(target):
            give_back_replaced(target)
            check_output(target, folder=folder, force=force or replace)
            check_unfinished(target, resume=resume, force=force)
            make_parents(work.folder / LOCK, made)
            _require_own(work.folder)
        with _named(work), claimed(work.folder):
            with _refused(target):
                _prepare(work, recipe, resume=resume, force=force)
            yield from _carried_out(work, folder=folder, force=force or replace)
    finally:
        for parent in reversed(made):
            with suppress(OSError):
                parent.rmdir()


def _require_own(folder: Path) -> None:
    """Refuse a hidden folder that somebody else put there, or one that leads elsewhere; a missing one is none."""
    try:
        found = folder.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return
    mine = not hasattr(os, "geteuid") or found.st_uid == os.geteuid()
    if not stat.S_ISDIR(found.st_mode) or not mine:
        what = "a folder of another user" if stat.S_ISDIR(found.st_mode) else "a link or a file"
        raise OutputError(folder, what, "a free name, or a folder that an earlier run left", "remove it")


def _require_plain(folder: Path) -> None:
    """Refuse links and devices among what is to become an output: somebody else put them there."""
    for here, folders, files in os.walk(folder):
        for name in (*folders, *files):
            path = Path(here, name)
            if not stat.S_ISREG(mode := path.lstat().st_mode) and not stat.S_ISDIR(mode):
                raise OutputError(path, "a link or a device", "files and folders of this program", "remove it")


def _carried_out(work: Unfinished, *, folder: bool, force: bool) -> Iterator[Unfinished]:
    try:
        yield work
        if folder:
            out = work.room.pictures
            with _refused(work.target):
                _require_plain(out)
                # The pictures in its folders are on the disk since they were marked.
                for path in out.iterdir():
                    (sync_folder if path.is_dir() else sync_file)(path)
                sync_folder(out)
            put_in_place(out, work.target, folder=True, force=force)
    except BaseException as error:
        if isinstance(error, PostfixError):
            # What is named must be there, or be about to be, when it is read.
            error.where = error.where.replace(str(work.room.pictures), str(work.target))
        done = len(work.marks())
        if done:
            log.info("%s: %d finished %s kept; the same command with --resume carries on", work.target, done,
                     "piece is" if done == 1 else "pieces are")  # fmt: skip
        else:
            with suppress(OSError):
                remove(work.folder)
        raise
    with suppress(OSError):
        remove(work.folder)


def _prepare(work: Unfinished, recipe: Recipe, *, resume: bool, force: bool) -> None:
    """Leave in the folder what may be carried on, or nothing."""
    kept = work.kept_recipe()
    done = len(work.marks())
    if kept is not None and done and resume:
        different = differences(kept, recipe)
        if not different:
            work.sweep()
            return
        if not force:
            raise InputError(
                work.folder / _RECIPE,
                f"unfinished work of an earlier run with {different}",
                "the run that is to be carried on",
                "give the same again, or begin anew with --force",
            )
    if done:
        log.info("%s: %d finished %s thrown away", work.target, done, "piece is" if done == 1 else "pieces are")
    work.clear()
    work.begin(recipe)


@contextmanager
def _refused(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise refused(target, error) from error


@contextmanager
def _named(work: Unfinished) -> Iterator[None]:
    """Let errors speak of the output rather than of its hidden folder."""
    try:
        yield
    except OutputError as error:
        if error.where == str(work.folder):
            error.where = str(work.target)
        raise
