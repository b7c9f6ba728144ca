"""What a preview is made of: small pictures, views, what is written into them, and the colours of its video."""

from dataclasses import replace
from fractions import Fraction

import av
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from postfix.limits import Limits
from postfix.measure.table import ClipInfo, FrameMeasure, MeasurementTable
from postfix.plan.model import HitKey, Plan, ShotPlan
from postfix.review import depth
from postfix.review.burn_in import Lines, draw_grid, draw_lines, drawable, fitted, safe_box, text_px
from postfix.review.depth import DepthSpan, legend_picture
from postfix.review.pictures import anaglyph
from postfix.review.preview import frames_of_shots, runs_of
from postfix.review.preview_figures import figure_rows, frame_figures, longest_lines
from postfix.review.preview_files import sheet_layout
from postfix.review.preview_video import PreviewVideo, is_too_large, yuv420
from postfix.review.shown import shown_rgb, shown_size
from postfix.review.views import difference, view_of, view_size
from postfix.source.picture import PictureFormat, PlaneFormat
from postfix.source.pixel_formats import video_format
from postfix.source.shots import Shot
from postfix.viewing import Screen

PRIMARIES = [(255, 0, 0), (0, 255, 0), (0, 0, 255), (0, 255, 255), (255, 0, 255), (255, 255, 0), (255, 255, 255)]
RNG = np.random.default_rng(4)


def rgb_format(width, height, dtype="uint8", white=255.0, *, linear=False):
    plane = PlaneFormat(1, 1, 3, (0.0, 0.0, 0.0))
    return PictureFormat(width, height, f"rgb-{dtype}", dtype, 8, white, False, (plane,), linear)


def noise(height=90, width=160):
    return RNG.integers(0, 256, (height, width, 3)).astype(np.uint8)


# --- colours of the video


def rgb_from_709(y, cb, cr):
    """R'G'B' of 0 to 255 from 8-bit limited-range codes: Rec. ITU-R BT.709-6, items 3.2 to 3.5 (from memory)."""
    luma, blue, red = ((y - 16.0) / 219.0, (cb - 128.0) / 224.0, (cr - 128.0) / 224.0)
    r, b = luma + 1.5748 * red, luma + 1.8556 * blue
    return np.stack([r, (luma - 0.2126 * r - 0.0722 * b) / 0.7152, b], axis=-1) * 255.0


@pytest.fixture(scope="module")
def patches():
    """A ramp of greys over patches of the primaries and their mixtures, at full and at half strength."""
    picture = np.zeros((128, 256, 3), np.uint8)
    picture[:64] = np.arange(256, dtype=np.uint8)[None, :, None]
    for i, colour in enumerate(PRIMARIES):
        picture[64:96, i * 32 : (i + 1) * 32] = colour
        picture[96:, i * 32 : (i + 1) * 32] = np.array(colour) // 2
    return picture


@pytest.fixture(scope="module")
def decoded(patches, tmp_path_factory):
    """The same patches after H.264, by the known matrix, chroma repeated."""
    path = tmp_path_factory.mktemp("colours") / "patches.mp4"
    with PreviewVideo(path, (256, 128), Fraction(24)) as video:
        for _ in range(3):
            video.write(yuv420(patches))
    with av.open(str(path)) as container:
        frame = list(container.decode(video=0))[1]
    planes = [np.frombuffer(p, np.uint8).reshape(p.height, -1)[:, : p.width].astype(float) for p in frame.planes]
    full = [planes[0], *(np.repeat(np.repeat(plane, 2, 0), 2, 1) for plane in planes[1:])]
    return rgb_from_709(*full)


def test_a_ramp_of_greys_survives_the_video_to_within_two_codes_and_stays_grey(patches, decoded):
    inside = decoded[4:60, 4:252]
    assert np.abs(inside - patches[4:60, 4:252]).max() < 3.0
    assert np.abs(inside.mean(axis=0) - patches[0, 4:252]).max() < 2.0
    assert np.ptp(inside.mean(axis=0), axis=1).max() < 2.0


