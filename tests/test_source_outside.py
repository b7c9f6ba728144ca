"""Pictures and video from elsewhere are only data: they open nothing else, and take no memory for what they claim."""

import os
import re
import shutil
import struct
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from clips import fails
from coded_files import make_coded
from exr_files import half_samples, write_exr_file
from picture_files import make_stills, still_samples, write_still_file

from postfix.deliver.tiff_tags import carry_tiff_tags, tags_left_out
from postfix.deliver.video import VideoSpec, write_video
from postfix.errors import InputError
from postfix.source.bounds import (
    MAX_CHANNELS,
    MAX_PICTURE_BYTES,
    MAX_PIXELS,
    MAX_SIDE_PX,
    must_be_looked_through,
    sample_problem,
    size_problem,
    tile_problem,
)
from postfix.source.boxes import box_problem
from postfix.source.container import open_container
from postfix.source.exr_header import read_exr_header
from postfix.source.opening import open_eye
from postfix.source.packets import count_packets

SIZE = (96, 60)


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    return make_coded(tmp_path_factory.mktemp("clip") / "gull.mp4", "libx264", "yuv420p", {"g": "2"}, size=SIZE)


@pytest.fixture(scope="module")
def stream(tmp_path_factory):
    return make_coded(tmp_path_factory.mktemp("stream") / "gull.ts", "libx264", "yuv420p", size=SIZE)


LISTS = {
    "list of files": "ffconcat version 1.0\nfile {}\n",
    "playlist": "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\n{}\n#EXT-X-ENDLIST\n",
    "session": "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nt=0 0\nm=video 5004 RTP/AVP 96\n"
    "a=rtpmap:96 H264/90000\n",
    "manifest": '<?xml version="1.0"?><MPD xmlns="urn:mpeg:dash:schema:mpd:2011" type="static"><Period><AdaptationSet>'
    "<Representation><BaseURL>{}</BaseURL></Representation></AdaptationSet></Period></MPD>",
    "subtitles": "[Script Info]\nScriptType: v4.00+\n",
}


# --- video opens itself alone


@pytest.mark.parametrize("suffix", [".mov", ".mp4", ".mkv", ".ffconcat", ".m3u8", ".sdp", ".mpd", ".ass"])
@pytest.mark.parametrize("kind", LISTS)
def test_a_file_that_names_other_files_is_no_video_whatever_it_is_called(tmp_path, stream, kind, suffix):
    path = tmp_path / f"gull{suffix}"
    path.write_text(LISTS[kind].format(stream))
    with pytest.raises(InputError, match="cannot be read as video"):
        open_eye(path)


@pytest.mark.parametrize(
    "name", ["concat:gull|other.mp4", "gull %03d.mp4", "http:gull.mp4", "file:gull.mp4", "gull#?.mp4"]
)
def test_a_name_is_taken_as_it_stands(tmp_path, monkeypatch, clip, name):
    shutil.copy(clip, tmp_path / name)
    assert open_eye(tmp_path / name).count == 3
    monkeypatch.chdir(tmp_path)
    assert open_eye(Path(name)).count == 3


def test_pictures_that_a_mov_says_lie_in_another_file_are_not_looked_for(tmp_path):
    path = make_coded(tmp_path / "gull.mov", "prores_ks", "yuv422p10le", size=SIZE)
    data = path.read_bytes()
    # The reference "in this file" (flag 1) becomes one to a path: ISO/IEC 14496-12, 8.7.2, from memory.
    at = data.index(b"url ") if b"url " in data else data.index(b"alis")
    path.write_bytes(data[: at + 4] + bytes(4) + data[at + 8 :])
    assert open_eye(path).count == 3


# --- tables of a MOV that announce more than there is


def with_fields(path, kind, *numbers):
    """The file with numbers behind the version and flags of its first box of a kind."""
    data = bytearray(path.read_bytes())
    at = data.index(kind) + 8
    data[at : at + 4 * len(numbers)] = struct.pack(f">{len(numbers)}I", *numbers)
    path.write_bytes(data)
    return path


def box(kind, content):
    return struct.pack(">I", 8 + len(content)) + kind + content


def test_a_whole_file_announces_what_it_holds(clip, stream):
    assert box_problem(clip) is None
    assert box_problem(stream) is None


def test_a_table_of_samples_of_one_size_fits_the_file(tmp_path, clip):
    path = with_fields(shutil.copy(clip, tmp_path / "gull.mp4"), b"stsz", 1, 80_000_000)
    with pytest.raises(InputError, match="tables of 80,000,000 samples"):
        open_eye(path)


