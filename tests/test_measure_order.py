"""Exchanged eyes are suspected, with a reason; eyes in order are not.

Pairs: photographs (see real_pairs), the demo film's shots and made-up scenes. Which eye is which is known of all
of them (read for the photographs, computed for the others).
"""

from functools import cache

import numpy as np
import pytest
from real_pairs import real_pairs
from test_measure_scenes import scene_of

from postfix.demo.film import FILM
from postfix.measure.matching import ParallaxMaps, coarse_parallax, match, search_range, seen_from_right
from postfix.measure.order import OrderEvidence, order_evidence, swap_reason
from postfix.measure.proxy import proxy_pair

GREY = np.array([0.2126, 0.7152, 0.0722], np.float32)
SHOTS = [shot for shot in FILM if shot.name in ("beach", "kite", "lane")]
NO_POINTS = np.zeros(0, np.float32)


def evidence_of(left, right):
    """Evidence of one pair (H, W) float32, 0 black and 1 white."""
    proxy = proxy_pair(np.ascontiguousarray(left), np.ascontiguousarray(right))
    searched = search_range(coarse_parallax(proxy.left, proxy.right), NO_POINTS, proxy.left.shape[1])
    parallax = match(proxy.left, proxy.right, *searched)
    return order_evidence(proxy.left, proxy.right, ParallaxMaps(parallax, seen_from_right(parallax)))


def photographed():
    for pair in real_pairs():
        yield pair.name, *(eye @ GREY / np.float32(255) for eye in (pair.left, pair.right))


@cache
def pairs():
    """Name → both eyes, (H, W) float32."""
    found = {name: (left, right) for name, left, right in photographed()}
    for name, (left, right) in list(found.items()):
        # A pair seen in a mirror is a pair again once its eyes change places.
        found[f"{name}, mirrored"] = right[:, ::-1], left[:, ::-1]
        height, width = left.shape
        for x in (0, 2):
            part = np.s_[height // 5 : height * 4 // 5, x * width // 5 : (x + 3) * width // 5]
            found[f"{name}, part {x}"] = left[part], right[part]
    for shot in SHOTS:
        found[shot.name] = tuple(eye @ GREY for eye in shot.scene.render(shot.frames // 2))
    for seed in range(40, 46):
        found[f"scene {seed}"] = tuple(eye @ GREY for eye in scene_of(seed).render(0))
    return found


@cache
def reasons(exchanged):
    return {
        name: swap_reason([evidence_of(*(reversed(eyes) if exchanged else eyes))]) for name, eyes in pairs().items()
    }


def test_eyes_in_order_are_not_suspected():
    told = {name: reason for name, reason in reasons(False).items() if reason}
    # At most 2 % may be; of so few none.
    assert told == {}


def test_most_exchanged_eyes_are_suspected():
    told = reasons(True)
    whole = [name for name, *_ in photographed()] + [shot.name for shot in SHOTS]
    assert [name for name in whole if not told[name]] == []
    assert sum(map(bool, told.values())) >= 0.6 * len(told)


def test_the_reason_says_what_was_seen_with_figures():
    reason = reasons(True)["beach"]
    assert "half-hidden strips" in reason
    assert "of 255" in reason
    # The beach rises by about 1.1 % of width from the middle of the picture to its bottom (computed).
    assert "parallax rises by 1." in reason


def test_noise_in_both_eyes_raises_no_suspicion():
    rng = np.random.default_rng(5)
    for name, left, right in photographed():
        noisy = (eye + rng.normal(0, 0.02, eye.shape).astype(np.float32) for eye in (left, right))
        assert swap_reason([evidence_of(*noisy)]) == "", name


def test_a_brighter_right_eye_raises_no_suspicion():
    for name, left, right in photographed():
        assert swap_reason([evidence_of(left, right * np.float32(0.8))]) == "", name


def test_ground_alone_raises_no_suspicion():
    ground = OrderEvidence(rise_pct=3.0)
    assert swap_reason([ground] * 20) == ""


def strips(behind, in_front, rise_pct=float("nan")):
    return OrderEvidence(100, 100 * behind, 100 * in_front, 200 * behind, 200 * in_front, rise_pct)


@pytest.mark.parametrize(
    ("evidence", "suspected"),
    [
        (strips(20.0, 10.0), True),
        (strips(10.0, 20.0), False),
        (strips(11.5, 10.0), False),
        (strips(11.5, 10.0, rise_pct=1.0), True),
        (strips(20.0, 10.0, rise_pct=-1.0), False),
        (OrderEvidence(3, 60.0, 10.0, 60.0, 10.0), False),
    ],
    ids=["strips alone", "in order", "weak alone", "weak with ground", "against the ground", "too few"],
)
def test_only_clear_evidence_counts(evidence, suspected):
    assert bool(swap_reason([evidence])) is suspected


def test_frames_of_a_shot_are_judged_together():
    assert swap_reason([strips(20.0, 10.0)] + [strips(10.0, 20.0)] * 5) == ""
    assert swap_reason([strips(10.0, 20.0)] + [strips(20.0, 10.0)] * 5) != ""
    assert swap_reason([]) == ""


def test_nothing_known_is_no_evidence():
    unknown = np.full((40, 64), np.nan, np.float32)
    flat = np.zeros((40, 64), np.uint8)
    evidence = order_evidence(flat, flat, ParallaxMaps(unknown, unknown))
    assert evidence.strips == 0
    assert np.isnan(evidence.rise_pct)
    assert swap_reason([evidence]) == ""


@pytest.mark.parametrize("size", [(1, 1), (2, 20), (8, 64), (33, 47)])
def test_any_size_and_any_gaps_can_be_looked_at(size):
    rng = np.random.default_rng(1)
    eye = rng.integers(0, 256, size).astype(np.uint8)
    parallax = np.where(rng.random(size) < 0.5, np.nan, rng.normal(0, 9, size)).astype(np.float32)
    order_evidence(eye, eye, ParallaxMaps(parallax, parallax))