@pytest.mark.parametrize("half", [False, True])
@pytest.mark.parametrize("index", range(len(PRIMARIES)))
def test_primaries_and_their_mixtures_survive_the_video_to_within_three_codes(patches, decoded, index, half):
    top = 96 if half else 64
    middle = np.s_[top + 8 : top + 24, index * 32 + 8 : index * 32 + 24]
    assert np.abs(decoded[middle].mean(axis=(0, 1)) - patches[top + 16, index * 32 + 16]).max() < 3.0


def test_the_codes_are_those_of_the_recommendation():
    """100 % bars in 8 bits: Y, Cb, Cr computed with the figures of BT.709-6, items 3.2 to 3.5 (from memory)."""
    bars = {(255, 255, 255): (235, 128, 128), (0, 0, 0): (16, 128, 128), (255, 0, 0): (63, 102, 240),
            (0, 255, 0): (173, 42, 26), (0, 0, 255): (32, 240, 118)}  # fmt: skip
    for colour, codes in bars.items():
        planes = yuv420(np.full((4, 4, 3), colour, np.uint8))
        assert [int(plane[1, 1]) for plane in planes] == list(codes)


def test_chroma_of_a_step_lies_on_the_even_columns():
    picture = np.zeros((2, 8, 3), np.uint8)
    picture[:, 4:] = (255, 0, 0)
    _, _, red = yuv420(picture)
    # A quarter of the sample before the step sees it, none of those farther away does.
    assert red[0].tolist() == [128, 128, 212, 240]


def test_sizes_beyond_what_players_open_are_told():
    assert not is_too_large((4096, 2304))
    assert is_too_large((4098, 100))
    assert is_too_large((100, 4112))
    assert is_too_large((4096, 2320))


# --- small pictures


def test_eight_bit_rgb_is_shown_as_it_is():
    picture = noise()
    assert np.array_equal(shown_rgb((picture,), rgb_format(160, 90), (160, 90)), picture)


