"""Whatever stands in a text from elsewhere gives a value or one of the program's own errors, and soon.

The examples are the same in every run. To look deeper, with so many examples of each kind and other ones each time:
``POSTFIX_FUZZ=5000 python -m pytest tests/test_text_fuzz.py``.
"""

import copy
import csv
import io
import json
import os
import shutil
import time
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plan_tables import frame, measurement
from review_job import write_source, write_version
from story_entries import CAMERA, FILMED, story_for, with_story

from postfix.errors import PostfixError
from postfix.job.file import parse_frame_size, parse_frames, read_job
from postfix.measure.columns_csv import read_columns
from postfix.measure.table_csv import read_table, table_text
from postfix.plan.cameras import read_cameras
from postfix.plan.file_read import read_plan
from postfix.plan.screens import read_screens
from postfix.plan.settings_file import read_settings
from postfix.review.runs import find_versions
from postfix.source.editlist import read_edit_list
from postfix.source.numbered import is_pattern, numbered_stills
from postfix.source.rate import parse_rate
from postfix.source.timecode import frames_from_timecode, valid_timecode
from postfix.viewing import BUILTIN_SCREENS

DEEPER = int(os.environ.get("POSTFIX_FUZZ", "0"))

LONGEST_S = 3.0
"""What grows faster than the text it reads takes minutes for the longest; all that is well takes tenths of a second."""


def bounded(examples):
    return settings(
        max_examples=DEEPER or examples,
        derandomize=not DEEPER,
        database=None,
        deadline=None,
        suppress_health_check=list(HealthCheck),
    )


WILD = [
    *("", "\0", "\ufeff", "\x1b]0;x\x07", "\u2028", "\u202e", "'", '"', "\\", "\n", ",", ";", "=", "[", "]", "{", "}"),
    *("nan", "inf", "-inf", "1e308", "1e999", "1e999999999", "-1", "0", "9" * 5000, "1" + "0" * 12, "2147483647"),
    *("true", "null", "NaN", "1/0", "24000/1001", "../../x", "/etc/passwd", "CON", "<script>", "\N{DIGIT ONE}²١"),
    *("[" * 3000, '{"a":' * 3000, "a." * 3000 + "a=1\n", '"""', "'''", "#", "x" * 70000),
]
BITS = st.sampled_from(WILD) | st.text(max_size=12)


@st.composite
def mutated(draw, text):
    """A valid text of which pieces are cut out, doubled, exchanged or replaced by something wild."""
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 40)))
        way = draw(st.sampled_from(("cut", "put", "double", "token")))
        if way == "cut":
            text = text[:start] + text[end:]
        elif way == "put":
            text = text[:start] + draw(BITS) + text[end:]
        elif way == "double":
            text = text[:end] + text[start:end] + text[end:]
        else:
            # One whole word or number.
            while start > 0 and (text[start - 1].isalnum() or text[start - 1] in "._-"):
                start -= 1
            end = start
            while end < len(text) and (text[end].isalnum() or text[end] in "._-"):
                end += 1
            text = text[:start] + draw(BITS) + text[end:]
    return text


def texts_like(*samples):
    return st.one_of(*(mutated(sample) for sample in samples), st.text(max_size=60), st.sampled_from(WILD))


def encoded(text):
    """As UTF-8, or in some other way that a file may be saved in."""
    return st.sampled_from(("utf-8", "utf-8", "utf-8", "utf-8-sig", "utf-16", "latin-1")).map(
        lambda coding: text.encode(coding, "replace")
    )


def read_or_refused(read, *arguments):
    """The value, or None where it was refused in a way that a person can act on; neither keeps the processor long."""
    refused = None
    # Of this thread alone: what else a machine is busy with is no fault.
    begun_s = time.thread_time()
    try:
        return read(*arguments)
    except PostfixError as error:
        refused = error
    finally:
        assert time.thread_time() - begun_s < LONGEST_S
    assert len(refused.found) < 2000
    assert str(refused).endswith(".")
    return None


# --- what is typed or stands in one cell -------------------------------------------------------------------------


@bounded(150)
@given(texts_like("24000/1001", "23.976", "24"))
def test_any_text_is_a_rate_or_refused(text):
    rate = read_or_refused(parse_rate, text)
    assert rate is None or 1 <= rate <= 300


@bounded(150)
@given(texts_like("10:00:00:00", "10:00:00;02"), st.sampled_from((Fraction(24), Fraction(30000, 1001))))
def test_any_text_is_a_timecode_or_refused(text, rate):
    found = read_or_refused(frames_from_timecode, text, rate)
    assert found is None or 0 <= found < 24 * 3600 * 31
    assert (valid_timecode(text, rate) is None) == (found is None)


@bounded(100)
@given(texts_like("1001-1096"), texts_like("1998x1080"))
def test_any_text_is_a_range_of_frames_and_a_size_or_refused(frames, size):
    found = read_or_refused(parse_frames, frames, "here")
    assert found is None or found[0] <= found[1] < 10**9
    found = read_or_refused(parse_frame_size, size, "here")
    assert found is None or 0 < max(found) < 10**5


