"""What a measurement says besides its figures: every kind in words, as data, in the log and on the page.

What must be said follows from how the tables and clips are made (computed).
"""

import html
import json
from dataclasses import replace
from fractions import Fraction

import pytest
from clips import source_words
from footage import SPECS, yuv422p10
from memory_clips import HEIGHT, WIDTH, crop

from postfix.cli import main
from postfix.deliver.video import write_video
from postfix.measure.between import NOT_MEASURED
from postfix.measure.remarks import LOW_CONFIDENCE, RIVALRY_PCT, told
from postfix.measure.shot import BOTH_STILL
from postfix.measure.table import EDGE_BANDS, ClipInfo, FrameMeasure, MeasurementTable, RivalBox, ShotFinding
from postfix.measure.table_csv import as_written, read_table
from postfix.plain import plain
from postfix.source.shots import EditList, Shot, Transition

PLAIN = FrameMeasure(near_pct=-0.5, far_pct=0.5, median_pct=0.0, coverage_pct=90.0, confidence=0.95)
SURE = ShotFinding(confidence=0.95)


def table_of(frames, *, shots=None, findings=None, seen=()):
    shots = shots or (Shot("s001", 0, len(frames) - 1),)
    findings = (SURE,) * len(shots) if findings is None else findings
    clip = ClipInfo("gull", 1920, 1080, Fraction(24), 2)
    timecodes = tuple(f"10:00:0{number // 24}:{number % 24:02d}" for number in range(len(frames)))
    return MeasurementTable(clip, tuple(frames), timecodes, shots, findings, seen)


def remarks_of(table, listed=None):
    return told(table, listed=listed).remarks


def cut_at(*frames):
    return tuple(Transition(frame, "cut", frame, frame) for frame in frames)


def test_a_plain_clip_gives_no_remark():
    assert remarks_of(table_of([PLAIN] * 30)) == ()
    assert told(table_of([PLAIN] * 30)).texts(edges=True) == ()


# ---- an edit list against the picture


def test_a_cut_elsewhere_is_told_with_frame_and_timecode():
    shots = (Shot("a", 0, 33), Shot("b", 34, 47))
    table = table_of([PLAIN] * 48, shots=shots, seen=cut_at(24))
    found = remarks_of(table, EditList(shots, cut_at(34), ()))
    assert [(one.kind, one.shot, one.facts) for one in found] == [("list", "", {})] * 2
    assert [one.text for one in found] == [
        "the picture shows a cut at frame 24 (10:00:01:00); the list has none there",
        "the list has a cut at frame 34 (10:00:01:10); the picture shows none there",
    ]


def test_where_list_and_picture_agree_or_there_is_no_list_nothing_is_said():
    shots = (Shot("a", 0, 23), Shot("b", 24, 47))
    table = table_of([PLAIN] * 48, shots=shots, seen=cut_at(24))
    assert remarks_of(table, EditList(shots, cut_at(24), ())) == ()
    assert remarks_of(table_of([PLAIN] * 48, seen=cut_at(24))) == ()


def test_a_table_from_a_file_knows_nothing_of_the_picture_and_says_nothing():
    shots = (Shot("a", 0, 33), Shot("b", 34, 47))
    table = table_of([PLAIN] * 48, shots=shots, seen=None)
    assert remarks_of(table, EditList(shots, cut_at(34), ())) == ()


def test_without_timecode_the_frame_alone_is_named():
    table = replace(table_of([PLAIN] * 48, seen=cut_at(24)), timecodes=("",) * 48)
    (one,) = remarks_of(table, EditList(table.shots, (), ()))
    assert one.text == "the picture shows a cut at frame 24; the list has none there"


BLACK_AT_THE_HEAD, BLACK_AT_THE_TAIL = Transition(0, "cut", 0, 11), Transition(48, "cut", 36, 47)


