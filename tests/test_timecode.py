"""Timecode and frame rates against published values."""

from fractions import Fraction

import pytest
from drop_frame import DROP_FRAME_TABLE
from hypothesis import given
from hypothesis import strategies as st

from postfix.errors import InputError, UsageError
from postfix.source.rate import parse_rate
from postfix.source.timecode import (
    frames_from_timecode,
    timecode_at,
    timecode_from_frames,
    valid_timecode,
)

NTSC, NTSC_2 = Fraction(30000, 1001), Fraction(60000, 1001)


@pytest.mark.parametrize(("frames", "text"), DROP_FRAME_TABLE)
def test_drop_frame_counts_as_published(frames, text):
    assert timecode_from_frames(frames, NTSC, drop=True) == text
    assert frames_from_timecode(text, NTSC) == frames


@pytest.mark.parametrize("rate", [NTSC, NTSC_2])
def test_an_hour_of_drop_frame_keeps_to_the_clock(rate):
    # Computed: 3600 s × rate = 107892.1 frames at 29.97, so 01:00:00;00 is less than a frame from one hour.
    assert abs(frames_from_timecode("01:00:00;00", rate) / rate - 3600) < 1 / rate


@given(
    st.integers(0, 24 * 3600 * 24 - 1),
    st.sampled_from([Fraction(24), Fraction(24000, 1001), Fraction(25), NTSC, NTSC_2]),
)
def test_counting_there_and_back_gives_the_same_frame(frames, rate):
    for drop in {False, rate in (NTSC, NTSC_2)}:
        assert frames_from_timecode(timecode_from_frames(frames, rate, drop), rate) == frames


def test_every_frame_of_ten_drop_frame_minutes_has_its_own_number():
    texts = [timecode_from_frames(frame, NTSC_2, drop=True) for frame in range(36000)]
    assert len(set(texts)) == 36000
    assert texts == sorted(texts)


def test_the_day_starts_again_after_24_hours():
    assert timecode_from_frames(24 * 3600 * 24, Fraction(24)) == "00:00:00:00"
    assert timecode_from_frames(107892 * 24, NTSC, drop=True) == "00:00:00;00"


def test_a_clip_counts_on_from_its_start():
    assert timecode_at("01:00:00:00", 25, Fraction(24)) == "01:00:01:01"
    assert timecode_at("00:00:59;29", 1, NTSC) == "00:01:00;02"
    assert timecode_at(None, 1800, NTSC) == ""  # none is made up


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("1:00:00:00", Fraction(24)),
        ("01:00:00", Fraction(24)),
        ("01:00:00:24", Fraction(24)),
        ("24:00:00:00", Fraction(24)),
        ("00:60:00:00", Fraction(24)),
        ("00:01:00;00", NTSC),
        ("00:01:00;03", NTSC_2),
        ("00:01:00;02", Fraction(24)),
        ("", Fraction(24)),
        ("eins", Fraction(24)),
    ],
)
def test_a_timecode_that_cannot_be_is_refused(text, rate):
    with pytest.raises(InputError):
        frames_from_timecode(text, rate)
    assert valid_timecode(text, rate) is None


@pytest.mark.parametrize(
    ("text", "rate"),
    [
        ("24", Fraction(24)),
        ("25.0", Fraction(25)),
        ("23.976", Fraction(24000, 1001)),
        ("23.98", Fraction(24000, 1001)),
        ("29.97", NTSC),
        ("59.94", NTSC_2),
        ("47.952", Fraction(48000, 1001)),
        ("119.88", Fraction(120000, 1001)),
        ("12.5", Fraction(25, 2)),
        ("24000/1001", Fraction(24000, 1001)),
        ("30000/1000", Fraction(30)),
    ],
)
def test_a_rate_means_the_exact_fraction(text, rate):
    assert parse_rate(text) == rate


@pytest.mark.parametrize("text", ["", "0", "-24", "24/0", "abc", "nan", "inf", "1e9", "24 fps", "1/24"])
def test_nonsense_is_no_rate(text):
    with pytest.raises(UsageError, match="frame rate"):
        parse_rate(text)
