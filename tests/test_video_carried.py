"""What goes with the pictures of a video: sound, timecode, texts, rotation, light levels and stereo signalling."""

from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
import pytest
from coded_files import LARGE, SMALL, make_coded, samples_of, sound_of, written_again

from postfix.deliver.codecs import losses, spec_of
from postfix.deliver.video import write_video
from postfix.deliver.video_file import VideoFile
from postfix.errors import InputError
from postfix.source.light import ContentLight, MasteringDisplay
from postfix.source.opening import open_eye
from postfix.source.signalling import Signal


@pytest.fixture(autouse=True)
def quiet():
    av.logging.set_level(av.logging.PANIC)


# --- sound ---

SOUNDS = (("pcm_s16le", "stereo"), ("pcm_s24le", "5.1"), ("pcm_s24le", "mono"))


@pytest.mark.parametrize(
    ("name", "encoder", "pixel_format", "sounds"),
    [
        ("a.mov", "prores_ks", "yuv422p10le", SOUNDS),
        ("a.mkv", "ffv1", "yuv422p10le", SOUNDS),
        ("a.mxf", "prores_ks", "yuv422p10le", SOUNDS),
        ("a.mxf", "dnxhd", "yuv422p", SOUNDS),
        ("a.mov", "prores_ks", "yuv422p10le", (("aac", "stereo"), ("ac3", "5.1"), ("pcm_s32le", "stereo"))),
        ("a.mkv", "libx264", "yuv420p", (("aac", "5.1"), ("flac", "stereo"), ("pcm_f32le", "stereo"))),
        ("a.mp4", "libx265", "yuv420p", (("aac", "mono"), ("ac3", "5.1"))),
        ("a.mov", "prores_ks", "yuv422p10le", (("pcm_s24le", "4 channels"), ("pcm_s16be", "8 channels"))),
    ],
)
def test_every_stream_of_sound_is_copied_byte_for_byte(tmp_path, name, encoder, pixel_format, sounds):
    options = {"profile": "dnxhr_hq"} if encoder == "dnxhd" else {"x265-params": "log-level=none"}
    source = make_coded(
        tmp_path / name, encoder, pixel_format, options if encoder in ("dnxhd", "libx265") else {},
        size=LARGE, count=20, sounds=sounds,
    )  # fmt: skip
    before, packets = sound_of(source)
    assert len(before) == len(sounds)
    assert all(len(b"".join(stream)) > 1000 for stream in packets)
    after, copied = sound_of(written_again(source, tmp_path / "out").path)
    assert after == before
    for stream, copy in zip(packets, copied, strict=True):
        assert b"".join(copy) == b"".join(stream)
        if name != "a.mxf":  # MXF holds sound in pieces of a frame each
            assert [packet for packet in copy if packet] == [packet for packet in stream if packet]


def test_sound_that_outlasts_the_pictures_is_copied_to_its_end(tmp_path):
    source = make_coded(tmp_path / "a.mov", "prores_ks", "yuv422p10le", sounds=SOUNDS[:1], seconds=Fraction(3, 2))
    assert sound_of(written_again(source, tmp_path / "out").path) == sound_of(source)


def test_sound_comes_along_into_another_container(tmp_path):
    source = make_coded(tmp_path / "a.mov", "prores_ks", "yuv422p10le", count=12, sounds=SOUNDS)
    after = written_again(source, tmp_path / "out", "ffv1")
    assert after.path.suffix == ".mkv"
    assert [b"".join(s) for s in sound_of(after.path)[1]] == [b"".join(s) for s in sound_of(source)[1]]


def test_sound_without_a_known_channel_layout_is_refused_before_the_first_frame_where_a_container_needs_one(tmp_path):
    source = make_coded(tmp_path / "a.mkv", "ffv1", "yuv420p", sounds=(("pcm_s24le", "4 channels"),))
    eye = open_eye(source)
    with pytest.raises(InputError, match=r"sound of pcm_s24le 4 channels \(unknown channel layout") as caught:
        VideoFile(tmp_path / "out.mp4", spec_of(eye), eye)
    assert "--codec" in str(caught.value)
    assert not (tmp_path / "out.mp4").exists()