def test_a_fragment_has_no_more_samples_than_the_file_bytes(tmp_path):
    path = tmp_path / "gull.mp4"
    fragment = box(b"moof", box(b"traf", box(b"trun", struct.pack(">II", 0, 150_000_000))))
    path.write_bytes(box(b"ftyp", b"isom" + bytes(4)) + fragment)
    with pytest.raises(InputError, match="tables of 150,000,000 samples"):
        open_eye(path)


@pytest.mark.parametrize("around", [b"mvex", b"udta", b"meta", b"stsd"])
def test_a_fragment_hidden_elsewhere_is_found(tmp_path, around):
    path, run = tmp_path / "gull.mov", box(b"trun", struct.pack(">II", 0, 150_000_000))
    before = {b"meta": bytes(4), b"stsd": bytes(90)}.get(around, b"")
    path.write_bytes(box(b"moov", box(around, before + run)))
    assert "150,000,000 samples" in box_problem(path)


def test_edits_do_not_repeat_an_index_without_end(tmp_path):
    path = tmp_path / "gull.mov"
    tables = box(b"stbl", box(b"stsz", struct.pack(">III", 0, 0, 5000)))
    track = box(b"edts", box(b"elst", struct.pack(">II", 0, 40_000))) + box(b"mdia", box(b"minf", tables))
    path.write_bytes(box(b"moov", box(b"trak", track)))
    assert "40000 edits" in box_problem(path)


def test_sound_that_was_cut_often_is_no_burden(tmp_path):
    """Unpacked sound is in the index block by block, however many samples it has."""
    path = tmp_path / "gull.mov"
    times = box(b"stts", struct.pack(">IIII", 0, 1, 900_000, 1))
    tables = box(b"stbl", times + box(b"stsz", struct.pack(">III", 0, 2, 900_000)))
    edits = box(b"edts", box(b"elst", struct.pack(">II", 0, 400)))
    for handler, problem in ((b"soun", False), (b"vide", True)):
        kind = box(b"hdlr", bytes(8) + handler)
        path.write_bytes(box(b"moov", box(b"trak", edits + box(b"mdia", kind + box(b"minf", tables)))))
        assert (box_problem(path) is not None) == problem


def test_edits_of_one_track_are_not_reckoned_with_samples_of_another(tmp_path):
    path = tmp_path / "gull.mov"
    cut = box(b"trak", box(b"edts", box(b"elst", struct.pack(">II", 0, 4000))))
    long = box(b"trak", box(b"mdia", box(b"minf", box(b"stbl", box(b"stsz", struct.pack(">III", 0, 0, 500_000))))))
    path.write_bytes(box(b"moov", cut + long))
    assert box_problem(path) is None


def test_a_compressed_header_is_not_unpacked(tmp_path):
    path = tmp_path / "gull.mov"
    path.write_bytes(box(b"moov", box(b"cmov", bytes(20))))
    assert box_problem(path) == "a compressed header"


@pytest.mark.parametrize("head", [b"", b"\0\0\0\1moov", b"\0\0\0\0moov", struct.pack(">I4sQ", 1, b"moov", 1 << 63)])
def test_boxes_that_lead_nowhere_end_the_search(tmp_path, head):
    path = tmp_path / "gull.mov"
    path.write_bytes(head)
    assert box_problem(path) is None


def test_frames_are_counted_to_a_bound(tmp_path, clip, monkeypatch):
    monkeypatch.setattr("postfix.source.packets.MAX_FRAMES", 2)
    with open_container(clip) as container, pytest.raises(InputError, match="more than 2 frames"):
        count_packets(clip, container, container.streams.video[0])


def test_texts_are_held_to_a_bound(tmp_path, monkeypatch):
    monkeypatch.setattr("postfix.source.container._MOST_TEXT", 5000)
    path = make_coded(tmp_path / "gull.mkv", "ffv1", "yuv420p", size=SIZE, metadata={"comment": "wind " * 2000})
    with pytest.raises(InputError, match="texts of 10,"):
        open_eye(path)


def test_pictures_in_a_codec_that_nobody_knows_are_named(tmp_path, clip):
    path = tmp_path / "gull.mp4"
    path.write_bytes(clip.read_bytes().replace(b"avc1", b"kit1"))
    with pytest.raises(InputError, match="a codec that is not known here"):
        open_eye(path)


# --- sizes


