"""All shots of an edit with the figures that decisions need, gathered once and used for every screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from postfix.measure.columns import Columns
from postfix.measure.table import ClipInfo
from postfix.plan.choices import cut_depths_pct
from postfix.plan.figures import Figures, figures_as_measured
from postfix.plan.robust import ShotArrays, arrays_of_shots
from postfix.plan.together import Together
from postfix.source.shots import Shot


@dataclass(frozen=True, eq=False)
class EditShot:
    """One shot as measured.

    Attributes
    ----------
    name : str
    first, last : int
        Frames of the clip, both included.
    arrays : ShotArrays
    before : Figures
        As it was shot.
    depths_pct : (float, float)
        What the eyes meet at its first and leave at its last frames; NaN where that is not known.
    dissolve_frames : int
        Over how many frames the shot dissolves in; 0 for a cut.
    """

    name: str
    first: int
    last: int
    arrays: ShotArrays
    before: Figures
    depths_pct: tuple[float, float]
    dissolve_frames: int

    @property
    def count(self) -> int:
        """Frames of the shot."""
        return self.last - self.first + 1


@dataclass(frozen=True, eq=False)
class Edit:
    """A clip, shot by shot."""

    clip: ClipInfo
    columns: Columns
    shots: tuple[EditShot, ...]


def edit_of(columns: Columns, shots: Sequence[Shot] | None = None) -> Edit:
    """The edit of a measurement; ``shots`` in place of the measurement's own, where a person has moved cuts."""
    dissolves = {shot.first: frames for shot, frames in zip(columns.shots, columns.dissolve_frames)}
    cut = columns.shots if shots is None else shots
    each = arrays_of_shots(columns, [(shot.first, shot.last) for shot in cut])
    together = Together.of(shot.last - shot.first + 1 for shot in cut)
    depths = cut_depths_pct(np.concatenate([arrays.median for arrays in each]), together, columns.clip.rate).tolist()
    made = [
        EditShot(
            shot.name,
            shot.first,
            shot.last,
            arrays,
            figures_as_measured(arrays, columns.clip),
            (entry, leave),
            dissolves.get(shot.first, 0),
        )
        for shot, arrays, (entry, leave) in zip(cut, each, depths)
    ]
    return Edit(columns.clip, columns, tuple(made))
