"""The parallax of what a person points at: made-up scenes that are exact (computed) and a photographed pair (read).

The photographed pair is the Middlebury 2014 "Motorcycle" as scikit-image carries it (Scharstein et al. 2014, GCPR), its
disparity d = x_left − x_right measured with structured light, so that parallax is −d: read.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import pytest
from memory_clips import MemoryEye, pair_of
from real_pairs import motorcycle

from postfix.demo.layers import Layer, layered_scene
from postfix.errors import InputError
from postfix.measure.frame import IDENTICAL, NO_TEXTURE, NOTHING_IN_COMMON, REPEATED, TOO_SMALL
from postfix.measure.subject import SubjectFound, largest_depth, subjects_parallax

WIDTH, HEIGHT = 960, 540
WITHIN_PCT, WITHIN_PHOTO_PCT = 0.05, 0.1


def subject_parallax(pair, frame, box):
    return subjects_parallax(pair, [(frame, box)])[0]


def as_bytes(eye):
    return np.clip(np.asarray(eye) * 255 + 0.5, 0, 255).astype(np.uint8)


def misfitted(right, seed):
    """The right eye turned, larger or smaller, higher or lower, brighter or darker."""
    rng = np.random.default_rng(seed)
    height, width = right.shape[:2]
    move = cv2.getRotationMatrix2D((width / 2, height / 2), rng.uniform(-0.8, 0.8), rng.uniform(0.99, 1.01))
    # Turning about a centre beside the picture's own moves it sideways, which would be parallax.
    centre = np.array([(width - 1) / 2, (height - 1) / 2])
    move[:, 2] = centre - move[:, :2] @ centre + (0, rng.uniform(-6, 6))
    moved = cv2.warpAffine(right, move, (width, height), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.clip(moved * rng.uniform(0.8, 1.2), 0, 255).astype(np.uint8)


def shown(layers, size=(WIDTH, HEIGHT), seed=0, spoil=None):
    """A pair of one frame, and its parallax in percent of width where both eyes see it, (H, W)."""
    scene = layered_scene(*size, layers, seed=seed)
    left, right = (as_bytes(eye) for eye in scene.render(0))
    truth = scene.truth(0)
    parallax = np.where(truth.left_seen, truth.left_parallax_px * 100 / size[0], np.nan)
    return pair_of([left], [right if spoil is None else spoil(right, seed)]), parallax


def part(picture, box):
    x, y, width, height = box
    return picture[y : y + height, x : x + width]


@pytest.mark.parametrize("seed", range(5))
def test_the_parallax_of_a_thing_and_of_what_lies_around_it_is_exact(seed):
    rng = np.random.default_rng(seed)
    far = rng.uniform(0.0, 4.0)
    near = rng.uniform(-9.0, far - 1.0)
    size = (1280, 720) if seed == 3 else (WIDTH, HEIGHT)
    thing = Layer(near, (0.4, 0.3, 0.6, 0.7), seed + 5, ("box", "disc")[seed // 2 % 2])
    pair, parallax = shown([Layer(far, seed=seed), thing], size, seed, misfitted if seed % 2 else None)
    rows, columns = np.nonzero(parallax < near + 0.1)
    whole = (int(columns.min()), int(rows.min()), int(np.ptp(columns)) + 1, int(np.ptp(rows)) + 1)
    middle = (whole[0] + whole[2] // 2 - 20, whole[1] + whole[3] // 2 - 20, 40, 40)
    above = (size[0] // 2, 30, 80, 60)
    # Above and right of it nothing hides the backdrop.
    for found, want in zip(subjects_parallax(pair, [(0, whole), (0, middle), (0, above)]), (near, near, far)):
        assert found.parallax_pct == pytest.approx(want, abs=WITHIN_PCT)
        assert found.confidence > 0.8
        assert found.reason == ""


def test_a_box_over_two_depths_gives_the_one_that_fills_more_of_it_and_how_much():
    pair, parallax = shown([Layer(1.0), Layer(-1.5, (0.4, 0.2, 0.8, 0.8), 5)], seed=2)
    edge = int(np.nonzero(parallax[HEIGHT // 2] < -1.4)[0].max()) + 1
    for inside_px, want in ((90, -1.5), (30, 1.0)):
        box = (edge - inside_px, 200, 120, 120)
        known = part(parallax, box)
        share = np.mean(np.abs(known[np.isfinite(known)] - want) < 0.1)
        found = subject_parallax(pair, 0, box)
        assert found.parallax_pct == pytest.approx(want, abs=WITHIN_PCT)
        assert found.share == pytest.approx(share, abs=0.08)
        assert 0.6 < found.share < 0.9


def test_a_slope_is_one_thing_and_gives_its_middle():
    pair, parallax = shown([Layer(0.0, slant_x_pct=4.0)], seed=4)
    box = (400, 200, 160, 120)
    found = subject_parallax(pair, 0, box)
    assert found.parallax_pct == pytest.approx(np.nanmedian(part(parallax, box)), abs=WITHIN_PCT)
    assert found.share > 0.95


def test_boxes_of_a_photographed_pair_have_their_measured_median():
    left, right, parallax_px = motorcycle()
    parallax = parallax_px * 100 / left.shape[1]
    wanted, truth = [], []
    for y in range(0, left.shape[0] - 80, 60):
        for x in range(0, left.shape[1] - 80, 60):
            known = part(parallax, (x, y, 72, 72))
            known = known[np.isfinite(known)]
            # One thing in the box: what two depths make of a median says nothing of either.
            if known.size > 0.8 * 72 * 72 and np.ptp(np.percentile(known, (5, 95))) < 0.6:
                wanted.append((0, (x, y, 72, 72)))
                truth.append(np.median(known))
    found = subjects_parallax(pair_of([left], [right]), wanted)
    assert len(found) >= 8
    assert [one.parallax_pct for one in found] == pytest.approx(truth, abs=WITHIN_PHOTO_PCT)
    assert min(one.confidence for one in found) > 0.5


# ---- where nothing can be said


def with_box(pair, box, left=None, right=None):
    """The pair with something else in a box of each eye."""
    x, y, width, height = box
    eyes = []
    for eye, filling in ((pair.left, left), (pair.right, right)):
        picture = eye.pictures[0].copy()
        if filling is not None:
            picture[y : y + height, x : x + width] = filling
        eyes.append(picture)
    return pair_of([eyes[0]], [eyes[1]])


BOX = (400, 200, 160, 120)
INSIDE = (430, 220, 100, 80)


@pytest.fixture(scope="module")
def plain():
    return shown([Layer(0.5, seed=3)], seed=3)[0]


def says_nothing(found, reason):
    assert np.isnan(found.parallax_pct)
    assert (found.share, found.confidence, found.reason) == (0.0, 0.0, reason)


def test_a_blank_wall_says_nothing(plain):
    says_nothing(subject_parallax(with_box(plain, BOX, 120, 120), 0, INSIDE), NO_TEXTURE)


@pytest.mark.parametrize("sigma", [2, 8])
def test_a_grainy_wall_says_nothing(plain, sigma):
    rng = np.random.default_rng(7)
    left, right = (np.clip(rng.normal(120, sigma, (BOX[3], BOX[2], 1)), 0, 255).astype(np.uint8) for _ in range(2))
    found = subject_parallax(with_box(plain, BOX, left, right), 0, INSIDE)
    assert found.reason in (NO_TEXTURE, NOTHING_IN_COMMON)
    says_nothing(found, found.reason)


def test_what_only_one_eye_sees_says_nothing(plain):
    other = shown([Layer(0.5, seed=9)], seed=9)[0].left.pictures[0]
    for x in range(200, 700, 100):
        pair = with_box(plain, BOX, part(other, (x, *BOX[1:])))
        for size in (36, 60, 96):
            says_nothing(subject_parallax(pair, 0, (430, 220, size, size)), NOTHING_IN_COMMON)


def test_streaks_that_look_alike_all_along_the_row_say_nothing(plain):
    streaks = np.random.default_rng(3).integers(40, 200, (BOX[3], 1, 1)).astype(np.uint8)
    wide = (200, 200, 560, 120)
    says_nothing(subject_parallax(with_box(plain, wide, streaks, streaks), 0, INSIDE), REPEATED)


def test_what_has_moved_out_of_the_right_eyes_picture_says_nothing():
    pair, parallax = shown([Layer(6.0, seed=3)], seed=3)
    box = (WIDTH - 50, 200, 50, 80)
    assert np.isnan(part(parallax, box)).all()
    says_nothing(subject_parallax(pair, 0, box), NOTHING_IN_COMMON)


def test_things_blurred_by_motion_give_a_true_figure_or_none(plain):
    eyes = [cv2.blur(eye.pictures[0], (61, 1)) for eye in (plain.left, plain.right)]
    for found in subjects_parallax(pair_of([eyes[0]], [eyes[1]]), [(0, (x, 200, 60, 60)) for x in range(100, 800, 60)]):
        assert np.isnan(found.parallax_pct) == bool(found.reason)
        if not found.reason:
            assert found.parallax_pct == pytest.approx(0.5, abs=0.2)


def test_flat_frames_equal_eyes_and_boxes_of_a_few_pixels_say_nothing(plain):
    picture = plain.left.pictures[0]
    grey = np.full_like(picture, 100)
    says_nothing(subject_parallax(pair_of([picture], [picture]), 0, BOX), IDENTICAL)
    says_nothing(subject_parallax(pair_of([grey], [grey + 1]), 0, BOX), NO_TEXTURE)
    says_nothing(subject_parallax(plain, 0, (400, 200, 7, 50)), TOO_SMALL)
    says_nothing(subject_parallax(pair_of([picture[:30, :60]], [picture[1:31, :60]]), 0, (0, 0, 20, 20)), TOO_SMALL)


# ---- which frames


@dataclass(frozen=True)
class CountingEye(MemoryEye):
    """Notes which frames are decoded."""

    decoded: list = None

    def frames(self, first=0, last=None, *, colour_every=1):
        for number, planes in enumerate(super().frames(first, last), first):
            self.decoded.append(number)
            yield planes


def test_each_frame_that_is_needed_is_decoded_once_and_no_other(plain):
    made = [shown([Layer(pct, seed=3)], (320, 180), seed=3)[0] for pct in (0.4, -0.4)]
    eyes = [
        CountingEye(tuple(made[number % 2 if number < 8 else 0].left.pictures[0] for number in range(12)), decoded=[]),
        CountingEye(tuple(made[number % 2 if number < 8 else 0].right.pictures[0] for number in range(12)), decoded=[]),
    ]
    pair = replace(plain, left=eyes[0], right=eyes[1])
    one, other = (100, 50, 60, 60), (180, 80, 60, 60)
    wanted = [(7, one), (2, other), (3, one), (7, other), (2, other), (11, one)]
    found = subjects_parallax(pair, wanted)
    assert [(each.frame, each.box) for each in found] == wanted
    assert [each.parallax_pct for each in found] == pytest.approx([-0.4, 0.4, -0.4, -0.4, 0.4, 0.4], abs=WITHIN_PCT)
    assert [eye.decoded for eye in eyes] == [[2, 3, 7, 11]] * 2
    assert subjects_parallax(pair, []) == ()
    assert subject_parallax(pair, 3, one) == found[2]


@pytest.mark.parametrize(
    ("frame", "box", "says"),
    [
        (1, BOX, "gull: found a subject at frame 1, expected frames 0 to 0; choose a frame of the clip."),
        (-1, BOX, "frame -1"),
        (
            0,
            (900, 0, 61, 10),
            "900,0,61,10 .x, y, width, height. at frame 0, expected a box inside the picture of 960x540",
        ),
        (0, (0, 531, 10, 10), "0,531,10,10"),
        (0, (-1, 0, 10, 10), "-1,0,10,10"),
        (0, (0, 0, 0, 10), "0,0,0,10"),
    ],
)
def test_a_frame_outside_the_clip_and_a_box_outside_the_picture_are_refused(plain, frame, box, says):
    with pytest.raises(InputError, match=says):
        subjects_parallax(plain, [(0, BOX), (frame, box)])


# ---- the depth that most share


def test_strays_between_two_depths_do_not_join_them():
    rng = np.random.default_rng(1)
    pct = np.concatenate([rng.normal(-2, 0.03, 600), rng.normal(1, 0.03, 380), rng.uniform(-2, 1, 20)]).astype(
        np.float32
    )
    chosen = largest_depth(pct)
    assert chosen[:600].mean() > 0.99
    assert not chosen[600:980].any()


def test_one_value_alone_is_a_depth():
    assert largest_depth(np.float32([0.25])).tolist() == [True]


def test_nothing_is_known_of_a_box_until_it_is_measured():
    assert np.isnan(SubjectFound(0, BOX).parallax_pct)
