"""Stills out: what is written holds every header field and every sample, byte for byte where the format allows."""

import shutil
import struct
import subprocess
from fractions import Fraction

import numpy as np
import OpenImageIO as oiio
import pytest
from exr_files import EXTRAS, float_samples, half_samples, uint_samples, write_exr_file
from picture_files import LOSSLESS, STILLS, make_stills
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from postfix.deliver.exr import write_exr, write_exr_views
from postfix.deliver.still_chunks import jpeg_quality
from postfix.deliver.stills import StillsWriter, still_losses, write_still
from postfix.errors import InputError, OutputError
from postfix.source.exr_header import read_exr_header
from postfix.source.stills import open_stills, views_in

RATE = Fraction(24)
SHAPE = (12, 20)
STILLS_WITHOUT_LOSS = [kind for kind in STILLS if kind in LOSSLESS]


def opened(path, **named):
    return open_stills(path, RATE, None, **named)


def planes(path, **named):
    return next(iter(opened(path, **named).frames()))


def written(folder, out, change=lambda plane: plane, **named):
    eye = opened(folder, **named)
    out.mkdir()
    with StillsWriter(eye, out) as writer:
        for index, frame in enumerate(eye.frames()):
            writer.write(index, tuple(change(plane) for plane in frame))
    return out


def same(a, b):
    return a.dtype == b.dtype and a.shape == b.shape and a.tobytes() == b.tobytes()


def rgb(seed=0, make=half_samples):
    return {name: make(*SHAPE, seed + index) for index, name in enumerate("BGR")}


def moved(plane, by=3):
    """The plane ``by`` columns further right, black where nothing is."""
    out = np.zeros_like(plane)
    out[:, by:] = plane[:, :-by]
    return out


@pytest.mark.parametrize("kind", STILLS_WITHOUT_LOSS)
def test_a_whole_move_is_written_sample_for_sample(tmp_path, kind):
    folder = make_stills(tmp_path / "in", kind, 2)
    out = written(folder, tmp_path / "out", moved)
    assert sorted(path.name for path in out.iterdir()) == sorted(path.name for path in folder.iterdir())
    for before, after in zip(opened(folder).frames(), opened(out).frames(), strict=True):
        assert all(same(moved(a), b) for a, b in zip(before, after, strict=True))


@pytest.fixture
def small_disk(tmp_path):
    """A place with room for 400 kB; skipped where none can be mounted."""
    place = tmp_path / "small"
    place.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=400k", "tmpfs", place], capture_output=True)
    if mounted.returncode:
        pytest.skip("nothing may be mounted here")
    yield place
    subprocess.run(["umount", place], check=True)


@pytest.mark.skipif(shutil.which("mount") is None, reason="no mount command")
@pytest.mark.parametrize("kind", [kind for kind in STILLS if kind != "jpeg"])
@pytest.mark.parametrize("unchanged", [False, True])
def test_a_disk_that_fills_is_an_error_that_names_the_still(small_disk, tmp_path, kind, unchanged):
    """Also where a library leaves half a file behind without a word."""
    folder = make_stills(tmp_path / "in", kind, 8, name="a")
    eye = opened(folder)
    (small_disk / "out").mkdir()
    with pytest.raises(OutputError, match=r"a\.100\d\.\w+.*check the disk"):
        write_all(eye, small_disk / "out", unchanged)


def write_all(eye, out, unchanged):
    with StillsWriter(eye, out) as writer:
        for index, frame in enumerate(eye.frames()):
            writer.write(index, frame, unchanged)


# --- DPX ---


def filled_dpx(path, kind="dpx10", **patches):
    """A file of which every byte of the header that may hold anything holds something."""
    make_stills(path.parent, kind, 1, name=path.name.split(".")[0], first=1, size=(53, 12))
    made = path.parent / f"{path.name.split('.')[0]}.0001.dpx"
    data = bytearray(made.read_bytes())
    made.unlink()
    noise = np.random.default_rng(1).integers(1, 255, 2048, dtype=np.uint8).tobytes()
    # File name to reserved, orientation, film, television, user data: SMPTE ST 268-1 (from memory).
    for first, last in ((36, 660), (1408, 1628), (1664, 1920), (1932, 2048)):
        data[first:last] = noise[first:last]
    data[801:803] = bytes([2, 5])  # transfer and colorimetric: linear, CCIR 709
    data += b"what lies behind the samples"
    path.write_bytes(data)