# --- timecode ---


@pytest.mark.parametrize(
    ("rate", "timecode"),
    [
        (Fraction(30000, 1001), "00:59:59;28"),
        (Fraction(60000, 1001), "10:00:00;04"),
        (Fraction(30000, 1001), "01:00:00:00"),
        (Fraction(24), "23:59:59:23"),
        (Fraction(50), "09:08:07:49"),
    ],
)
@pytest.mark.parametrize(
    ("name", "encoder"), [("a.mov", "prores_ks"), ("a.mkv", "ffv1"), ("a.mp4", "libx264"), ("a.mxf", "prores_ks")]
)
def test_timecode_stays_drop_frame_too(tmp_path, rate, timecode, name, encoder):
    pixel_format = "yuv420p" if encoder == "libx264" else "yuv422p10le"
    # Matroska's clock ticks in milliseconds: too few frames would leave the rate open.
    source = make_coded(tmp_path / name, encoder, pixel_format, count=16, rate=rate, timecode=timecode)
    after = written_again(source, tmp_path / "out")
    assert (after.rate, after.timecode) == (rate, timecode)
    part = open_eye(source, frames=(3, 15))
    assert (";" in part.timecode) == (";" in timecode)
    # Two (four) numbers are left out where a minute begins, but for every tenth (SMPTE ST 12-1, from memory).
    assert part.timecode == {
        "00:59:59;28": "01:00:00;01", "10:00:00;04": "10:00:00;07", "01:00:00:00": "01:00:00:03",
        "23:59:59:23": "00:00:00:02", "09:08:07:49": "09:08:08:02",
    }[timecode]  # fmt: skip


# --- texts ---


@pytest.mark.parametrize(("name", "encoder"), [("a.mov", "prores_ks"), ("a.mp4", "libx264"), ("a.mkv", "ffv1")])
def test_texts_stay_field_for_field(tmp_path, name, encoder):
    pixel_format = "yuv420p" if encoder == "libx264" else "yuv422p10le"
    texts = {
        "title": "Kite workshop",
        "comment": "windy",
        "reel_name": "A001",
        "org.kites.lens": "35 mm",
        "director": "é ü",
    }
    source = make_coded(
        tmp_path / name, encoder, pixel_format, metadata=texts,
        stream_metadata={"title": "left eye", "reel_name": "A001", "language": "deu" if name == "a.mp4" else "ger"},
    )  # fmt: skip
    before, after = open_eye(source).tags, written_again(source, tmp_path / "out").tags
    assert {k.lower(): v for k, v in before.metadata}.items() >= texts.items()

    def kept(metadata):  # what the library writes of itself is no text of the film's
        own = ("encoder", "timecode", "duration", "minor_version", "compatible_brands", "vendor_id")
        return [(key.lower(), value) for key, value in metadata if key.lower() not in own]

    assert kept(after.metadata) == kept(before.metadata)
    assert kept(after.stream_metadata) == kept(before.stream_metadata)


def test_texts_without_a_place_are_told(tmp_path):
    source = make_coded(tmp_path / "a.mov", "prores_ks", "yuv422p10le", metadata={"director": "Gull"})
    assert any("director" in line for line in losses(spec_of(open_eye(source)), ".mxf"))
    assert not losses(spec_of(open_eye(source)), ".mov") or all(
        "director" not in line for line in losses(spec_of(open_eye(source)), ".mov")
    )


# --- rotation ---

ONE = 1 << 16
TURNS = {
    "quarter": (0, ONE, 0, -ONE, 0, 0, 0, 0, 1 << 30),
    "half": (-ONE, 0, 0, 0, -ONE, 0, 0, 0, 1 << 30),
    "three quarters": (0, -ONE, 0, ONE, 0, 0, 0, 0, 1 << 30),
    "mirrored": (-ONE, 0, 0, 0, ONE, 0, 0, 0, 1 << 30),
    "upside down": (ONE, 0, 0, 0, -ONE, 0, 0, 0, 1 << 30),
}


