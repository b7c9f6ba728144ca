"""A clip measured part by part: the same as in one go however it is cut, through bytes, and bytes that are damaged."""

import hashlib
import pickle
import struct
import zlib
from dataclasses import fields
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from memory_clips import crop, joined, shown, with_pictures

from postfix.errors import InputError
from postfix.measure import part as part_module
from postfix.measure.clip import measure_clip
from postfix.measure.part import assembled, measure_part, measure_parts, part_bytes, part_from
from postfix.measure.row_blocks import BLOCK_ROWS, pack, unpack
from postfix.measure.rows import from_packed, gathered_rows
from postfix.measure.table import EDGE_BANDS, NAN, ClipInfo, FrameMeasure, MeasurementTable, RivalBox, columns_of_rows
from postfix.measure.table_csv import as_written, table_lines, table_text
from postfix.measure.timecodes import Timecodes, TimecodesGathered
from postfix.source.shots import Shot
from postfix.source.timecode import timecode_at

COUNT, CUT = 36, 20
PROPERTY = settings(
    max_examples=10, deadline=None, database=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def eventful():
    """Two shots with an eye that stands still, a frame shown thrice, black and a frame that both eyes share."""

    def change(frame, left, right):
        if 4 <= frame < 9:
            right = crop(3, 1, 3)
        if 14 <= frame < 17:
            left, right = crop(3, 0, 13), crop(3, 1, 13)
        if 25 <= frame < 30:
            left, right = np.zeros_like(left), np.zeros_like(right)
        if frame == 33:
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


def test_frames_that_follow_each_other_are_decoded_once_for_all_their_parts(measured):
    pair, every, whole = measured
    taken = []

    class Counting(type(pair)):
        def frames(self, first=0, last=None, *, colour_every=1):
            taken.append((first, last))
            return super().frames(first, last, colour_every=colour_every)

    counting = Counting(pair.left, pair.right, pair.name)
    parts = measure_parts(counting, [(0, 9), (10, 30), (31, COUNT - 1)], every=every)
    assert everything(assembled(pair, parts, every=every)) == whole
    assert taken == [(0, COUNT - 1)]


def test_what_was_finished_before_a_frame_failed_has_been_given():
    pair = eventful()

    class Fails(type(pair)):
        def frames(self, first=0, last=None, *, colour_every=1):
            for frame, left, right in super().frames(first, last, colour_every=colour_every):
                if frame == 25:
                    raise InputError("kite", "a hole", "a frame", "copy it again", frame=frame)
                yield frame, left, right

    made = measure_parts(Fails(pair.left, pair.right, "kite"), [(0, 9), (10, 19), (20, 29)], workers=1)
    parts, given_parts = ((part.first, part.last) for part in made), []
    with pytest.raises(InputError, match="a hole"):
        given_parts.extend(parts)
    assert given_parts == [(0, 9), (10, 19)]


@pytest.fixture(scope="module")
def two_parts():
    return list(measure_parts(eventful(), [(0, 19), (20, COUNT - 1)]))


def test_parts_that_are_missing_twice_or_of_another_run_are_refused(two_parts):
    pair, (first, second) = eventful(), two_parts
    for wrong in ([], [first], [second], [first, first], [second, first], [first, second, second]):
        with pytest.raises(ValueError, match="frames"):
            assembled(pair, wrong)
    with pytest.raises(ValueError, match="every"):
        assembled(pair, two_parts, every=5)
    with pytest.raises(ValueError, match="gap"):
        next(measure_parts(pair, [(0, 9), (11, 20)]))


# ---- as bytes


def same_parts(some, others):
    """To the last bit, in every field."""
    plain = ("first", "last", "every", "still")
    arrays = ("measured", "luma", "sync", "has_sync", "order")
    assert [getattr(some, name) for name in plain] == [getattr(others, name) for name in plain]
    for name in arrays:
        one, other = getattr(some, name), getattr(others, name)
        assert (one.shape, one.dtype, one.tobytes()) == (other.shape, other.dtype, other.tobytes()), name
    for one, other in ((some.head, others.head), (some.tail, others.tail)):
        assert (one is None) == (other is None)
        assert one is None or [eye.tobytes() for eye in one] == [eye.tobytes() for eye in other]
    return list(map(repr, some.rows)) == list(map(repr, others.rows))


def test_a_part_comes_back_from_its_bytes_as_it_was(two_parts):
    for part in two_parts:
        data = part_bytes(part)
        back = part_from(data)
        assert same_parts(back, part)
        assert part_bytes(back) == data
        assert len(data) < 16_000 * part.count + 25_000


def test_bytes_that_were_cut_off_changed_or_lengthened_are_refused(two_parts):
    data = part_bytes(two_parts[0])
    rng = np.random.default_rng(8)
    for length in (0, 1, 20, 55, 60, 500, len(data) // 2, len(data) - 1):
        with pytest.raises(ValueError, match="part"):
            part_from(data[:length])
    with pytest.raises(ValueError, match="checksum"):
        part_from(data + b"\0")
    for at in rng.integers(0, len(data), 60).tolist():
        damaged = bytearray(data)
        damaged[at] ^= 1 << int(rng.integers(0, 8))
        with pytest.raises(ValueError, match="part"):
            part_from(bytes(damaged))


def sealed(body):
    """Bytes that somebody made with a checksum that is right."""
    mark = b"postfix measured part 1\n"
    return mark + hashlib.sha256(body).digest() + body


def test_bytes_that_are_wrong_under_a_right_checksum_are_refused_without_being_believed(two_parts):
    body = part_bytes(two_parts[0])[len(sealed(b"")) :]
    assert everything_in(part_from(sealed(body))) == everything_in(two_parts[0])
    rng = np.random.default_rng(9)
    refused = 0
    for _ in range(300):
        wrong = bytearray(body)
        # The first bytes hold all the sizes, and most that can be contradicted.
        for at in rng.integers(0, 60 if rng.random() < 0.7 else len(body), 2).tolist():
            wrong[at] = int(rng.integers(0, 256))
        try:
            part = part_from(sealed(bytes(wrong)))
            list(part.rows)
        except ValueError:
            refused += 1
    assert refused > 150


def test_sizes_beyond_all_there_is_are_refused_before_anything_is_made(two_parts):
    body = part_bytes(two_parts[0])[len(sealed(b"")) :]
    for first, last in ((0, 2**63), (5, 4), (0, 2**40 - 1)):
        with pytest.raises(ValueError, match=r"part|early"):
            part_from(sealed(struct.pack("<QQ", first, last) + body[16:]))
    head = struct.pack("<HIII", BLOCK_ROWS, 1 << 25, 0, 0)
    with pytest.raises(ValueError, match="length"):
        unpack(head + zlib.compress(b"\0" * 1000))
    bomb = zlib.compress(b"\0" * (1 << 23))
    with pytest.raises(ValueError, match="length"):
        unpack(struct.pack("<HIII", 1, 100, 0, 0) + bomb)


def everything_in(part):
    return [repr(row) for row in part.rows], part.sync.tobytes(), part.luma.tobytes(), part.order.tobytes(), part.still


# ---- rows in little memory


NUMBERS = st.one_of(
    st.floats(width=64),
    st.floats(width=32),
    st.integers(-40_000, 40_000).map(lambda n: n / 10_000),
    st.integers(-(10**12), 10**12).map(lambda n: n / 1000),
    st.sampled_from([float("nan"), 0.0, -0.0, float("inf"), -327.68, 3.2768, -3.2768, 5e-324, 1.7976931348623157e308]),
)
BOXES = st.one_of(st.just(()), st.tuples(*[st.integers(0, 999_999)] * 4))
RIVALS = st.builds(RivalBox, st.sampled_from(["left", "right"]), *[st.integers(-(10**7) + 1, 10**7 - 1)] * 4)


@st.composite
def rows_of_a_table(draw):
    """Rows whose neighbours are alike in some columns and in others not."""
    count, pool = draw(st.integers(1, 3)), draw(st.lists(NUMBERS, min_size=1, max_size=4))
    figure = st.sampled_from(pool)
    made = []
    for _ in range(count):
        facts = {}
        for field in fields(FrameMeasure):
            if isinstance(field.default, float):
                facts[field.name] = draw(figure)
            elif field.name.endswith("box"):
                facts[field.name] = draw(BOXES)
            elif isinstance(field.default, tuple) and field.default:
                value = draw(figure)
                facts[field.name] = (value, *(draw(figure),) * (len(field.default) - 1))
        facts["rivalry_boxes"] = tuple(draw(st.lists(RIVALS, max_size=3)))
        facts |= {"interpolated": draw(st.booleans()), "note": draw(st.text(max_size=5))}
        made.append(FrameMeasure(**facts))
    return made * draw(st.sampled_from([1, 1, 21, 43]))


@PROPERTY
@given(rows=rows_of_a_table())
@example(rows=[FrameMeasure(near_pct=value) for value in (1 / 3, -0.0, NAN, 1e300)] * 16)
@example(rows=[FrameMeasure(near_pct=-0.0), FrameMeasure(near_pct=1.5), FrameMeasure()])
@example(rows=[FrameMeasure(near_pct=value) for value in (-3.2768, 3.2767, NAN)])
@example(rows=[FrameMeasure(near_pct=value) for value in (-(2.0**31) / 10_000, 0.0, NAN)])
def test_whatever_rows_hold_comes_back_to_the_last_bit(rows):
    packed = gathered_rows(rows)
    assert [repr(row) for row in packed] == [repr(row) for row in rows]
    again = from_packed(packed.packed(), len(rows))
    assert again == packed == pickle.loads(pickle.dumps(packed))
    names = [field.name for field in fields(FrameMeasure) if field.name not in ("note", "rivalry_boxes")]
    for name, values in columns_of_rows(packed, names).items():
        assert np.array_equal(values, columns_of_rows(rows, [name])[name], equal_nan=True), name


def numbered(count):
    return [FrameMeasure(near_pct=-frame / 7, note="odd" if frame % 2 else "") for frame in range(count)]


@pytest.mark.parametrize("count", [0, 1, BLOCK_ROWS - 1, BLOCK_ROWS, BLOCK_ROWS + 1, 3 * BLOCK_ROWS + 5])
def test_packed_rows_are_a_sequence_like_any_other(count):
    plain, packed = numbered(count), gathered_rows(numbered(count))
    assert len(packed) == count
    assert list(map(repr, packed)) == list(map(repr, plain))
    for cut in (slice(None), slice(3, 70), slice(60, 60), slice(-5, None), slice(1, 900), slice(None, None, 2)):
        assert list(map(repr, packed[cut])) == list(map(repr, plain[cut])), cut
        if cut.step is None:
            near = columns_of_rows(packed[cut], ["near_pct", "left_rows_pct"])
            assert near["near_pct"].tolist() == [row.near_pct for row in plain[cut]]
            assert near["left_rows_pct"].shape == (len(plain[cut]), EDGE_BANDS)
    for index in {0, count - 1, -1, -count, BLOCK_ROWS} if count > BLOCK_ROWS else ():
        assert packed[index].near_pct == plain[index].near_pct
    with pytest.raises(IndexError):
        packed[count]
    assert packed == gathered_rows(plain)
    assert count == 0 or packed != gathered_rows([*plain[:-1], FrameMeasure(note="another")])
    part = packed[2:90]
    assert from_packed(part.packed(), len(part)) == part


def test_rows_that_no_table_has_are_refused():
    wrong = [
        FrameMeasure(left_rows_pct=(0.0,)),
        FrameMeasure(rivalry_boxes=(RivalBox("left", 2**40, 0, 1, 1),)),
        FrameMeasure(rivalry_boxes=(RivalBox("third", 0, 0, 1, 1),)),
        FrameMeasure(near_box=(1, 2, 3)),
    ]
    for row in wrong:
        with pytest.raises(ValueError, match=r"."):
            pack([row])
    for rows in ([], [FrameMeasure()] * (BLOCK_ROWS + 1)):
        with pytest.raises(ValueError, match="rows to pack"):
            pack(rows)


def measured_like(count):
    """Rows in which every figure differs from frame to frame in all its digits, as the least regular footage gives."""
    rng, made = np.random.default_rng(4), []
    for _ in range(count):
        figures = {
            field.name: float(rng.normal()) for field in fields(FrameMeasure) if isinstance(field.default, float)
        }
        lists = {name: tuple(rng.normal(size=24).tolist()) for name in ("left_rows_pct", "right_rows_pct")}
        boxes = {name: tuple(rng.integers(0, 4000, 4).tolist()) for name in ("near_box", "far_box")}
        made.append(FrameMeasure(**figures, **lists, **boxes))
    return made


def test_a_frame_takes_some_hundred_bytes_however_irregular_its_figures_are():
    rows = measured_like(256)
    shots = (Shot("s001", 0, len(rows) - 1),)
    clip = ClipInfo("kite", 960, 540, Fraction(24), 1)
    table = MeasurementTable(clip, gathered_rows(rows), Timecodes("10:00:00:00", clip.rate, len(rows)), shots)
    for one, most in ((table, 720), (as_written(table), 240)):
        assert sum(map(len, one.frames.packed())) / len(rows) < most
    # What is measured is far more regular than that: most of its figures are whole steps of the matcher.
    real = measure_clip(eventful())
    assert sum(map(len, real.frames.packed())) / COUNT < 300
    assert sum(map(len, as_written(real).frames.packed())) / COUNT < 200


# ---- the file, row by row


def test_the_lines_of_a_table_are_its_text_and_are_read_without_the_whole():
    table = measure_clip(eventful())
    lines = list(table_lines(table))
    assert "".join(lines) == table_text(table)
    assert len(lines) == 1 + COUNT
    assert all(line.endswith("\n") and line.count("\n") == 1 for line in lines)


def test_counted_timecodes_are_those_of_every_frame():
    for start, rate in (("01:00:59:20", Fraction(24)), ("00:00:59;25", Fraction(30000, 1001)), (None, Fraction(25))):
        codes = Timecodes(start, rate, 2000)
        expected = [timecode_at(start, frame, rate) for frame in range(2000)]
        assert list(codes) == expected
        assert codes == tuple(expected) == codes
        assert codes[-1] == expected[-1]
        assert codes[5:9] == tuple(expected[5:9])
        assert codes != expected[:-1]
        with pytest.raises(IndexError):
            codes[2000]


@pytest.mark.parametrize(
    ("texts", "counted"),
    [
        (["01:00:00:22", "01:00:00:23", "01:00:01:00"], True),
        (["", "", ""], True),
        (["01:00:00:22", "01:00:00:23", "01:00:01:01"], False),
        (["01:00:00:22", "", "01:00:01:00"], False),
        (["", "01:00:00:23"], False),
        (["gull", "gull"], False),
        (["01:00:00:99", "01:00:00:99"], False),
        ([" 01:00:00:22", "01:00:00:23"], False),
        ([], True),
    ],
)
def test_timecodes_that_were_read_stay_what_they_are(texts, counted):
    gathered = TimecodesGathered()
    for text in texts:
        gathered.add(text, Fraction(24))
    assert list(gathered.timecodes()) == texts
    assert isinstance(gathered.timecodes(), Timecodes) == counted