@pytest.mark.parametrize(
    "listed",
    [
        cut_at(12),
        cut_at(12, 36),
        cut_at(4, 12),
        cut_at(13, 35),
        (Transition(14, "dissolve", 12, 16),),
        (),
    ],
)
def test_black_at_the_head_and_the_tail_may_be_a_shot_of_the_list_or_not(listed):
    table = table_of([PLAIN] * 48, seen=(BLACK_AT_THE_HEAD, BLACK_AT_THE_TAIL))
    assert remarks_of(table, EditList(table.shots, listed, ())) == ()


@pytest.mark.parametrize("frame", [14, 24, 34])
def test_a_cut_away_from_the_black_is_still_told(frame):
    table = table_of([PLAIN] * 48, seen=(BLACK_AT_THE_HEAD, BLACK_AT_THE_TAIL))
    (one,) = remarks_of(table, EditList(table.shots, cut_at(frame), ()))
    assert one.text.startswith(f"the list has a cut at frame {frame} ")


# ---- black, notes, confidence, rivalry, edges


def test_windows_and_bars_already_there_are_told_by_shot():
    window = replace(PLAIN, left_hidden_px=(12.0, 20.0, 0.0, 0.0))
    bars = replace(PLAIN, left_bars_px=(40.0, 0.0), right_bars_px=(40.0, 0.0))
    table = table_of([window] * 10 + [bars] * 10, shots=(Shot("kite", 0, 9), Shot("surf", 10, 19)))
    one, other = remarks_of(table)
    assert (one.kind, one.shot) == (other.kind, "kite") == ("black", "kite")
    assert one.text == (
        "kite: a window is already in the source at the left of the left eye, up to 20 px (frames 0 to 9)"
    )
    assert one.facts["widest_px"] == 20.0
    assert (other.shot, other.facts["kind"], other.facts["side"]) == ("surf", "bar", "top")


def test_frames_without_figures_are_told_in_stretches_with_the_reason():
    dark = FrameMeasure(note="no texture to match")
    table = table_of([PLAIN] * 3 + [dark] * 4 + [PLAIN] * 2 + [dark])
    (one,) = remarks_of(table)
    assert one.text == "s001, frames 3 to 6 and frame 9: no texture to match"
    assert (one.kind, one.shot) == ("unmeasured", "s001")
    assert one.facts == {"note": "no texture to match", "frames": 5, "stretches": [(3, 6), (9, 9)]}


def test_of_a_quick_look_only_measured_frames_are_said_to_lack_figures():
    dark, between = FrameMeasure(note="no texture to match"), FrameMeasure(interpolated=True)
    frames = [dark, between, between, dark, between, between, PLAIN, between, dark, between]
    (one,) = (one for one in remarks_of(table_of(frames)) if one.shot)
    assert one.text == "s001, the 2 measured frames from 0 to 3 and frame 8: no texture to match"
    assert one.facts == {"note": "no texture to match", "frames": 3, "stretches": [(0, 3), (8, 8)]}


def test_each_reason_is_told_for_itself_and_no_stretch_crosses_a_cut():
    dark, same = FrameMeasure(note="no texture to match"), FrameMeasure(note="both eyes are identical")
    table = table_of([dark, dark, same, same, PLAIN], shots=(Shot("a", 0, 2), Shot("b", 3, 4)))
    assert [one.text for one in remarks_of(table)] == [
        "a, frames 0 to 1: no texture to match",
        "a, frame 2: both eyes are identical",
        "b, frame 3: both eyes are identical",
    ]


def test_drawn_pictures_that_are_each_shown_twice_take_one_line():
    again = replace(PLAIN, note=BOTH_STILL)
    (one,) = remarks_of(table_of([PLAIN, again] * 24))
    assert one.text == "s001, 24 of the 48 frames, first frame 1: the frame before, again"
    assert one.facts["stretches"][:2] == [(1, 1), (3, 3)]
    assert one.kind == "still", "they carry figures"