def shown(plane, turn):
    """What a player shows of a coded plane; a quarter turn is clockwise (FFmpeg's display.h: (p, q) to (-q, p))."""
    return {
        "quarter": lambda: np.rot90(plane, -1), "half": lambda: np.rot90(plane, 2),
        "three quarters": lambda: np.rot90(plane), "mirrored": lambda: plane[:, ::-1],
        "upside down": lambda: plane[::-1],
    }[turn]()  # fmt: skip


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize(
    ("name", "encoder", "options"),
    [("a.mov", "libx264", {"qp": "0"}), ("a.mp4", "libx264", {"qp": "0"}), ("a.mkv", "ffv1", {})],
)
def test_turned_pictures_are_upright_in_memory_and_as_they_were_in_the_file(tmp_path, turn, name, encoder, options):
    source = make_coded(
        tmp_path / name, encoder, "yuv422p10le", options, matrix=TURNS[turn],
        aspect=Fraction(4, 3) if encoder == "libx264" else None,
    )  # fmt: skip
    eye = open_eye(source)
    swapped = "quarter" in turn
    assert (eye.format.width, eye.format.height) == (SMALL[::-1] if swapped else SMALL)
    if encoder == "libx264":
        assert eye.tags.pixel_aspect == (Fraction(3, 4) if swapped else Fraction(4, 3))
    after = written_again(source, tmp_path / "out")
    assert after.tags.display_matrix == eye.tags.display_matrix == TURNS[turn]
    assert after.tags.pixel_aspect == eye.tags.pixel_aspect
    for index, planes in enumerate(after.frames()):
        for plane, coded in zip(planes, samples_of("yuv422p10le", index, SMALL), strict=True):
            assert np.array_equal(plane, shown(coded, turn))
    with av.open(str(after.path)) as container:  # the file itself holds what its source held
        stored = np.frombuffer(next(container.decode(video=0)).planes[0], np.uint16).reshape(SMALL[1], -1)
        assert np.array_equal(stored[:, : SMALL[0]], samples_of("yuv422p10le", 0, SMALL)[0])


def test_a_turn_by_any_other_angle_is_refused(tmp_path):
    slant = (46341, 46341, 0, -46341, 46341, 0, 0, 0, 1 << 30)
    source = make_coded(tmp_path / "a.mov", "prores_ks", "yuv422p10le", matrix=slant)
    with pytest.raises(InputError, match="whole quarter turns"):
        open_eye(source)


# --- light levels ---

# A display of BT.2020's chromaticities (Rec. ITU-R BT.2020-2, Table 4, from memory) from 0.005 to 1000 cd/m².
DISPLAY = MasteringDisplay(
    (Fraction("0.708"), Fraction("0.292")), (Fraction("0.170"), Fraction("0.797")),
    (Fraction("0.131"), Fraction("0.046")), (Fraction("0.3127"), Fraction("0.3290")), Fraction("0.005"), Fraction(1000),
)  # fmt: skip
MASTER = "G(8500,39850)B(6550,2300)R(35400,14600)WP(15635,16450)L(10000000,50)"


@pytest.mark.parametrize("name", ["a.mov", "a.mp4", "a.mkv"])
@pytest.mark.parametrize(
    ("encoder", "options"),
    [
        ("libx265", {"x265-params": f"log-level=none:master-display={MASTER}:max-cll=1000,400"}),
        ("libx264", {"x264-params": f"mastering-display={MASTER}:cll=1000,400"}),
    ],
)
def test_light_levels_stay(tmp_path, name, encoder, options):
    source = make_coded(tmp_path / name, encoder, "yuv420p10le", options)
    for eye in (open_eye(source), written_again(source, tmp_path / "out")):
        assert eye.tags.mastering == DISPLAY
        assert eye.tags.content_light == ContentLight(1000, 400)


