"""New decisions put into the file of an earlier plan, so that everything a person wrote there stays."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, MutableMapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.container import OutOfOrderTableProxy
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array

from postfix.errors import InputError
from postfix.limits import Limits
from postfix.plan.decided import LIMIT_NAMES
from postfix.plan.file import plan_tables, shot_table, shot_text
from postfix.plan.file_read import plan_from
from postfix.plan.matching import shot_pairs
from postfix.plan.model import Plan, ShotPlan
from postfix.plan.toml_blocks import Block, blocks_of, comments_in
from postfix.plan.toml_text import toml_lines, toml_value

HAND_RULE = "given by hand in the plan"

_DECIDED = ("hit", "zoom", "fill", "window")
"""Keys that a shot has after an update, also where a person had taken them out to have them decided anew."""

_LIMITS = tuple(f"{name}_pct" for name in LIMIT_NAMES)

_BY_PROGRAM = ("as_planned", "subject_found")
"""Keys that are held against the file itself: what stands there may not count any more, or not be known to it yet."""

_ALIASES = {"eye_mm": "children"}
"""Keys that say the same as another and may not stand beside it."""


def hand_limits(old: Plan, limits: Limits, path: Path = Path("the earlier plan")) -> Limits:
    """Limits with the figures that a person typed into ``[limits]`` of an earlier plan.

    Parameters
    ----------
    old : Plan
        As read from its file.
    limits : Limits
        What the rules give now.
    path : Path
        Of the earlier plan, for messages.

    Raises
    ------
    InputError
        Where a figure kept by hand contradicts a new one.
    """
    kept: dict[str, Any] = {"by_hand": old.limits.by_hand}
    for name in old.limits.by_hand:
        kept |= {f"{name}_pct": getattr(old.limits, f"{name}_pct"), f"{name}_rule": HAND_RULE}
    used = replace(limits, **kept)
    if used.near_pct >= used.far_pct:
        raise InputError(
            f"{path}, [limits]",
            f"near_pct {used.near_pct:g} and far_pct {used.far_pct:g} with what was typed there",
            "near_pct less than far_pct",
            "correct what was typed by hand, or remove its line to have what the rules give",
        )
    return used


@dataclass(frozen=True)
class _Piece:
    """A shot, or all tables between two shots; ``above`` are comments and blank lines before it."""

    above: str
    text: str
    is_shot: bool


def update_text(text: str, old: Plan, new: Plan, path: Path = Path("the earlier plan")) -> str:
    """The text of an earlier plan with new decisions put in; reading it gives the new plan.

    Only values that differ are changed: comments, blank lines, order and everything else stay. A shot that is new gets
    a table of its own, one that is gone takes its table with it; comments above that stay.

    Parameters
    ----------
    text : str
        Of the file.
    old : Plan
        What was read from it; what was found of subjects since may be in it.
    new : Plan
    path : Path
        For messages.

    Raises
    ------
    InputError
        Where the file is laid out so that the decisions cannot be put in, which leaves it to the person.
    """
    mark = "\ufeff" if text.startswith("\ufeff") else ""
    body = text[len(mark) :]
    windows_lines = body.count("\r\n") == body.count("\n") > 0
    try:
        updated = _updated(body.replace("\r\n", "\n"), old, new)
        read = plan_from(path, updated, tomllib.loads(updated))
    except (TOMLKitError, ValueError, TypeError, KeyError, InputError) as error:
        raise _cannot_update(path) from error
    if read != new:
        raise _cannot_update(path)
    return mark + (updated.replace("\n", "\r\n") if windows_lines else updated)


def _cannot_update(path: Path) -> InputError:
    return InputError(
        path,
        "a layout that new decisions cannot be put into",
        "tables under headers such as [clip] and every shot under its own [[shot]], as the program writes them",
        "lay it out like that, or write a new plan to another file",
    )


def _updated(text: str, old: Plan, new: Plan) -> str:
    blocks, rest = blocks_of(text if text.endswith("\n") else f"{text}\n")
    pieces = _pieces(blocks)
    if sum(piece.is_shot for piece in pieces) != len(old.shots):
        raise ValueError("shots that stand under no header of their own")
    return _joined(_with_tables(pieces, old, new), rest, old.shots, new.shots)


def _pieces(blocks: list[Block]) -> list[_Piece]:
    """Shots with the tables below them, and whatever stands between."""
    number = 0
    numbered: list[tuple[int, Block]] = []  # every shot has a number of its own, and so has what stands between two
    for block in blocks:
        is_shot = block.name[:1] == ("shot",)
        before_is_shot = bool(numbered) and numbered[-1][1].name[:1] == ("shot",)
        if is_shot != before_is_shot or (block.name == ("shot",) and block.is_entry):
            number += 1
        numbered.append((number, block))
    pieces = []
    for _, group in groupby(numbered, key=lambda entry: entry[0]):
        first, *others = [block for _, block in group]
        text = "".join([first.text, *(part for block in others for part in (block.above, block.text))])
        pieces.append(_Piece(first.above, text, first.name == ("shot",) and first.is_entry))
    return pieces


def _with_tables(pieces: list[_Piece], old: Plan, new: Plan) -> list[_Piece]:
    """The pieces with every table but the shots brought up to date."""
    before, after = plan_tables(old), plan_tables(new)
    # A limit whose line a person took out comes back as the rules give it.
    left = [name for name in after if name == "limits" or after[name] != before.get(name)]
    made = list(pieces)
    for index, piece in enumerate(made):
        if piece.is_shot or not left:
            continue
        document = tomlkit.parse(piece.text)
        for name in list(left):
            table = _below(document, name)
            if table is not None:
                _merge(table, before[name], after[name], always=_LIMITS if name == "limits" else ())
                left.remove(name)
        made[index] = replace(piece, text=tomlkit.dumps(document))
    if left:
        place = next((index for index, piece in enumerate(made) if piece.is_shot), len(made))
        made[place:place] = [_Piece("\n", f"[{name}]\n{toml_lines(after[name])}", False) for name in left]
    return made


def _below(document: MutableMapping[str, Any], name: str) -> MutableMapping[str, Any] | None:
    """The table of a dotted name; None where there is none."""
    table = document
    for part in name.split("."):
        below = table.get(part)
        if not isinstance(below, MutableMapping):
            return None
        table = below
    return table


def _joined(pieces: list[_Piece], rest: str, old: Sequence[ShotPlan], new: Sequence[ShotPlan]) -> str:
    """The whole text with the shots of the new plan in their places."""
    pairs = iter(shot_pairs(old, new))
    parts: list[str] = []
    last_shot = max((index for index, piece in enumerate(pieces) if piece.is_shot), default=-1)
    kept_above = ""  # comments above a shot that is gone
    for index, piece in enumerate(pieces):
        above = kept_above + piece.above
        kept_above = ""
        if not piece.is_shot:
            parts += [above, piece.text]
            continue
        for before, after in pairs:
            if before is None:
                assert after is not None
                parts.append(f"\n{shot_text(after)}")
                continue
            if after is None:
                kept_above = above if above.strip() else ""
            else:
                parts += [above, _shot_with(piece.text, before, after)]
            break
        if index == last_shot:
            parts += [f"\n{shot_text(after)}" for _, after in pairs if after is not None]
    return "".join([*parts, kept_above, rest])


def _shot_with(text: str, old: ShotPlan, new: ShotPlan) -> str:
    """One shot's part of the file with its new decisions."""
    if old == new and new.subject is None:
        return text
    if text == shot_text(old):  # as the program wrote it: nothing of a person's to keep
        return shot_text(new)
    document = tomlkit.parse(text)
    shots: Any = document["shot"]
    _merge(shots[0], shot_table(old), shot_table(new), always=() if old == new else _DECIDED)
    return tomlkit.dumps(document)