@pytest.mark.parametrize(("confidence", "said"), [(LOW_CONFIDENCE - 0.01, True), (LOW_CONFIDENCE, False)])
def test_doubtful_shots_are_named(confidence, said):
    shots = (Shot("a", 0, 4), Shot("b", 5, 9))
    table = table_of([PLAIN] * 10, shots=shots, findings=(SURE, ShotFinding(confidence=confidence)))
    found = remarks_of(table)
    assert [(one.kind, one.shot) for one in found] == ([("confidence", "b")] if said else [])
    if said:
        assert found[0].text == "b: its figures are doubtful (confidence 0.49); look before relying on them"
        assert found[0].facts == {"confidence": 0.49}


def test_a_shot_without_any_figure_is_not_called_doubtful_as_well():
    dark = FrameMeasure(note="no texture to match")
    (one,) = remarks_of(table_of([dark] * 5, findings=(ShotFinding(),)))
    assert one.kind == "unmeasured"


def test_rivalry_is_named_with_its_worst_frame_and_the_largest_box_there():
    boxes = (RivalBox("right", 300, 120, 64, 30), RivalBox("left", 1, 2, 3, 4))
    some, most = (
        replace(PLAIN, rivalry_pct=RIVALRY_PCT),
        replace(PLAIN, rivalry_pct=1.25, rivalry_boxes=boxes),
    )
    below = replace(PLAIN, rivalry_pct=RIVALRY_PCT - 0.01)
    (one,) = remarks_of(table_of([below, some, most, some, PLAIN]))
    assert one.kind == "rivalry"
    assert one.text == (
        "s001: one eye sees what the other does not in 3 of its frames, most in frame 2 (1.25 % of the picture, "
        "64x30 px at 300,120 in the right eye)"
    )
    assert one.facts == {"frames": [1, 2, 3], "worst": 2}


def test_the_frame_named_for_rivalry_is_one_that_was_measured():
    seen = replace(PLAIN, rivalry_pct=0.8, rivalry_boxes=(RivalBox("left", 10, 20, 30, 40),))
    between = replace(PLAIN, rivalry_pct=0.8, interpolated=True)
    one = next(one for one in remarks_of(table_of([between, seen, between, between])) if one.kind == "rivalry")
    assert one.facts == {"frames": [1], "worst": 1}
    assert "30x40 px at 10,20 in the left eye" in one.text


def test_edges_are_told_apart_because_a_flag_may_say_them_already():
    rows = (-1.0,) * 12 + (float("nan"),) * (EDGE_BANDS - 12)
    touching = replace(PLAIN, left_edge_pct=-1.0, left_rows_pct=rows)
    said = told(table_of([PLAIN] * 2 + [touching] * 5 + [PLAIN]))
    assert [one.kind for one in said.remarks] == ["edge"]
    assert said.texts() == ()
    assert said.texts(edges=True) == (
        "s001, left edge: content up to 1.00 % in front of the screen touches it in frames 2 to 6, between 0 and 50 % "
        "of the height",
    )


def test_an_edge_that_is_lost_for_a_frame_is_counted_without_it():
    bands = [(-pct,) * EDGE_BANDS for pct in (0.5, 1.0)]
    one, two = (replace(PLAIN, right_edge_pct=rows[0], right_rows_pct=rows) for rows in bands)
    (text,) = told(table_of([one, PLAIN, two])).texts(edges=True)
    assert "touches it in 2 of the 3 frames 0 to 2, between" in text
    assert text.endswith("; nearest 2 frames after the first touch")
    (text,) = told(table_of([one, two])).texts(edges=True)
    assert text.endswith("; nearest 1 frame after the first touch")


def test_a_quick_look_says_that_it_is_one_and_how_much_it_saw():
    between = replace(PLAIN, interpolated=True)
    shots = (Shot("a", 0, 4), Shot("b", 5, 6))
    table = table_of([PLAIN, between, between, between, PLAIN, *[FrameMeasure(note=NOT_MEASURED)] * 2], shots=shots)
    first, second = remarks_of(table)
    assert first.kind == "unmeasured"
    assert first.text.startswith("a quick look: 2 of 7 frames were measured")
    assert first.facts == {"measured": 2, "frames": 7}
    assert second.text == f"b, frames 5 to 6: {NOT_MEASURED}"
    assert remarks_of(as_written(table)) == (first, second), "the file says it too"