@pytest.mark.parametrize("kind", ["dpx8", "dpx10", "dpx10-alpha", "dpx12", "dpx16"])
def test_a_dpx_written_with_the_same_samples_is_the_same_file(tmp_path, kind):
    folder = tmp_path / "in"
    folder.mkdir()
    filled_dpx(folder / "a.1.dpx", kind)
    out = written(folder, tmp_path / "out")
    before, after = ((place / "a.1.dpx").read_bytes() for place in (folder, out))
    (start,) = struct.unpack_from((">" if before[:4] == b"SDPX" else "<") + "I", before, 808)
    assert after[:start] == before[:start]
    if kind != "dpx12":  # the library that made it leaves anything in the bits that fill a row
        assert after == before


@pytest.mark.parametrize("behind", [b"", b"a", bytes(24)])
def test_rows_of_dpx_that_end_at_a_word_are_told_from_those_that_do_not(tmp_path, behind):
    """The size of the file tells, or that in its header; where neither does, nothing is guessed."""
    folder = make_stills(tmp_path / "s", "dpx8", 1, name="a", size=(53, 12))
    path = folder / "a.1001.dpx"
    (expected,) = planes(folder)
    data = bytearray(path.read_bytes())
    order = ">" if data[:4] == b"SDPX" else "<"
    (start,) = struct.unpack_from(order + "I", data, 808)
    padded = np.zeros((12, 160), np.uint8)
    padded[:, :159] = expected.reshape(12, -1)
    whole = bytes(data[:start]) + padded.tobytes()
    for told, body in ((start + 12 * 159, bytes(data)), (start + 12 * 160, whole)):
        known = bytearray(body + behind)
        struct.pack_into(order + "I", known, 16, told)
        path.write_bytes(known)
        assert same(planes(folder)[0], expected)
        struct.pack_into(order + "I", known, 16, 0xFFFFFFFF)
        path.write_bytes(known)
        if not behind:
            assert same(planes(folder)[0], expected)
        elif told == start + 12 * 160:
            with pytest.raises(InputError, match="rows whose length cannot be known"):
                planes(folder)


def test_film_information_of_dpx_is_read_back_by_another_library(tmp_path):
    folder = make_stills(tmp_path / "in", "dpx10", 1, name="a")
    path = folder / "a.1001.dpx"
    data = bytearray(path.read_bytes())
    data[1664:1680] = b"1202" + b"07" + b"123456" + b"0042"
    data[1680:1712] = b"Academy".ljust(32, b"\0")
    path.write_bytes(data)
    out = written(folder, tmp_path / "out", moved)
    found = [
        {a.name: a.value for a in oiio.ImageInput.open(str(place / "a.1001.dpx")).spec().extra_attribs}
        for place in (folder, out)
    ]
    assert found[0] == found[1]
    assert found[1]["dpx:Format"] == "Academy"
    assert "smpte:KeyCode" in found[1]


@pytest.mark.parametrize("kind", ["dpx8", "dpx10", "dpx10-packed", "dpx12", "dpx16"])
def test_a_dpx_of_another_size_says_its_own(tmp_path, kind):
    folder = make_stills(tmp_path / "in", kind, 1, name="a", size=(53, 12))
    (plane,) = planes(folder)
    wide = np.concatenate([plane, plane], axis=1)
    out = tmp_path / "out"
    out.mkdir()
    write_still(out / "a.1.dpx", wide, like=folder / "a.1001.dpx")
    assert same(planes(out)[0], wide)
    told = oiio.ImageInput.open(str(out / "a.1.dpx")).spec()
    assert (told.width, told.height) == (106, 12)
    data = (out / "a.1.dpx").read_bytes()
    assert struct.unpack_from((">" if data[:4] == b"SDPX" else "<") + "I", data, 16)[0] in (len(data), 0xFFFFFFFF)


# --- OpenEXR ---


