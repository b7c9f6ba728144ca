"""How many threads work, and how much memory they may take: never what they make."""

import os
from dataclasses import replace

import numpy as np
import pytest
from clips import fails, tree, write_pair
from footage import SPECS, panned, write_tiffs, yuv422p10

from postfix import effort
from postfix.arguments import parser
from postfix.cli import main
from postfix.deliver.codecs import CODECS
from postfix.deliver.encoders import ENCODERS, formats_of
from postfix.deliver.video import write_video
from postfix.effort import Effort, bytes_in, current, settle, using
from postfix.options import asked_effort
from postfix.source.pixel_formats import video_format


@pytest.mark.parametrize(
    ("typed", "size"),
    [
        ("800M", 800_000_000),
        ("800 MB", 800_000_000),
        ("4G", 4_000_000_000),
        ("4g", 4_000_000_000),
        ("2.5GiB", 2_684_354_560),
        ("512Mi", 536_870_912),
        ("0.3k", 300),
        ("123456789", 123_456_789),
    ],
)
def test_a_size_is_decimal_or_binary_as_its_unit_says(typed, size):
    assert bytes_in(typed) == size


@pytest.mark.parametrize("typed", ["", "0", "0.0001k", "-4G", "4X", "G", "4GG", "1e9", "٤G", "4G 1", "nan", "9" * 400])
def test_what_is_no_size_is_refused(typed):
    with pytest.raises(ValueError, match="is no size"):
        bytes_in(typed)


@pytest.mark.parametrize("words", [["--workers", "0"], ["--workers", "1025"], ["--workers", "two"], ["--memory", "4X"]])
def test_effort_that_cannot_be_meant_is_wrong_use(capsys, words):
    fails(capsys, ["measure", "--left", "a", "--right", "b", "-o", "c.csv", *words], 2, words[0], "no ")


@pytest.mark.parametrize(
    "command",
    ["demo x", "measure -o x.csv", "render --plan p -o x", "check --screen s", "run -o x", "preview -o x.png"],
)
def test_every_command_that_works_on_pictures_takes_an_effort(command):
    typed = parser().parse_args([*command.split(), "--workers", "3", "--memory", "4G"])
    assert asked_effort(typed) == Effort(3, 4_000_000_000)


def test_without_a_word_every_core_works_and_nothing_bounds_memory_but_the_queues():
    assert asked_effort(parser().parse_args(["check", "--screen", "s"])) == Effort(os.cpu_count() or 1)
    assert current() == Effort(os.cpu_count() or 1)


def test_an_effort_holds_until_its_block_ends_and_settled_no_longer():
    before = current()
    with using(Effort(7)):
        with using(Effort(5)):
            settle(Effort(2))
            assert current() == Effort(2)
        assert current() == Effort(7)
    assert current() == before
    with pytest.raises(RuntimeError):
        settle(Effort(2))


def test_one_worker_reads_and_writes_one_still_at_a_time_and_many_scale():
    assert [Effort(workers).threads_an_eye for workers in (1, 2, 3, 4, 8)] == [1, 2, 2, 2, 4]


# --- what is made does not depend on it --------------------------------------------------------------------------


def coded(path, spec, pictures, threads):
    with using(Effort(threads, memory_bytes=10**12)):
        assert current().library_threads == threads
        write_video(path, spec, pictures)
    return path.read_bytes()


def spec_and_pictures(codec, profile):
    """Panned crops in the codec's first planar format of 4:2:2 or richer, as many bits as it has."""
    pixel_format = next(
        name for name in ("yuv422p10le", "yuv422p", "yuv444p10le") if name in formats_of(codec, profile)
    )
    spec = replace(SPECS["prores.mov"], codec=codec, profile=profile, pixel_format=pixel_format)
    pictures = [yuv422p10(panned(index).left) for index in range(0, 48, 4)]
    fmt = video_format(pixel_format, spec.width, spec.height, False)
    if fmt.dtype == "uint8":
        pictures = [tuple((plane >> 2).astype(np.uint8) for plane in planes) for planes in pictures]
    if fmt.planes[1].step_x == 1:
        pictures = [(y, cb.repeat(2, 1), cr.repeat(2, 1)) for y, cb, cr in pictures]
    return spec, pictures


@pytest.mark.parametrize("name", sorted({codec: name for name, (codec, _) in CODECS.items()}.values()))
def test_the_coded_bytes_do_not_depend_on_the_threads(tmp_path, name):
    codec, profile = CODECS[name]
    spec, pictures = spec_and_pictures(codec, profile)
    suffix = ".mkv" if codec == "ffv1" else ".mov"
    one, *more = (coded(tmp_path / f"{threads}{suffix}", spec, pictures, threads) for threads in (1, 2, 5))
    assert all(other == one for other in more)


def test_every_codec_that_is_written_is_held_to_that():
    assert {codec for codec, _ in CODECS.values()} == set(ENCODERS)


def pictures_of(folder):
    return {name: (folder / name).read_bytes() for name in tree(folder) if (folder / name).is_file()}


@pytest.mark.parametrize("kind", ["video", "stills"])
def test_a_job_makes_the_same_bytes_with_one_worker_and_with_many(tmp_path, kind):
    if kind == "video":
        left, right = write_pair(tmp_path / "in", far_pct=1.4)
        source = ["--left", left, "--right", right]
    else:
        left, right = write_tiffs(tmp_path / "in", frames=6)
        source = ["--left", left, "--right", right, "--rate", "24", "--one-shot"]
    made = []
    for name, words in (("one", ["--workers", "1"]), ("five", ["--workers", "5"]), ("bound", ["--memory", "700M"])):
        # The same place each time: the logs tell it.
        out = tmp_path / "out"
        typed = ["run", *source, "--screen", "cinema-12m", "-q", *words, "-o", out]
        assert main([str(word) for word in typed]) in (0, 5)
        out.rename(tmp_path / name)
        made.append(pictures_of(tmp_path / name))
    assert made[0].keys() == made[1].keys() == made[2].keys()
    assert [name for name in made[0] if not made[0][name] == made[1][name] == made[2][name]] == []


def test_the_effort_of_a_command_is_over_when_it_ends(tmp_path):
    main(["measure", "--left", str(tmp_path / "no"), "--right", str(tmp_path / "no"), "-o", "c.csv", "--workers", "3"])
    assert effort.current() == effort.usual()
