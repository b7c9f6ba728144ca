"""Chapters, subtitles and other streams beside the pictures: carried, or named before the first frame."""

from fractions import Fraction

import av
import numpy as np
import pytest
from coded_files import make_coded, written_again
from eyes_out import eye_out, writer_like
from packed_files import write_packed_video

from postfix.deliver.delivery import Delivery, check_delivery
from postfix.deliver.packing import check_packed, lost_in_packed
from postfix.deliver.sound import extras_of, left_out
from postfix.errors import InputError
from postfix.source.opening import open_eye
from postfix.source.packed import open_packed
from postfix.source.pair import PairSource

MS = Fraction(1, 1000)
CHAPTERS = ((0, 400, "Calm"), (400, 1250, "Gust é"))
"""Start and end in milliseconds."""


@pytest.fixture(autouse=True)
def quiet():
    av.logging.set_level(av.logging.PANIC)


def with_extras(path, *, chapters=CHAPTERS, subtitles=None, cover=False, count=30):
    """A clip at 24 frames/s with chapters and a line of subtitles at half a second and at one."""
    coder = "ffv1" if path.suffix == ".mkv" else "libx264"
    with av.open(str(path), "w") as container:
        stream = container.add_stream(coder, rate=24)
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        lines = container.add_mux_stream(subtitles) if subtitles else None
        if cover:
            container.add_attachment("cover.png", "image/png", b"\x89PNG\r\n\x1a\n" + bytes(20))
            container.add_attachment("notes.txt", "text/plain", b"windy")
        container.set_chapters([
            {"id": i, "start": start, "end": end, "time_base": MS, "metadata": {"title": title}}
            for i, (start, end, title) in enumerate(chapters, 1)
        ])  # fmt: skip
        container.start_encoding()
        for index in range(count):
            frame = av.VideoFrame(64, 48, "yuv420p")
            for plane in frame.planes:
                np.frombuffer(plane, np.uint8)[:] = 60 + index
            frame.pts, frame.time_base = index, Fraction(1, 24)
            container.mux(stream.encode(frame))
            if lines is not None and index in (12, 24):
                text = f"kite {index}".encode()
                packet = av.Packet(len(text).to_bytes(2, "big") + text if subtitles == "mov_text" else text)
                packet.stream, packet.time_base = lines, MS
                packet.pts = packet.dts = round(index * 1000 / 24)
                packet.duration = 200
                container.mux(packet)
        container.mux(stream.encode(None))
    return path


def chapters_of(path):
    with av.open(str(path)) as container:
        return [
            (c["start"] * c["time_base"] / MS, c["end"] * c["time_base"] / MS, c["metadata"]["title"])
            for c in container.chapters()
        ]


def subtitles_of(path):
    with av.open(str(path)) as container:
        streams = container.streams.subtitles
        return [
            (packet.stream.name, packet.pts * packet.time_base, packet.duration * packet.time_base, bytes(packet))
            for packet in (container.demux(*streams) if streams else ())
            if packet.size
        ]


@pytest.mark.parametrize("suffix", [".mkv", ".mov", ".mp4", ".m4v"])
def test_chapters_come_along(tmp_path, suffix):
    source = with_extras(tmp_path / f"a{suffix}")
    after = written_again(source, tmp_path / "out")
    assert chapters_of(after.path) == chapters_of(source) == list(CHAPTERS)
    assert not left_out(open_eye(source), suffix)
    assert not extras_of(after.path).data


def test_chapters_of_a_part_count_from_its_first_frame(tmp_path):
    eye = open_eye(with_extras(tmp_path / "a.mkv"), frames=(12, 23))
    (tmp_path / "out").mkdir()
    with writer_like(eye, tmp_path / "out") as writer:
        for index, planes in enumerate(eye.frames()):
            writer.write(index, planes)
    # Half a second in, half a second long: the first chapter is over, the second has begun.
    assert chapters_of(tmp_path / "out" / "a.mkv") == [(0, 500, "Gust é")]


