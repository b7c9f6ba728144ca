"""The try-out's figures, reckoned in a real browser, against the program's own for the plan that its lines make."""

import json
import math
import tomllib
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from browsing import until
from tryout_clips import SCREENS, clip_info, made_columns, one_shot, shot_with, write_page

from postfix.plan.drafts import as_drawn
from postfix.plan.figures import Figures, flags_for, predicted
from postfix.plan.geometry import drawing_of, moves_of, zoom_of
from postfix.plan.model import HitKey, Misalignment, ShotPlan, WindowKey
from postfix.plan.robust import shot_arrays
from postfix.plan.settings import DEFAULT_WINDOWS, PlanSettings
from postfix.review.tryout import MOST_FRAMES, packed, planned_clip, tryout_data

ALLOWED_PCT = 0.02
NAMES = ("near_pct", "far_pct", "range_pct", "median_pct", "left_excess_pct", "right_excess_pct")
FLAG_OF = dict(zip(NAMES, ("near", "far", "range", None, "left-edge", "right-edge")))

HELD = ShotPlan("s001", 0, 59, hit=(HitKey(0, -0.4),))
EASED = replace(HELD, hit=(HitKey(5, -0.8), HitKey(30, 0.3), HitKey(50, 0.1)), subpixel=True)
WINDOWED = replace(
    HELD,
    window=(
        WindowKey(0, (0.0, 4.0), (10.0, 8.0)),
        WindowKey(20, (25.5, 11.0), (6.0, 8.0)),
        WindowKey(59, (2.0, 2.0), (0.0, 31.25)),
    ),
)  # fmt: skip
TURNED = Misalignment(2.5, 0.4, -0.6)
BRIEF = replace(DEFAULT_WINDOWS, brief_s=0.2, hold_s=0.25)


def case(plan=HELD, info=None, windows=DEFAULT_WINDOWS, **measured):
    """A clip of one shot, measured as :func:`tryout_clips.made_columns` makes it up."""
    return one_shot(plan, made_columns(info or clip_info(), plan.last + 1, **measured), windows=windows)


CASES = {
    "held, hide": case(),
    "held, crop, two steps": case(replace(HELD, fill="crop"), clip_info(1998, step=2), seed=2),
    "zoom": case(replace(HELD, fill="zoom", zoom=1.004), seed=3),
    "zoom of a shot it dissolves with": case(replace(HELD, fill="zoom", zoom=1.02), seed=4),
    "a person's zoom": case(replace(HELD, zoom=1.05), seed=5),
    "zoom with spare columns": case(replace(HELD, fill="zoom"), clip_info(1998, spare_px=25), seed=6, black_px=12.0),
    "hide with spare columns": case(HELD, clip_info(1998, spare_px=8), seed=7, black_px=6.0),
    "black in the source": case(HELD, seed=8, black_px=30.0),
    "black in the source, zoomed": case(replace(HELD, fill="zoom", zoom=1.004), seed=9, black_px=30.0),
    "eased": case(EASED, seed=10),
    "eased in whole steps, cropped": case(replace(EASED, subpixel=False, fill="crop"), clip_info(step=2), seed=11),
    "eased and zoomed": case(replace(EASED, fill="zoom", zoom=1.008), seed=12, black_px=10.0),
    "windows that move": case(WINDOWED, seed=13),
    "windows on an eased shot": case(replace(EASED, window=WINDOWED.window), seed=14, black_px=20.0),
    "a window that lets through": case(replace(WINDOWED, window_opacity_pct=60.0), seed=15),
    "aligned": case(replace(HELD, align=True, misalignment=TURNED, zoom=1.0098), seed=16, black_px=9.0),
    "aligned and zoomed": case(replace(HELD, align=True, misalignment=TURNED, fill="zoom"), seed=17),
    "aligned, cropped, squeezed": case(
        replace(EASED, align=True, misalignment=Misalignment(-1.0, 0.3), fill="crop"),
        clip_info(960, pixel_aspect=Fraction(2), spare_px=4), seed=18,
    ),
    "misalignment known and not taken out": case(replace(HELD, misalignment=TURNED), seed=19),
    "brief at 23.976": case(WINDOWED, clip_info(rate="24000/1001"), BRIEF, seed=20, bare_edges=0.6, level=0.35),
    "brief at 25, eased": case(EASED, clip_info(rate="25"), BRIEF, seed=21, bare_edges=0.9, level=0.3),
    "frames without figures": case(HELD, seed=22, unmeasured=0.5, bare_edges=0.5),
    "nothing measured": case(HELD, seed=23, unmeasured=1.0),
    "nothing at the edges": case(HELD, seed=24, bare_edges=1.0),
    "one frame": case(replace(HELD, last=0), seed=25),
    "two frames": case(replace(HELD, last=1), seed=26),
    "a small picture": case(replace(HELD, hit=(HitKey(0, -0.3125),)), clip_info(320, 180, step=2), seed=27),
    "parallax of all sizes": case(replace(WINDOWED, hit=(HitKey(0, 3.0),)), seed=28, level=9.0),
}  # fmt: skip


