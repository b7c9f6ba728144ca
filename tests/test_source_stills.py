"""Stills of every format: what their headers say, what OpenEXR files hold, and what is refused."""

import struct
from fractions import Fraction

import numpy as np
import OpenImageIO as oiio
import pytest
from exr_files import EXTRAS, float_samples, half_samples, uint_samples, write_exr_file
from picture_files import STILLS, bits_of_still, make_stills

from postfix.errors import InputError
from postfix.source.dpx import DpxHeader, unpacked
from postfix.source.picture import grey, small_rgb
from postfix.source.stills import open_stills, views_in

RATE = Fraction(24)
SHAPE = (12, 20)


def opened(path, **named):
    return open_stills(path, RATE, None, **named)


def planes(path, **named):
    return next(iter(opened(path, **named).frames()))


def same(a, b):
    return a.dtype == b.dtype and a.shape == b.shape and a.tobytes() == b.tobytes()


def rgb(seed=0, shape=SHAPE, make=half_samples):
    return {name: make(*shape, seed + index) for index, name in enumerate("BGR")}


def stacked(channels, names="RGB"):
    return np.stack([channels[name] for name in names], axis=-1)


# --- what is told of the samples ---


@pytest.mark.parametrize("kind", STILLS)
def test_depth_white_and_black_are_those_of_the_file(tmp_path, kind):
    fmt = opened(make_stills(tmp_path / "s", kind, 1)).format
    is_float = STILLS[kind][1].startswith("float")
    assert fmt.bit_depth == bits_of_still(kind)
    assert fmt.white == (1.0 if is_float else 2 ** bits_of_still(kind) - 1)
    assert fmt.is_linear is is_float
    assert not fmt.is_yuv
    assert fmt.planes[0].black[:3] == (0.0,) * min(3, len(fmt.planes[0].black))
    if STILLS[kind][2] == 4:
        assert fmt.planes[0].black[3] == fmt.white