@pytest.fixture(scope="module")
def stills(tmp_path_factory):
    folder = tmp_path_factory.mktemp("stills")
    for number in (1, 2, 3):
        (folder / f"a.{number:04d}.dpx").write_bytes(b"")
    return folder


@bounded(100)
@given(texts_like("a.%04d.dpx", "a.####.dpx"))
def test_any_pattern_names_stills_or_is_refused(stills, text):
    path = stills / text
    if not text.startswith("/") and "\0" not in text and len(text.encode("utf-8", "replace")) < 255:
        is_pattern(path)
        found = read_or_refused(numbered_stills, path)
        assert found is None or set(found) <= {1, 2, 3}


# --- TOML --------------------------------------------------------------------------------------------------------

SETTINGS = """fill = "hide"
subpixel = "eased"
[limits]
comfort = "arcmin"
children = true
[screen."tv-55in".window]
max_pct = 4.0
[[pin]]
shot = "s003"
hit = [{ frame = 100, pct = 0.2 }, { frame = 110, pct = 0.3 }]
"""
SCREENS = """[[screen]]
name = "barn"
width_mm = 4000
distance_mm = 6000.5
children = true
note = "the barn"
"""
JOB = """screens = ["cinema-12m"]
[settings.window]
max_pct = 5.0
[[clip]]
name = "lane"
left = "lane_left.mov"
right = "lane_right.mov"
frames = "0-95"
rate = "24"
frame = "1998x1080"
offset = 1
subject = { frame = 40, box = [900, 400, 200, 300], at_pct = 0.0 }
[[clip.shot]]
name = "s003"
hit = 0.4
camera = { interaxial_mm = 40, far_mm = inf }
"""
CAMERAS = """[camera]
interaxial_mm = 65
focal_mm = 35.5
convergence_mm = inf
rig = "toed-in"
[[shot]]
name = "s003"
near_mm = 1500
far_mm = 9000
[[shot]]
frame = 120
sensor_width_mm = 24.89
"""
PLAN = """[screen]
name = "cinema-12m"
width_mm = 12000.0
distance_mm = 18000.0
[limits]
near_pct = -1.7
far_pct = 0.54
range_pct = 1.75
[clip]
name = "lane"
width_px = 1920
height_px = 1080
frames = 96
rate = "24000/1001"
step_px = 2
[[shot]]
name = "s001"
first = 0
last = 47
hit = [{frame = 0, pct = 0.2}, {frame = 10, pct = 0.3}]
fill = "hide"
window = [{frame = 0, left_px = [1.0, 2.0], right_px = [0, 0]}]
misalignment = {vertical_px = 1.0}
camera = {interaxial_mm = 65.0, far_mm = inf}
subject = {frame = 3, box = [1, 2, 3, 4], at_pct = 0.0}
[[shot]]
name = "s002"
first = 48
last = 95
locked = true
reason = "by hand"
"""

TOMLS = [
    (read_settings, SETTINGS),
    (read_screens, SCREENS),
    (read_job, JOB),
    (read_plan, PLAN),
    (read_cameras, CAMERAS),
]
TOML_IDS = ["settings", "screens", "job", "plan", "cameras"]


@pytest.mark.parametrize(("read", "sample"), TOMLS, ids=TOML_IDS)
def test_the_samples_are_valid(tmp_path, read, sample):
    path = tmp_path / "sample.toml"
    path.write_text(sample)
    assert read(path)


@pytest.mark.parametrize(("read", "sample"), TOMLS, ids=TOML_IDS)
@bounded(200)
@given(data=st.data())
def test_any_toml_is_read_or_refused(tmp_path_factory, read, sample, data):
    path = tmp_path_factory.getbasetemp() / "fuzz.toml"
    path.write_bytes(data.draw(texts_like(sample).flatmap(encoded)))
    read_or_refused(read, path)


# --- measurements ------------------------------------------------------------------------------------------------


TABLE = table_text(measurement(lambda number: frame(-0.5, 0.3), 4, (2,)))


