"""From what was typed to a screen."""

from __future__ import annotations

from pathlib import Path

import pytest

from postfix.errors import InputError, UsageError
from postfix.plan.screens import is_screen_name, read_screen, read_screens
from postfix.viewing import BUILTIN_SCREENS, Screen


@pytest.mark.parametrize("name", list(BUILTIN_SCREENS))
def test_a_built_in_screen_is_found_by_name(name: str) -> None:
    assert read_screen(name) is BUILTIN_SCREENS[name]


def test_width_times_distance_in_millimetres_makes_a_screen() -> None:
    screen = read_screen("8500x12000")
    assert (screen.name, screen.width_mm, screen.distance_mm, screen.eye_mm) == ("8500x12000", 8500.0, 12000.0, 65.0)


@pytest.mark.parametrize("typed", ["0x100", "100x0", "99999999x1", "nan", "8500X12000", "cinema", "", "1e3x5"])
def test_what_is_no_screen_is_wrong_use_and_says_what_there_is(typed: str) -> None:
    with pytest.raises(UsageError, match=r"millimetres") as caught:
        read_screen(typed)
    if not typed[:1].isdigit():
        assert "cinema-12m" in str(caught.value)


def _table(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def test_a_table_of_screens_is_read_and_goes_before_built_in_names(tmp_path: Path) -> None:
    file = _table(
        tmp_path / "screens.toml",
        '[[screen]]\nname = "pier hall"\nwidth_mm = 4200\ndistance_mm = 6300.5\neye_mm = 55\n\n'
        '[[screen]]\nname = "tv-55in"\nwidth_mm = 1\ndistance_mm = 2\n',
    )
    assert read_screen("pier hall", [file]) == Screen("pier hall", 4200.0, 6300.5, 55.0)
    assert read_screen("tv-55in", [file]).width_mm == 1.0
    with pytest.raises(UsageError, match="pier hall"):
        read_screen("pier", [file])


@pytest.mark.parametrize(
    ("text", "line", "word"),
    [
        ('[[screen]]\nname = "a"\nwidth_mm = -1\ndistance_mm = 1\n', 3, "width_mm"),
        ('[[screen]]\nname = "a"\nwidth_mm = 1\ndistance_mm = "far"\n', 4, "distance_mm"),
        ('[[screen]]\nname = "a"\nwidth_mm = 1\n', 1, "distance_mm"),
        ('[[screen]]\nname = "a/b"\nwidth_mm = 1\ndistance_mm = 1\n', 2, "name"),
        ('[[screen]]\nname = "a"\nwidth_mm = 1\ndistance_mm = inf\n', 4, "distance_mm"),
        ('[[screen]]\nname = "a"\nwidth_mm = 1\ndistance_mm = 1\ncolour = 3\n', 5, "colour"),
        ('[[screen]]\nname="a"\nwidth_mm=1\ndistance_mm=1\n[[screen]]\nname="a"\nwidth_mm=1\ndistance_mm=1\n', 6, "a"),
    ],
)
def test_a_fault_in_a_table_is_named_with_its_line_and_key(tmp_path: Path, text: str, line: int, word: str) -> None:
    file = _table(tmp_path / "screens.toml", text)
    with pytest.raises(InputError) as caught:
        read_screens(file)
    assert f"{file}, line {line}" in str(caught.value)
    assert word in str(caught.value)


@pytest.mark.parametrize("text", ["", "screen = 3", "screen = []", "screen = [1]", "[limits]\nx = 1", "not toml ]["])
def test_a_table_without_screens_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(InputError):
        read_screens(_table(tmp_path / "screens.toml", text))


def test_children_have_eyes_50_mm_apart_unless_a_measure_is_given(tmp_path: Path) -> None:
    text = '[[screen]]\nname = "school"\nwidth_mm = 3000\ndistance_mm = 4000\n'
    for line, eye_mm in (("children = true", 50.0), ("children = false", 65.0), ("eye_mm = 45", 45.0), ("", 65.0)):
        assert read_screen("school", [_table(tmp_path / "screens.toml", text + line)]).eye_mm == eye_mm
    for line in ("children = 1", 'children = "yes"', "eye_mm = 45\nchildren = true"):
        file = _table(tmp_path / "screens.toml", text + line)
        with pytest.raises(InputError, match=r"line [56], screen 1, children: "):
            read_screens(file)


def test_a_missing_table_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_screen("x", [tmp_path / "none.toml"])


@pytest.mark.parametrize("name", ["", " a", "..", ".a", "a/b", "a\\b", "a:b", "a\n", 'a"b'])
def test_names_that_cannot_be_folders_are_not_screen_names(name: str) -> None:
    assert not is_screen_name(name)
    assert is_screen_name("pier hall 2")
