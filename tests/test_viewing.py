"""Viewing geometry against published and independently computed figures."""

import pytest

from postfix import viewing
from postfix.limits import limits_for

# Z = V·e/(e − P): Holliman's course notes (read); the rows are arithmetic on it, done apart (computed).
# columns: V m, screen W m, e mm, P % of W, P mm, Z m (None: divergence), angle arcmin
VIEWING_TABLE = [
    (10, 10, 65, -3, -300, 1.7808, -103.12),
    (10, 10, 65, -1, -100, 3.9394, -34.38),
    (10, 10, 65, 0.25, 25, 16.25, 8.594),
    (10, 10, 65, 0.5, 50, 43.333, 17.189),
    (10, 10, 65, 1, 100, None, 34.377),
    (2, 1.107, 65, -2, -22.14, 1.4919, -38.04),
    (2, 1.107, 65, 2, 22.14, 3.0331, 38.05),
    (3, 1.0, 63, 3, 30, 5.7273, 34.375),
]


@pytest.mark.parametrize(("v_m", "w_m", "e_mm", "p_pct", "p_mm", "z_m", "angle"), VIEWING_TABLE)
def test_viewing_table(v_m, w_m, e_mm, p_pct, p_mm, z_m, angle):
    parallax = viewing.mm_from_pct(p_pct, w_m * 1000)
    assert parallax == pytest.approx(p_mm)
    assert viewing.pct_from_mm(parallax, w_m * 1000) == pytest.approx(p_pct)
    distance = viewing.perceived_distance_mm(parallax, v_m * 1000, e_mm)
    if z_m is None:
        assert distance is None
    else:
        assert distance / 1000 == pytest.approx(z_m, rel=1e-4)
    found = viewing.arcmin_from_mm(parallax, v_m * 1000, e_mm)
    assert found == pytest.approx(angle, abs=0.01)
    assert viewing.mm_from_arcmin(found, v_m * 1000, e_mm) == pytest.approx(parallax)


@pytest.mark.parametrize(("p_mm", "part_of_distance"), [(-63.5, 0.5), (-254.0, 0.2)])
def test_distance_as_part_of_viewing_distance(p_mm, part_of_distance):
    # A trade tutorial with e = 63.5 mm (read).
    assert viewing.perceived_distance_mm(p_mm, 7000.0, 63.5) == pytest.approx(part_of_distance * 7000.0)


def test_parallax_as_wide_as_the_eyes_has_no_distance():
    # The same tutorial says infinity (read); a number must never be shown for it.
    assert viewing.perceived_distance_mm(63.5, 7000.0, 63.5) is None


def test_divergence_of_240_mm_at_10_m():
    # 1.0027°, and 17.454 mm of excess per metre for one degree (computed on the formula).
    assert viewing.divergence_deg(240.0, 10_000.0, 65.0) == pytest.approx(1.0027, abs=1e-4)
    assert viewing.divergence_deg(100.0, 10_000.0, 65.0) == pytest.approx(0.2005, abs=1e-4)
    assert viewing.divergence_deg(65.0 + 17.454, 1000.0, 65.0) == pytest.approx(1.0, abs=1e-3)
    assert viewing.divergence_deg(64.0, 1000.0, 65.0) == 0.0


@pytest.mark.parametrize(("arcmin", "pct"), [(60.0, 2.945), (70.0, 3.436)])
def test_angles_at_three_picture_heights(arcmin, pct):
    # Report ITU-R BT.2293-0 (2013), section 3.2, Table 9 (read); percentages of width on 16:9 (computed).
    width = 16.0 / 9.0
    assert viewing.pct_from_mm(viewing.range_mm_from_arcmin(arcmin, 3.0), width) == pytest.approx(pct, abs=5e-4)


def test_far_on_a_television_is_held_by_comfort_not_by_the_eyes():
    # 65 mm would be 5.3 % of a 55 inch screen; 60 arcmin (BT.2293-0, read) is less.
    limits = limits_for(viewing.BUILTIN_SCREENS["tv-55in"])
    assert limits.far_pct < 3.0
    assert "60 arcmin" in limits.far_rule
    assert limits.near_pct == pytest.approx(-2.9, abs=0.1)
    assert limits.range_pct == pytest.approx(2.945, abs=0.01)


def test_builtin_screens_are_those_promised():
    promised = "cinema-20m cinema-12m cinema-6m tv-75in tv-55in desktop-27in laptop-15in tablet-11in"
    assert " ".join(viewing.BUILTIN_SCREENS) == promised
    for screen in viewing.BUILTIN_SCREENS.values():
        limits = limits_for(screen)
        assert limits.near_pct < 0.0 < limits.far_pct
        assert screen.note
        # Nobody's eyes turn apart at the far limit.
        assert viewing.divergence_deg(viewing.mm_from_pct(limits.far_pct, screen.width_mm), screen.distance_mm) < 1e-9