@pytest.mark.parametrize("size", [(0, 60), (-1, -1), (MAX_SIDE_PX + 1, 1), (1, MAX_SIDE_PX + 1), (16384, 8193)])
def test_a_size_out_of_bounds_is_named(size):
    assert f"{size[0]}x{size[1]}" in size_problem(*size)


@pytest.mark.parametrize("size", [(1, 1), (MAX_SIDE_PX, 4096), (16384, 8192), (15360, 4320), (7680, 8640)])
def test_sizes_of_films_are_within_bounds(size):
    assert size_problem(*size) is None
    assert size[0] * size[1] <= MAX_PIXELS


def test_samples_are_no_more_than_the_bytes_can_hold():
    assert "cannot hold" in sample_problem(1 << 30, 3, 10_000, "zip")
    assert sample_problem(1 << 30, 3, 1 << 20, "zip") is None  # a black picture, packed a thousand to one
    assert sample_problem(1 << 30, 3, 10_000, "dwab:45") is None
    assert "channels" in sample_problem(1, MAX_CHANNELS + 1, 1 << 40, "none")
    assert "at most" in sample_problem(MAX_PICTURE_BYTES + 1, 3, 1 << 40, "none")


def test_tiles_are_not_far_larger_than_the_picture():
    assert "tiles of 30000x30000" in tile_problem((30000, 30000), SIZE)
    assert tile_problem((0, 32), SIZE) is not None
    assert tile_problem((1024, 1024), SIZE) is None
    assert tile_problem((7680, 4352), (7680, 4320)) is None


def patched(path, at, value):
    data = path.read_bytes()
    path.write_bytes(data[:at] + value + data[at + len(value) :])


def size_in_png(path):
    patched(path, 16, struct.pack(">II", 30000, 4000))
    return ""


def size_in_dpx(path):
    patched(path, 772, struct.pack(">II", 40000, 40000))


def size_in_jpeg(path):
    at = re.search(rb"\xff\xc0", path.read_bytes()).start()
    patched(path, at + 5, struct.pack(">HH", 65000, 65000))


@pytest.mark.parametrize(
    ("kind", "lie"), [("png8", size_in_png), ("dpx10", size_in_dpx), ("jpeg", size_in_jpeg)]
)  # fmt: skip
def test_a_still_that_claims_a_huge_picture_is_refused_by_its_header(tmp_path, kind, lie):
    folder = make_stills(tmp_path / "left", kind, 2, size=SIZE)
    for path in folder.iterdir():
        lie(path)
    with pytest.raises(InputError):
        open_eye(folder, rate=24)


def test_a_still_is_what_its_suffix_says(tmp_path):
    write_still_file(tmp_path / "gull.0001.png", still_samples("png8", 0, SIZE), "png8")
    (tmp_path / "gull.0001.png").rename(tmp_path / "gull.0001.tif")
    with pytest.raises(InputError, match="no TIFF"):
        open_eye(tmp_path, rate=24)


def test_a_still_that_is_looked_through_is_no_larger_than_its_bound(tmp_path):
    path = tmp_path / "gull.0001.png"
    with path.open("wb") as file:
        file.truncate(2 << 30)  # a hole: no disk is taken
    with pytest.raises(InputError, match="2,147,483,648 bytes in one still"):
        must_be_looked_through(path, 1)


# --- OpenEXR


def exr(folder, **more):
    path = folder / "gull.0001.exr"
    channels = {name: half_samples(SIZE[1], SIZE[0], place) for place, name in enumerate("RGB")}
    head = write_exr_file(path, channels, **more)
    return path, len(head)


@pytest.mark.parametrize("offset", [1 << 63, (1 << 64) - 1, 1 << 40])
def test_a_chunk_beyond_the_file_is_a_picture_cut_short(tmp_path, offset):
    path, head = exr(tmp_path)
    patched(path, head + 8 * 7, struct.pack("<Q", offset))
    with pytest.raises(InputError, match="cut short after 59 of 60 chunks"):
        read_exr_header(path)


def test_a_table_of_chunks_larger_than_the_file_is_not_read(tmp_path):
    path, _ = exr(tmp_path, extras=(("tiles", "tiledesc", struct.pack("<IIB", 1, 1, 0)),), flags=0x200)
    data = path.read_bytes()
    wide = struct.pack("<4i", 0, 0, 9999, 9999)
    path.write_bytes(data.replace(struct.pack("<4i", 0, 0, SIZE[0] - 1, SIZE[1] - 1), wide))
    with pytest.raises(InputError):
        read_exr_header(path)


