"""Writing both eyes: what is written is read back with the libraries directly and held against its source."""

import shutil
import threading
import time
from fractions import Fraction

import av
import numpy as np
import OpenImageIO as oiio
import pytest
from eyes_out import eye_out, reopen_and_count, writer_like
from picture_files import (
    LOSSLESS,
    RATE,
    STILLS,
    VIDEOS,
    expected_planes,
    file_planes,
    fingerprints,
    make_eye,
    make_stills,
    make_video,
    our_planes,
    write_still_file,
)

from postfix.deliver import picture_coder
from postfix.deliver import stills as stills_out
from postfix.deliver.codecs import ENCODERS, VideoSpec
from postfix.deliver.video import write_video
from postfix.errors import InputError, OutputError
from postfix.source.opening import open_eye

KINDS = [*VIDEOS, *STILLS]
LONG_S = 60.0
"""Far longer than anything here takes on a machine that is busy with other things."""


def opened(path, **options):
    return open_eye(path, rate=RATE if path.is_dir() else None, **options)


def pass_through(eye, folder, unchanged=False, last=None, interrupt_at=None):
    folder.mkdir()
    with writer_like(eye, folder) as writer:
        for index, planes in enumerate(eye.frames(0, last)):
            if index == interrupt_at:
                raise KeyboardInterrupt
            writer.write(index, planes, unchanged)
    return folder


@pytest.mark.parametrize("kind", KINDS)
def test_every_writer_gives_back_what_it_was_handed(tmp_path, kind):
    eye = opened(make_eye(tmp_path / "in", kind))
    before = fingerprints(tmp_path / "in")
    out = pass_through(eye, tmp_path / "ü out")
    written = reopen_and_count(out, eye)
    assert [file.name for file in written.files()] == [file.name for file in eye.files()]
    assert (written.format, written.rate, written.timecode) == (eye.format, eye.rate, eye.timecode)
    for planes, wanted in zip(written.frames(), eye.frames(), strict=True):
        for plane, original in zip(planes, wanted, strict=True):
            if kind in LOSSLESS:
                assert plane.tobytes() == original.tobytes()
            else:  # a second generation of the same codec on this grain: bounds computed, a little above what is seen
                difference = np.abs(plane.astype(int) - original.astype(int))
                assert difference.mean() < {"prores": 3, "h264": 2, "jpeg": 1}[kind]
    assert fingerprints(tmp_path / "in") == before


@pytest.mark.parametrize("kind", KINDS)
def test_the_same_input_gives_the_same_bytes(tmp_path, kind):
    eye = opened(make_eye(tmp_path / "in", kind))
    first = fingerprints(pass_through(eye, tmp_path / "a"))
    assert first == fingerprints(pass_through(eye, tmp_path / "b"))


def test_unequal_planes_are_kept_apart(tmp_path):
    """Each plane comes back in its own place, R G B included, where FFmpeg stores G B R."""
    eye = opened(make_video(tmp_path / "a.mkv", "ffv1-rgb", 2))
    flat = [tuple(np.full((182, 322), code, np.uint16) for code in (100, 200, 300)) for _ in range(2)]
    out = tmp_path / "out"
    out.mkdir()
    with writer_like(eye, out) as writer:
        for index, planes in enumerate(flat):
            writer.write(index, planes)
    with av.open(str(out / "a.mkv")) as container:
        frame = next(container.decode(video=0))
        stored = [np.frombuffer(plane, np.uint16)[0] for plane in frame.planes]
    assert stored == [200, 300, 100]


# --- what goes with the pictures ---


def facts(path):
    """Tags as the library tells them, before and at the first frame."""
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        told = {
            "codec": context.name,
            "profile": context.profile,
            "format": context.pix_fmt,
            "rate": stream.average_rate,
            "aspect": stream.sample_aspect_ratio,
            "stream colour": (context.color_range, context.color_primaries, context.color_trc, context.colorspace),
            "title": container.metadata.get("title"),
            "timecode": {**stream.metadata, **{k.lower(): v for k, v in container.metadata.items()}}.get("timecode"),
        }
        if path.suffix in (".mov", ".mp4"):
            told["clock"] = stream.time_base
        frame = next(container.decode(stream))
        told["frame colour"] = (frame.color_range, frame.color_primaries, frame.color_trc, frame.colorspace)
    return told


