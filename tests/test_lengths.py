"""Lengths as people type and read them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from postfix.errors import UsageError
from postfix.lengths import LENGTH_MM_MAX, MM_IN, length_text, parse_length, read_length


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        # The inch is 25.4 mm and the foot 304.8 mm by the international yard and pound agreement of 1959 (from memory);
        # the rest is decimal (computed).
        ("65mm", 65.0),
        ("65 mm", 65.0),
        (" 65MM ", 65.0),
        ("6.5cm", 65.0),
        ("3m", 3000.0),
        ("3.", 3.0),
        (".5m", 500.0),
        ("1.2km", 1.2e6),
        ("2.5in", 63.5),
        ('2.5"', 63.5),
        ("2.5″", 63.5),
        ("10ft", 3048.0),
        ("10'", 3048.0),
        ("10′", 3048.0),
        ("5'6\"", 1676.4),
        ("5' 6\"", 1676.4),
        ("5’6”", 1676.4),
        ("5‘6“", 1676.4),
        ("2.5”", 63.5),
        ("5'6", 1676.4),
        ("5ft 6in", 1676.4),
        ("24890um", 24.89),
        ("24890µm", 24.89),
        ("24890μm", 24.89),
        ("+65", 65.0),
        ("6.5e1", 65.0),
    ],
)
def test_a_length_is_understood_in_every_usual_unit(text, mm):
    assert parse_length(text, "mm", "--interaxial") == pytest.approx(mm, rel=1e-12)


def test_a_plain_number_is_in_the_unit_of_its_option_and_a_written_unit_goes_before_it():
    assert parse_length("3", "m", "--near") == 3000.0
    assert parse_length("3", "mm", "--focal") == 3.0
    assert parse_length("3mm", "m", "--near") == 3.0
    assert parse_length("3m", "mm", "--focal") == 3000.0


def test_it_is_known_whether_the_unit_was_written():
    assert not read_length("65", "mm", "--interaxial").has_unit
    assert read_length("65mm", "mm", "--interaxial").has_unit
    assert read_length("5'6\"", "m", "--near").has_unit


@pytest.mark.parametrize("text", ["inf", "infinity", "INF", "infinite", "∞", "+inf"])
def test_infinity_is_a_length_only_where_that_can_be(text):
    assert math.isinf(parse_length(text, "m", "--far", may_be_infinite=True))
    with pytest.raises(UsageError, match="--near: found an infinite length, expected a length of more than 0"):
        parse_length(text, "m", "--near")


@pytest.mark.parametrize(
    "text",
    ["", " ", "0", "0.0mm", "-65", "−65", "-inf", "nan", "two", "m", "--", "6 5", "65 mm mm", "0x10", "1_0", "٣",
     "1e99", "1e999", "9" * 400, "6.5.5", "5'6'7", "65\n66", "1/30", "\x1b[2J"],
)  # fmt: skip
@pytest.mark.parametrize("unit", ["mm", "m"])
def test_what_is_no_length_is_refused_in_a_sentence(text, unit):
    with pytest.raises(UsageError) as caught:
        parse_length(text, unit, "--near")
    assert caught.value.exit_code == 2
    said = str(caught.value)
    assert said.startswith("--near: found ")
    assert "expected a length of more than 0, a plain number in m" in said
    assert "type for example" in said
    assert len(said) < 400
    assert "\x1b" not in said


def test_a_comma_and_an_unknown_unit_are_told_as_such():
    with pytest.raises(UsageError, match="write the decimals after a point, not a comma"):
        parse_length("2,5", "m", "--near")
    with pytest.raises(UsageError, match="write one of the units µm, mm, cm, m, km, in, ft"):
        parse_length("7 furlongs", "m", "--near")


@pytest.mark.parametrize(
    ("mm", "text"),
    [
        (65.0, "65 mm"),
        (62.397, "62.4 mm"),
        (0.03, "0.03 mm"),
        (0.0876, "0.0876 mm"),
        (0.0000123, "1.2e-05 mm"),
        (0.0, "0 mm"),
        (9.999, "10 mm"),
        (640.0, "640 mm"),
        (999.6, "1 m"),
        (3210.0, "3.21 m"),
        (3000.0, "3 m"),
        (12345.0, "12.3 m"),
        (999_600.0, "1 km"),
        (1.4e6, "1.4 km"),
        (1.335e6, "1.33 km"),
        (23.45e6, "23.4 km"),
        (0.00123, "0.00123 mm"),
        (12e6, "12 km"),
        (math.inf, "infinity"),
    ],
)
def test_a_length_is_told_in_the_unit_that_people_would_use(mm, text):
    assert length_text(mm) == text


@pytest.mark.parametrize("mm", [math.nan, -1.0, -math.inf])
def test_what_is_no_length_is_never_told_as_one(mm):
    with pytest.raises(ValueError, match="is no length"):
        length_text(mm)


@given(st.floats(0.001, LENGTH_MM_MAX))
def test_what_is_told_can_be_typed_again_and_is_nearly_the_same(mm):
    text = length_text(mm)
    assert parse_length(text, "mm", "--near") == pytest.approx(mm, rel=0.0051)


@given(st.floats(0.001, LENGTH_MM_MAX).map(lambda mm: float(f"{mm:.2e}")))
def test_a_length_of_three_figures_is_told_as_it_is(mm):
    assert parse_length(length_text(mm), "mm", "--near") == pytest.approx(mm, rel=1e-12)


@given(st.floats(1e-3, 1e3), st.sampled_from(sorted(MM_IN)))
def test_a_length_is_in_proportion_to_its_unit(number, unit):
    assert parse_length(f"{number:.9f}{unit}", "m", "--near") == pytest.approx(round(number, 9) * MM_IN[unit], rel=1e-9)


@given(st.text(max_size=30), st.sampled_from(["mm", "m"]), st.booleans())
def test_any_text_is_a_length_or_a_sentence(text, unit, may_be_infinite):
    try:
        mm = parse_length(text, unit, "--near", may_be_infinite=may_be_infinite)
    except UsageError:
        return
    assert 0.0 < mm <= LENGTH_MM_MAX or (may_be_infinite and mm == math.inf)
