"""The stages import only what lies before them, and the shared words."""

import ast
from pathlib import Path

import pytest

import postfix

ROOT = Path(postfix.__file__).parent
STAGES = ("source", "measure", "plan", "story", "render", "deliver", "review", "job", "demo")
SHARED = {
    "errors",
    "viewing",
    "limits",
    "versions",
    "effort",
    "outside",
    "camera",
    "shooting",
    "lengths",
    "plain",
    "__version__",
}


def imported(path: Path) -> set[str]:
    """First names below ``postfix`` that a module imports."""
    names = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            if node.module == "postfix":
                names |= {alias.name for alias in node.names}
            elif node.module and node.module.startswith("postfix."):
                names.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            names |= {a.name.split(".")[1] for a in node.names if a.name.startswith("postfix.")}
    return names


@pytest.mark.parametrize("stage", STAGES)
def test_a_stage_imports_only_what_lies_before_it(stage):
    allowed = SHARED | set(STAGES[: STAGES.index(stage) + 1])
    for path in (ROOT / stage).glob("*.py"):
        assert imported(path) <= allowed, f"{path.name} of {stage} reaches ahead: {imported(path) - allowed}"


@pytest.mark.parametrize(
    "word", ["errors", "viewing", "limits", "versions", "effort", "outside", "camera", "shooting", "lengths", "plain"]
)
def test_the_shared_words_import_no_stage(word):
    assert imported(ROOT / f"{word}.py") <= SHARED


def test_every_folder_is_a_stage():
    folders = {path.name for path in ROOT.iterdir() if path.is_dir() and path.name != "__pycache__"}
    assert folders == set(STAGES)