def test_remarks_come_in_one_order_and_all_survive_the_file():
    window = replace(PLAIN, right_hidden_px=(0.0, 0.0, 9.0, 9.0), rivalry_pct=2.0, note=BOTH_STILL)
    rows = (-1.0,) * EDGE_BANDS
    touching = replace(window, left_edge_pct=-1.0, left_rows_pct=rows)
    table = table_of([touching] * 6, findings=(ShotFinding(confidence=0.2),), seen=cut_at(3))
    found = remarks_of(table, EditList(table.shots, (), ()))
    assert [one.kind for one in found] == ["list", "black", "still", "confidence", "rivalry", "edge"]
    back = remarks_of(as_written(table), EditList(table.shots, (), ()))
    assert [one.text for one in back] == [one.text for one in found]


def test_data_is_rounded_to_what_figures_mean_and_none_where_there_is_none():
    facts = {"range_pct": 1.2345678, "none": float("nan"), "n": 3, "rows": ((0.1 + 0.2, 4), {"x": float("inf")})}
    assert plain(facts) == {"range_pct": 1.2346, "none": None, "n": 3, "rows": [[0.3, 4], {"x": None}]}


# ---- the command

COUNT, CUT, LISTED = 30, 12, 22
SPOTS, SPOT_PX = [(40 + 70 * k, 20 + 35 * n) for k in range(4) for n in range(4)], 9
HIDDEN_PX, FREEZE = 20, range(6, 9)
EDIT = """TITLE: GULLS
FCM: NON-DROP FRAME

001  AX       V     C        00:00:00:00 00:00:00:22 10:00:00:00 10:00:00:22
* FROM CLIP NAME: ROCKS
002  AX       V     C        00:00:00:00 00:00:00:08 10:00:00:22 10:00:01:06
* FROM CLIP NAME: SURF
"""
ELSEWHERE = (
    "the picture shows a cut at frame 12 (10:00:00:12); the list has none there",
    "the list has a cut at frame 22 (10:00:00:22); the picture shows none there",
)
WINDOW = "ROCKS: a window is already in the source at the left of the left eye, up to 20 px (frames 0 to 11)"
STILL = "ROCKS, frames 6 to 8: the left eye stands still while the other moves"


def shown(frame, eye):
    seed, frozen = (3 if frame < CUT else 20), eye == 0 and frame in FREEZE
    picture = crop(seed, eye, FREEZE.start - 1 if frozen else frame)
    if frame < CUT and eye == 0:
        picture[:, :HIDDEN_PX] = 0
    if frame >= CUT and eye == 1:
        for x, y in SPOTS:
            picture[y : y + SPOT_PX, x : x + SPOT_PX] = 255
    return picture


@pytest.fixture(scope="module")
def clip(tmp_path_factory):
    """Two shots, the first with a window and an eye that stands still for a while, and a list with its cut wrong."""
    folder = tmp_path_factory.mktemp("clip")
    spec = replace(SPECS["ffv1.mkv"], width=WIDTH, height=HEIGHT, rate=Fraction(24), timecode="10:00:00:00")
    words = [folder / f"gull_{eye}.mkv" for eye in ("left", "right")]
    for eye, path in enumerate(words):
        write_video(path, spec, (yuv422p10(shown(frame, eye)) for frame in range(COUNT)))
    (folder / "gulls.edl").write_text(EDIT)
    return [*source_words(*words), "--edit", str(folder / "gulls.edl")]


def said(capsys):
    text = capsys.readouterr().out
    lines = text.splitlines()
    assert max(len(line) for line in lines if not line.startswith(("written:", "review page:"))) <= 80, text
    return " ".join(text.split())