@pytest.mark.parametrize("bits", [10, 12])
@pytest.mark.parametrize("packing", ["Packed", "Filled, method A", "Filled, method B"])
@pytest.mark.parametrize("order", ["big", "little"])
@pytest.mark.parametrize("channels", [1, 3, 4])
def test_every_code_comes_out_of_every_packing_of_dpx(tmp_path, bits, packing, order, channels):
    """Against the library that wrote them; widths at which a row ends inside a word."""
    width = 53
    count = -(-(1 << bits) // (width * channels)) * width * channels
    codes = (np.arange(count) % (1 << bits)).astype(np.uint16).reshape(-1, width, channels)
    spec = oiio.ImageSpec(width, len(codes), channels, "uint16")
    for name, value in (("oiio:BitsPerSample", bits), ("dpx:Packing", packing), ("oiio:Endian", order)):
        spec.attribute(name, value)
    output = oiio.ImageOutput.create("a.dpx")
    assert output.open(str(tmp_path / "a.1.dpx"), spec)
    assert output.write_image(codes << (16 - bits) | codes >> (2 * bits - 16))
    assert output.close()
    (found,) = planes(tmp_path)
    assert np.array_equal(found.reshape(codes.shape), codes)


def test_twelve_bits_in_sixteen_may_lie_at_either_end():
    """SMPTE ST 268-1 (from memory): method A leaves the lowest bits of each word empty, method B the highest."""
    codes = np.array([[0, 1, 2048, 4095]], np.uint16)
    for packing, shift in ((1, 4), (2, 0)):
        header = DpxHeader(">", 4, 1, 1, 12, packing, False, 2048, 8, None)
        rows = (codes << shift).astype(">u2").view(np.uint8)
        assert np.array_equal(unpacked(rows, header), codes)


def dpx_file(tmp_path, place, kind, value):
    """A folder with a 10-bit file of 20x12 whose header holds a value of ``kind`` at ``place``."""
    folder = make_stills(tmp_path / "s", "dpx10", 1, name="a", size=(20, 12))
    path = folder / "a.1001.dpx"
    data = bytearray(path.read_bytes())
    struct.pack_into((">" if data[:4] == b"SDPX" else "<") + kind, data, place, value)
    path.write_bytes(data)
    return folder


def test_alpha_first_in_the_file_is_last_in_memory(tmp_path):
    folder = make_stills(tmp_path / "s", "dpx10-alpha", 1, name="a", size=(20, 12))
    (before,) = planes(folder)
    data = bytearray((folder / "a.1001.dpx").read_bytes())
    data[800] = 52
    (folder / "a.1001.dpx").write_bytes(data)
    (after,) = planes(folder)
    assert np.array_equal(after, before[..., ::-1])


# --- OpenEXR ---


def test_all_channels_of_one_part_come_in_planes_of_one_type(tmp_path):
    colour, lamp = rgb(), {f"lamp.{name}": samples for name, samples in rgb(9).items()}
    alpha, depth, ids = half_samples(*SHAPE, 3), float_samples(*SHAPE, 4), uint_samples(*SHAPE, 5)
    motion = {"motion.u": half_samples(*SHAPE, 6), "motion.v": half_samples(*SHAPE, 7)}
    write_exr_file(tmp_path / "a.1.exr", {**colour, **lamp, **motion, "A": alpha, "Z": depth, "id": ids})
    eye = opened(tmp_path)
    found = next(iter(eye.frames()))
    assert same(found[0], stacked({**colour, "A": alpha}, "RGBA"))
    described = {plane.plain: (samples, fmt) for plane, samples, fmt in zip(eye.channels, found, eye.format.planes)}
    assert same(described[("Z",)][0], depth)
    assert same(described[("id",)][0], ids)
    assert same(described[("motion.u", "motion.v")][0], np.stack(list(motion.values()), axis=-1))
    lamp_names = ("lamp.B", "lamp.G", "lamp.R")
    assert same(described[lamp_names][0], stacked(lamp, lamp_names))
    colours = {names: fmt.is_colour for names, (_, fmt) in described.items()}
    assert colours == {
        ("R", "G", "B", "A"): True,
        ("Z",): False,
        ("id",): False,
        ("motion.u", "motion.v"): False,
        lamp_names: True,
    }
    assert [fmt.dtype for fmt in eye.format.planes].count("uint32") == 1


@pytest.mark.parametrize(
    ("name", "is_light"),
    [
        ("Z", False), ("depth.Z", False), ("N.X", False), ("normal.R", False), ("motion.R", False),
        ("crypto_object00.R", False), ("uv.R", False), ("P.x", False), ("velocity.G", False), ("ZBack", False),
        ("diffuse.R", True), ("specular.B", True), ("mask", True), ("matte.A", True), ("light 3.G", True),
    ],
)  # fmt: skip
def test_a_channel_is_light_unless_its_name_says_otherwise(tmp_path, name, is_light):
    write_exr_file(tmp_path / "a.1.exr", {**rgb(), name: half_samples(*SHAPE, 8)})
    assert opened(tmp_path).format.planes[1].is_colour is is_light


def test_luminance_alone_is_a_grey_picture_and_other_channels_follow(tmp_path):
    luma, depth = float_samples(*SHAPE, 0), float_samples(*SHAPE, 1)
    write_exr_file(tmp_path / "a.1.exr", {"Y": luma, "Z": depth})
    found = planes(tmp_path)
    assert same(found[0], luma)
    assert same(found[1], depth)


def test_colour_is_found_in_a_layer_where_no_channel_stands_alone(tmp_path):
    colour = rgb()
    write_exr_file(tmp_path / "a.1.exr", {f"beauty.{name}": samples for name, samples in colour.items()})
    assert same(planes(tmp_path)[0], stacked(colour))


@pytest.mark.parametrize(
    ("corner", "display"),
    [((0, 0), (0, 0, 20, 12)), ((3, 2), (0, 0, 30, 20)), ((-4, -3), (0, 0, 10, 8)), ((5, -2), (2, 1, 14, 20))],
)
def test_the_data_window_is_placed_in_the_display_window(tmp_path, corner, display):
    colour = rgb()
    write_exr_file(tmp_path / "a.1.exr", colour, corner=corner, display=display)
    left, top, width, height = display
    expected = np.zeros((height, width, 3), np.float16)
    for row in range(SHAPE[0]):
        for column in range(SHAPE[1]):
            y, x = corner[1] + row - top, corner[0] + column - left
            if 0 <= y < height and 0 <= x < width:
                expected[y, x] = [colour[name][row, column] for name in "RGB"]
    assert same(planes(tmp_path)[0], expected)


def test_a_data_window_apart_from_the_picture_gives_an_empty_picture(tmp_path):
    write_exr_file(tmp_path / "a.1.exr", rgb(), corner=(100, 100), display=(0, 0, 20, 12))
    assert not planes(tmp_path)[0].any()


def test_the_data_window_may_differ_from_frame_to_frame(tmp_path):
    for number, corner in enumerate([(0, 0), (2, 1)]):
        write_exr_file(tmp_path / f"a.{number}.exr", rgb(), corner=corner, display=(0, 0, 24, 14))
    assert opened(tmp_path).count == 2


def test_every_part_is_carried_and_the_colour_comes_first(tmp_path):
    depth, colour = float_samples(*SHAPE, 4), rgb()
    write_exr_file(tmp_path / "a.1.exr", ("depth", {"Z": depth}, ()), ("beauty", colour, ()))
    found = planes(tmp_path)
    assert same(found[0], stacked(colour))
    assert same(found[1], depth)


def multi_view(*views):
    return (("multiView", "stringvector", b"".join(struct.pack("<i", len(v)) + v.encode() for v in views)),)


def test_a_view_of_one_part_is_told_by_the_names_of_its_channels(tmp_path):
    left, right, lamp = rgb(1), rgb(5), half_samples(*SHAPE, 9)
    channels = {**left, **{f"right.{name}": samples for name, samples in right.items()}, "lamp.right.R": lamp}
    path = tmp_path / "a.1.exr"
    write_exr_file(path, channels, extras=multi_view("left", "right"))
    assert views_in(path) == views_in(tmp_path) == ("left", "right")
    assert same(planes(tmp_path, view="left")[0], stacked(left))
    eye = opened(tmp_path, view="right")
    assert eye.view == "right"
    found = next(iter(eye.frames()))
    assert same(found[0], stacked(right))
    assert same(found[1], lamp)
    assert eye.channels[1].plain == ("lamp.R",)
    with pytest.raises(InputError, match="views left, right in one file"):
        opened(tmp_path)
    with pytest.raises(InputError, match="'middle'"):
        opened(tmp_path, view="middle")


def test_the_default_view_may_be_the_right_one(tmp_path):
    left, right = rgb(1), rgb(5)
    channels = {**right, **{f"left.{name}": samples for name, samples in left.items()}}
    write_exr_file(tmp_path / "a.1.exr", channels, extras=multi_view("right", "left"))
    assert same(planes(tmp_path, view="left")[0], stacked(left))
    assert same(planes(tmp_path, view="right")[0], stacked(right))


def test_a_view_of_many_parts_is_told_by_each_part(tmp_path):
    left, right, depth = rgb(1), rgb(5), float_samples(*SHAPE, 9)
    parts = [
        (f"{name}.{view}", channels, (("view", "string", view.encode()),))
        for name, view, channels in (("rgb", "left", left), ("rgb", "right", right), ("depth", "right", {"Z": depth}))
    ]
    write_exr_file(tmp_path / "a.1.exr", *parts)
    assert views_in(tmp_path) == ("left", "right")
    assert same(planes(tmp_path, view="left")[0], stacked(left))
    found = planes(tmp_path, view="right")
    assert same(found[0], stacked(right))
    assert same(found[1], depth)


def test_files_without_views_have_none(tmp_path):
    assert views_in(make_stills(tmp_path / "s", "dpx10", 1)) == ()
    write_exr_file(tmp_path / "a.1.exr", rgb())
    assert views_in(tmp_path / "a.1.exr") == ()


# --- timecode ---


def test_timecode_in_openexr_and_dpx_is_read_where_it_runs_on(tmp_path):
    """Words of binary-coded decimals, hours first (SMPTE ST 12-1, from memory)."""
    for number in range(3):
        code = (("timeCode", "timecode", struct.pack("<II", 0x10000022 + number - (number > 1), 0)),)
        extras = [entry for entry in EXTRAS if entry[0] != "timeCode"]
        write_exr_file(tmp_path / f"a.{number}.exr", rgb(), extras=(*extras, *code))
    assert open_stills(tmp_path, RATE, (0, 1)).timecode == "10:00:00:22"
    assert opened(tmp_path).timecode is None
    assert opened(dpx_file(tmp_path, 1920, "I", 0x01020304)).timecode == "01:02:03:04"


# --- what cannot be used ---


def cut(path, size):
    path.write_bytes(path.read_bytes()[:size])


def test_openexr_files_cut_anywhere_are_refused_before_the_first_frame(tmp_path):
    path = tmp_path / "a.7.exr"
    head = write_exr_file(path, {**rgb(), "Z": float_samples(*SHAPE, 1)})
    whole = path.read_bytes()
    for size in (3, 7, 40, len(head) - 1, len(head) + 20, len(head) + 200, len(whole) // 2, len(whole) - 1):
        path.write_bytes(whole[:size])
        with pytest.raises(InputError, match=r"cut short|no OpenEXR header") as caught:
            opened(tmp_path)
        assert caught.value.frame == 7


@pytest.mark.parametrize("kind", ["exr-half", "exr-half-piz", "dpx10", "dpx16", "jpeg", "tiff-float"])
def test_a_still_that_is_cut_while_in_use_is_named(tmp_path, kind):
    folder = make_stills(tmp_path / "s", kind, 3, name="a")
    eye = opened(folder)
    cut(eye.files()[1], int(eye.files()[1].stat().st_size * 0.6))
    with pytest.raises(InputError) as caught:
        list(eye.frames())
    assert caught.value.frame == 1002
    assert "a.1002" in caught.value.where


def test_damaged_chunks_of_openexr_are_named(tmp_path):
    folder = make_stills(tmp_path / "s", "exr-half", 1, name="a")
    path = folder / "a.1001.exr"
    data = bytearray(path.read_bytes())
    data[len(data) // 2 : len(data) // 2 + 300] = bytes(300)
    path.write_bytes(data)
    with pytest.raises(InputError, match="cannot be read to its end") as caught:
        planes(folder)
    assert caught.value.frame == 1001


DPX_FAULTS = {
    "two elements": (770, "H", 2, "2 image elements"),
    "no pixels": (772, "I", 0, "0x12"),
    "more rows than there are": (776, "I", 500, "cut short"),
    "a size of 2 to the 31": (772, "I", 1 << 31, "2147483648x12"),
    "chroma": (800, "B", 100, "4:2:2 YCbCr"),
    "7 bits": (803, "B", 7, "7 bits"),
    "32 bits": (803, "B", 32, "32 bits"),
    "run lengths": (806, "H", 1, "run-length"),
    "signed": (780, "I", 1, "signed"),
    "a size of the file that is wrong": (16, "I", 1 << 30, "cut short"),
    "samples behind the end": (808, "I", 1 << 30, "cut short"),
    "fields": (1928, "B", 1, "interlaced"),
}


@pytest.mark.parametrize("fault", DPX_FAULTS)
def test_a_dpx_header_that_cannot_be_meant_or_carried_is_refused(tmp_path, fault):
    place, kind, value, says = DPX_FAULTS[fault]
    folder = dpx_file(tmp_path, place, kind, value)
    with pytest.raises(InputError, match=says) as caught:
        opened(folder)
    assert caught.value.frame == 1001


def test_openexr_that_cannot_be_carried_is_refused_with_the_reason(tmp_path):
    path = tmp_path / "a.1.exr"
    cases = {
        "deep samples": lambda: write_exr_file(path, rgb(), flags=0x800),
        "no channels R, G and B, and no Y": lambda: write_exr_file(path, {"Z": float_samples(*SHAPE, 1)}),
        "of different types": lambda: write_exr_file(path, {**rgb(), "G": float_samples(*SHAPE, 1)}),
        "type uint": lambda: write_exr_file(path, rgb(make=uint_samples)),
    }
    for says, make in cases.items():
        make()
        with pytest.raises(InputError, match=says):
            opened(tmp_path)


def test_chroma_with_fewer_samples_than_luma_is_refused(tmp_path):
    path = tmp_path / "a.1.exr"
    write_exr_file(path, {"BY": half_samples(*SHAPE, 1), "RY": half_samples(*SHAPE, 2), "Y": half_samples(*SHAPE, 3)})
    data = path.read_bytes()
    full, half = (struct.pack("<iIii", 1, 0, step, step) for step in (1, 2))
    path.write_bytes(data.replace(b"BY\0" + full, b"BY\0" + half).replace(b"RY\0" + full, b"RY\0" + half))
    with pytest.raises(InputError, match="'BY' with one sample for 2x2 pixels"):
        opened(tmp_path)


def test_tiles_of_several_levels_are_refused(tmp_path):
    tiles = (("tiles", "tiledesc", struct.pack("<IIB", 16, 16, 1)),)
    write_exr_file(tmp_path / "a.1.exr", rgb(), extras=tiles, flags=0x200)
    with pytest.raises(InputError, match="tiles of several levels"):
        opened(tmp_path)


@pytest.mark.parametrize("other", ["Z", "lamp.R", "A"])
def test_a_frame_with_other_channels_is_named(tmp_path, other):
    write_exr_file(tmp_path / "a.1.exr", rgb())
    write_exr_file(tmp_path / "a.2.exr", {**rgb(), other: half_samples(*SHAPE, 4)})
    with pytest.raises(InputError, match=r"a\.2\.exr, frame 2: found 20x12"):
        opened(tmp_path)


@pytest.mark.parametrize("kind", ["png8", "tiff16", "dpx10", "exr-half", "exr-channels", "jpeg"])
def test_a_picture_of_three_by_three_is_read(tmp_path, kind):
    eye = opened(make_stills(tmp_path / "s", kind, 1, size=(3, 3)))
    assert next(iter(eye.frames()))[0].shape[:2] == (3, 3)


@pytest.mark.parametrize("mode", ["P", "1", "LA"])
def test_png_that_the_library_would_turn_into_something_else_is_refused(tmp_path, mode):
    from PIL import Image

    Image.fromarray(np.zeros((8, 8), np.uint8)).convert(mode).save(tmp_path / "a.1.png")
    with pytest.raises(InputError, match=r"palette|1 bits|2 channels"):
        opened(tmp_path)


def test_jpeg_in_four_inks_is_refused(tmp_path):
    from PIL import Image

    Image.new("CMYK", (16, 16)).save(tmp_path / "a.1.jpg")
    with pytest.raises(InputError, match="CMYK"):
        opened(tmp_path)


# --- light, for measuring ---


def test_light_is_measured_with_the_share_of_shadows_that_coded_pictures_have(tmp_path):
    ramp = np.linspace(0, 1, 33, dtype=np.float16)
    grid = np.tile(np.concatenate([ramp, [4.0, 60000.0, -0.02]]).astype(np.float16), (12, 1))
    write_exr_file(tmp_path / "a.1.exr", dict.fromkeys("BGR", grid))
    eye = opened(tmp_path)
    found = next(iter(eye.frames()))
    luma = grey(found, eye.format)[0]
    assert luma[0] == pytest.approx(0.0, abs=1e-6)
    assert luma[32] == pytest.approx(1.0, abs=1e-3)
    assert (np.diff(luma[:35]) > 0).all()
    # Half of what is seen lies below about a fifth of white's light (computed from the published curve of
    # Rec. ITU-R BT.709-6, from memory: 1.099·L^0.45 − 0.099 = 0.5 at L = 0.26).
    assert np.interp(0.5, luma[:33], ramp.astype(float)) == pytest.approx(0.26, abs=0.04)
    assert luma[34] < 5
    assert -0.2 < luma[35] < 0
    small = small_rgb(found, eye.format, 18)
    assert np.isfinite(small).all()
    assert small.max() < 5


def test_samples_that_are_no_numbers_stay_such_in_light(tmp_path):
    grid = np.full((12, 20), 0.25, np.float16)
    grid[2, 3:6] = [np.nan, np.inf, -np.inf]
    write_exr_file(tmp_path / "a.1.exr", dict.fromkeys("BGR", grid))
    eye = opened(tmp_path)
    luma = grey(next(iter(eye.frames())), eye.format)
    assert not np.isfinite(luma[2, 3:6]).any()
    assert np.isfinite(luma).sum() == luma.size - 3


def test_luma_of_luminance_with_other_channels_is_the_luminance(tmp_path):
    luminance = np.full(SHAPE, 0.25, np.float32)
    write_exr_file(tmp_path / "a.1.exr", {"Y": luminance, "Z": luminance * 400, "id": uint_samples(*SHAPE, 1)})
    eye = opened(tmp_path)
    found = next(iter(eye.frames()))
    assert grey(found, eye.format) == pytest.approx(grey(found[:1], eye.format))
    assert small_rgb(found, eye.format, 10) == pytest.approx(small_rgb(found[:1], eye.format, 10))