@pytest.mark.parametrize("length", [-4, -1, -(1 << 31)])
def test_a_view_whose_name_has_no_length_does_not_go_on_for_ever(tmp_path, length):
    path, _ = exr(tmp_path, extras=(("multiView", "stringvector", struct.pack("<i", length) + b"left"),))
    with pytest.raises(InputError, match="damaged header"):
        read_exr_header(path)


def test_a_list_of_channels_that_ends_early_is_a_damaged_header(tmp_path):
    path, _ = exr(tmp_path)
    data = path.read_bytes()
    at = data.index(b"chlist\0") + 7
    (length,) = struct.unpack_from("<i", data, at)
    cut = data[: at + 4 + length - 4] + data[at + 4 + length :]
    path.write_bytes(cut[:at] + struct.pack("<i", length - 4) + cut[at + 4 :])
    with pytest.raises(InputError, match="damaged header"):
        read_exr_header(path)


def test_windows_and_tiles_have_the_bytes_that_they_need(tmp_path):
    path, _ = exr(tmp_path, extras=(("tiles", "tiledesc", b"\1\0\0\0\1"),))
    with pytest.raises(InputError, match="'tiles' of 5 bytes"):
        read_exr_header(path)


@pytest.mark.parametrize("tile", [(30000, 30000), (16, 1 << 31)])
def test_tiles_of_a_small_picture_are_small(tmp_path, tile):
    path, _ = exr(tmp_path, extras=(("tiles", "tiledesc", struct.pack("<IIB", *tile, 0)),), flags=0x200)
    with pytest.raises(InputError, match=f"tiles of {tile[0]}x{tile[1]}"):
        read_exr_header(path)


def test_more_attributes_than_any_picture_has_are_not_listed(tmp_path):
    path, _ = exr(tmp_path, extras=tuple((f"note{index:05d}", "string", b"kite") for index in range(5000)))
    with pytest.raises(InputError, match="4096 attributes"):
        read_exr_header(path)


def test_more_channels_than_any_picture_has_are_refused(tmp_path):
    path = tmp_path / "gull.0001.exr"
    write_exr_file(path, {f"c{index:04d}": half_samples(1, 1, index) for index in range(MAX_CHANNELS + 1)})
    with pytest.raises(InputError, match=f"{MAX_CHANNELS + 1} channels"):
        read_exr_header(path)


# --- tags of TIFF


def tiff(entries, behind=b""):
    """A file of one folder of tags, each (code, type, count, value or place)."""
    folder = struct.pack("<H", len(entries)) + b"".join(struct.pack("<HHII", *entry) for entry in entries) + bytes(4)
    return b"II*\0" + struct.pack("<I", 8) + folder + behind


def test_tags_that_share_their_bytes_are_not_copied_many_times(tmp_path):
    path, behind = tmp_path / "gull.tif", bytes(1 << 16)
    data = tiff([(60000 + index, 1, 1 << 16, 8 + 2 + 12 * 5000 + 4) for index in range(5000)], behind)
    path.write_bytes(data)
    other = tmp_path / "other.tif"
    write_still_file(other, still_samples("tiff8", 0, SIZE), "tiff8")
    before = other.stat().st_size
    carry_tiff_tags(other, path)
    assert other.stat().st_size < before + 2 * len(data)


def test_a_folder_of_tags_that_ends_early_is_left_out(tmp_path):
    place = 8 + 2 + 12 + 4
    path = tmp_path / "gull.tif"
    path.write_bytes(tiff([(34665, 4, 1, place)], struct.pack("<H", 60000) + bytes(8)))
    assert tags_left_out(path) == ()


def test_tags_that_end_early_are_an_input_that_cannot_be_used(tmp_path):
    path = tmp_path / "gull.tif"
    path.write_bytes(tiff([(280, 3, 1, 0)])[:14])
    with pytest.raises(InputError, match="tags that end early"):
        tags_left_out(path)


# --- names ---


def test_a_name_that_is_no_text_is_refused_before_anything_is_done(tmp_path, capsys):
    name = os.fsdecode(b"gull_left\xff.mkv")
    for place in (tmp_path / name, tmp_path / "gull_right.mkv"):
        write_video(place, VideoSpec("ffv1", "gray", 64, 32, Fraction(24)), [(np.zeros((32, 64), np.uint8),)] * 2)
    typed = ["measure", "--left", str(tmp_path / name), "--right", str(tmp_path / "gull_right.mkv")]
    fails(capsys, [*typed, "-o", tmp_path / "m.csv"], 3, "no UTF-8", "rename it")
