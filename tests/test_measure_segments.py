"""A clip measured part by part: the same as in one go however it is cut, through bytes, and bytes that are damaged."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from memory_clips import crop, joined, shown, with_pictures

from postfix.measure import part as part_module
from postfix.measure.clip import measure_clip
from postfix.measure.part import assembled, measure_part, measure_parts, part_bytes, part_from

COUNT, CUT = 60, 34
PROPERTY = settings(
    max_examples=15, deadline=None, database=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def eventful():
    """Two shots with an eye that stands still, a frame shown thrice, black and a frame that both eyes share."""

    def change(frame, left, right):
        if 4 <= frame < 9:
            right = crop(3, 1, 3)
        if 20 <= frame < 23:
            left, right = crop(3, 0, 19), crop(3, 1, 19)
        if 40 <= frame < 46:
            left, right = np.zeros_like(left), np.zeros_like(right)
        if frame == 50:
            right = left
        return left, right

    return with_pictures(joined(shown(3, CUT), shown(20, COUNT - CUT, first=CUT)), change)


def everything(table):
    """All that a table holds, to the last bit; NaN is like NaN here."""
    others = (table.clip, tuple(table.timecodes), table.shots, table.findings, table.seen_transitions)
    return [repr(frame) for frame in table.frames], repr(others)


def runs_between(borders):
    firsts = sorted({0, *borders, COUNT})
    return [(first, after - 1) for first, after in pairwise(firsts)]


@pytest.fixture(scope="module", autouse=True)
def each_frame_is_measured_once():
    """So that many ways of parting a clip can be tried: what a frame gives depends on its pictures alone."""
    seen, plain = {}, part_module.measure_frame

    def measure_frame(left, right, fmt, *, with_all, pixel_aspect):
        key = (left[0].tobytes(), right[0].tobytes(), with_all)
        if key not in seen:
            seen[key] = plain(left, right, fmt, with_all=with_all, pixel_aspect=pixel_aspect)
        return seen[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(part_module, "measure_frame", measure_frame)
        yield


@pytest.fixture(scope="module", params=[1, 5], ids=["every frame", "a quick look"])
def measured(request):
    """A pair, every how many frames it is measured, and all of its table."""
    pair, every = eventful(), request.param
    return pair, every, everything(measure_clip(pair, every=every))


@PROPERTY
@given(borders=st.sets(st.integers(1, COUNT - 1), max_size=8))
def test_a_clip_measured_in_parts_is_the_same_to_the_last_bit(measured, borders):
    pair, every, whole = measured
    parts = (measure_part(pair, first, last, every=every) for first, last in runs_between(borders))
    assert everything(assembled(pair, (part_from(part_bytes(part)) for part in parts), every=every)) == whole


def test_every_frame_may_be_a_part_of_its_own(measured):
    pair, every, whole = measured
    parts = measure_parts(pair, [(frame, frame) for frame in range(COUNT)], every=every)
    assert everything(assembled(pair, parts, every=every)) == whole