@pytest.mark.parametrize("name", ["yuv420p", "yuv422p10le", "gbrp"])
@pytest.mark.parametrize("size_px", [(128, 32), (64, 64), (128, 16), (32, 64)])
def test_squeezed_eyes_are_brought_back_to_their_shape(name, size_px):
    fmt = video_format(name, 64, 32, None)
    planes = tuple(
        np.full((-(-32 // p.step_y), -(-64 // p.step_x)), (1 << fmt.bit_depth) // 2, fmt.dtype) for p in fmt.planes
    )
    seen = shown_rgb(planes, fmt, size_px)
    assert seen.shape == (size_px[1], size_px[0], 3)
    assert np.ptp(seen.astype(int)) <= 4


def test_the_matrix_that_a_file_names_counts():
    """Pure red of BT.601 in 8 bits is 81, 90, 240 (from memory)."""
    fmt = video_format("yuv444p", 4, 4, False)
    planes = tuple(np.full((4, 4), code, np.uint8) for code in (81, 90, 240))
    assert shown_rgb(planes, fmt, (4, 4), (0.299, 0.114))[0, 0] == pytest.approx([255, 0, 0], abs=2)
    # By the other matrix it would be another red.
    assert shown_rgb(planes, fmt, (4, 4))[0, 0, 1] > 15


def test_sixteen_bits_are_scaled_to_eight():
    codes = np.array([0, 257, 32896, 65535], np.uint16).repeat(3).reshape(1, 4, 3)
    shown = shown_rgb((codes,), rgb_format(4, 1, "uint16", 65535.0), (4, 1))
    assert shown[0, :, 0].tolist() == [0, 1, 128, 255]


@pytest.mark.parametrize("dtype", ["float16", "float32"])
def test_light_is_coded_by_the_curve_of_srgb_and_averaged_as_light(dtype):
    """IEC 61966-2-1 (from memory): 18 % of light is code 118 (0.4614), half of it 188 (0.7354)."""
    light = np.array([0.18, 0.18, 0.0, 1.0], dtype).repeat(3).reshape(1, 4, 3)
    fmt = rgb_format(4, 1, dtype, 1.0, linear=True)
    assert shown_rgb((light,), fmt, (2, 1))[0, :, 1].tolist() == [118, 188]


def test_what_is_no_number_is_black_and_a_reflection_does_not_bleed():
    light = np.zeros((1, 8, 3), np.float32)
    light[0, 0], light[0, 2], light[0, 4], light[0, 6] = np.nan, np.inf, -np.inf, 1e30
    shown = shown_rgb((light,), rgb_format(8, 1, "float32", 1.0, linear=True), (8, 1))
    assert shown[0, :, 0].tolist() == [0, 0, 255, 0, 0, 0, 255, 0]


def test_grey_and_alpha_are_shown_in_three_equal_channels_and_without_alpha():
    grey = np.arange(12, dtype=np.uint8).reshape(3, 4)
    fmt = replace(rgb_format(4, 3), planes=(PlaneFormat(1, 1, 1, (0.0,)),))
    assert np.array_equal(shown_rgb((grey,), fmt, (4, 3)), np.repeat(grey[..., None], 3, axis=2))
    both = np.concatenate([noise(3, 4), np.zeros((3, 4, 1), np.uint8)], axis=2)
    assert np.array_equal(shown_rgb((both,), rgb_format(4, 3), (4, 3)), both[..., :3])


@given(
    st.integers(2, 9000), st.integers(2, 9000),
    st.fractions(Fraction(1, 3), Fraction(3), max_denominator=64), st.integers(16, 5000), st.booleans(),
)  # fmt: skip
@settings(deadline=None, max_examples=200)
def test_nothing_is_enlarged_and_pixels_come_out_square(width, height, aspect, most, even):
    size = shown_size((width, height), aspect, most, even=even)
    assert size[0] <= max(2, min(width, most))
    assert size[1] <= max(2, height)
    if even:
        assert size[0] % 2 == size[1] % 2 == 0
    wanted = size[0] * height / (width * aspect)
    assert size[1] == pytest.approx(wanted, abs=2.0 + 2.0 * float(wanted) / size[0])


# --- where chroma sits


def sine_422(width=640, height=64, period_px=32, bits=10):
    """Red against blue in a sine across, exact R'G'B' and its 4:2:2 codes with chroma on the even columns."""
    wave = np.sin(2 * np.pi * (np.arange(width) + 0.5) / period_px)
    rgb = np.stack([0.5 + 0.3 * wave, np.full(width, 0.5), 0.5 - 0.3 * wave], axis=-1)
    luma = rgb @ np.array([0.2126, 0.7152, 0.0722])
    unit = 1 << (bits - 8)
    codes = [
        luma * 219 + 16,
        ((rgb[:, 2] - luma) / 1.8556 * 224 + 128)[::2],
        ((rgb[:, 0] - luma) / 1.5748 * 224 + 128)[::2],
    ]
    return rgb * 255.0, [np.tile(np.rint(row * unit), (height, 1)) for row in codes]


@pytest.mark.parametrize("width", [640, 560, 427, 330, 320, 300, 160, 101])
@pytest.mark.parametrize("pixel_format", ["yuv422p10le", "yuv420p10le"])
def test_chroma_of_half_size_comes_from_where_it_sits_at_every_size(width, pixel_format):
    """Chroma on the even columns: ITU-T H.264, Figure E-1, type 0 (from memory); the rest is computed."""
    exact, codes = sine_422()
    fmt = video_format(pixel_format, 640, 64, False, 1)
    planes = tuple(code[:: plane.step_y].astype(np.uint16) for code, plane in zip(codes, fmt.planes))
    height = max(1, round(64 * width / 640))
    shown = shown_rgb(planes, fmt, (width, height))[height // 2].astype(float)
    fine = np.repeat(exact, width, axis=0).reshape(width, 640, 3).mean(axis=1)
    inside = np.s_[4:-4]
    assert np.abs(shown[inside] - fine[inside]).max() < 3.0
    # The place of the wave, in pixels of the source, from the least squares of sine and cosine.
    at = (np.arange(width) + 0.5) * 640 / width * 2 * np.pi / 32
    basis = np.stack([np.sin(at), np.cos(at), np.ones(width)], axis=-1)[inside]
    (sine, cosine, _), *_ = np.linalg.lstsq(basis, (shown[:, 0] - shown[:, 2])[inside], rcond=None)
    assert abs(np.arctan2(cosine, sine) * 32 / (2 * np.pi)) < 0.03


@pytest.mark.parametrize(
    ("pixel_format", "matrix", "x_px", "y_px"),
    [("yuv420p10le", 1, 0.5, 1.0), ("yuv420p10le", 9, 0.5, 0.5), ("yuvj420p", 1, 1.0, 1.0), ("yuv410p", 1, 0.5, 2.0)],
)
@pytest.mark.parametrize("size", [(64, 64), (48, 40), (32, 32), (20, 15), (63, 63)])
@pytest.mark.parametrize("stored", [(64, 64), (63, 63)])
def test_a_ramp_of_chroma_stays_in_its_place_wherever_samples_sit(pixel_format, matrix, x_px, y_px, size, stored):
    fmt = video_format(pixel_format, *stored, None, matrix)
    info = fmt.planes[1]
    assert (info.centre_x_px, info.centre_y_px) == (x_px, y_px)
    unit = 1 << (fmt.bit_depth - 8)
    x, y = (np.arange(-(-n // s)) * s + c for n, s, c in zip(stored, (info.step_x, info.step_y), (x_px, y_px)))
    # So that every code is a whole one.
    blue = ((96.0 + 0.5 * (x[None, :] - x_px) + 0.5 * (y[:, None] - y_px)) * unit).astype(fmt.dtype)
    size = min(size[0], stored[0]), min(size[1], stored[1])
    planes = (np.full(stored[::-1], 126 * unit, fmt.dtype), blue, np.full(blue.shape, 128 * unit, fmt.dtype))
    shown = shown_rgb(planes, fmt, size).astype(float)
    x, y = ((np.arange(n) + 0.5) * m / n for n, m in zip(size, stored))
    codes = 96.0 + 0.5 * (x[None, :] - x_px) + 0.5 * (y[:, None] - y_px)
    is_full = fmt.planes[0].black[0] == 0.0
    luma = 126.0 if is_full else (126.0 - 16.0) * 255.0 / 219.0
    wanted = luma + (codes - 128.0) * 1.8556 * (1.0 if is_full else 255.0 / 224.0)
    edge = tuple(slice(-(-n * 4 // m), n - -(-n * 4 // m)) for n, m in zip(size[::-1], stored[::-1]))
    # Codes are rounded to whole ones twice on the way; half a pixel beside its place would be 0.5 everywhere.
    assert np.abs((shown[..., 2] - wanted)[edge]).max() < 1.8556 * 255.0 / 224.0 + 0.5
    assert abs((shown[..., 2] - wanted)[edge].mean()) < 0.15


@pytest.mark.parametrize("bare_px", [2, 3, 4, 7])
def test_columns_that_a_move_lays_bare_are_black_to_the_last_one(bare_px):
    fmt = video_format("yuv422p10le", 64, 8, False, 1)
    luma, blue, red = (np.full((8, 64 // plane.step_x), 512, np.uint16) for plane in fmt.planes)
    blue[:], red[:] = 300, 800
    luma[:, :bare_px] = 64
    blue[:, : -(-bare_px // 2)] = red[:, : -(-bare_px // 2)] = 512
    shown = shown_rgb((luma, blue, red), fmt, (64, 8))
    assert np.flatnonzero(shown.max(axis=(0, 2)) == 0).tolist() == list(range(bare_px))
    # Beyond the two columns that chroma is spread over, the colour is the picture's own.
    assert len(np.unique(shown[:, bare_px + 2 :].reshape(-1, 3), axis=0)) == 1


# --- views


def test_each_view_puts_the_eyes_where_it_says():
    left, right = noise(), noise()
    beside, over = view_of(left, right, "side-by-side"), view_of(left, right, "over-under")
    assert np.array_equal(beside[:, :160], left)
    assert np.array_equal(beside[:, 160:], right)
    assert np.array_equal(over[:90], left)
    assert np.array_equal(over[90:], right)
    assert np.array_equal(view_of(left, right, "anaglyph"), anaglyph(left, right))
    for view in ("side-by-side", "over-under", "anaglyph", "difference"):
        shown = view_of(left, right, view)
        assert view_size(view, (160, 90)) == (shown.shape[1], shown.shape[0])


def test_what_is_alike_is_plain_grey_and_a_difference_counts_code_for_code():
    left, right = noise(), noise()
    assert np.unique(difference(left, left)).tolist() == [128]
    wanted = np.clip(128 + left.astype(int) - right.astype(int), 0, 255)
    assert np.array_equal(difference(left, right), wanted)


# --- what is written


LINES = Lines("01:00:00:12", "slipway", (("near", "-0.52 %", "-62 mm"), ("far", "+1.32 %", "+158 mm", "outside")))


@pytest.mark.parametrize("level", [0, 128, 255])
@pytest.mark.parametrize("size", [(1280, 720), (640, 268), (320, 180)])
def test_text_lies_inside_the_safe_area_and_is_legible_on_dark_and_on_bright(level, size):
    picture = np.full((size[1], size[0], 3), level, np.uint8)
    letters = text_px(size, LINES)
    assert letters >= 9
    draw_lines(picture, LINES, letters)
    changed = (picture != level).any(axis=2)
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    assert rows[0] >= 0.1 * size[1] - 1e-9
    assert rows[-1] < 0.9 * size[1]
    assert columns[0] >= 0.1 * size[0] - 1e-9
    assert columns[-1] < 0.9 * size[0]
    box = safe_box(size)
    written = picture[box.y : box.y + letters, box.x : box.x + 4 * letters, 0]
    # Ink against its own ground, whatever the picture is.
    assert int(written.max()) - int(np.median(written)) > 100
    assert np.array_equal(picture[..., 0], picture[..., 1])
    assert np.array_equal(picture[..., 0], picture[..., 2])


def test_the_time_alone_changes_its_own_corner_alone():
    picture = noise(360, 640)
    written = picture.copy()
    draw_lines(written, Lines("01:00:00:12"), text_px((640, 360), Lines("01:00:00:12")))
    changed = (picture != written).any(axis=2)
    assert changed[36:60, 400:576].any()
    changed[36:60, 400:576] = False
    assert not changed.any()


def test_a_running_timecode_stands_still():
    boxes = set()
    for time in ("11:11:11:11", "00:00:00:00", "23:58:47:06"):
        picture = np.full((360, 640, 3), 255, np.uint8)
        draw_lines(picture, Lines(time), 14)
        columns = np.flatnonzero((picture != 255).any(axis=(0, 2)))
        boxes.add((int(columns[0]), int(columns[-1])))
    assert len(boxes) == 1


HOSTILE = [
    "<b>&amp;</b><script>alert(1)</script>", "two\nlines\r\nand\ttabs\x00\x07", "x" * 100_000,
    "漢字 \u202eabc\u202c 😀", "%s%n{0}", "",
]  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE, ids=range(len(HOSTILE)))
def test_any_name_is_drawn_as_one_line_of_text_inside_its_place(name):
    picture = np.full((180, 320, 3), 255, np.uint8)
    draw_lines(picture, Lines("01:00:00:12", name), 11)
    changed = (picture != 255).any(axis=2)
    assert not changed[:18].any()
    assert not changed[40:].any()
    assert not changed[:, 288:].any()
    assert changed[18:40, 200:288].any()


def test_markup_stays_text_and_control_characters_are_spaces():
    assert drawable("<b>a\nb</b>") == "<b>a b</b>"
    assert drawable("\N{MINUS SIGN}1") == "-1"
    assert fitted("slipway at low tide", 14, 60).endswith("...")
    assert fitted("slip", 14, 600) == "slip"
    assert fitted("slipway", 14, 0) == "..."


@pytest.mark.parametrize("letters_px", [9, 10, 11, 12])
def test_small_letters_leave_gaps_between_words_that_are_wider_than_those_inside_them(letters_px):
    picture = np.zeros((60, 600, 3), np.uint8)
    draw_lines(picture, Lines("", "", (("not measured",),)), letters_px)
    ground = int(np.bincount(picture[picture > 0]).argmax())
    inked = (picture[..., 0] > ground + 30).any(axis=0)
    first, last = np.flatnonzero(inked)[[0, -1]]
    gaps = sorted(len(gap) for gap in "".join("x" if ink else " " for ink in inked[first:last]).split("x"))
    assert gaps[-1] >= 3
    assert gaps[-1] > gaps[-2]


@pytest.mark.parametrize("width", [240, 300, 480, 960])
@pytest.mark.parametrize("name", ["cinema-12m", "a hall by the sea", "x" * 200])
def test_the_words_of_a_small_legend_are_wrapped_and_not_cut(monkeypatch, width, name):
    written, usual = [], depth.draw_text
    monkeypatch.setattr(depth, "draw_text", lambda *words: written.append(words) or usual(*words))
    strip = legend_picture(DepthSpan(-3.0, 3.0), replace(SCREEN, name=name), width)
    lowest = max(at[1] for _, at, _, _ in written)
    assert lowest + written[-1][3] < strip.shape[0]
    assert all(at[0] + depth.text_width(text, size) <= width for _, at, text, size in written)
    texts = [text for _, _, text, _ in written]
    caption = " ".join(texts[texts.index(next(text for text in texts if text.startswith("percent of"))) :])
    if len(name) < 100:
        assert caption == f"percent of picture width, and millimetres on {name}"
    else:
        assert caption.startswith("percent of picture width, and millimetres on xxx")


def test_a_picture_too_small_for_letters_is_told():
    assert text_px((64, 36), LINES) == 0
    assert text_px((640, 20), LINES) == 0


def test_the_grid_lies_at_the_screen_in_both_eyes():
    left, right = noise(180, 320), noise(180, 320)
    drawn = [eye.copy() for eye in (left, right)]
    for eye in drawn:
        draw_grid(eye)
    places = [(eye != before).any(axis=2) for eye, before in zip(drawn, (left, right))]
    lines = [np.flatnonzero(place.mean(axis=0) > 0.9) for place in places]
    assert lines[0].tolist() == lines[1].tolist()
    assert [int(x) for x in lines[0][::2] + 1] == [40, 80, 120, 160, 200, 240, 280]


def test_the_grid_is_the_same_whether_drawn_in_each_eye_or_in_the_anaglyph():
    left, right = np.full((180, 320, 3), 90, np.uint8), np.full((180, 320, 3), 110, np.uint8)
    once = anaglyph(left, right)
    draw_grid(once)
    for eye in (left, right):
        draw_grid(eye)
    assert np.abs(once.astype(int) - anaglyph(left, right)).max() <= 1


@pytest.mark.parametrize("level", [0, 60, 128, 200, 255])
def test_the_grid_is_seen_on_anything(level):
    picture = np.full((180, 320, 3), level, np.uint8)
    draw_grid(picture)
    assert np.abs(picture.astype(int) - level).max() > 60


# --- figures


SCREEN = Screen("pier", 4000.0, 6000.0)
LIMITS = Limits(-1.0, 0.5, 1.5)


def table(near, far, interpolated=()):
    frames = tuple(
        FrameMeasure(near_pct=low, far_pct=high, interpolated=i in interpolated)
        for i, (low, high) in enumerate(zip(near, far))
    )
    clip = ClipInfo("wind", 200, 100, Fraction(24), 1)
    return MeasurementTable(clip, frames, ("",) * len(frames), (Shot("a", 0, len(frames) - 1),))


def test_without_a_plan_the_figures_are_those_measured():
    figures = frame_figures(table([-1.5, np.nan], [0.2, np.nan]))
    assert figure_rows(figures, 0, None, None) == (("near", "−1.50 %", ""), ("far", "+0.20 %", ""))
    assert figure_rows(figures, 1, SCREEN, None) == (("near", "not measured", "", ""), ("far", "not measured", "", ""))


def test_with_a_plan_they_are_what_zoom_and_hit_make_of_them_after_rounding_to_whole_steps():
    measured = table([-1.5, -1.5], [0.2, 0.2])
    # 0.74 % of 200 px is 1.48 px, which is drawn as 1 px: 0.5 %.
    plan = Plan(SCREEN, LIMITS, measured.clip, (ShotPlan("a", 0, 1, hit=(HitKey(0, 0.74),)),))
    figures = frame_figures(measured, plan)
    assert figures.near_pct == pytest.approx([-1.0, -1.0])
    assert figures.far_pct == pytest.approx([0.7, 0.7])
    near, far, hit = figure_rows(figures, 0, SCREEN, LIMITS)
    assert near == ("near", "−1.00 %", "−40.0 mm", "limit −1.00 %", "")
    assert far == ("far", "+0.70 %", "+28.0 mm", "limit +0.50 %", "outside")
    assert hit == ("HIT", "+0.50 %", "+20.0 mm", "predicted")
    zoomed = replace(plan, shots=(ShotPlan("a", 0, 1, hit=(HitKey(0, 0.0),), zoom=1.1, fill="zoom"),))
    assert frame_figures(measured, zoomed).near_pct == pytest.approx([-1.65, -1.65])


def test_what_was_not_measured_itself_is_marked():
    figures = frame_figures(table([-0.5, -0.5], [0.2, 0.2], interpolated=(1,)))
    assert figure_rows(figures, 0, None, None)[0][-1] == ""
    assert figure_rows(figures, 1, None, None)[0][-1] == "filled in"


@pytest.mark.parametrize("near", [-123.45, np.nan])
def test_room_is_made_for_the_longest_figures(near):
    figures = frame_figures(table([near], [near], interpolated=(0,)))
    screen = replace(SCREEN, width_mm=60_000.0)
    rows, longest = figure_rows(figures, 0, screen, LIMITS), longest_lines("", "", figures, True, True).figures
    for row, long in zip(rows, longest):
        assert all(len(cell) <= len(place) + 1 for cell, place in zip(row, long))


# --- frames


def test_frames_that_follow_each_other_are_decoded_in_one_go():
    assert runs_of([3, 4, 7, 6, 7, 8]) == [(3, 4), (7, 7), (6, 8)]
    assert runs_of([]) == []


def test_a_shot_is_shown_by_its_middle():
    assert frames_of_shots([Shot("a", 0, 0), Shot("b", 1, 10), Shot("c", 11, 13)]) == [0, 5, 12]


@pytest.mark.parametrize(("count", "cell"), [(1, (480, 270)), (5, (480, 270)), (2000, (240, 135)), (3, (2560, 720))])
def test_a_sheet_has_room_for_every_cell(count, cell):
    across, width, height = sheet_layout(count, cell)
    down = -(-count // across)
    assert across * down >= count
    assert width >= across * cell[0]
    assert height >= down * cell[1]
    assert across == 1 or width <= 1960
