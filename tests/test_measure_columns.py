"""A measurement read straight into columns: the values of the whole table, and the same words for what is wrong.

Every table here is made up; what must come out is what the reader of whole tables makes of the same file (computed).
"""

import re
from dataclasses import fields
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from postfix.errors import InputError
from postfix.measure.columns import LISTS, SCALARS, SMALL, Columns, columns_of
from postfix.measure.columns_csv import read_columns
from postfix.measure.table import (
    EDGE_BANDS,
    NAN,
    ClipInfo,
    FrameMeasure,
    MeasurementTable,
    ShotFinding,
    footage_mark,
)
from postfix.measure.table_csv import read_table, table_text
from postfix.source.shots import Shot

CLIP = ClipInfo("slip, way", 960, 540, Fraction(24000, 1001), 2, "0123456789abcdef")

figure = st.one_of(st.just(NAN), st.just(0.0), st.floats(-15, 15).map(lambda value: round(value, 4)))
box = st.one_of(
    st.just(()),
    st.tuples(st.integers(0, 959), st.integers(0, 539), st.integers(1, 960), st.integers(1, 540)),
)


def listed(length):
    return st.one_of(
        st.just((NAN,) * length),
        st.just((0.0,) * length),
        st.lists(figure, min_size=length, max_size=length).map(tuple),
    )


frame = st.builds(
    FrameMeasure,
    **{name: figure for name in SCALARS if name != "confidence"},
    confidence=st.floats(0, 1),
    left_rows_pct=listed(EDGE_BANDS),
    right_rows_pct=listed(EDGE_BANDS),
    left_hidden_px=listed(4),
    right_hidden_px=listed(4),
    near_box=box,
    far_box=box,
    note=st.sampled_from(["", 'two\nlines; "quoted", and more']),
)


@st.composite
def tables(draw):
    lengths = draw(st.lists(st.integers(1, 4), min_size=1, max_size=4))
    firsts = [sum(lengths[:index]) for index in range(len(lengths))]
    shots = tuple(
        Shot(f"kite {index}; é", first, first + length - 1)
        for index, (first, length) in enumerate(zip(firsts, lengths))
    )
    frames = tuple(draw(st.lists(frame, min_size=sum(lengths), max_size=sum(lengths))))
    finding = st.builds(ShotFinding, transition=st.just("dissolve"), transition_frames=st.integers(0, 40))
    findings = tuple(draw(finding) for _ in shots) if draw(st.booleans()) else ()
    return MeasurementTable(CLIP, frames, ("",) * len(frames), shots, findings)


def same(one: Columns, other: Columns) -> None:
    for field in fields(Columns):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if isinstance(a, np.ndarray):
            kind = np.float32 if field.name in SMALL else np.float64
            assert a.dtype == b.dtype == kind, field.name
            np.testing.assert_array_equal(a, b, err_msg=field.name, strict=True)
        else:
            assert a == b, field.name


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(table=tables())
def test_columns_from_a_file_are_those_of_the_whole_table(table, tmp_path):
    path = tmp_path / "m.csv"
    path.write_text(table_text(table), encoding="utf-8")
    columns = read_columns(path)
    same(columns, columns_of(read_table(path)))
    assert columns.count == len(table.frames)
    for name, length in LISTS.items():
        assert getattr(columns, name).shape == (columns.count, length)


@pytest.fixture
def text():
    rows = (-0.25,) * EDGE_BANDS
    frames = (
        *(
            FrameMeasure(
                near_pct=-1.0 - i / 10, far_pct=0.5, confidence=0.9, left_rows_pct=rows, near_box=(7, 8, 9, 10)
            )
            for i in range(4)
        ),
        FrameMeasure(note="no texture to match"),
    )
    findings = (ShotFinding(0.5), ShotFinding(0.75, transition="dissolve", transition_frames=12))
    shots = (Shot("s001", 0, 2), Shot("s002", 3, 4))
    return table_text(MeasurementTable(CLIP, frames, ("",) * 5, shots, findings))


def test_a_row_without_a_confidence_has_none_to_give(text, tmp_path):
    path = tmp_path / "m.csv"
    assert text.count(",0.900,") == 4
    path.write_text(text.replace(",0.900,", ",,", 2).replace(",0.900,", ", ,"))
    assert read_columns(path).confidence.tolist() == [0.0] * 5
    same(read_columns(path), columns_of(read_table(path)))


@pytest.mark.parametrize(
    "change",
    [
        lambda t: "\ufeff" + t,
        lambda t: t.replace("\n", "\r\n"),
        lambda t: t.replace("\n", "\n\n"),
        lambda t: "".join(f"{line},more\n" for line in t.splitlines()),
        lambda t: t.replace("24000/1001", "24000/1001", 1).replace("24000/1001", " 24000/1001", 1),
        lambda t: t.replace(",-1.0000,", ", -1 ,"),
        lambda t: t.replace(",dissolve,12,", ",,,").replace(",cut,0,", ",,,"),
    ],
)
def test_a_file_that_a_spreadsheet_or_an_editor_wrote_again_is_read_as_well(text, tmp_path, change):
    path = tmp_path / "m.csv"
    path.write_bytes(change(text).encode())
    same(read_columns(path), columns_of(read_table(path)))
    assert read_columns(path).near_pct[0] == -1.0


