"""Outputs that have their name only when they are whole.

Everything is written beside its place under a name that says unfinished, and renamed when it is done. Whatever goes
wrong before that, the unfinished files are removed and what was there before is left as it was.
"""

from __future__ import annotations

import logging
import os
import re
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from postfix.deliver.durable import sync_file, sync_folder, sync_tree
from postfix.deliver.own import stranger_in
from postfix.deliver.processes import is_running
from postfix.errors import OutputError, PostfixError
from postfix.source.picture import EyeSource

log = logging.getLogger("postfix")


def unfinished_path(path: Path) -> Path:
    """Where an output is written before it has its name: the same folder, hidden, with the suffix kept."""
    return path.with_name(f".{path.stem}.unfinished-{os.getpid()}{path.suffix}")


def check_output(
    path: Path,
    sources: Iterable[EyeSource] = (),
    *,
    folder: bool = False,
    inputs: Iterable[Path] = (),
    force: bool = False,
    keep: bool = False,
    next_step: str = "add --force to replace it",
) -> None:
    """Refuse an output that cannot be written, before any work is done.

    Parameters
    ----------
    path : Path
        The file or folder that will be written, or replaced with ``force``.
    sources : iterable of EyeSource
        What is being read; none of it may be touched.
    folder : bool
        True where a folder will be written, False for a file. One never takes the place of the other.
    inputs : iterable of Path
        Other files that are being read, such as a plan; none of them may be touched.
    force : bool
        True where an existing output may be replaced: a file, or a folder that holds nothing but what this program
        wrote there.
    keep : bool
        True where an existing output is not replaced, but kept or refused later (see ``--resume``).
    next_step : str
        What is advised where one exists and nothing speaks against replacing it.

    Raises
    ------
    OutputError
        Where it exists already, its folder cannot be written to, or it would lie in or replace a source or an input.
    """
    _check_apart(path, sources)
    _check_inputs(path, inputs)
    _check_existing(path, folder=folder, force=force, keep=keep, next_step=next_step)
    parent = path.absolute().parent
    while not parent.exists():
        parent = parent.parent
    if not parent.is_dir():
        raise OutputError(path, f"'{parent}', which is no folder", "a folder to write in", "choose another output")
    if not os.access(parent, os.W_OK | os.X_OK):
        raise OutputError(
            path, f"no permission to write in '{parent}'", "a folder to write in", "choose another output"
        )


def _check_inputs(path: Path, inputs: Iterable[Path]) -> None:
    place = path.resolve()
    for given in inputs:
        if given.resolve().is_relative_to(place):
            raise OutputError(path, f"the input {given} in its place", "a place apart", "choose another output")


def _check_existing(path: Path, *, folder: bool, force: bool, keep: bool = False, next_step: str = "") -> None:
    if not os.path.lexists(path):
        return
    wanted = "a folder" if folder else "a file"
    there = "a folder" if path.is_dir() else "a file" if path.is_file() or path.is_symlink() else "a device"
    if there != wanted:
        raise OutputError(path, f"{there} there", f"a free name for {wanted}", "choose another output")
    if keep:
        return
    stranger = stranger_in(path) if folder else None
    if stranger is not None:
        raise OutputError(
            path,
            f"{stranger}, in a folder that would be replaced",
            "a free name, or a folder with nothing in it but an earlier version or a preview's stills",
            "move it away or choose another folder",
        )
    if not force:
        raise OutputError(path, "an output already there", "a free name", next_step or "add --force to replace it")


def _check_apart(path: Path, sources: Iterable[EyeSource]) -> None:
    place = path.resolve()
    for source in sources:
        files = {file.resolve() for file in source.files()}
        if any(file.is_relative_to(place) for file in files):
            raise OutputError(path, f"the source {source.path} in its place", "a place apart", "choose another output")
        if source.path.is_dir() and place.is_relative_to(source.path.resolve()):
            raise OutputError(
                path,
                f"a place inside the source {source.path}",
                "a place outside every source",
                "choose another output",
            )