def test_light_levels_without_a_place_are_told(tmp_path):
    source = make_coded(
        tmp_path / "a.mp4", "libx265", "yuv420p10le", {"x265-params": f"log-level=none:master-display={MASTER}"}
    )
    eye = open_eye(source)
    assert not losses(spec_of(eye), ".mp4")
    assert any("mastering display" in line for line in losses(spec_of(eye, "ffv1"), ".mkv"))


# --- both eyes in one file ---

# RFC 9559, 5.1.4.1.28.3 (read), in the words of the library.
MODES = {
    "left_right": Signal("side-by-side"), "right_left": Signal("side-by-side", True),
    "top_bottom": Signal("top-bottom"), "bottom_top": Signal("top-bottom", True),
    "row_interleaved_lr": Signal("rows"), "row_interleaved_rl": Signal("rows", True),
    "block_lr": Signal("frame-sequential"), "block_rl": Signal("frame-sequential", True), "mono": None,
}  # fmt: skip


@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("aspect", [None, Fraction(2), Fraction(1, 2)])
def test_matroskas_stereo_mode_is_read_and_written(tmp_path, mode, aspect):
    source = make_coded(tmp_path / "a.mkv", "ffv1", "yuv422p10le", count=2, stream_metadata={"stereo_mode": mode})
    eye = open_eye(source)
    assert eye.tags.stereo == MODES[mode]
    spec = replace(spec_of(eye), pixel_aspect=aspect)
    write_video(tmp_path / "b.mkv", spec, eye.frames())
    after = open_eye(tmp_path / "b.mkv")
    assert after.tags.stereo == MODES[mode]
    assert (after.tags.pixel_aspect or 1) == (aspect or 1)


# ITU-T H.264, Table D-8, frame_packing_arrangement_type (from memory).
PACKINGS = {2: "rows", 3: "side-by-side", 4: "top-bottom", 5: "frame-sequential"}


@pytest.mark.parametrize("packing", PACKINGS)
@pytest.mark.parametrize("name", ["a.mp4", "a.mov", "a.mkv"])
def test_frame_packing_is_read_and_written(tmp_path, packing, name):
    source = make_coded(tmp_path / name, "libx264", "yuv420p", {"x264-params": f"frame-packing={packing}"})
    for eye in (open_eye(source), written_again(source, tmp_path / "out")):
        assert eye.tags.stereo == Signal(PACKINGS[packing])


def test_a_right_eye_first_is_told_in_side_data_too():
    from postfix.source.signalling import signal_of_side_data

    def data(*numbers):
        return np.array(numbers, np.int32).tobytes()

    assert signal_of_side_data(data(1, 1, 0)) == Signal("side-by-side", True)
    assert signal_of_side_data(data(3, 0, 1)) == Signal("frame-sequential")
    assert signal_of_side_data(data(3, 0, 2)) == Signal("frame-sequential", True)
    assert signal_of_side_data(data(0, 0, 0)) is None


@pytest.mark.parametrize("mode", ["checkerboard_lr", "col_interleaved_lr", "anaglyph_cyan_red"])
def test_eyes_that_cannot_be_taken_apart_are_refused(tmp_path, mode):
    with pytest.raises(InputError, match="both eyes mixed"):
        open_eye(make_coded(tmp_path / "a.mkv", "ffv1", "yuv422p10le", stream_metadata={"stereo_mode": mode}))


def test_what_cannot_be_signalled_is_told(tmp_path):
    spec = spec_of(open_eye(make_coded(tmp_path / "a.mov", "prores_ks", "yuv422p10le")))
    spec = replace(spec, stereo=Signal("side-by-side"))
    assert any("side-by-side" in line for line in losses(spec, ".mov"))
    assert not losses(spec, ".mkv")
    assert not losses(replace(spec, codec="h264"), ".mov")
    assert losses(replace(spec, codec="h264", stereo=Signal("side-by-side", True)), ".mov")