def spoilt(old, new, count=-1):
    def spoil(text):
        assert old in text
        return text.replace(old, new, count)

    return spoil


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda t: "", "no rows"),
        (lambda t: t.splitlines()[0], "no rows"),
        (lambda t: "\n" + t, "no column frame, timecode, shot"),
        (spoilt("near_pct", "close_pct"), "no column near_pct"),
        (spoilt("far_box", "box"), "no column far_box"),
        (spoilt("footage", "reel"), "no column footage"),
        (spoilt("-1.1000", "one"), "line 3 unreadable (could not convert string to float: 'one')"),
        (spoilt("-1.1000", "nan"), "line 3 unreadable (nan is no figure)"),
        (spoilt("-1.1000", "-inf"), "line 3 unreadable (-inf is no figure)"),
        (spoilt("\n1,", "\n7,"), "line 3 unreadable (frame 7)"),
        (spoilt("\n1,", "\n,"), "line 3 unreadable"),
        (spoilt("\n0,", "\n1,"), "line 2 unreadable (frame 1)"),
        (spoilt("-0.250;" * 2, "-0.250;", 1), "line 2 unreadable (left_rows_pct holds 23 values, not 24)"),
        (spoilt("-0.250;" * 2, "-0.250;inf;", 1), "line 2 unreadable (inf is no figure)"),
        (spoilt(";" * 23, ";" * 24, 1), "line 2 unreadable (right_rows_pct holds 25 values, not 24)"),
        (
            spoilt("0.00;0.00;0.00;0.00", "0.00;0.00;0.00", 1),
            "line 2 unreadable (left_hidden_px holds 3 values, not 4)",
        ),
        (spoilt("7;8;9;10", "7;8;9", 1), "line 2 unreadable ('7;8;9' is no box)"),
        (spoilt("7;8;9;10", "7;8;0;10", 1), "line 2 unreadable ('7;8;0;10' is no box)"),
        (spoilt("7;8;9;10", "7;8;9;1e9", 1), "line 2 unreadable ('7;8;9;1e9' is no box)"),
        (spoilt("0123456789abcdef", "1.2E+14", 1), "line 2 unreadable (footage '1.2E+14' is no mark"),
        (lambda t: t[::-1].replace("fedcba9876543210", "f" * 16, 1)[::-1], "another clip in line 6"),
        (lambda t: t[::-1].replace("fedcba9876543210", "", 1)[::-1], "another clip in line 6"),
        (spoilt("960,540", "961,540", 1), "another clip in line 3"),
        (spoilt("24000/1001", "24/0"), "line 2 unreadable"),
        (spoilt("24000/1001", "-24"), "line 2 unreadable (a size, rate or step that is not above zero)"),
        (spoilt("\n1,,s001", "\n1,,s009"), "shot 's001' in line 4"),
        (spoilt(",s002", ","), "shot '' in line 5"),
        (spoilt(",cut,0,", ",wipe,0,"), "line 2 unreadable (wipe over 0 frames is no transition)"),
        (spoilt(",dissolve,12,", ",dissolve,-1,"), "line 5 unreadable"),
        (spoilt(",dissolve,12,", ",,,"), "findings for 1 of 2 shots"),
        (lambda t: t[:-60], "line 6 unreadable"),
        (lambda t: t + '5,"', "no CSV (unexpected end of data)"),
        (lambda t: "\x00\x01", "no column frame"),
    ],
)
def test_a_spoilt_file_is_refused_in_the_same_words_whoever_reads_it(text, tmp_path, spoil, says):
    path = tmp_path / "m.csv"
    path.write_text(spoil(text), encoding="utf-8")
    told = []
    for read in (read_table, read_columns):
        with pytest.raises(InputError) as caught:
            read(path)
        told.append(str(caught.value))
    assert says in told[0]
    assert told[0] == told[1]


def test_what_is_no_text_and_what_is_not_there_is_refused_in_the_same_words(tmp_path):
    path = tmp_path / "m.csv"
    path.write_bytes(b"frame,\xff\xfe\n")
    for place, says in (
        (path, "no text"),
        (tmp_path / "none.csv", "no way to read it"),
        (tmp_path, "no way to read it"),
    ):
        told = []
        for read in (read_table, read_columns):
            with pytest.raises(InputError, match=says) as caught:
                read(place)
            told.append(str(caught.value))
        assert told[0] == told[1]


def test_marks_of_other_columns_do_not_hinder_planning(text, tmp_path):
    path = tmp_path / "m.csv"
    near = FrameMeasure(near_pct=-1.0, confidence=0.9, far_pct=0.5, coverage_pct=70.0)
    table = MeasurementTable(CLIP, (near,), ("",), (Shot("s001", 0, 0),))
    path.write_text(table_text(table).replace(",70.00,", ",most,"))
    with pytest.raises(InputError, match="line 2"):
        read_table(path)
    assert read_columns(path).near_pct.tolist() == [-1.0]


def test_more_different_numbers_than_are_remembered_are_all_read(text, tmp_path, monkeypatch):
    monkeypatch.setattr("postfix.measure.columns_csv._MOST_KEPT", 2)
    path = tmp_path / "m.csv"
    path.write_text(text)
    same(read_columns(path), columns_of(read_table(path)))


def test_the_mark_of_footage_is_another_for_other_frames_other_files_exchanged_eyes_and_an_offset():
    ours, theirs = "a1" * 32, "b2" * 32
    shown = [
        [(ours, 0, 48), (theirs, 0, 48)],
        [(theirs, 0, 48), (ours, 0, 48)],
        [(ours, 0, 47), (theirs, 0, 47)],
        [(ours, 1, 47), (theirs, 1, 47)],
        [(ours, 0, 47), (theirs, 1, 47)],
        [(ours, 1, 47), (theirs, 0, 47)],
        [(ours, 0, 48), ("c3" * 32, 0, 48)],
    ]
    marks = [footage_mark(parts) for parts in shown]
    assert len(set(marks)) == len(shown)
    assert all(re.fullmatch("[0-9a-f]{16}", mark) for mark in marks)
    assert marks == [footage_mark(iter(parts)) for parts in shown], "the same footage has the same mark"
