"""Reading TOML tables key by key, so that every error names file, line and key."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar

from postfix.errors import InputError
from postfix.outside import clipped
from postfix.plan.screens import describe, is_number
from postfix.plan.toml_lines import Address, address_of, place_at, steps_of

Word = TypeVar("Word", bound=str)


class TomlTable:
    """One TOML table being read, that knows where it stands.

    ``name`` is the header it stands under (None for the part before any), ``index`` which of several of that name.
    Tables below it come from :meth:`table` and :meth:`tables`.
    """

    def __init__(self, path: Path, text: str, name: str | None, index: int, data: dict[str, Any]) -> None:
        address = () if name is None else address_of(text, name, index)
        self._stand(path, text, steps_of(name or "") if address is None else address, data)

    def _stand(self, path: Path, text: str, address: Address, data: dict[str, Any]) -> None:
        self.path, self.text, self.address, self.data = path, text, address, data

    def _at(self, address: Address, data: dict[str, Any]) -> TomlTable:
        table = TomlTable.__new__(TomlTable)
        table._stand(self.path, self.text, address, data)
        return table

    def where(self, key: str = "") -> str:
        """File and line of the table, or of a key in it such as ``hit[1].frame``."""
        return place_at(self.path, self.text, (*self.address, *steps_of(key)))

    def error(self, key: str, found: str, expected: str, next_step: str) -> InputError:
        where = ", ".join([self.where(key), *map(clipped, (*_labels(self.address), key))])
        return InputError(where, found, expected, next_step)

    def only(self, *known: str) -> None:
        for key in self.data:
            if key not in known:
                raise self.error(key, "a key that is not known", f"one of {', '.join(known)}", "remove or rename it")

    def without(self, *keys: str) -> TomlTable:
        """The same table in the same place without some of its keys."""
        return self._at(self.address, {key: value for key, value in self.data.items() if key not in keys})

    def table(self, key: str) -> TomlTable:
        """The table under a key; an empty one where there is none."""
        return self._at((*self.address, key), self.get(key, dict, "a table", {}))

    def tables(self, key: str) -> list[TomlTable]:
        """The entries of a list of tables; none where there is no such list."""
        entries = self.get(key, list, f"[[{key}]] entries", [])
        for entry in entries:
            if not isinstance(entry, dict):
                raise self.error(key, describe(entry), f"[[{key}]] entries", f"write each under a [[{key}]] header")
        return [self._at((*self.address, key, index), entry) for index, entry in enumerate(entries)]

    def get(self, key: str, kind: type, expected: str, default: Any = None) -> Any:
        value = self.data.get(key, default)
        if not isinstance(value, kind):
            raise self.error(key, describe(value), expected, "correct it")
        return value

    def one_of(self, key: str, choices: Sequence[Word], default: Word) -> Word:
        value = self.get(key, str, f"one of {', '.join(choices)}", default)
        for choice in choices:
            if value == choice:
                return choice
        raise self.error(key, describe(value), f"one of {', '.join(choices)}", "choose one of these")

    def integer(self, key: str, least: int, default: int | None = None) -> int:
        value = self.data.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value < 2**31:
            raise self.error(key, describe(value), f"a whole number, {least} or more", "correct it")
        return value

    def number(self, key: str, test: Callable[[float], bool], expected: str, default: float | None = None) -> float:
        return self.checked(key, self.data.get(key, default), test, expected)

    def checked(self, key: str, value: object, test: Callable[[float], bool], expected: str) -> float:
        if not is_number(value) or not test(float(value)):
            raise self.error(key, describe(value), expected, "correct it")
        return float(value)


def _labels(address: Address) -> list[str]:
    """``("clip", 1, "settings", "window")`` → ``clip 2`` and ``[settings.window]``."""
    labels: list[str] = []
    names: list[str] = []
    for step in address:
        if isinstance(step, int):
            labels.append(f"{'.'.join(names)} {step + 1}")
            names = []
        else:
            names.append(step if re.fullmatch(r"[A-Za-z0-9_-]+", step) else f'"{step}"')
    return [*labels, f"[{'.'.join(names)}]"] if names else labels
