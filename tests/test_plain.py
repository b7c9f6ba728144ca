"""Figures as JSON holds them."""

import math

import numpy as np
import pytest

from postfix.plain import plain


def test_what_is_no_number_is_told_as_nothing():
    assert plain({"near_pct": math.nan, "far_m": [math.inf, -math.inf], "seat": None}) == {
        "near_pct": None, "far_m": [None, None], "seat": None
    }  # fmt: skip


def test_figures_have_four_decimals_and_one_zero():
    told = plain({"near_pct": -1.234567, "zero": -0.00001, "count": 7, "is_held": True, "name": "kite"})
    assert told == {"near_pct": -1.2346, "zero": 0.0, "count": 7, "is_held": True, "name": "kite"}
    assert math.copysign(1.0, told["zero"]) == 1.0


@pytest.mark.parametrize("given", [[64.123456], (64.123456,)])
def test_millimetres_have_the_decimals_asked_for_wherever_they_stand(given):
    assert plain({"seat": {"eyes_mm": given, "z_m": 1.23456}}, mm_digits=1) == {
        "seat": {"eyes_mm": [64.1], "z_m": 1.2346}
    }
    assert plain({"eyes_mm": 64.123456}) == {"eyes_mm": 64.1235}


def test_figures_of_an_array_become_figures_of_python():
    assert type(plain({"near_pct": np.float64(0.5)})["near_pct"]) is float