def _merge(
    table: MutableMapping[str, Any], before: Mapping[str, Any], after: Mapping[str, Any], always: Sequence[str] = ()
) -> None:
    """Change the keys of a table that say something else after than before; add those that are missing."""
    for key in before:
        if key not in after:
            table.pop(key, None)
        if key in _ALIASES and before[key] != after.get(key):
            table.pop(_ALIASES[key], None)
    if "as_planned" in table and "as_planned" not in after:
        table.pop("as_planned")
    for key, value in after.items():
        if key not in table:
            if before.get(key) != value or key in (*always, *_BY_PROGRAM):
                table[key] = _item(value)
        elif before.get(key) != value or key in _BY_PROGRAM:
            _put(table, key, value)


def _put(container: Any, key: str | int, value: Any) -> None:
    """Change a value in place, of tables and lists of tables only the parts that differ."""
    present = container[key]
    if isinstance(present, MutableMapping) and isinstance(value, Mapping):
        gone = [inner for inner in present if inner not in value]
        if gone and isinstance(present, OutOfOrderTableProxy):
            # Dotted keys, of which no more than one can be removed before it loses count of them.
            container[key] = _item(value)
            return
        for inner in gone:
            present.pop(inner)
        for inner, entry in value.items():
            if inner in present:
                _put(present, inner, entry)
            else:
                present[inner] = _item(entry)
    elif _are_tables(present) and _are_tables(value) and len(present) == len(value):
        for index, entry in enumerate(value):
            _put(present, index, entry)
    elif present != value:
        container[key] = _item(value, comments_in(present.as_string()) if isinstance(present, Array) else ())


def _are_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(entry, Mapping) for entry in value)


def _item(value: object, comments: Sequence[str] = ()) -> Any:
    """A value as the program writes it; comments from inside the list that it replaces stand at its head."""
    text = toml_value(value)
    if comments:
        head = "".join(f"    {comment}\n" for comment in comments)
        text = f"[\n{head}{text[1:].lstrip(chr(10))}"
    return tomlkit.parse(f"value = {text}\n").item("value")