@bounded(200)
@given(data=st.data())
def test_any_table_is_read_or_refused_and_both_readers_agree(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "fuzz.csv"
    path.write_bytes(data.draw((texts_like(TABLE) | cells_replaced()).flatmap(encoded)))
    table, columns = read_or_refused(read_table, path), read_or_refused(read_columns, path)
    if table is not None:
        assert columns is not None
        assert columns.clip == table.clip
        assert columns.shots == table.shots


@st.composite
def cells_replaced(draw):
    rows = list(csv.reader(io.StringIO(TABLE)))
    for _ in range(draw(st.integers(1, 2))):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        row[draw(st.integers(0, len(row) - 1))] = draw(BITS)
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()


# --- edit lists --------------------------------------------------------------------------------------------------

EDL = """TITLE: LANE
FCM: NON-DROP FRAME

001  REEL_A   V     C        01:00:00:00 01:00:02:00 10:00:00:00 10:00:02:00
* FROM CLIP NAME: GATE
002  REEL_A   V     C        01:00:02:00 01:00:02:00 10:00:02:00 10:00:02:00
002  REEL_B   V     D    012 02:00:00:00 02:00:02:00 10:00:02:00 10:00:04:00
* TO CLIP NAME: KITE
M2   REEL_B       048.0                02:00:00:00
"""


def otio_sample():
    otio = pytest.importorskip("opentimelineio")
    time = otio.opentime.RationalTime
    track = otio.schema.Track(kind="Video")
    for name in ("gate", "kite"):
        clip = otio.schema.Clip(name, source_range=otio.opentime.TimeRange(time(0, 24), time(48, 24)))
        clip.metadata["cmx_3600"] = {"reel": "A"}
        track.append(clip)
    track.insert(1, otio.schema.Transition("", "SMPTE_Dissolve", time(6, 24), time(6, 24)))
    track[2].effects.append(otio.schema.LinearTimeWarp(time_scalar=2.0))
    timeline = otio.schema.Timeline()
    timeline.global_start_time = time(864000, 24)
    timeline.tracks.append(track)
    return json.loads(otio.core.serialize_json_to_string(timeline))


@bounded(150)
@given(texts_like(EDL).flatmap(encoded))
def test_any_cmx_list_is_read_or_refused(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "fuzz.edl"
    path.write_bytes(data)
    found = read_or_refused(lambda: read_edit_list(path, rate=Fraction(24), count=96, timecode=None))
    assert found is None or (found.shots[0].first, found.shots[-1].last) == (0, 95)


def places_in(data, found=()):
    """Every place in JSON: the keys that lead there."""
    yield found
    if isinstance(data, dict | list):
        for key, value in data.items() if isinstance(data, dict) else enumerate(data):
            yield from places_in(value, (*found, key))


VALUES = st.sampled_from(
    [
        None,
        True,
        -1,
        0,
        1,
        2.5,
        10**12,
        10**30,
        1e308,
        "",
        "x",
        "../../x",
        "/etc/passwd",
        [],
        {},
        [[]],
        "\x1b[2J",
        "1e9",
    ]
)


@st.composite
def json_with_a_change(draw, sample):
    """A valid log or timeline in which values are others, gone or doubled; or its text mutated."""
    if draw(st.integers(0, 3)) == 0:
        return draw(mutated(json.dumps(sample)))
    data = copy.deepcopy(sample)
    for _ in range(draw(st.integers(1, 2))):
        *above, last = draw(st.sampled_from(list(places_in(data))[1:]))
        inner = data
        for key in above:
            inner = inner[key]
        way = draw(st.sampled_from(("gone", "other", "other", "other", "wild")))
        if way == "gone":
            del inner[last]
        else:
            inner[last] = draw(VALUES if way == "other" else BITS)
        if not isinstance(data, dict | list) or len(list(places_in(data))) < 2:
            break
    text = json.dumps(data)
    return text if draw(st.integers(0, 5)) else text.replace("1.0", draw(st.sampled_from(("NaN", "1e999", "Infinity"))))


@bounded(200)
@given(data=st.data())
def test_any_timeline_is_read_or_refused(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "fuzz.otio"
    text = data.draw(json_with_a_change(otio_sample()) | texts_like("{}"))
    path.write_bytes(data.draw(encoded(text)))
    found = read_or_refused(lambda: read_edit_list(path, rate=Fraction(24), count=96, timecode=None))
    assert found is None or (found.shots[0].first, found.shots[-1].last) == (0, 95)


# --- change logs -------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def finished(tmp_path_factory):
    folder = tmp_path_factory.mktemp("finished")
    made = write_version(folder / "made" / "tv", write_source(folder / "in"))
    shots = json.loads((made / "changes.json").read_text())["shots"]
    spans = [(shot["name"], shot["first"], shot["last"]) for shot in shots]
    told = story_for(BUILTIN_SCREENS["cinema-12m"], spans, [(-1.0, -0.2, 0.3)] * len(spans), filmed=FILMED)
    with_story(made, told, {name: CAMERA for name, *_ in spans})
    for name in ("left", "right"):
        shutil.rmtree(made / name, ignore_errors=True)
    return made, json.loads((made / "changes.json").read_text()), (made / "changes.csv").read_text()


@bounded(300)
@given(data=st.data())
def test_any_change_log_is_read_or_refused(finished, data):
    folder, log, table = finished
    if data.draw(st.integers(0, 3)):
        text, rows = data.draw(json_with_a_change(log)), table
    else:
        text, rows = json.dumps(log), data.draw(texts_like(table))
    (folder / "changes.json").write_bytes(data.draw(encoded(text)))
    (folder / "changes.csv").write_bytes(rows.encode("utf-8", "replace"))
    found = read_or_refused(find_versions, Path(folder.parent))
    for version in () if found is None else next(iter(found.values())):
        assert all(file.path.resolve().is_relative_to(folder.resolve()) for file in version.outputs)
