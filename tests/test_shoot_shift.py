"""How far the pictures of parallel cameras are shifted over each other, what that costs, and where it holds them."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_shoot import LENS, one, shown

from postfix.story.set_ups import SHIFT_MOST_PCT

TV = ("--screen", "tv-55in")
FLAT = (*LENS, "--near", 1, "--far", "1.02m", *TV)


def test_pictures_that_share_almost_nothing_do_not_fit():
    # f·B/Zc: 35 · 650 / 1010 over 24.89 mm are 90.50 % of width (the formula from memory, computed).
    said = one(*FLAT, "--interaxial", 650, "--converge", "1.01m", code=5)
    assert said["shift_pct"] == pytest.approx(90.50, abs=0.005)
    assert said["verdict"] == f"does not fit: shift 90.50 % of width against {SHIFT_MOST_PCT:g} %"
    assert said["advice"].startswith("use ")


@pytest.mark.parametrize("far", ["1.02m", "1.2m"])
@pytest.mark.parametrize("converged", [(), ("--converge", "1.01m")])
def test_no_proposal_cuts_off_more_than_a_tenth_and_it_is_said_what_holds_it(far, converged):
    scene = (*LENS, "--near", 1, "--far", far, *TV)
    said = one(*scene, *converged)
    assert 0.9 * SHIFT_MOST_PCT < said["shift_pct"] <= SHIFT_MOST_PCT
    assert said["held_by"] == "shift"
    assert "held down by the shift, 10 % of width at most: it is cut off (project default)" in said["advice"]
    text = " ".join(shown(*scene).split())
    assert re.search(r"shift, % of width \d+\.\d\d ", text)
    assert "it has no partner, so it is cut off; no more than 10 % (project default)" in text


def test_the_shift_is_the_parallax_of_infinity_and_toed_in_cameras_have_none():
    scene = (*LENS, "--near", 2, "--far", 12, "--interaxial", 15, *TV)
    said = one(*scene)
    assert said["shift_pct"] == said["infinity"]["parallax_pct"]
    toed = one(*scene, "--rig", "toed-in")
    assert toed["shift_pct"] is None
    assert not re.search(r"(?m)^shift", shown(*scene, "--rig", "toed-in"))


def test_where_all_lies_in_front_the_shift_is_that_of_infinity_too(tmp_path):
    limits = tmp_path / "front.toml"
    limits.write_text("[limits]\nnear_pct = -3.0\nfar_pct = -1.0\n")
    said = one("--interaxial", 15, *LENS, "--near", 3, "--far", "inf", *TV, "--settings", limits)
    assert said["convergence_mm"] is None
    assert said["shift_pct"] == pytest.approx(-said["far"]["parallax_pct"], abs=1e-3)


def test_a_scene_comes_forward_where_that_saves_a_shift_that_is_too_large():
    # At 1.01 m, in the scene, 80 mm take a shift of 11.1 %; at 1.125 m, behind it, one of 10 % (computed).
    words = (*FLAT, "--interaxial", 80)
    said = one(*words)
    assert said["verdict"].startswith("fits, converged at 1.1")
    place = said["verdict"].removeprefix("fits, converged at ").replace(" ", "")
    assert one(*words, "--converge", place)["verdict"] == "fits"
    assert one(*words, "--converge", "1.01m", code=5)["verdict"].startswith("needs convergence at 1.1")


def test_without_near_a_shift_that_is_too_large_is_still_found():
    words = (*LENS, "--interaxial", 65, "--far", "0.51m", *TV)
    said = one(*words, "--converge", "0.5m", code=5)
    assert said["verdict"] == "does not fit: shift 18.28 % of width against 10 %"
    farther = re.fullmatch(r"converge at (\S+ m{1,2}) or beyond", said["advice"])[1].replace(" ", "")
    assert one(*words, "--converge", farther)["fits"] is None


@settings(max_examples=40, deadline=None)
@given(st.floats(8, 200), st.floats(0.3, 5000), st.floats(1.0005, 3))
def test_whatever_is_proposed_keeps_nine_tenths_of_the_picture(focal, near_m, times):
    scene = ("--focal", f"{focal}mm", "--sensor", "24.89mm", "--near", f"{near_m}m", "--far", f"{near_m * times}m", *TV)
    assert one(*scene)["shift_pct"] <= SHIFT_MOST_PCT + 1e-6