@contextmanager
def staged(path: Path, *, folder: bool = False, force: bool = False) -> Iterator[Path]:
    """Give a place to write to, and put what was written there into its own place at the end.

    Parameters
    ----------
    path : Path
        The final file or folder.
    folder : bool
        True to make the unfinished place a folder.
    force : bool
        True to replace what is there (see :func:`check_output`). The old output is moved aside, and removed once the
        new one has its name.

    Yields
    ------
    Path
        The unfinished file (not yet made) or folder (made, empty), in the same parent as ``path``.

    Raises
    ------
    OutputError
        Where the output exists without ``force``, another process is writing it, or the file system refuses.
    """
    give_back_replaced(path)
    check_output(path, folder=folder, force=force)
    temporary = unfinished_path(path)
    made: list[Path] = []
    try:
        try:
            make_parents(path, made)
            _clear_unfinished(path)
            if folder:
                temporary.mkdir()
        except OSError as error:
            raise refused(path, error) from error
        yield temporary
        if temporary.exists():
            (sync_tree if folder else sync_file)(temporary)
        put_in_place(temporary, path, folder=folder, force=force)
    except BaseException as error:
        if isinstance(error, PostfixError):
            # What is named must be there, or be about to be, when it is read.
            error.where = error.where.replace(str(temporary), str(path))
        with suppress(OSError):
            remove(temporary)
        for parent in reversed(made):
            with suppress(OSError):
                parent.rmdir()
        raise


def _clear_unfinished(path: Path) -> None:
    """Remove what processes that no longer run left of this output; refuse where one still writes it."""
    name = re.compile(rf"\.{re.escape(path.stem)}\.unfinished-(\d+){re.escape(path.suffix)}")
    for entry in list(path.absolute().parent.iterdir()):
        match = name.fullmatch(entry.name)
        if match is None:
            continue
        pid = int(match[1])
        if pid != os.getpid() and is_running(pid):
            raise OutputError(
                path,
                f"process {pid} writing it as '{entry.name}'",
                "one process for one output",
                "wait until it has ended, or choose another output",
            )
        log.info("%s: removed, left unfinished by process %d, which no longer runs", entry, pid)
        remove(entry)


def make_parents(path: Path, made: list[Path]) -> None:
    """Make the folders above a path; those that were missing are added to ``made``, outermost first."""
    missing = [parent for parent in path.absolute().parents if not parent.exists()]
    for parent in reversed(missing):
        with suppress(FileExistsError):
            parent.mkdir()
            made.append(parent)


def put_in_place(temporary: Path, path: Path, *, folder: bool, force: bool) -> None:
    """Give what was written its name, in place of an earlier output where that may be replaced; raises OutputError."""
    if not temporary.exists():
        raise OutputError(path, "nothing written", "a finished output", "report this as a fault of the program")
    if os.path.lexists(path) and not force:
        raise OutputError(path, "an output that appeared meanwhile", "a free name", "choose another output")
    # Once more: somebody may have put something there since the work began.
    _check_existing(path, folder=folder, force=force)
    aside = _aside(path, os.getpid())
    try:
        remove(aside)
        had_old = os.path.lexists(path)
        if had_old:
            path.rename(aside)
        try:
            temporary.replace(path)
        except BaseException:
            if had_old:
                aside.rename(path)
            raise
    except OSError as error:
        raise refused(path, error) from error
    sync_folder(path.absolute().parent)
    # The new output is in place; an old one that cannot be removed must not make the job fail.
    for old in (aside, *_left_aside(path)):
        with suppress(OSError):
            remove(old)


def give_back_replaced(path: Path) -> None:
    """Where a process ended between moving an output aside and putting the new one there, put the old one back."""
    if not os.path.lexists(path) and path.absolute().parent.is_dir():
        for old in _left_aside(path)[:1]:
            old.rename(path)
            log.info("%s: put back; a process that no longer runs had moved it aside", path)


def clear_left(path: Path) -> None:
    """Remove what processes that no longer run left beside a finished output; what cannot be removed stays."""
    with suppress(OSError):
        if os.path.lexists(path):
            for old in _left_aside(path):
                remove(old)
    with suppress(OSError, OutputError):
        _clear_unfinished(path)


def _aside(path: Path, pid: int) -> Path:
    return path.with_name(f".{path.name}.replaced-{pid}")


def _left_aside(path: Path) -> list[Path]:
    """Old outputs that processes which no longer run had moved aside."""
    name = re.compile(rf"\.{re.escape(path.name)}\.replaced-(\d+)")
    found = [(name.fullmatch(entry.name), entry) for entry in path.absolute().parent.iterdir()]
    return [entry for match, entry in found if match and not is_running(int(match[1]))]


def remove(path: Path) -> None:
    """Remove a file, a link or a folder with all that is in it; raises OSError."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)


def refused(path: Path, error: OSError) -> OutputError:
    """What is said of a place that the file system does not let be written."""
    return OutputError(
        path, f"the file system refusing it ({error.strerror or error})", "a place to write", "choose another output"
    )
