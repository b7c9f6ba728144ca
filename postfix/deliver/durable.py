"""Files that outlive a power cut: on the disk itself before anything says that they are there."""

from __future__ import annotations

import hashlib
import os
import uuid
from contextlib import suppress
from pathlib import Path

_SEAL_BYTES = 32

BEGUN = ".begun-"
"""How the names of files begin that are being written and have not their name yet."""


def begun_path(path: Path) -> Path:
    """Where a file is written before it has its name: hidden beside it, under a name that no other process takes."""
    return path.with_name(f"{BEGUN}{uuid.uuid4().hex}-{path.name}")


def sync_file(path: Path) -> None:
    """Have a file's content on the disk itself; raises OSError."""
    with path.open("rb") as file:
        os.fsync(file.fileno())


def sync_folder(path: Path) -> None:
    """Have the names in a folder on the disk itself, where the system can."""
    # Windows opens no folder; some network file systems refuse the request and need none.
    with suppress(OSError):
        number = os.open(path, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def make_folder(path: Path) -> None:
    """Make a folder where it is missing, with its name on the disk itself; raises OSError."""
    if not path.is_dir():
        path.mkdir(exist_ok=True)
        sync_folder(path.parent)


def sync_tree(folder: Path) -> None:
    """Have everything below a folder on the disk itself."""
    for here, _, names in os.walk(folder):
        for name in names:
            sync_file(Path(here, name))
        sync_folder(Path(here))


def write_durably(path: Path, data: bytes) -> None:
    """Write a file whole or not at all, in place of an earlier one, and have it on the disk; raises OSError."""
    begun = begun_path(path)
    try:
        with begun.open("xb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        begun.replace(path)
    except BaseException:
        with suppress(OSError):
            begun.unlink()
        raise
    sync_folder(path.parent)


def write_sealed(path: Path, data: bytes) -> None:
    """Like :func:`write_durably`, with a checksum before the data; see :func:`read_sealed`."""
    write_durably(path, hashlib.sha256(data).digest() + data)


def read_sealed(path: Path) -> bytes | None:
    """What :func:`write_sealed` wrote; None where it is not there or not whole."""
    try:
        whole = path.read_bytes()
    except OSError:
        return None
    return unsealed(whole)


def unsealed(whole: bytes) -> bytes | None:
    """The data in the content of a file that :func:`write_sealed` wrote; None where it is not what it was."""
    data = whole[_SEAL_BYTES:]
    return data if hashlib.sha256(data).digest() == whole[:_SEAL_BYTES] else None
