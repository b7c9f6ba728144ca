"""A turn of one eye in squeezed pictures: measured as it is seen, and taken out by the whole job.

What was put on is exact by construction (computed): the right eye is turned about its centre with a cubic spline, and
both eyes are squeezed afterwards, as a camera's pair would be.
"""

from functools import cache

import numpy as np
import pytest
from packed_files import file_pictures, write_packed_video
from test_measure_differences import bent
from test_measure_scenes import scene_of

from postfix.cli import main
from postfix.measure.clip import measure_clip
from postfix.plan.file import read_plan
from postfix.render.resample import squeezed
from postfix.source.layout import squeeze_of
from postfix.source.packed import open_packed
from postfix.source.picture import PictureFormat, PlaneFormat

TURN_DEG, LOWER_PX = -0.5, 2.0
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)
FRAMES = 2
LAYOUTS = ("side-by-side", "side-by-side-half", "top-bottom-half")

# As for the same figures of other material (test_measure_differences): 0.15 px, 0.02° and 0.03 %; a size is told from
# rows, so that of half as many it is told half as finely.
TOLERANCE = {"vertical_px": 0.15, "rotation_deg": 0.02, "size_pct": 0.03}


def tolerance_of(name, layout):
    return TOLERANCE[name] * (squeeze_of(layout)[1] if name == "size_pct" else 1)


@cache
def eyes():
    left, right = (np.asarray(eye, np.float32) @ LUMA for eye in scene_of(43).render(0))
    return left, bent(right, lower_px=LOWER_PX, turn_deg=TURN_DEG)


def write_layout(path, layout):
    across, down = squeeze_of(layout)
    height, width = eyes()[0].shape
    fmt = PictureFormat(width, height, "grey", "float32", 32, 1.0, False, (PlaneFormat(1, 1, 1, (0.0,)),))
    both = []
    for eye in eyes():
        (small,) = squeezed((eye,), fmt, across, down) if (across, down) != (1, 1) else (eye,)
        luma = np.clip(np.rint(64 + 876 * small), 0, 1023).astype(np.uint16)
        both.append([luma, *[np.full_like(luma, 512)] * 2])
    return write_packed_video(path, file_pictures([both[0]] * FRAMES, [both[1]] * FRAMES, layout))


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Plan of the run with align, figures of what went in and of what came out, by layout."""
    found = {}
    for layout in LAYOUTS:
        place = tmp_path_factory.mktemp(layout)
        source = write_layout(place / "gust.mkv", layout)
        (place / "settings.toml").write_text("align = true\n")
        typed = ["run", "--pair", source, "--layout", layout, "--one-shot", "--settings", place / "settings.toml"]
        code = main([*map(str, typed), "--screen", "cinema-12m", "-q", "-o", str(place / "out")])
        assert code in (0, 5), layout
        (written,) = (place / "out" / "cinema-12m").rglob("gust*.mkv")
        tables = [measure_clip(open_packed(path, layout)) for path in (source, written)]
        found[layout] = read_plan(place / "out" / "cinema-12m" / "plan.toml"), *tables
    return found


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_turn_is_measured_alike_in_whole_and_in_squeezed_eyes(runs, layout):
    _, table, _ = runs[layout]
    across, down = squeeze_of(layout)
    assert float(table.clip.pixel_aspect) == across / down
    planted = {"vertical_px": LOWER_PX / down, "rotation_deg": TURN_DEG, "size_pct": 0.0}
    for name, value in planted.items():
        assert table.column(name) == pytest.approx(value, abs=tolerance_of(name, layout)), name


@pytest.mark.parametrize("layout", LAYOUTS)
def test_a_turn_of_squeezed_eyes_does_not_leak_into_parallax(runs, layout):
    plan, table, written = runs[layout]
    truth = scene_of(43).truth(0).summary
    for name in ("near_pct", "far_pct"):
        assert table.column(name) == pytest.approx(getattr(truth, name), abs=0.10), name
        # Drawn at the plan's zoom and moved by its HIT.
        (shot,) = plan.shots
        stretch = shot.zoom * np.cos(np.radians(TURN_DEG / 2.0))
        expected = stretch * getattr(truth, name) + shot.hit[0].pct
        assert written.column(name) == pytest.approx(expected, abs=0.10), name


@pytest.mark.parametrize("layout", LAYOUTS)
def test_squeezed_eyes_come_out_aligned(runs, layout):
    plan, _, written = runs[layout]
    (shot,) = plan.shots
    assert shot.align
    assert shot.misalignment.rotation_deg == pytest.approx(TURN_DEG, abs=0.02)
    for name in TOLERANCE:
        assert written.column(name) == pytest.approx(0.0, abs=tolerance_of(name, layout)), name
    # As much is enlarged as the same turn needs in whole eyes.
    assert shot.zoom == pytest.approx(runs["side-by-side"][0].shots[0].zoom, abs=3e-4)
