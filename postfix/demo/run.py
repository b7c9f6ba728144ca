"""The demo: the film is rendered, the whole job run on it, and what was planted set beside what was found and left."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from postfix.camera import Camera
from postfix.deliver.staging import check_output
from postfix.demo.film import FILM, film_length
from postfix.demo.footage import write_film
from postfix.demo.truth import Summary
from postfix.errors import OutputError
from postfix.job.choice import SourceChoice
from postfix.job.memory import settle_for
from postfix.job.progress import bar, page_bar
from postfix.job.run import ClipRun, run_clip
from postfix.job.settings import Settings
from postfix.plan.cameras import Cameras, ShotCamera
from postfix.review.report import write_report
from postfix.review.sheet import contact_sheet, version_rows, write_png
from postfix.viewing import BUILTIN_SCREENS

SCREENS = ("cinema-12m", "tv-55in")
SHEET = "contact-sheet.png"
TRUTH_EVERY_FRAMES = 4

FIGURES = ("near_pct", "far_pct", "left_edge_pct", "right_edge_pct")
_LEAST = {"near_pct", "left_edge_pct", "right_edge_pct"}


@dataclass(frozen=True)
class DemoShot:
    """One shot of the film: what was planted, what the program found, and what it left on each screen.

    Attributes
    ----------
    name, planted : str
    true_pct : dict
        Exact figures of the scene, by :data:`FIGURES`; None where there is nothing to tell.
    found_pct : dict
        The same as measured on the footage; None where the shot was not found as one.
    after : dict
        Screen name → the shot's entry in that version's change log.
    """

    name: str
    planted: str
    true_pct: dict[str, float | None]
    found_pct: dict[str, float | None] | None
    after: dict[str, dict[str, Any]]


@dataclass(frozen=True)
class DemoResult:
    """What the demo made and found."""

    folder: str
    sheet: str
    report: str
    shots: tuple[DemoShot, ...]
    flagged: bool


def check_demo(out: Path) -> None:
    """Refuse, before any work, a folder that exists or cannot be made; raises OutputError."""
    if out.exists():
        raise OutputError(out, "something already there", "a new folder", "name another folder or remove this one")
    check_output(out, folder=True)


def run_demo(out: Path, settings: Settings) -> DemoResult:
    """Render the film into ``out/footage``, run the job into ``out/run`` and leave a contact sheet.

    Raises
    ------
    OutputError
        Where ``out`` exists; the demo never replaces a folder.
    """
    check_demo(out)
    out.mkdir(parents=True)
    with bar("render the film", film_length(), quiet=settings.quiet) as progress:
        left, right = write_film(out / "footage", progress)
    screens = tuple(BUILTIN_SCREENS[name] for name in SCREENS)
    choice = SourceChoice(left, right)
    opened = choice.open()
    settle_for([opened[0]], settings.delivery, len(screens))
    made = run_clip(choice, opened, screens, out / "run", settings, cameras=film_cameras())
    report = write_report(out / "run", page_bar(quiet=settings.quiet))
    cinema = made.versions[0]
    heading = f"The kite workshop, before and after, for {SCREENS[0]}"
    write_png(out / SHEET, contact_sheet(version_rows(cinema.folder), heading))
    return DemoResult(
        folder=str(out), sheet=str(out / SHEET), report=str(report), shots=_compared(made), flagged=made.flagged
    )


def film_cameras() -> Cameras:
    """How each shot of the film was made: its rig's figures, as they would be noted on a set."""
    noted, first = [], 0
    for planted in FILM:
        rig = planted.scene.rig_at(0)
        camera = Camera(rig.interaxial_mm, rig.focal_mm, rig.sensor_width_mm, rig.convergence_m * 1000.0)
        noted.append(ShotCamera(None, first, camera, f"the film's shot {planted.name}"))
        first += planted.frames
    return Cameras(shots=tuple(noted))


def _compared(made: ClipRun) -> tuple[DemoShot, ...]:
    """Each shot of the film beside the shot that was found on the same frames."""
    shots = []
    first = 0
    for planted in FILM:
        last = first + planted.frames - 1
        entries = {
            version.log["screen"]["name"]: entry
            for version in made.versions
            for entry in version.log["shots"]
            if (entry["first"], entry["last"]) == (first, last)
        }
        before = next(iter(entries.values()))["before"] if entries else None
        found = None if before is None else {name: before[name] for name in FIGURES}
        truths = [planted.scene.truth(frame).summary for frame in range(0, planted.frames, TRUTH_EVERY_FRAMES)]
        shots.append(DemoShot(planted.name, planted.planted, _worst(truths), found, entries))
        first = last + 1
    return tuple(shots)


def _worst(truths: list[Summary]) -> dict[str, float | None]:
    """The figures of a shot from the exact ones of its frames: nearest near, farthest far, foremost edges."""
    figures: dict[str, float | None] = {}
    for name in FIGURES:
        values = [value for value in (getattr(truth, name) for truth in truths) if math.isfinite(value)]
        figures[name] = (min(values) if name in _LEAST else max(values)) if values else None
    return figures
