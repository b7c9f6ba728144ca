"""Damaged inputs made from whole ones by a number, so that the same number gives the same bytes every time."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from pathlib import Path

_HUGE = (0xFFFFFFFFFFFFFFFF, 0x7FFFFFFFFFFFFFFF, 0xFFFFFFFF, 0x80000000, 0x7FFFFFFF, 0x10000000, 0x00FFFFFF, 0xFFFF, 0)
_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_NUMBERS = (
    b"-1",
    b"0",
    b"1e308",
    b"1e999",
    b"-0.0",
    b"nan",
    b"inf",
    b"9" * 30,
    b"9" * 5000,
    b"1e-320",
    b"0x7f",
    b'"x"',
)
_NUMBERS += (b"4294967295", b"9223372036854775807", b"1_000_000_000", b"100000000")
_HEAD_BYTES = 4096

Mutation = Callable[[bytes, random.Random, bytes], bytes]


def _place(data: bytes, rng: random.Random) -> int:
    """Somewhere in the data, half of the time in its head, where the fields are."""
    return rng.randrange(max(1, min(len(data), _HEAD_BYTES) if rng.random() < 0.5 else len(data)))


def flip_bits(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """One to sixteen single bits."""
    changed = bytearray(data)
    for _ in range(rng.randint(1, 16)):
        changed[_place(data, rng)] ^= 1 << rng.randrange(8)
    return bytes(changed)


def fill_run(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """A run of zeros, of ones or of anything."""
    at, length = _place(data, rng), rng.choice((1, 4, 16, 64, 512))
    run = rng.choice((bytes(length), b"\xff" * length, rng.randbytes(length)))
    return (data[:at] + run + data[at + length :])[: len(data)]


def cut(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """Ended early."""
    return data[: _place(data, rng)]


def splice(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """The start of one file and the end of another."""
    return data[: _place(data, rng)] + other[_place(other, rng) :]


def huge_field(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """A field set to a huge number or to nothing: most often one that now looks like a length."""
    size, order = rng.choice((2, 4, 4, 4, 8)), rng.choice(("big", "little"))
    at = _place(data, rng)
    for _ in range(200):
        tried = _place(data, rng)
        if 0 < int.from_bytes(data[tried : tried + size], order) <= len(data):
            at = tried
            break
    value = (rng.choice(_HUGE) & ((1 << 8 * size) - 1)).to_bytes(size, order)
    return data[:at] + value + data[at + size :]


def duplicate(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """A block repeated up to 64 times."""
    at, length = _place(data, rng), rng.choice((1, 8, 64, 512, 4096))
    return data[:at] + data[at : at + length] * rng.choice((2, 3, 64)) + data[at + length :]


def remove(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """A block left out."""
    at = _place(data, rng)
    return data[:at] + data[at + rng.choice((1, 4, 64, 1024)) :]


def other_number(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """Numbers of a text replaced by what is none, or by one that nobody writes."""
    found = list(_NUMBER.finditer(data))
    for match in sorted(rng.sample(found, min(len(found), rng.randint(1, 3))), key=lambda m: -m.start()):
        data = data[: match.start()] + rng.choice(_NUMBERS) + data[match.end() :]
    return data


def repeat_line(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """A line of a text many times over."""
    lines = data.splitlines(keepends=True) or [b"\n"]
    at = rng.randrange(len(lines))
    return b"".join([*lines[:at], lines[at] * rng.choice((2, 3000)), *lines[at + 1 :]])


def nest(data: bytes, rng: random.Random, other: bytes) -> bytes:
    """Brackets within brackets, quotes without an end."""
    at = _place(data, rng)
    word = rng.choice(
        (b"[" * 5000, b'{"a":' * 5000, b'"', b'"""', b"\\u0000", b"\x00", b"\xff\xfe", b"[[", b",,,", b"\n")
    )
    return data[:at] + word + data[at:]


BYTES: tuple[Mutation, ...] = (flip_bits, fill_run, cut, splice, huge_field, huge_field, duplicate, remove)
TEXT: tuple[Mutation, ...] = (*BYTES, other_number, other_number, other_number, repeat_line, nest)


def mutated(data: bytes, other: bytes, rng: random.Random, *, is_text: bool) -> tuple[bytes, str]:
    """One to three mutations of a file (``other`` lends what is spliced in), and their names."""
    before, names = data, []
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        mutation = rng.choice(TEXT if is_text else BYTES)
        if data:
            data = mutation(data, rng, other)
            names.append(mutation.__name__)
    if data == before and data:
        data = bytes([data[0] ^ 1]) + data[1:]
    return data, "+".join(names)


def files_of(folder: Path) -> list[Path]:
    """All files below a folder, in the order of their names."""
    return sorted(path for path in folder.rglob("*") if path.is_file())