@pytest.mark.parametrize("kind", VIDEOS)
def test_tags_timecode_rate_and_profile_stay(tmp_path, kind):
    path = make_video(tmp_path / f"a{VIDEOS[kind][0]}", kind, 6)
    out = pass_through(opened(path), tmp_path / "out")
    before, after = facts(path), facts(out / path.name)
    assert after == before
    assert before["timecode"] == "10:00:00:00"
    if kind != "ffv1-avi":  # AVI has no place for colour tags
        assert before["frame colour"][1:] == ((9, 16, 0) if kind == "ffv1-rgb" else (9, 16, 9))


@pytest.mark.parametrize("full", [False, True])
def test_the_code_range_stays(tmp_path, full):
    path = make_video(tmp_path / "a.mp4", "h264", 3, full_range=full)
    out = pass_through(opened(path), tmp_path / "out")
    assert facts(out / "a.mp4")["frame colour"][0] == (2 if full else 1)


def audio_packets(path):
    with av.open(str(path)) as container:
        first = container.streams.video[0].start_time * container.streams.video[0].time_base
        packets = {}
        for packet in container.demux(*container.streams.audio):
            if packet.size:
                at = packet.pts * packet.time_base - first
                packets.setdefault(packet.stream.index, []).append((at, bytes(packet)))
        return packets, [(s.codec_context.name, s.rate, s.codec_context.layout.name) for s in container.streams.audio]


@pytest.mark.parametrize("kind", ["prores", "h264", "ffv1"])
def test_audio_is_copied_packet_for_packet(tmp_path, kind):
    path = make_video(tmp_path / f"a{VIDEOS[kind][0]}", kind, 30, audio=True)
    out = pass_through(opened(path), tmp_path / "out")
    before, streams = audio_packets(path)
    after, streams_after = audio_packets(out / path.name)
    assert len(streams) == 2
    assert streams_after == streams
    for index, packets in before.items():
        joined = b"".join(data for _, data in packets)
        assert len(joined) > 1000
        assert b"".join(data for _, data in after[index]) == joined
        # Matroska's clock ticks in milliseconds; the others keep the times exactly.
        tolerance = Fraction(1, 1000) if kind == "ffv1" else 0
        assert abs(after[index][0][0] - packets[0][0]) <= tolerance


def test_a_part_of_a_clip_takes_its_part_of_the_audio_and_its_timecode(tmp_path):
    path = make_video(tmp_path / "a.mov", "prores", 48, audio=True)
    eye = opened(path, frames=(12, 35))
    out = pass_through(eye, tmp_path / "out")
    written = reopen_and_count(out, eye)
    assert (written.count, written.timecode) == (24, "10:00:00:12")
    before, _ = audio_packets(path)
    after, _ = audio_packets(out / "a.mov")
    whole = b"".join(data for _, data in before[1])
    part = b"".join(data for _, data in after[1])
    assert part in whole
    # 24 frames are 1.001 s of four bytes at 48000 a second (computed), give or take a packet at each end.
    assert abs(len(part) - 1.001 * 48000 * 4) <= 2 * 1024 * 4
    assert not eye_out(eye).is_copy
    with pytest.raises(ValueError, match="not what would be written"):
        eye_out(eye).copy(out)


