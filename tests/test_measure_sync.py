"""The offset between the eyes is found from movement; clips and true offsets are made up (computed)."""

import time

import cv2
import numpy as np
import pytest
from moving_clips import evaluate, found_in, moving_clip, steady_pan_clip, telltale_free_clip

from postfix.measure.sync import MOST_FRAMES, SIZE, SyncSignature, shot_offset, sync_signature


@pytest.mark.parametrize("seed", [0, 1, 2, 3, 4, 5, 20])
def test_each_kind_of_moving_clip_tells_its_offset(seed):
    true, found, confidence = evaluate(seed)
    assert found == true
    assert confidence > 0.5


def test_exchanged_eyes_turn_the_sign():
    clip = moving_clip(3)
    late = [sync_signature(right, left) for left, right in zip(clip.left, clip.right)]
    assert shot_offset(late)[0] == -clip.offset_frames


@pytest.mark.parametrize("seed", range(12))
def test_what_cannot_tell_is_not_told_with_confidence(seed):
    clip = telltale_free_clip(seed)
    found, confidence = found_in(clip)
    assert confidence < 0.5 or found == clip.offset_frames


@pytest.mark.parametrize("seed", [0, 2, 5, 13, 17])
def test_parallax_in_a_steady_pan_is_not_taken_for_a_late_eye(seed):
    clip = steady_pan_clip(seed)
    found, confidence = found_in(clip)
    assert confidence < 0.5 or found == clip.offset_frames


@pytest.mark.parametrize("seed", range(0, 24, 6))
def test_still_pictures_have_no_offset(seed):
    found, confidence = found_in(telltale_free_clip(seed))
    assert np.isnan(found)
    assert confidence == 0.0


def test_a_clip_in_sync_is_told_so():
    clip = moving_clip(0)
    both = [sync_signature(left, left) for left in clip.left]
    assert shot_offset(both) == (0.0, pytest.approx(1.0, abs=0.05))


def test_shots_too_short_for_the_offset_are_not_told_wrong_with_confidence():
    for seed in range(7):
        clip = moving_clip(seed)
        signatures = [sync_signature(left, right) for left, right in zip(clip.left, clip.right)]
        for count in (1, 2, 7, 9, 12, 16):
            found, confidence = shot_offset(signatures[:count])
            assert np.isnan(found) or confidence < 0.5 or found == clip.offset_frames
        assert np.isnan(shot_offset(signatures[:7])[0])
    assert np.isnan(shot_offset([])[0])


def test_an_offset_beyond_the_search_is_not_made_up():
    clip = moving_clip(14)
    late = clip.offset_frames
    apart = 20
    left, right = clip.left[: len(clip.left) - apart], clip.right[apart:]
    found, confidence = shot_offset([sync_signature(a, b) for a, b in zip(left, right)])
    assert abs(late - apart) > MOST_FRAMES
    assert np.isnan(found) or confidence < 0.5


@pytest.mark.parametrize("value", [0, 128, 255])
def test_flat_pictures_and_one_black_eye_have_no_offset(value):
    moving = moving_clip(0).left
    flat = np.full_like(moving[0], value)
    for signatures in ([sync_signature(flat, flat)] * 30, [sync_signature(eye, flat) for eye in moving]):
        assert np.isnan(shot_offset(signatures)[0])


def test_frozen_frames_have_no_offset():
    clip = moving_clip(0)
    assert np.isnan(shot_offset([sync_signature(clip.left[0], clip.right[0])] * 40)[0])


def test_a_long_shot_is_judged_where_most_moves():
    clip = moving_clip(3)
    moving = [sync_signature(left, right) for left, right in zip(clip.left, clip.right)]
    long = [moving[0]] * 300 + moving + [moving[-1]] * 300
    assert shot_offset(long)[0] == clip.offset_frames


def test_eyes_that_move_each_on_its_own_way_are_not_told_with_confidence():
    one, other = moving_clip(0), moving_clip(7)
    found, confidence = shot_offset([sync_signature(a, b) for a, b in zip(one.left, other.right)])
    assert np.isnan(found) or confidence < 0.5


def test_a_signature_is_small_and_any_picture_size_will_do():
    big = np.tile(np.arange(640, dtype=np.uint8), (360, 1))
    small = cv2.resize(big, (20, 8))
    for eye in (big, small):
        signature = sync_signature(eye, eye)
        assert isinstance(signature, SyncSignature)
        assert signature.left.shape == signature.right.shape == SIZE[::-1]
        assert signature.left.dtype == np.uint8


def test_a_frame_costs_little():
    # The budget is 0.5 ms a frame; ten times that leaves room for a machine whose processor is shared. Waiting for a
    # turn on it costs nothing.
    clip = moving_clip(3)
    start_s = time.thread_time()
    found_in(clip)
    assert (time.thread_time() - start_s) / len(clip.left) < 0.005