def test_measure_says_where_list_and_picture_disagree_in_words_and_as_data(clip, tmp_path, capsys):
    assert main(["measure", *clip, "-o", str(tmp_path / "m.csv")]) == 0
    text = said(capsys)
    for sentence in (*ELSEWHERE, WINDOW, STILL):
        assert sentence in text
    assert main(["measure", *clip, "-o", str(tmp_path / "n.csv"), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert tuple(one["text"] for one in data["remarks"] if one["kind"] == "list") == ELSEWHERE
    texts = [one["text"] for one in data["remarks"]]
    assert WINDOW in texts
    assert STILL in texts
    (surf,) = (one for one in data["remarks"] if one["kind"] == "rivalry" and one["shot"] == "SURF")
    frames = read_table(tmp_path / "n.csv").frames
    shares = {frame: frames[frame].rivalry_pct for frame in range(LISTED, COUNT)}
    assert surf["facts"]["frames"] == [frame for frame, share in shares.items() if share >= RIVALRY_PCT]
    worst = max(shares, key=shares.get)
    box = frames[worst].rivalry_boxes[0]
    place = f"{box.width_px}x{box.height_px} px at {box.x_px},{box.y_px} in the right eye"
    assert f"most in frame {worst} ({shares[worst]:.2f} % of the picture, {place})" in surf["text"]
    assert any(abs(box.x_px - x) <= 3 and abs(box.y_px - y) <= 3 for x, y in SPOTS), "where one was painted"


def test_without_the_list_nothing_is_said_of_one(clip, tmp_path, capsys):
    assert main(["measure", *clip[:4], "-o", str(tmp_path / "m.csv")]) == 0
    text = said(capsys)
    assert "the list" not in text
    assert "s001: a window is already in the source at the left of the left eye, up to 20 px (frames 0 to 11)" in text


def test_a_quick_check_says_how_much_it_saw_and_still_holds_the_list_against_the_picture(clip, capsys):
    words = ["check", *clip, "--screen", "cinema-12m", "--every", "4"]
    code = main(words)
    text = said(capsys)
    assert code in (0, 5)
    assert "a quick look: 9 of 30 frames were measured" in text
    for sentence in ELSEWHERE:
        assert sentence in text
    assert "stands still" not in text
    assert main([*words, "--json"]) == code
    data = json.loads(capsys.readouterr().out)
    assert {"measured": 9, "frames": 30} in [one["facts"] for one in data["remarks"]]


def test_a_full_check_is_no_quick_look(clip, capsys):
    assert main(["check", *clip, "--screen", "cinema-12m"]) in (0, 5)
    text = said(capsys)
    assert "quick look" not in text
    assert STILL in text


def test_the_change_log_and_the_page_say_it_too(clip, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["run", *clip, "--screen", "cinema-12m", "-o", str(out), "--no-check"]) in (0, 5)
    text = said(capsys)
    log = json.loads((out / "cinema-12m/changes.json").read_text())
    page = html.unescape((out / "report.html").read_text())
    for sentence in (*ELSEWHERE, WINDOW, STILL):
        assert sentence in text
        assert sentence in log["remarks"]
        assert sentence in page
    # Edges are what flags and windows are about.
    assert not any("touches it" in one for one in log["remarks"])


def test_a_rendered_plan_says_it_in_its_log(clip, tmp_path, capsys):
    table, plan, out = (str(tmp_path / name) for name in ("m.csv", "p.toml", "out"))
    assert main(["measure", *clip, "-o", table, "-q"]) == 0
    assert main(["plan", table, "--screen", "cinema-12m", "-o", plan, "-q"]) in (0, 5)
    words = ["render", *clip, "--plan", plan, "--measurement", table, "-o", out, "--no-check", "-q"]
    assert main(words) in (0, 5)
    log = json.loads((tmp_path / "out/changes.json").read_text())
    assert WINDOW in log["remarks"]
    assert STILL in log["remarks"]
