"""The colour tags of written videos, as the container and as the coded frames tell them."""

from fractions import Fraction

import pytest
from eyes_out import eye_out, reopen_and_count
from picture_files import our_planes
from test_deliver_writing import facts, opened, pass_through

from postfix.deliver.codecs import VideoSpec
from postfix.deliver.video import write_video
from postfix.errors import OutputError


def coloured(path, primaries, transfer, matrix):
    spec = VideoSpec("prores", "yuv422p10le", 64, 32, Fraction(25), "HQ", 1, primaries, transfer, matrix)
    write_video(path, spec, [our_planes("yuv422p10le", i, (64, 32)) for i in range(2)])
    return opened(path)


@pytest.mark.parametrize(
    ("codes", "lost"),
    [
        ((1, 1, 1), None),
        ((6, 1, 6), None),
        ((9, 18, 9), None),
        ((2, 2, 2), None),
        ((5, 6, 5), "transfer 6, matrix 5 have"),
        ((9, 14, 9), "transfer 14 have"),
    ],
)
def test_colour_codes_that_a_coded_frame_cannot_hold_are_told_and_the_container_keeps_them(tmp_path, codes, lost):
    eye = coloured(tmp_path / "a.mov", *codes)
    told = eye_out(eye).losses()
    assert len(told) == (lost is not None)
    assert all(lost in line for line in told)
    after = facts(reopen_and_count(pass_through(eye, tmp_path / "out"), eye).path)
    assert after["stream colour"][1:] == codes
    # What is told is what the library reads from the frames.
    assert (after["frame colour"][1:] != codes) == (lost is not None)


@pytest.mark.parametrize(
    ("codes", "says"),
    [((9, 1, 1), "colour primaries 9"), ((1, 16, 1), "transfer 16"), ((1, 1, 9), "matrix 9")],
)
def test_a_written_file_whose_container_tells_other_colours_is_refused(tmp_path, codes, says):
    eye = coloured(tmp_path / "a.mov", 1, 1, 1)
    (tmp_path / "out").mkdir()
    coloured(tmp_path / "out" / "a.mov", *codes)
    with pytest.raises(OutputError, match=f"{says} in what was written"):
        reopen_and_count(tmp_path / "out", eye)


@pytest.mark.parametrize("codes", [(1, 1, 1), (5, 6, 5), (2, 2, 2), (1, 13, 1), (9, 16, 9), (22, 4, 7)])
@pytest.mark.parametrize("kind", ["ffv1", "ffv1-avi", "h264", "h264.mov", "h264.mkv"])
def test_every_container_gives_back_the_colour_tags_that_it_gave(tmp_path, kind, codes):
    codec, _, suffix = kind.replace("-", ".").partition(".")
    path = tmp_path / f"a.{suffix or ('mkv' if codec == 'ffv1' else 'mp4')}"
    spec = VideoSpec(codec, "yuv420p", 64, 32, Fraction(25), "", 1, *codes)
    write_video(path, spec, [our_planes("yuv420p", i, (64, 32)) for i in range(2)])
    reopen_and_count(pass_through(opened(path), tmp_path / "out"), opened(path))