def asked(seed, count):
    """HITs and windows that a person may try: (hit, window) as the page's own function takes them."""
    rng = np.random.default_rng(seed)
    hits = [None, 0.0, *np.round(rng.uniform(-3, 3, count), 2).tolist(), 50.0, -49.99]
    hits += [{"held": value} for value in np.round(rng.uniform(-3, 3, count // 3), 2).tolist()]
    windows = [None, {"left": [0, 0], "right": [0, 0]}]
    windows += [{"left": w[:2], "right": w[2:]} for w in np.round(rng.uniform(0, 60, (3, 4)), 1).tolist()]
    pairs = [(hit, windows[index % len(windows)]) for index, hit in enumerate(hits)]
    return [*pairs, (None, windows[0]), (None, windows[2]), (-0.4, None)]


def reckoned(page, tmp_path, data, requests):
    """What the page finds for each (hit, window) on each screen: figures and lines for the plan."""
    page.goto(write_page(tmp_path, {"c0/0": data}).as_uri())
    return page.evaluate(
        """async (requests) => {
            const data = await postfix.load("c0/0", "report/c0-0.js");
            return requests.map(([hit, window]) => data.screens.map((screen, index) => [
                postfix.tryout.figures(data, index, hit, window), postfix.tryout.toml(data, index, hit, window)]));
        }""",
        requests,
    )


def off_by(found, true):
    """How far a figure is from the program's; both not known is no difference, one alone an endless one."""
    if math.isnan(found) or math.isnan(true):
        return 0.0 if math.isnan(found) and math.isnan(true) else math.inf
    return abs(found - true)


def largest_difference(page, tmp_path, clip, requests):
    """The largest difference of any figure over all requests and screens."""
    shot = clip.shots[0]
    worst = 0.0
    arrays = shot_arrays(clip.columns, shot.first, shot.last)
    for (hit, window), answers in zip(requests, reckoned(page, tmp_path, tryout_data(clip, shot, None), requests)):
        for version, (found, lines) in zip(clip.versions, answers):
            info = planned_clip(version, clip.columns)
            plan = shot_with(lines, version, shot)
            if hit is None and window is None:
                assert "Nothing differs" in lines
                assert plan.by_hand == shot_with("", version, shot).by_hand
            true = predicted(arrays, plan, info, version.windows)
            for name in NAMES:
                difference = off_by(found[name], getattr(true, name))
                assert difference <= ALLOWED_PCT, (name, hit, window, found[name], getattr(true, name), lines)
                worst = max(worst, difference)
            assert found["zoom"] == pytest.approx(zoom_of(plan, info), abs=1e-12)
            hit_px = moves_of(plan, info, [key.frame for key in plan.hit]).hit_px
            assert [right - left for left, right in found["moves_px"]] == pytest.approx(hit_px.tolist(), abs=1e-6)
    return worst


def test_the_figures_are_those_of_the_plan_that_the_lines_make(page, tmp_path):
    for name, clip in CASES.items():
        assert largest_difference(page, tmp_path, clip, asked(len(name), 6)) < 1e-6, name


def test_inside_and_outside_are_what_the_program_flags(page, tmp_path):
    clip = CASES["held, hide"]
    shot = clip.shots[0]
    path = write_page(tmp_path, {"c0/0": tryout_data(clip, shot, None)})
    page.goto(path.as_uri())
    page.locator("summary").first.click()
    arrays = shot_arrays(clip.columns, shot.first, shot.last)
    titles = {"near_pct": "Near", "far_pct": "Far", "range_pct": "Range", "left_excess_pct": "left edge",
              "right_excess_pct": "right edge"}  # fmt: skip
    seen = set()
    for version in clip.versions:
        page.get_by_label("Screen", exact=True).select_option(label=version.screen.name)
        for hit in ("-2", "0", "0.6", "3"):
            page.get_by_label("HIT", exact=True).fill(hit)
            plan = replace(version.shots[0].plan, hit=(HitKey(0, float(hit)),))
            figures = predicted(arrays, plan, clip.columns.clip, version.windows)
            flags = {flag.code for flag in flags_for(figures, version.limits, version.screen.width_mm)}
            for name, title in titles.items():
                row = page.locator(".try-figures tbody tr").filter(has=page.get_by_role("rowheader", name=title))
                word = "outside" if FLAG_OF[name] in flags else "inside"
                says = "([cell, word]) => cell.textContent.includes(word)"
                page.wait_for_function(says, arg=[row.locator("td").nth(3).element_handle(), word])
                seen.add((name, word))
    assert {("near_pct", "outside"), ("far_pct", "outside"), ("left_excess_pct", "outside"),
            ("left_excess_pct", "inside")} <= seen  # fmt: skip


# --- the pin ---------------------------------------------------------------------------------------------------------

SUBPIXELS = ("eased", "always", "never")


def planned_with(clip, subpixel):
    """The clip, its log telling that setting of planning, or none where it is empty."""
    return replace(clip, versions=tuple(replace(version, subpixel=subpixel or None) for version in clip.versions))


def pinned_plan(plan, keys, clip, settings):
    """What planning makes of a shot whose HIT is pinned (postfix.plan.drafts.draft)."""
    wish = replace(plan, hit=keys, subpixel=settings.subpixel == "always", window=())
    zoom = float(drawing_of(wish).zooms([key.pct for key in keys], clip).max())
    return as_drawn(replace(wish, zoom=max(wish.zoom if wish.fill != "zoom" else 1.0, zoom)), settings)


PINNED = {
    "held": HELD, "eased": EASED, "zoom": replace(HELD, fill="zoom", zoom=1.004),
    "aligned": replace(HELD, align=True, misalignment=TURNED, zoom=1.0098),
}  # fmt: skip


@pytest.mark.parametrize("subpixel", [*SUBPIXELS, ""])
def test_what_is_said_of_the_pin_is_what_planning_makes_of_it(page, tmp_path, subpixel):
    settings = PlanSettings(subpixel=subpixel) if subpixel else PlanSettings()
    for number, (name, plan) in enumerate(PINNED.items()):
        clip = planned_with(case(plan, clip_info(1998, step=2), seed=30), subpixel)
        shot, version, info = clip.shots[0], clip.versions[0], clip.columns.clip
        page.goto(write_page(tmp_path, {f"c0/{number}": tryout_data(clip, shot, None)}).as_uri())
        page.locator("summary").first.click()
        for asked in ({"held": -2.03}, {"held": 0.0}, -0.37):
            found, lines = page.evaluate(
                """async ([key, asked]) => {
                    const data = await postfix.load(`c0/${key}`, `report/c0-${key}.js`);
                    return [postfix.tryout.pinFigures(data, 0, asked), postfix.tryout.pin(data, 0, asked)];
                }""",
                [str(number), asked],
            )
            hit = tomllib.loads(lines)["pin"][0]["hit"]
            keys = tuple(HitKey(**key) for key in hit) if isinstance(hit, list) else (HitKey(0, hit),)
            true = pinned_plan(plan, keys, info, settings)
            figures = predicted(shot_arrays(clip.columns, 0, plan.last), true, info, version.windows)
            assert found["near_pct"] == pytest.approx(figures.near_pct, abs=1e-6), (name, asked)
            assert found["far_pct"] == pytest.approx(figures.far_pct, abs=1e-6), (name, asked)
            moves = moves_of(true, info, [key.frame for key in true.hit]).hit_px
            assert [right - left for left, right in found["moves_px"]] == pytest.approx(moves.tolist(), abs=1e-6)


def test_beside_the_pin_stands_what_planning_applies(page, tmp_path):
    clip = planned_with(case(EASED, clip_info(666), seed=31), "eased")
    page.goto(write_page(tmp_path, {"c0/0": tryout_data(clip, clip.shots[0], None)}).as_uri())
    page.locator("summary").first.click()
    page.get_by_label("Hold one value").check()
    page.get_by_role("spinbutton", name="HIT").fill("-2")
    page.locator(".try-more summary").click()
    until(page, "document.querySelector('.try-pin').value.includes('hit = -2.0')")
    assert "Really applied: −13.32 px" in page.locator(".try-applied").inner_text()
    text = page.locator(".try-planned").inner_text()
    assert (
        "planning applies −13 px (left eye +6 px, right eye −7 px) for cinema-12m, in whole steps of 1 px: near "
        in text
    )
    assert "does not say" not in text


def test_where_the_log_does_not_tell_the_settings_or_a_person_decided_that_is_said_of_the_pin(page, tmp_path):
    unsaid = planned_with(case(HELD, seed=32), "")
    byhand = planned_with(case(replace(HELD, subpixel=True), seed=32), "never")
    shot = byhand.shots[0]
    results = tuple(replace(result, entry={"by_hand": ["subpixel"]}) for result in shot.results)
    data = {
        "c0/0": tryout_data(unsaid, unsaid.shots[0], None),
        "c0/1": tryout_data(byhand, replace(shot, results=results), None),
    }
    page.goto(write_page(tmp_path, data).as_uri())
    for number, words in enumerate(("whole steps are taken", "A person decided that in the plan")):
        page.locator("summary", has_text="Try another").nth(number).click()
        page.locator(".try-more summary").nth(number).click()
        assert words in page.locator(".try-planned").nth(number).inner_text()


# --- without the measurement ---------------------------------------------------------------------------------------

BEFORE = Figures(-1.25, 0.75, 1.5, -0.1, -1.0, 0.1, 0.9, 0.0, 60, 60, 60, 60)


def test_without_the_measurement_near_and_far_follow_from_the_log_and_edges_are_not_known(page, tmp_path):
    clip = one_shot(HELD, made_columns(clip_info(), 60), missing="there is no measure/kite.csv", before=BEFORE)
    data = tryout_data(clip, clip.shots[0], None)
    ((found, _), _), *_ = reckoned(page, tmp_path, data, [(0.5, None)])
    hit_px = round(0.5 * 19.2)
    assert found["near_pct"] == pytest.approx(-1.25 + hit_px / 19.2)
    assert found["far_pct"] == pytest.approx(0.75 + hit_px / 19.2)
    assert found["range_pct"] == pytest.approx(1.5)
    assert math.isnan(found["left_excess_pct"])
    page.locator("summary").first.click()
    row = page.locator(".try-figures tr").filter(has_text="left edge")
    assert "not known, because there is no measure/kite.csv" in row.inner_text()
    assert "? not known" in row.inner_text()
    assert "0.90 %" in row.inner_text()  # as shot, the log knows


def test_without_the_measurement_a_moving_hit_leaves_only_the_range_known(page, tmp_path):
    clip = one_shot(EASED, made_columns(clip_info(), 60), missing="it is gone", before=BEFORE)
    data = tryout_data(clip, clip.shots[0], None)
    first, held = reckoned(page, tmp_path, data, [(None, None), ({"held": 0.25}, None)])
    assert math.isnan(first[0][0]["near_pct"])
    assert first[0][0]["range_pct"] == pytest.approx(1.5)
    assert held[0][0]["near_pct"] == pytest.approx(-1.0)


def test_a_shot_too_long_for_its_edges_says_so(page, tmp_path):
    count = MOST_FRAMES + 1
    plan = ShotPlan("s001", 0, count - 1)
    clip = one_shot(plan, made_columns(clip_info(), count), screens=SCREENS[:1])
    data = tryout_data(clip, clip.shots[0], None)
    ((found, _),), *_ = reckoned(page, tmp_path, data, [(0.0, None)])
    true = predicted(shot_arrays(clip.columns, 0, count - 1), plan, clip.columns.clip)
    assert found["near_pct"] == pytest.approx(true.near_pct, abs=1e-6)
    assert math.isnan(found["left_excess_pct"])
    page.locator("summary").first.click()
    assert f"{count} frames, more than the {MOST_FRAMES}" in page.locator(".try-figures").inner_text()


# --- the data ------------------------------------------------------------------------------------------------------


def test_packed_figures_come_back_with_the_decimals_of_a_table(page, tmp_path):
    rng = np.random.default_rng(4)
    for digits, size in ((3, 2.0), (4, 1.0), (4, 60.0), (2, 400.0)):
        values = np.round(rng.uniform(-size, size, 300), digits)
        values[::7] = np.nan
        pack = packed(values)
        page.goto(write_page(tmp_path, {"c0/0": {"pack": pack}}).as_uri())
        back = page.evaluate(
            """async () => {
                const { pack } = await postfix.load("c0/0", "report/c0-0.js"), bytes = atob(pack.codes), out = [];
                for (let i = 0; i < bytes.length; i += pack.bytes) {
                    let code = 0;
                    for (let k = pack.bytes - 1; k >= 0; k--) code = code * 256 + bytes.charCodeAt(i + k);
                    out.push(code === 2 ** (8 * pack.bytes) - 1 ? NaN : (pack.least + code) / pack.per);
                }
                return out;
            }"""
        )
        assert np.array_equal(back, values, equal_nan=True)
    assert packed(np.full(5, np.nan)) is None


def test_a_shot_of_5000_frames_stays_below_a_megabyte():
    plan = ShotPlan("s001", 0, 4999)
    clip = one_shot(plan, made_columns(clip_info(), 5000))
    text = json.dumps(tryout_data(clip, clip.shots[0], None), allow_nan=False, separators=(",", ":"))
    assert len(text) < 1_000_000