@pytest.mark.parametrize(
    ("suffix", "kind"),
    [(".mkv", "subrip"), (".mkv", "ass"), (".mkv", "webvtt"), (".mov", "mov_text"), (".mp4", "mov_text"),
     (".m4v", "mov_text")],
)  # fmt: skip
def test_subtitles_are_copied_packet_by_packet(tmp_path, suffix, kind):
    source = with_extras(tmp_path / f"a{suffix}", subtitles=kind)
    assert len([line for line in subtitles_of(source) if b"kite" in line[3]]) == 2
    after = written_again(source, tmp_path / "out")
    assert subtitles_of(after.path) == subtitles_of(source)
    assert not left_out(open_eye(source), suffix)


def test_what_does_not_come_along_is_named(tmp_path):
    eye = open_eye(with_extras(tmp_path / "a.mkv", subtitles="subrip", cover=True))
    said = eye_out(eye, "h264").losses()
    assert any("cover picture is left out" in line for line in said)
    assert any("attached files (1) are left out" in line for line in said)
    assert not any("subtitles" in line or "chapters" in line for line in said)
    assert any("subtitles (srt) are left out" in line for line in left_out(eye, ".mov"))
    assert any("chapters (2) have no place in a '.mxf' file" in line for line in left_out(eye, ".mxf"))


def test_subtitles_that_another_container_does_not_hold_are_left_out_and_named(tmp_path):
    source = with_extras(tmp_path / "a.mov", subtitles="mov_text")
    after = written_again(source, tmp_path / "out", "ffv1")
    assert (after.path.suffix, subtitles_of(after.path)) == (".mkv", [])
    assert any("subtitles (mov_text)" in line for line in eye_out(open_eye(source), "ffv1").losses())


def test_the_timecode_track_is_no_stream_that_is_lost(tmp_path):
    source = make_coded(tmp_path / "a.mov", "prores_ks", "yuv422p10le", stream_metadata={"reel_name": "A001"})
    assert extras_of(source).data == ()
    assert left_out(open_eye(source), ".mov") == ()


def test_what_a_packed_file_leaves_out_is_named(tmp_path):
    eye = open_eye(with_extras(tmp_path / "a.mkv", cover=True))
    pair = PairSource(eye, eye, "a")
    assert any("cover picture" in line for line in lost_in_packed(pair, "side-by-side"))


# --- sound that a container cannot hold ---


def test_sound_that_a_container_cannot_hold_is_refused_by_the_check_alone(tmp_path):
    eye = open_eye(
        make_coded(tmp_path / "a.mkv", "prores_ks", "yuv422p10le", size=(322, 182), sounds=(("flac", "stereo"),))
    )
    pair = PairSource(eye, eye, "a")
    before = sorted(tmp_path.iterdir())
    for layouts in ((), ("left-right",), ("side-by-side",)):
        with pytest.raises(InputError, match=r"sound of flac stereo") as caught:
            check_delivery(pair, Delivery(layouts, "dnxhr-hqx"))
        assert caught.value.where == str(eye.path)
    check_delivery(pair, Delivery((), "ffv1"))
    check_packed(pair, "side-by-side", "ffv1")
    assert sorted(tmp_path.iterdir()) == before


@pytest.mark.parametrize("suffix", [".mkv", ".mov", ".mp4", ".mxf", ".avi"])
def test_what_can_be_written_passes_the_check_and_leaves_nothing(tmp_path, suffix, monkeypatch):
    coder, pixel_format = ("ffv1", "yuv420p") if suffix in (".mkv", ".avi") else ("libx264", "yuv420p")
    source = make_coded(tmp_path / f"a{suffix}", coder, pixel_format, sounds=(("pcm_s16le", "stereo"),))
    monkeypatch.chdir(tmp_path)
    eye = open_eye(source)
    eye_out(eye).check()
    eye_out(eye, "ffv1").check()
    assert [path.name for path in tmp_path.iterdir()] == [source.name]


def test_an_eye_of_a_packed_file_is_checked_with_its_sound(tmp_path):
    planes = [[np.full((60, 200), 300, np.uint16)] * 3 for _ in range(3)]
    path = write_packed_video(tmp_path / "gust.mkv", planes, audio=True)
    pair = open_packed(path, "side-by-side")
    check_delivery(pair, Delivery(("left-right", "side-by-side")))
