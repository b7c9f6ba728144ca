"""Which shot of one plan is which of another."""

from __future__ import annotations

from collections.abc import Sequence

from postfix.plan.model import ShotPlan

ShotPair = tuple[ShotPlan | None, ShotPlan | None]
"""A shot of the first plan and the same one of the second; None where the other has no such shot."""


def shot_pairs(a: Sequence[ShotPlan], b: Sequence[ShotPlan]) -> list[ShotPair]:
    """All shots of two plans in order: pairs of the same frames first, then, between those, of the same name."""
    frames_of_b = {(shot.first, shot.last): index for index, shot in enumerate(b)}
    fixed = [
        (index, frames_of_b[shot.first, shot.last])
        for index, shot in enumerate(a)
        if (shot.first, shot.last) in frames_of_b
    ]
    pairs: list[ShotPair] = []
    at_a = at_b = 0
    for next_a, next_b in [*fixed, (len(a), len(b))]:
        pairs += _by_name(a[at_a:next_a], b[at_b:next_b])
        if next_a < len(a):
            pairs.append((a[next_a], b[next_b]))
        at_a, at_b = next_a + 1, next_b + 1
    return pairs


def _by_name(a: Sequence[ShotPlan], b: Sequence[ShotPlan]) -> list[ShotPair]:
    """Pairs of the same name that leave both in order; the rest stands alone, in the order of their frames."""
    places = {shot.name: index for index, shot in enumerate(b)}
    pairs: list[ShotPair] = []
    alone: list[ShotPlan] = []
    at_b = 0
    for shot in a:
        place = places.get(shot.name, -1)
        if place < at_b:
            alone.append(shot)
            continue
        pairs += _in_order(alone, b[at_b:place])
        pairs.append((shot, b[place]))
        alone, at_b = [], place + 1
    return pairs + _in_order(alone, b[at_b:])


def _in_order(a: Sequence[ShotPlan], b: Sequence[ShotPlan]) -> list[ShotPair]:
    alone: list[tuple[int, ShotPair]] = [(shot.first, (shot, None)) for shot in a]
    alone += [(shot.first, (None, shot)) for shot in b]
    return [pair for _, pair in sorted(alone, key=lambda entry: entry[0])]
