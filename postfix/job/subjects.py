"""What a person pinned is looked for in the footage, so that planning knows its parallax."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from postfix.errors import InputError
from postfix.measure.subject import SubjectFound, subjects_parallax
from postfix.plan.model import Pin, Plan, ShotPlan, Subject
from postfix.plan.pins import awaits_subject, require_in_picture
from postfix.source.pair import PairSource

CONFIDENCE_LEAST = 0.5
"""A subject that was found with less is not believed. Project default."""


def found_pins(pair: PairSource, pins: Sequence[Pin]) -> tuple[Pin, ...]:
    """The pins with the parallax of every subject that has none yet.

    Raises
    ------
    InputError
        Where a box leaves the picture, its frame the clip, or nothing in it can be told with confidence.
    """
    missing = [pin for pin in pins if pin.subject is not None and pin.subject.found_pct is None]
    found = _looked_for(pair, [(pin.subject, pin.where) for pin in missing if pin.subject is not None])
    by_pin = dict(zip(map(id, missing), found))
    return tuple(replace(pin, subject=by_pin[id(pin)]) if id(pin) in by_pin else pin for pin in pins)


def found_plan(pair: PairSource, plan: Plan, where: str) -> Plan:
    """The same for the subjects that stand in a plan, which ``where`` names, and that its HIT shall follow from."""
    missing = [shot for shot in plan.shots if awaits_subject(shot)]
    found = _looked_for(pair, [(shot.subject, _place(shot, where)) for shot in missing if shot.subject])
    by_name = {shot.name: subject for shot, subject in zip(missing, found)}
    shots = tuple(replace(shot, subject=by_name.get(shot.name, shot.subject)) for shot in plan.shots)
    return replace(plan, shots=shots)


def unfound(plan: Plan, where: str) -> list[str]:
    """Where the subjects stand that :func:`found_plan` would look for; empty where there are none."""
    return [_place(shot, where) for shot in plan.shots if awaits_subject(shot)]


def _place(shot: ShotPlan, where: str) -> str:
    return f"{where}, shot {shot.name}, subject"


def _looked_for(pair: PairSource, wanted: Sequence[tuple[Subject, str]]) -> list[Subject]:
    for subject, where in wanted:
        require_in_picture(subject, (pair.format.width, pair.format.height), where)
        if not 0 <= subject.frame < pair.count:
            raise InputError(
                where, f"frame {subject.frame}", f"a frame of the clip, 0 to {pair.count - 1}", "correct the frame"
            )
    if not wanted:
        return []
    found = subjects_parallax(pair, [(subject.frame, subject.box) for subject, _ in wanted])
    return [_believed(subject, one, where) for (subject, where), one in zip(wanted, found)]


def _believed(subject: Subject, found: SubjectFound, where: str) -> Subject:
    if not found.confidence >= CONFIDENCE_LEAST:
        raise InputError(
            where,
            f"nothing sure in the box at frame {subject.frame} ({found.reason or 'too little to match'})",
            f"something with detail that both eyes see, found with a confidence of {CONFIDENCE_LEAST:g} or more",
            "choose another frame or box, or give the hit by hand",
        )
    return replace(subject, found_pct=round(found.parallax_pct, 4))