def test_the_header_of_openexr_stays_byte_for_byte(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    channels = {**rgb(), "A": half_samples(*SHAPE, 7), "Z": float_samples(*SHAPE, 4), "id": uint_samples(*SHAPE, 5)}
    head = write_exr_file(folder / "a.1.exr", channels)
    out = written(folder, tmp_path / "out")
    assert (out / "a.1.exr").read_bytes() == (folder / "a.1.exr").read_bytes()
    again = written(folder, tmp_path / "again", moved)
    assert (again / "a.1.exr").read_bytes().startswith(head)
    spec = oiio.ImageInput.open(str(again / "a.1.exr")).spec()
    assert spec.getattribute("Copyright") == "kite workshop"
    assert spec.getattribute("smpte:TimeCode") == (0x01020304, 0xCAFE)
    assert spec.getattribute("smpte:KeyCode") == (1, 2, 345678, 1234, 12, 4, 64)


def test_parts_of_openexr_stay_byte_for_byte_with_their_names_and_attributes(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    parts = [
        ("beauty", rgb(), (("note", "string", b"first"),)),
        ("data", {"Z": float_samples(*SHAPE, 4), "id": uint_samples(*SHAPE, 5)}, ()),
    ]
    write_exr_file(folder / "a.1.exr", *parts)
    out = written(folder, tmp_path / "out")
    assert (out / "a.1.exr").read_bytes() == (folder / "a.1.exr").read_bytes()
    other = oiio.ImageInput.open(str(out / "a.1.exr"))
    assert [other.spec(index, 0).getattribute("oiio:subimagename") for index in range(2)] == ["beauty", "data"]


@pytest.mark.parametrize("compression", ["none", "rle", "zips", "zip", "piz", "pxr24"])
@pytest.mark.parametrize("tile", [None, (8, 8)])
def test_openexr_keeps_its_compression_and_its_tiles(tmp_path, compression, tile):
    folder = tmp_path / "in"
    folder.mkdir()
    spec = oiio.ImageSpec(20, 12, 3, "half")
    spec.attribute("compression", compression)
    if tile is not None:
        spec.tile_width, spec.tile_height = tile
    output = oiio.ImageOutput.create("a.exr")
    assert output.open(str(folder / "a.1.exr"), spec)
    assert output.write_image(np.stack([half_samples(*SHAPE, seed) for seed in range(3)], axis=-1))
    assert output.close()
    out = written(folder, tmp_path / "out")
    assert (out / "a.1.exr").read_bytes() == (folder / "a.1.exr").read_bytes()
    again = oiio.ImageInput.open(str(written(folder, tmp_path / "again", moved) / "a.1.exr")).spec()
    assert again.getattribute("compression") == compression
    assert (again.tile_width, again.tile_height) == (tile or (0, 0))
    assert not still_losses(opened(folder)) or compression == "pxr24"


@pytest.mark.parametrize("tile", [None, (8, 8)])
@pytest.mark.parametrize("compression", ["none", "rle", "zips", "zip"])
def test_samples_of_several_types_are_packed_by_every_compression_of_bytes(tmp_path, compression, tile):
    """Written like a header that names the compression, and read back by the library channel by channel."""
    folder = tmp_path / "in"
    folder.mkdir()
    channels = {**rgb(), "Z": float_samples(*SHAPE, 4), "id": uint_samples(*SHAPE, 5)}
    write_exr_file(folder / "a.1.exr", channels)
    found = planes(folder)
    like = tmp_path / "like.exr"
    spec = oiio.ImageSpec(20, 12, 5, "float")
    spec.channelnames, spec.channelformats = ("R", "G", "B", "Z", "id"), ("half", "half", "half", "float", "uint")
    spec.attribute("compression", compression)
    if tile is not None:
        spec.tile_width, spec.tile_height = tile
    output = oiio.ImageOutput.create("a.exr")
    assert output.open(str(like), spec)
    assert output.write_image(np.zeros((12, 20, 5), np.float32))
    assert output.close()
    (tmp_path / "out").mkdir()
    write_exr(tmp_path / "out" / "a.1.exr", found, like)
    assert all(same(a, b) for a, b in zip(planes(tmp_path / "out"), found, strict=True))
    other = oiio.ImageInput.open(str(tmp_path / "out" / "a.1.exr"))
    assert other.spec().getattribute("compression") == compression
    names = list(other.spec().channelnames)
    for name, kind in (("R", "half"), ("Z", "float"), ("id", "uint")):
        at = names.index(name)
        read = other.read_image(0, 0, at, at + 1, kind)
        assert read.tobytes() == channels[name].tobytes()


def test_rows_that_stood_from_bottom_to_top_are_written_from_top_to_bottom(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    channels = rgb()
    write_exr_file(folder / "a.1.exr", channels, order=1)
    out = written(folder, tmp_path / "out")
    assert same(planes(out)[0], planes(folder)[0])
    assert oiio.ImageInput.open(str(out / "a.1.exr")).spec().getattribute("openexr:lineOrder") == "increasingY"


def test_a_changed_frame_holds_the_display_window_and_its_overscan_is_spoken_of(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    write_exr_file(folder / "a.1.exr", rgb(), corner=(-2, -1), display=(0, 0, 16, 10))
    write_exr_file(folder / "a.2.exr", rgb(), corner=(1, 1), display=(0, 0, 16, 10))
    out = written(folder, tmp_path / "out")
    for number in (1, 2):
        spec = oiio.ImageInput.open(str(out / f"a.{number}.exr")).spec()
        assert (spec.x, spec.y, spec.width, spec.height) == (0, 0, 16, 10)
        assert (spec.full_width, spec.full_height) == (16, 10)
    assert all(same(a[0], b[0]) for a, b in zip(opened(folder).frames(), opened(out).frames(), strict=True))
    (said,) = still_losses(opened(folder))
    assert "beyond the display window" in said
    assert "2 of 2" in said


def test_a_picture_of_another_size_gets_windows_of_its_own(tmp_path):
    write_exr_file(
        tmp_path / "a.1.exr", {**rgb(), "Z": float_samples(*SHAPE, 4)}, corner=(5, 6), display=(5, 6, 20, 12)
    )
    wide = tuple(np.concatenate([plane, plane], axis=1) for plane in planes(tmp_path))
    out = tmp_path / "out"
    out.mkdir()
    write_exr(out / "a.1.exr", wide, tmp_path / "a.1.exr")
    assert all(same(a, b) for a, b in zip(planes(out), wide, strict=True))
    spec = oiio.ImageInput.open(str(out / "a.1.exr")).spec()
    assert (spec.x, spec.y, spec.width, spec.full_x, spec.full_width) == (5, 6, 40, 5, 40)


def test_what_the_library_cannot_pack_together_is_packed_without_loss_and_spoken_of(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    write_exr_file(folder / "a.1.exr", {**rgb(), "Z": float_samples(*SHAPE, 4)})
    found = planes(folder)
    path = tmp_path / "like.exr"
    data = (folder / "a.1.exr").read_bytes()
    plain = b"compression\0compression\0" + struct.pack("<i", 1)
    assert plain + b"\0" in data
    # Only its header is looked at: its chunks are those of no compression, whose number there is left as it was.
    path.write_bytes(data.replace(plain + b"\0", plain + b"\x04"))
    out = tmp_path / "out"
    out.mkdir()
    write_exr(out / "a.1.exr", found, path)
    assert all(same(a, b) for a, b in zip(planes(out), found, strict=True))
    assert oiio.ImageInput.open(str(out / "a.1.exr")).spec().getattribute("compression") == "zip"


def test_lossy_compressions_are_spoken_of(tmp_path):
    spec = oiio.ImageSpec(20, 12, 3, "half")
    spec.attribute("compression", "dwaa:30")
    output = oiio.ImageOutput.create("a.exr")
    assert output.open(str(tmp_path / "a.1.exr"), spec)
    assert output.write_image(np.zeros((12, 20, 3), np.float16))
    assert output.close()
    (said,) = still_losses(opened(tmp_path))
    assert "dwaa" in said
    assert still_losses(opened(make_stills(tmp_path / "dpx", "dpx10", 1))) == ()


def test_a_preview_in_the_header_of_openexr_shows_the_old_picture_and_is_left_out(tmp_path):
    preview = ("preview", "preview", struct.pack("<II", 2, 1) + bytes(range(8)))
    folder = tmp_path / "in"
    folder.mkdir()
    write_exr_file(folder / "a.1.exr", rgb(), extras=(*EXTRAS, preview))
    write_exr_file(folder / "a.2.exr", rgb(2))
    out = written(folder, tmp_path / "out")
    attributes = [read_exr_header(place / "a.1.exr").parts[0].attributes for place in (folder, out)]
    assert attributes[1] == tuple(entry for entry in attributes[0] if entry[0] != "preview") != attributes[0]
    (said,) = still_losses(opened(folder))
    assert "preview" in said
    assert "1 of 2 files" in said


# --- views ---


def view_bytes(*views):
    return b"".join(struct.pack("<i", len(view)) + view.encode() for view in views)


def stereo_file(path, default="left"):
    other = "right" if default == "left" else "left"
    left, right = {**rgb(1), "Z": float_samples(*SHAPE, 8)}, {**rgb(5), "Z": float_samples(*SHAPE, 9)}
    eyes = {"left": left, "right": right}
    channels = {**eyes[default], **{f"{other}.{name}": samples for name, samples in eyes[other].items()}}
    write_exr_file(path, channels, extras=(*EXTRAS, ("multiView", "stringvector", view_bytes(default, other))))


@pytest.mark.parametrize("default", ["left", "right"])
def test_both_views_of_one_part_are_written_back_byte_for_byte(tmp_path, default):
    stereo_file(tmp_path / "a.1.exr", default)
    left, right = (planes(tmp_path, view=view) for view in ("left", "right"))
    write_exr_views(tmp_path / "b.exr", left, right, tmp_path / "a.1.exr")
    assert (tmp_path / "b.exr").read_bytes() == (tmp_path / "a.1.exr").read_bytes()


def test_both_views_of_many_parts_are_written_back_byte_for_byte(tmp_path):
    parts = [
        (f"{name}.{view}", channels, (("view", "string", view.encode()),))
        for name, view, channels in (
            ("rgb", "left", rgb(1)),
            ("rgb", "right", rgb(5)),
            ("depth", "left", {"Z": float_samples(*SHAPE, 8)}),
            ("depth", "right", {"Z": float_samples(*SHAPE, 9)}),
        )
    ]
    write_exr_file(tmp_path / "a.1.exr", *parts)
    left, right = (planes(tmp_path, view=view) for view in ("left", "right"))
    write_exr_views(tmp_path / "b.exr", left, right, tmp_path / "a.1.exr")
    assert (tmp_path / "b.exr").read_bytes() == (tmp_path / "a.1.exr").read_bytes()


@pytest.mark.parametrize("view", ["left", "right"])
def test_one_view_is_written_as_a_file_of_one_eye(tmp_path, view):
    folder = tmp_path / "in"
    folder.mkdir()
    stereo_file(folder / "a.1.exr")
    out = written(folder, tmp_path / "out", view=view)
    assert views_in(out) == (view,)
    assert all(same(a, b) for a, b in zip(planes(out), planes(folder, view=view), strict=True))
    assert opened(out).format == opened(folder, view=view).format
    assert sorted(oiio.ImageInput.open(str(out / "a.1.exr")).spec().channelnames) == ["B", "G", "R", "Z"]


def test_one_view_of_a_file_of_both_is_never_copied_with_the_other(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    stereo_file(folder / "a.1.exr")
    eye = opened(folder, view="right")
    (tmp_path / "out").mkdir()
    with StillsWriter(eye, tmp_path / "out") as writer:
        writer.write(0, next(iter(eye.frames())), unchanged=True)
    assert views_in(tmp_path / "out") == ("right",)


def test_two_files_become_the_views_of_one(tmp_path):
    left, right = tmp_path / "l", tmp_path / "r"
    for folder, seed in ((left, 1), (right, 5)):
        folder.mkdir()
        write_exr_file(folder / "a.1.exr", {**rgb(seed), "lamp.R": half_samples(*SHAPE, seed + 3)})
    out = tmp_path / "out"
    out.mkdir()
    write_exr_views(out / "a.1.exr", planes(left), planes(right), left / "a.1.exr", right / "a.1.exr")
    assert views_in(out) == ("left", "right")
    for folder, view in ((left, "left"), (right, "right")):
        assert all(same(a, b) for a, b in zip(planes(out, view=view), planes(folder), strict=True))
    names = oiio.ImageInput.open(str(out / "a.1.exr")).spec().channelnames
    assert {"R", "right.R", "lamp.right.R"} <= set(names)


def test_two_files_of_many_parts_become_parts_of_two_views(tmp_path):
    left, right = tmp_path / "l", tmp_path / "r"
    for folder, seed in ((left, 1), (right, 5)):
        folder.mkdir()
        note = (("note", "string", folder.name.encode()),)
        write_exr_file(
            folder / "a.1.exr", ("rgb", rgb(seed), note), ("depth", {"Z": float_samples(*SHAPE, seed)}, note)
        )  # fmt: skip
    out = tmp_path / "out"
    out.mkdir()
    write_exr_views(out / "a.1.exr", planes(left), planes(right), left / "a.1.exr", right / "a.1.exr")
    for folder, view in ((left, "left"), (right, "right")):
        assert all(same(a, b) for a, b in zip(planes(out, view=view), planes(folder), strict=True))
    other = oiio.ImageInput.open(str(out / "a.1.exr"))
    assert [other.spec(index, 0).getattribute("note") for index in range(4)] == ["l", "l", "r", "r"]


@pytest.mark.parametrize("many", [False, True])
def test_both_eyes_joined_in_one_picture_are_told_to_be_no_view(tmp_path, many):
    """Whether the source holds both views or only says which one it shows; each eye alone still says so."""
    view = (("view", "string", b"left"),)
    if many:
        write_exr_file(tmp_path / "a.1.exr", ("rgb", rgb(1), view), ("depth", {"Z": float_samples(*SHAPE, 4)}, view))
        like = {}
    else:
        stereo_file(tmp_path / "a.1.exr")
        like = {"view": "left"}
    eye = planes(tmp_path, **like)
    joined = tuple(np.concatenate([plane, plane], axis=1) for plane in eye)
    for both_eyes in (True, False):
        out = tmp_path / f"out {both_eyes}"
        out.mkdir()
        write_still(out / "a.1.exr", joined, like=tmp_path / "a.1.exr", both_eyes=both_eyes, **like)
        assert views_in(out) == (() if both_eyes else ("left",))
        names = {name for part in read_exr_header(out / "a.1.exr").parts for name, *_ in part.attributes}
        assert ("view" in names) is not both_eyes
        assert "multiView" not in names
        assert all(same(a, b) for a, b in zip(planes(out), joined, strict=True))


# --- TIFF, PNG, JPEG ---

PRIVATE = [
    (33432, "s", 0, "kite workshop", True),
    (65000, "s", 0, "private words", True),
    (65001, "d", 2, (1.5, -2.5), True),
    (65002, "H", 3, (1, 2, 3), True),
    (700, "B", 30, b"<x:xmpmeta xmlns:x='a'/>      ", True),
    (34675, "B", 128, bytes(range(128)), True),
    (281, "H", 3, (9, 9, 9), True),
]


@pytest.mark.parametrize(
    "how",
    [
        {"byteorder": ">"}, {"byteorder": "<"}, {"planarconfig": "separate"}, {"tile": (16, 16)}, {"rowsperstrip": 5},
        {"compression": "zlib"}, {"compression": "zlib", "predictor": True}, {"bigtiff": True},
    ],
)  # fmt: skip
def test_tags_of_a_tiff_stay_as_they_are_private_ones_too(tmp_path, how):
    import tifffile

    folder = tmp_path / "in"
    folder.mkdir()
    samples = np.random.default_rng(1).integers(0, 65535, (40, 64, 3)).astype(np.uint16)
    separate = "planarconfig" in how
    data = np.ascontiguousarray(np.moveaxis(samples, 2, 0)) if separate else samples
    tifffile.imwrite(
        folder / "a.1.tif", data, photometric="rgb", software="test bench", extratags=PRIVATE, **how
    )  # fmt: skip
    out = written(folder, tmp_path / "out", moved)
    found = []
    for place in (folder, out):
        with tifffile.TiffFile(place / "a.1.tif") as file:
            found.append({tag.code: tag.value for tag in file.pages[0].tags.values()})
    assert same(planes(out)[0], moved(samples))
    kept = {code for code, *_ in PRIVATE} - {281} | {259, 262, 270, 282, 283, 284, 296, 305, 317}
    for code in kept & set(found[0]):
        assert found[1][code] == found[0][code], code
    assert 281 not in found[1]  # the greatest sample of what was there before
    (said,) = still_losses(opened(folder))
    assert "tags 281" in said
    assert (322 in found[1]) is (322 in found[0])
    assert tifffile.imread(out / "a.1.tif").reshape(data.shape).tobytes() == (
        np.moveaxis(moved(samples), 2, 0).tobytes() if separate else moved(samples).tobytes()
    )


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("alpha", ["unspecified", "assocalpha", "unassalpha"])
@pytest.mark.parametrize("dtype", ["uint8", "uint16", "float32", "float16"])
def test_alpha_of_a_tiff_means_what_it_meant_and_no_sample_changes(tmp_path, order, alpha, dtype):
    import tifffile

    folder = tmp_path / "in"
    folder.mkdir()
    samples = (np.random.default_rng(3).random((12, 20, 4)) * (200 if dtype == "uint8" else 1)).astype(dtype)
    tifffile.imwrite(folder / "a.1.tif", samples, photometric="rgb", extrasamples=[alpha], byteorder=order)
    out = written(folder, tmp_path / "out", moved)
    with tifffile.TiffFile(folder / "a.1.tif") as before, tifffile.TiffFile(out / "a.1.tif") as after:
        assert before.pages[0].tags[338].value == after.pages[0].tags[338].value
        assert same(after.asarray(), moved(samples))
    assert same(planes(folder)[0], samples)


def test_camera_data_of_a_tiff_stay(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    spec = oiio.ImageSpec(20, 12, 3, "uint8")
    for name, value in (("Make", "Kite Cameras"), ("Exif:LensModel", "Sea lens"), ("Exif:FocalLength", 35.0)):
        spec.attribute(name, value)
    output = oiio.ImageOutput.create("a.tif")
    assert output.open(str(folder / "a.1.tif"), spec)
    assert output.write_image(np.zeros((12, 20, 3), np.uint8))
    assert output.close()
    out = written(folder, tmp_path / "out")
    for place in (folder, out):
        with Image.open(place / "a.1.tif") as file:
            told = file.getexif()
            assert told[271] == "Kite Cameras"
            assert told.get_ifd(34665)[42036] == "Sea lens"
            assert told.get_ifd(34665)[37386] == 35


def test_chunks_of_a_png_stay_as_they_are_private_ones_too(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    info = PngInfo()
    info.add_text("Comment", "hello")
    info.add_itxt("Title", "Drachen über dem Meer")
    info.add(b"gAMA", struct.pack(">I", 45455))
    info.add(b"cICP", bytes([9, 16, 0, 1]))
    info.add(b"prVt", b"own")
    samples = np.random.default_rng(1).integers(0, 255, (12, 20, 3)).astype(np.uint8)
    Image.fromarray(samples).save(folder / "a.1.png", pnginfo=info, dpi=(300, 300))
    out = written(folder, tmp_path / "out", moved)
    assert same(planes(out)[0], moved(samples))
    chunks = [chunks_of((place / "a.1.png").read_bytes()) for place in (folder, out)]
    for kind in (b"tEXt", b"iTXt", b"gAMA", b"cICP", b"prVt", b"pHYs"):
        assert chunks[1][kind] == chunks[0][kind], kind
    assert set(chunks[1]) == set(chunks[0])


def chunks_of(data):
    at, found = 8, {}
    while at < len(data):
        (length,) = struct.unpack_from(">I", data, at)
        found[data[at + 4 : at + 8]] = data[at + 8 : at + 8 + length]
        at += 12 + length
    return found


@pytest.mark.parametrize("quality", [1, 30, 75, 90, 100])
def test_the_quality_of_a_jpeg_is_known_and_kept(tmp_path, quality):
    folder = tmp_path / "in"
    folder.mkdir()
    exif = Image.Exif()
    exif[271] = "Kite Cameras"
    samples = np.random.default_rng(1).integers(0, 255, (16, 24, 3)).astype(np.uint8)
    Image.fromarray(samples).save(
        folder / "a.1.jpg", quality=quality, exif=exif, comment=b"windy", dpi=(300, 300), subsampling="4:2:0"
    )
    assert jpeg_quality(folder / "a.1.jpg") == quality
    out = written(folder, tmp_path / "out")
    assert jpeg_quality(out / "a.1.jpg") == quality
    with Image.open(out / "a.1.jpg") as told, Image.open(folder / "a.1.jpg") as before:
        assert (told.info["comment"], told.info["dpi"], told.getexif()[271]) == (b"windy", (300, 300), "Kite Cameras")
        assert told.layer == before.layer  # which says how chroma is sampled
    (said,) = still_losses(opened(folder))
    assert f"quality, {quality} of 100" in said


def test_a_jpeg_whose_quality_cannot_be_known_is_written_with_all_of_its_colour(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    tables = [[2 + index % 7 for index in range(64)]] * 2
    Image.fromarray(np.zeros((16, 24, 3), np.uint8)).save(folder / "a.1.jpg", qtables=tables, subsampling="4:2:0")
    assert jpeg_quality(folder / "a.1.jpg") is None
    with Image.open(written(folder, tmp_path / "out") / "a.1.jpg") as told:
        assert [layer[1:3] for layer in told.layer] == [(1, 1)] * 3
    (said,) = still_losses(opened(folder))
    assert "98 of 100" in said
