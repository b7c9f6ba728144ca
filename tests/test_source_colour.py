"""Luma alone where colour is not wanted: what is wanted comes out bit for bit, the rest is left to the decoder.

What must come out is what the same file gives when all of it is decoded (computed).
"""

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from footage import SPECS, write_still, yuv422p10

from postfix.deliver.video import write_video
from postfix.source.opening import open_eye
from postfix.source.pair import Reading, open_pair
from postfix.source.picture import PictureFormat, PlaneFormat, grey

SIZE, FRAMES = (96, 64), 14


def picture(number):
    """Colourful and different in every frame, (H, W, 3) uint8."""
    rng = np.random.default_rng(number)
    small = rng.integers(0, 256, (SIZE[1] // 8, SIZE[0] // 8, 3))
    return np.kron(small, np.ones((8, 8, 1))).astype(np.uint8)


def write_eye(folder, kind, eye="left"):
    folder.mkdir(parents=True, exist_ok=True)
    if kind == "tiff":
        (folder / eye).mkdir()
        for number in range(FRAMES):
            write_still(folder / eye / f"gull.{1001 + number}.tif", picture(number).astype(np.uint16) * 257)
        return open_eye(folder / eye, rate=Fraction(24))
    path = folder / f"gull_{eye}.{kind.split('.')[-1]}"
    spec = replace(SPECS[kind], width=SIZE[0], height=SIZE[1], timecode=None)
    write_video(path, spec, (yuv422p10(picture(number)) for number in range(FRAMES)))
    return open_eye(path)


def copies(frames):
    return [[plane.copy() for plane in planes] for planes in frames]


def same(some, others):
    return len(some) == len(others) and all(np.array_equal(a, b) for a, b in zip(some, others, strict=True))


@pytest.fixture(scope="module")
def prores(tmp_path_factory):
    """An eye, and all of its frames decoded whole."""
    eye = write_eye(tmp_path_factory.mktemp("prores"), "prores.mov")
    return eye, copies(eye.frames())


@pytest.mark.parametrize("every", [2, 3, 8, 100])
@pytest.mark.parametrize(("first", "last"), [(0, FRAMES - 1), (5, 11), (6, 6)])
def test_luma_is_the_same_in_every_frame_and_colour_in_every_nth(prores, every, first, last):
    eye, whole = prores
    some = copies(eye.frames(first, last, colour_every=every))
    assert len(some) == last - first + 1
    for number, planes in enumerate(some, first):
        assert np.array_equal(planes[0], whole[number][0]), number
        assert [plane.shape for plane in planes] == [plane.shape for plane in whole[number]]
        if number % every == 0:
            assert same(planes, whole[number]), number


def test_colour_that_is_not_wanted_is_not_decoded(prores):
    # That is all the saving there is; were it decoded nobody would notice but by the clock.
    eye, whole = prores
    some = copies(eye.frames(colour_every=4))
    assert [number for number, planes in enumerate(some) if same(planes[1:], whole[number][1:])] == [0, 4, 8, 12]


def test_frames_read_afterwards_have_their_colour_again(prores):
    eye, whole = prores
    copies(eye.frames(colour_every=8))
    assert all(same(a, b) for a, b in zip(copies(eye.frames()), whole, strict=True))


@pytest.mark.parametrize("kind", ["ffv1.mkv", "tiff"])
def test_other_kinds_of_footage_are_decoded_whole(tmp_path, kind):
    eye = write_eye(tmp_path, kind)
    assert all(same(a, b) for a, b in zip(copies(eye.frames(colour_every=5)), copies(eye.frames()), strict=True))


@pytest.mark.parametrize("late", [3, -2])
@pytest.mark.parametrize("frames", [None, (2, 10)])
def test_an_offset_gives_both_eyes_colour_in_the_same_frames_of_the_pair(tmp_path, late, frames):
    paths = [write_eye(tmp_path, "prores.mov", eye).path for eye in ("left", "right")]
    pair = open_pair(*paths, frames=frames, reading=Reading(late))
    whole = {index: copies(eyes) for index, *eyes in pair.frames()}
    with_colour = []
    for index, *eyes in pair.frames(colour_every=4):
        assert all(np.array_equal(eye[0], other[0]) for eye, other in zip(eyes, whole[index]))
        coloured = [same(eye[1:], other[1:]) for eye, other in zip(eyes, whole[index])]
        assert coloured[0] == coloured[1]
        with_colour += [index] if coloured[0] else []
    assert with_colour == list(range(0, pair.count, 4))


# ---- luma into memory that is there already


def plane(channels=1, black=0.0):
    return PlaneFormat(1, 1, channels, (black,) * channels)


def formats():
    rng = np.random.default_rng(4)
    codes = rng.integers(64, 941, (3, 10, 12)).astype(np.uint16)
    reals = rng.random((10, 12, 3)).astype(np.float32)
    yuv = tuple(plane(black=black) for black in (64.0, 512.0, 512.0))
    return {
        "yuv": (tuple(codes), PictureFormat(12, 10, "yuv444p10le", "uint16", 10, 940.0, True, yuv)),
        "planar": (tuple(codes), PictureFormat(12, 10, "gbrp10le", "uint16", 10, 1023.0, False, (plane(),) * 3)),
        "interleaved": ((reals,), PictureFormat(12, 10, "rgb-float", "float32", 32, 1.0, False, (plane(3),))),
        "grey": ((reals[..., 0],), PictureFormat(12, 10, "grey-float", "float32", 32, 1.0, False, (plane(),))),
    }


KINDS = list(formats())


@pytest.mark.parametrize("kind", KINDS)
def test_luma_written_into_memory_is_the_same_and_nothing_of_what_was_there_stays(kind):
    planes, fmt = formats()[kind]
    before = [plane.copy() for plane in planes]
    memory = np.full((10, 12), np.nan, np.float32)
    luma = grey(planes, fmt, memory)
    assert luma is memory
    assert np.array_equal(luma, grey(planes, fmt))
    assert same(planes, before), "the picture itself is left alone"


@pytest.mark.parametrize("kind", KINDS)
def test_luma_made_without_memory_does_not_share_the_pictures_own(kind):
    planes, fmt = formats()[kind]
    assert not any(np.shares_memory(grey(planes, fmt), plane) for plane in planes)


def test_luma_is_nought_at_black_and_one_at_white():
    planes, fmt = formats()["yuv"]
    ends = np.array([[64, 940]], np.uint16)
    assert grey((ends, *planes[1:]), fmt) == pytest.approx(np.array([[0.0, 1.0]]), abs=1e-6)
    # Rec. ITU-R BT.709's luma coefficients add up to one (`from memory`).
    white = np.ones((1, 2, 3), np.float32)
    assert grey((white,), formats()["interleaved"][1]) == pytest.approx(1.0, abs=1e-6)
