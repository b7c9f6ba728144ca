"""What an earlier run finished and a later one may keep."""

from __future__ import annotations

import json
import logging
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from postfix import __version__
from postfix.deliver.changelog import EyeFile
from postfix.errors import InputError, OutputError
from postfix.job.version import SourceChoice, Version, write_text
from postfix.plan.file import plan_text
from postfix.plan.model import Plan
from postfix.source.layout import Layout

log = logging.getLogger("postfix")


_DIFFERENT = {"cuts": "other cuts", "frames": "other frames"}
"""How to say that a fact differs, where "another" would not do."""


def _listed(parts: list[str]) -> str:
    *others, last = parts
    return f"{', '.join(others)} and {last}" if others else last


@dataclass(frozen=True)
class Origin:
    """What a measurement was made from, kept beside it so that a later run can tell whether it still holds."""

    path: Path
    choice: SourceChoice
    sources: Callable[[], tuple[EyeFile, ...]]

    def _facts(self) -> dict[str, Any]:
        edit = self.choice.edit
        return {
            "program version": __version__,
            "cuts": "one shot" if self.choice.one_shot else "found in the picture" if edit is None else str(edit),
            "frames": self.choice.frames and list(self.choice.frames),
            "offset": self.choice.reading.offset_frames,
            "order of the eyes": "exchanged" if self.choice.reading.swapped else "as given",
            "layout of the eyes": self.choice.layout,
            "frame size": self.choice.frame_px and list(self.choice.frame_px),
            **{f"{source.eye} eye": asdict(source) for source in self.sources()},
        }

    def keep(self) -> None:
        """Write it down; only now does the measurement count as finished."""
        write_text(self.path, json.dumps(self._facts(), indent=2, ensure_ascii=False) + "\n", force=True)

    def is_kept(self) -> bool:
        """Whether a finished measurement of these very files is there.

        Raises
        ------
        InputError
            Where there is one of other files, cuts or program version; names what differs.
        """
        if not self.path.exists():
            return False
        kept, now = _read_json(self.path), self._facts()
        different = [name for name in now if kept.get(name) != now[name]]
        if {"offset", "order of the eyes"} & set(different):
            # The eyes differ then as a matter of course.
            different = [name for name in different if not name.endswith(" eye")]
        changed = [_DIFFERENT.get(name, f"another {name}") for name in different]
        if changed:
            raise InputError(
                self.path,
                f"an earlier run with {_listed(changed)}",
                "the run that is to be carried on",
                "give the same source, or start anew with --force instead of --resume",
            )
        return True


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
    kept = _read_json(log_file) if log_file.exists() else {}
    same_plan = plan_file.exists() and plan_file.read_text(encoding="utf-8") == plan_text(plan)
    same_sources = kept.get("sources") == [asdict(source) for source in sources]
    delivered = {output.get("layout") for output in kept.get("outputs", ())}
    same_delivery = delivered == set(layouts) and kept.get("codec") == codec
    if same_plan and same_sources and same_delivery:
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


def _read_json(path: Path) -> dict[str, Any]:
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(
            path, f"no JSON in it ({error})", "what an earlier run wrote", "start anew with --force"
        ) from error
    if not isinstance(data, dict):
        raise InputError(path, "no JSON object in it", "what an earlier run wrote", "start anew with --force")
    return data
