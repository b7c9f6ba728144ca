"""Whether what was noted of a camera and what was measured agree, and which figure alone would explain it if not."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from postfix.camera import (
    FIGURE_WORDS,
    Camera,
    depth_pct_mm,
    distance_of,
    focus_share,
    is_distance,
    is_figure,
    nearest_with,
    side_parallax_pct,
)
from postfix.lengths import length_text
from postfix.story.real_distance import real_words
from postfix.story.words import pct_text


@dataclass(frozen=True)
class End:
    """Near or far of a shot: what was measured and what the camera's figures give, percent of width.

    ``figure`` is the distance that was noted for it, as :class:`~postfix.camera.Camera` calls it; empty where nothing
    was, and ``predicted_pct`` is that of infinity, beyond which nothing can be.

    What toed-in cameras give depends on the place in the picture, from ``predicted_pct`` to ``most_pct`` at the sides.

    ``focus_pct`` is by how much more there may be, of either sign, because the focus was not noted.
    """

    word: str
    measured_pct: float
    predicted_pct: float
    most_pct: float
    figure: str = ""
    focus_pct: float = 0.0

    @property
    def error_pct(self) -> float:
        return self.off(self.measured_pct)

    def off(self, pct: float) -> float:
        """By how much a parallax is outside what was predicted."""
        least, most = min(self.focus_pct, 0.0), max(self.focus_pct, 0.0)
        return pct - min(max(pct, self.predicted_pct + least), self.most_pct + most)

    def told(self) -> str:
        """What was predicted, in words."""
        least, most = pct_text(self.predicted_pct), pct_text(self.most_pct)
        limit = "" if self.figure else "at most "
        return f"{limit}{least}" if least == most else f"{least} in the middle to {most} at the sides"


def ends_of(
    solved: Camera,
    predicted_pct: tuple[float | None, float | None],
    measured_pct: tuple[float, float],
    apart_pct: float,
    unsure_pct: float = 0.0,
    fixed_pct: float = 0.0,
) -> tuple[End, ...]:
    """What can be held against each other.

    Parameters
    ----------
    solved : Camera
        With its convergence, noted or found.
    predicted_pct, measured_pct : tuple of 2
        Of near and far; None and NaN where not known.
    apart_pct : float
        By which far must lie beyond infinity to be worth telling where no distance was noted for it.
    unsure_pct : float
        By how much less it may be, because the convergence was found from something whose place in the picture is not
        known.
    fixed_pct : float
        As :func:`disagreement` has it.
    """
    ends = [
        End(word, measured, predicted - unsure_pct, _most_pct(solved, figure, predicted), figure)
        for word, figure, measured, predicted in zip(
            ("near", "far"), ("near_mm", "far_mm"), measured_pct, predicted_pct
        )
        if predicted is not None and math.isfinite(measured)
    ]
    most = side_parallax_pct(solved, math.inf)
    if solved.far_mm is None and most is not None and measured_pct[1] > most + apart_pct:
        ends.append(End("far", measured_pct[1], most, most))
    share = focus_share(solved, _nearest_mm(solved, measured_pct[0]))
    return tuple(replace(end, focus_pct=share * (end.predicted_pct - fixed_pct)) for end in ends)


def _nearest_mm(solved: Camera, measured_pct: float) -> float | None:
    """What a lens may have been focused on that is nearest: as noted, or else as measured, or what it converged on."""
    if solved.near_mm is not None:
        return solved.near_mm
    measured = nearest_with(solved, measured_pct) if math.isfinite(measured_pct) else None
    return solved.convergence_mm if measured is None else measured


def _most_pct(solved: Camera, figure: str, predicted_pct: float) -> float:
    most = side_parallax_pct(solved, getattr(solved, figure))
    return predicted_pct if most is None else max(most, predicted_pct)


def disagreement(camera: Camera, solved: Camera, ends: tuple[End, ...], fixed_pct: float, apart_pct: float) -> str:
    """What does not agree, and which figures to doubt; empty where all agrees.

    A figure is doubted where another value of it alone would bring every end to within half of ``apart_pct``.

    Parameters
    ----------
    camera, solved : Camera
        As noted, and with its convergence found.
    ends : tuple of End
    fixed_pct : float
        Parallax that stays whatever the interaxial: 0, or that of the thing by which the convergence was found.
    apart_pct : float
        What measured and predicted parallax may differ by.
    """
    if all(abs(end.error_pct) <= apart_pct for end in ends):
        return ""
    measured = " and ".join(f"{end.word} {pct_text(end.measured_pct)}" for end in ends)
    by_camera = " and ".join(f"{end.word} {end.told()}" for end in ends)
    # As a lens focused far away draws it; what the focus leaves open only where nothing explains that.
    plain = tuple(replace(end, focus_pct=0.0) for end in ends)
    within_pct = apart_pct / 2.0
    doubts = _doubts(camera, solved, plain, fixed_pct, within_pct) or _doubts(
        camera, solved, ends, fixed_pct, within_pct
    )
    told = f"measured {measured}, by what was noted of the camera {by_camera}: "
    if _are_exchanged(ends, apart_pct):
        doubts.append("the order of the eyes: exchanged, near and far would agree")
    return told + (f"doubt {', or '.join(doubts)}" if doubts else "more than one of the noted figures must be off")


def _doubts(camera: Camera, solved: Camera, ends: tuple[End, ...], fixed_pct: float, within_pct: float) -> list[str]:
    found = (
        _convergence(camera, ends, within_pct),
        _base(camera, ends, fixed_pct, within_pct),
        *(_distance(solved, end, ends, within_pct) for end in ends),
    )
    return [words for words in found if words]


def _are_exchanged(ends: tuple[End, ...], apart_pct: float) -> bool:
    """Whether what was measured is what was predicted, mirrored about the screen: the left eye was taken for the right.

    What lies near is then behind the screen as far as it should be in front.
    """
    if len(ends) != 2 or not all(end.figure for end in ends):
        return False
    near, far = ends
    return abs(far.off(-near.measured_pct)) <= apart_pct and abs(near.off(-far.measured_pct)) <= apart_pct


def _convergence(camera: Camera, ends: tuple[End, ...], within_pct: float) -> str:
    """Another convergence, or a HIT, moves both ends alike."""
    depth, converged = depth_pct_mm(camera), camera.convergence_mm
    if depth is None or converged is None or not is_distance(converged):
        return ""
    shift_pct = (min(end.error_pct for end in ends) + max(end.error_pct for end in ends)) / 2.0
    nearness = 1.0 / converged + shift_pct / depth
    if any(abs(end.error_pct - shift_pct) > within_pct for end in ends) or nearness * depth < -within_pct:
        return ""
    agrees = 1.0 / nearness if nearness > 0.0 else math.inf
    most = "" if all(end.figure for end in ends) else "at most "
    return f"the convergence distance of {length_text(converged)} ({most}{length_text(agrees)} would agree)"


def _base(camera: Camera, ends: tuple[End, ...], fixed_pct: float, within_pct: float) -> str:
    """Another interaxial stretches all parallax; so does another focal length or sensor width."""
    base = camera.interaxial_mm
    pairs = [((end.predicted_pct + end.most_pct) / 2.0 - fixed_pct, end.measured_pct - fixed_pct) for end in ends]
    weight = sum(predicted * predicted for predicted, _ in pairs)
    if base is None or not weight > 0.0:
        return ""
    share = sum(predicted * measured for predicted, measured in pairs) / weight
    if not (share > 0.0 and is_figure(base * share)):
        return ""
    if any(abs(end.off((end.measured_pct - fixed_pct) / share + fixed_pct)) * share > within_pct for end in ends):
        return ""
    least = "" if all(end.figure for end in ends) else "at least "
    return (
        f"the interaxial of {length_text(base)} ({least}{length_text(base * share)} would agree; so would "
        f"{share:.2g} times the focal length, or {1.0 / share:.2g} times the sensor width)"
    )


def _explains(solved: Camera, end: End, within_pct: float) -> bool:
    """Whether some other distance has the parallax that was measured: none has more than infinity does."""
    if not distance_of(solved, end.measured_pct).is_infinite:
        return True
    if getattr(solved, end.figure) == math.inf:
        return False
    most = side_parallax_pct(solved, math.inf)
    return most is not None and end.measured_pct <= most + within_pct


def _distance(solved: Camera, end: End, ends: tuple[End, ...], within_pct: float) -> str:
    """Another distance moves one end alone."""
    noted = getattr(solved, end.figure) if end.figure else None
    others = [other for other in ends if other is not end]
    if noted is None or any(abs(other.error_pct) > within_pct for other in others):
        return ""
    found = real_words(solved, end.measured_pct)
    if not found or not _explains(solved, end, within_pct):
        return ""
    return f"the {FIGURE_WORDS[end.figure]} of {length_text(noted)} (measured: {found})"