@pytest.mark.parametrize(
    ("name", "codec"),
    [
        ("a.mp4", "h264"), ("a.mkv", "h264"), ("a.mkv", "ffv1"), ("a.mp4", "ffv1"), ("a.mkv", "jpeg2000"),
        ("a.mxf", "jpeg2000"), ("a.mov", "jpeg2000"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("aspect", [Fraction(4, 3), Fraction(2), Fraction(59, 54), Fraction(1, 2)])
def test_pixel_aspect_stays(tmp_path, name, codec, aspect):
    spec = VideoSpec(codec, "yuv420p", 64, 34, Fraction(24), pixel_aspect=aspect)
    write_video(tmp_path / name, spec, [our_planes("yuv420p", 0, (64, 34))])
    assert facts(pass_through(opened(tmp_path / name), tmp_path / "out") / name)["aspect"] == aspect


def test_pixel_aspect_is_refused_where_it_has_no_place(tmp_path):
    lost = VideoSpec("ffv1", "yuv420p", 64, 32, Fraction(24), pixel_aspect=Fraction(4, 3))
    with pytest.raises(InputError, match="4/3"):
        write_video(tmp_path / "a.avi", lost, [our_planes("yuv420p", 0, (64, 32))])
    assert not (tmp_path / "a.avi").exists()


HEADER = ("Software", "XResolution", "YResolution", "ResolutionUnit", "Orientation", "compression", "DateTime")


@pytest.mark.parametrize("kind", STILLS)
def test_a_still_keeps_its_header(tmp_path, kind):
    folder = make_stills(tmp_path / "in", kind, 2)
    out = pass_through(opened(folder), tmp_path / "out")
    for file in folder.iterdir():
        old, new = (oiio.ImageInput.open(str(place / file.name)).spec() for place in (folder, out))
        assert (new.width, new.height, new.nchannels, str(new.format)) == (
            old.width, old.height, old.nchannels, str(old.format),
        )  # fmt: skip
        for name in HEADER:
            assert new.getattribute(name) == old.getattribute(name), name


def test_a_still_keeps_its_colour_profile_and_gets_no_date_of_its_own(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    spec = oiio.ImageSpec(32, 18, 3, "uint16")
    spec.attribute("ICCProfile", oiio.TypeDesc("uint8[200]"), np.arange(200, dtype=np.uint8))
    spec.attribute("DateTime", "")
    output = oiio.ImageOutput.create("x.tif")
    output.open(str(folder / "a.1.tif"), spec)
    output.write_image(np.zeros((18, 32, 3), np.uint16))
    output.close()
    out = pass_through(opened(folder), tmp_path / "out")
    new = oiio.ImageInput.open(str(out / "a.1.tif")).spec()
    assert np.array_equal(new.getattribute("ICCProfile"), np.arange(200, dtype=np.uint8))
    assert new.getattribute("DateTime") is None


def test_unchanged_stills_are_copied_byte_for_byte(tmp_path):
    folder = make_stills(tmp_path / "in", "png16", 3)
    out = pass_through(opened(folder), tmp_path / "out", unchanged=True)
    assert fingerprints(out) == fingerprints(folder)


@pytest.mark.parametrize("kind", KINDS)
def test_an_eye_that_changes_nowhere_is_copied_byte_for_byte(tmp_path, kind):
    eye = opened(make_eye(tmp_path / "in", kind, 2))
    out = tmp_path / "out"
    out.mkdir()
    assert eye_out(eye).is_copy
    eye_out(eye).copy(out)
    assert sorted(fingerprints(out).values()) == sorted(fingerprints(tmp_path / "in").values())
    assert reopen_and_count(out, eye).count == 2


def test_parts_of_an_array_are_written_as_they_look(tmp_path):
    """A view into a larger picture has gaps between its rows."""
    large = np.arange(60 * 100 * 3, dtype=np.uint16).reshape(60, 100, 3)
    for view in (large[5:20, 10:50], large[::-1, ::2], large[..., 0]):
        stills_out.write_still(tmp_path / "a.tif", view)
        back = oiio.ImageInput.open(str(tmp_path / "a.tif")).read_image("uint16")
        assert np.array_equal(back.reshape(view.shape), view)


# --- what goes wrong ---


def test_a_codec_that_cannot_be_written_is_refused_before_the_first_frame(tmp_path):
    path = tmp_path / "a.mkv"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=24)
        stream.width, stream.height, stream.pix_fmt = 64, 32, "yuv420p"
        for index in range(3):
            frame = av.VideoFrame(64, 32, "yuv420p")
            for plane in frame.planes:
                plane.update(bytes(plane.buffer_size))
            frame.pts = index
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    eye = opened(path)
    out = tmp_path / "out"
    for attempt in (eye_out(eye).check, lambda: pass_through(eye, out)):
        with pytest.raises(InputError, match="mpeg4") as caught:
            attempt()
        assert all(codec in str(caught.value) for codec in ENCODERS)
    assert not list(out.iterdir())


@pytest.mark.parametrize(
    ("spec", "name", "says"),
    [
        (VideoSpec("prores", "yuv444p12le", 64, 32, Fraction(24)), "a.mov", "yuv444p12le"),
        (VideoSpec("prores", "yuv422p10le", 64, 32, Fraction(24), profile="Best"), "a.mov", "profile Best"),
        (VideoSpec("ffv1", "yuv420p", 64, 32, Fraction(24)), "a.mov", "a '.mov' file cannot"),
        (VideoSpec("h264", "yuv420p", 63, 31, Fraction(24)), "a.mp4", "63x31"),
    ],
)
def test_what_cannot_go_together_is_refused_before_the_first_frame(tmp_path, spec, name, says):
    with pytest.raises(InputError, match=says):
        write_video(tmp_path / name, spec, [])


def test_a_place_that_cannot_be_written_is_an_output_error(tmp_path):
    spec = VideoSpec("ffv1", "yuv420p", 64, 32, Fraction(24))
    for path in (tmp_path / "nowhere" / "a.mkv", tmp_path / "a.unknown"):
        with pytest.raises(OutputError):
            write_video(path, spec, [our_planes("yuv420p", 0, (64, 32))])


def running():
    return [t for t in threading.enumerate() if t.name.startswith(("encode ", "write "))]


@pytest.mark.parametrize("kind", ["ffv1", "prores", "h264", "tiff16"])
def test_an_exception_in_the_middle_ends_the_threads_and_is_not_hidden(tmp_path, kind):
    eye = opened(make_eye(tmp_path / "in", kind, 12))
    with pytest.raises(KeyboardInterrupt):
        pass_through(eye, tmp_path / "out", interrupt_at=8)
    assert not running()


@pytest.mark.parametrize("kind", ["ffv1", "tiff16"])
def test_a_fault_while_writing_reaches_the_caller(tmp_path, kind, monkeypatch):
    eye = opened(make_eye(tmp_path / "in", kind, 12))

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(picture_coder.PictureCoder, "_frame", full)
    monkeypatch.setattr(stills_out, "write_still", lambda *_, **__: full())
    with pytest.raises(OutputError, match="No space left") as caught:
        pass_through(eye, tmp_path / "out")
    assert caught.value.exit_code == 4
    assert not running()


@pytest.mark.parametrize("kind", ["ffv1", "tiff16"])
def test_too_few_frames_do_not_pass_for_a_whole_clip(tmp_path, kind):
    eye = opened(make_eye(tmp_path / "in", kind, 4))
    with pytest.raises(OutputError, match=r"3 (frames|stills) handed over"):
        pass_through(eye, tmp_path / "out", last=2)
    assert not running()


@pytest.mark.parametrize("kind", ["ffv1", "tiff8"])
def test_few_frames_wait_for_a_slow_writer(tmp_path, kind, monkeypatch):
    eye = opened(make_eye(tmp_path / "in", kind, 30))
    out = tmp_path / "out"
    out.mkdir()
    gate = threading.Event()
    done = []
    encode, write_still = picture_coder.PictureCoder.encode, stills_out.write_still

    def slow_encode(self, planes):
        gate.wait(LONG_S)
        done.append(1)
        return encode(self, planes)

    def slow_still(*arguments, **named):
        gate.wait(LONG_S)
        write_still(*arguments, **named)
        done.append(1)

    monkeypatch.setattr(picture_coder.PictureCoder, "encode", slow_encode)
    monkeypatch.setattr(stills_out, "write_still", slow_still)
    handed = []

    def hand_over():
        with writer_like(eye, out) as writer:
            for index, planes in enumerate(eye.frames()):
                writer.write(index, planes)
                handed.append(index)

    worker = threading.Thread(target=hand_over)
    worker.start()
    until_s = time.monotonic() + LONG_S
    while not handed and time.monotonic() < until_s:
        time.sleep(0.01)
    worker.join(0.5)
    assert 1 <= len(handed) <= 8
    gate.set()
    worker.join(LONG_S)
    assert len(handed) == len(done) == 30


def test_what_was_written_is_held_against_its_source(tmp_path):
    eye = opened(make_video(tmp_path / "a.mkv", "ffv1", 6))
    out = tmp_path / "out"
    out.mkdir()
    with pytest.raises(OutputError):
        reopen_and_count(out, eye)
    make_video(out / "a.mkv", "ffv1", 5)
    with pytest.raises(OutputError, match="found 5 frames in what was written, expected 6 frames"):
        reopen_and_count(out, eye)
    make_video(out / "a.mkv", "ffv1", 6, size=(320, 182))
    with pytest.raises(OutputError, match="320x182"):
        reopen_and_count(out, eye)
    folder = make_stills(tmp_path / "stills", "tiff16", 3)
    stills = opened(folder)
    shutil.copytree(folder, tmp_path / "copy")
    last = sorted((tmp_path / "copy").iterdir())[-1]
    write_still_file(last, np.zeros((182, 322, 3), np.uint8))
    with pytest.raises(OutputError, match="rgb-8bit"):
        reopen_and_count(tmp_path / "copy", stills)
    last.unlink()
    with pytest.raises(OutputError, match="2 frames"):
        reopen_and_count(tmp_path / "copy", stills)


# --- from nothing ---


@pytest.mark.parametrize(
    ("name", "codec", "pixel_format", "profile"),
    [
        ("a.mkv", "ffv1", "yuv422p10le", ""),
        ("a.mkv", "ffv1", "gbrp10le", ""),
        ("a.mov", "prores", "yuv422p10le", "HQ"),
        ("a.mp4", "h264", "yuv420p", "High"),
        ("a.mkv", "h264", "yuv420p", "Main"),
    ],
)
def test_a_clip_can_be_written_from_nothing(tmp_path, name, codec, pixel_format, profile):
    rgb = pixel_format.startswith("gbr")
    spec = VideoSpec(
        codec, pixel_format, 322, 182, RATE, profile, 2 if rgb else 1, 1, 1, 0 if rgb else 1, timecode="01:00:00:00"
    )
    count = write_video(tmp_path / name, spec, (our_planes(pixel_format, index) for index in range(5)))
    eye = opened(tmp_path / name)
    assert count == eye.count == 5
    assert (eye.rate, eye.timecode, eye.format.pixel_format) == (RATE, "01:00:00:00", pixel_format)
    told = facts(tmp_path / name)
    assert told["profile"] == (profile or None)
    assert told["stream colour"] == (2 if rgb else 1, 1, 1, 0 if rgb else 1)
    if codec == "ffv1":
        for index, planes in enumerate(eye.frames()):
            assert all(np.array_equal(a, b) for a, b in zip(planes, our_planes(pixel_format, index)))


def test_planes_of_the_wrong_kind_are_not_written(tmp_path):
    spec = VideoSpec("ffv1", "yuv422p10le", 322, 182, RATE)
    good = file_planes("yuv422p10le", 0)
    for bad in ([p.astype(np.uint8) for p in good], good[:2], [p[:, :-1] for p in good]):
        with pytest.raises(ValueError, match="plane"):
            write_video(tmp_path / "a.mkv", spec, [tuple(bad)])


@pytest.mark.parametrize("kind", ["ffv1", "png16"])
def test_each_frame_lands_in_its_place(tmp_path, kind):
    eye = opened(make_eye(tmp_path / "in", kind, 5))
    out = tmp_path / "out"
    out.mkdir()
    with writer_like(eye, out) as writer:
        for index in range(5):
            writer.write(index, tuple(expected_planes(kind, 4 - index)))
    for index, planes in enumerate(reopen_and_count(out, eye).frames()):
        assert np.array_equal(planes[0], expected_planes(kind, 4 - index)[0])
