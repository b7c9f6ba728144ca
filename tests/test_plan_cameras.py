"""How shots were filmed: read from a file, put into plans, kept, compared, and never mistaken for a decision."""

import json
import math
from dataclasses import fields, replace
from pathlib import Path

import pytest
from clips import fails, source_words, tree, write_pair
from hypothesis import given
from hypothesis import strategies as st
from plan_files import CAMERAS, IN_A_FOLDER, SMALL, plans
from plan_tables import CLIP, frame, measurement, planned, table

from postfix.camera import Camera
from postfix.cli import main
from postfix.errors import InputError
from postfix.measure.table_csv import table_text
from postfix.plan.cameras import Cameras, ShotCamera, cameras_in, read_cameras, with_cameras
from postfix.plan.decided import as_planned
from postfix.plan.diff import plan_differences
from postfix.plan.file import plan_text, read_plan, shot_table
from postfix.plan.geometry import changes_nothing
from postfix.plan.model import Plan
from postfix.plan.update import update_text
from postfix.source.shots import Shot
from postfix.viewing import BUILTIN_SCREENS

FULL = """\
[camera]                        # of every shot
interaxial_mm = 65
focal_mm = 35
sensor_width_mm = 24.89
convergence_mm = 3000
rig = "toed-in"
near_mm = 1500
far_mm = inf

[[shot]]
name = "sh003"
interaxial_mm = 40
rig = "parallel"

[[shot]]
frame = 30
focal_mm = 50
"""
SHOTS = (Shot("sh001", 0, 23), Shot("sh002", 24, 47), Shot("sh003", 48, 71))
WHOLE = Camera(65.0, 35.0, 24.89, 3000.0, "toed-in", 1500.0, math.inf)
CINEMA = BUILTIN_SCREENS["cinema-12m"]


def written(folder, text, name="camera.toml"):
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def refused(path, line, *says):
    """Read it; the sentence names that line and says what it must."""
    with pytest.raises(InputError) as caught:
        read_cameras(path)
    error = caught.value
    assert error.exit_code == 3
    assert error.where.startswith(f"{path}, line {line},"), error.where
    for word in says:
        assert word in str(error), str(error)


# --- the file ----------------------------------------------------------------------------------------------------


def test_what_a_shot_says_goes_over_what_holds_for_all_key_by_key(tmp_path):
    assert read_cameras(written(tmp_path, FULL)).for_shots(SHOTS) == (
        WHOLE,
        replace(WHOLE, focal_mm=50.0),
        replace(WHOLE, interaxial_mm=40.0, rig="parallel"),
    )


@pytest.mark.parametrize("key", [field.name for field in fields(Camera)])
def test_every_key_may_be_left_out_and_is_then_not_known(tmp_path, key):
    lines = [line for line in FULL.split("[[shot]]")[0].splitlines(keepends=True) if not line.startswith(key)]
    (found,) = set(read_cameras(written(tmp_path, "".join(lines))).for_shots(SHOTS))
    assert found == replace(WHOLE, **{key: getattr(Camera(), key)})


@pytest.mark.parametrize("text", ["", "[camera]\n", "[camera]\n[[shot]]\nframe = 3\n", "shot = []\n"])
def test_a_file_that_notes_nothing_says_nothing_of_any_shot(tmp_path, text):
    assert read_cameras(written(tmp_path, text)).for_shots(SHOTS) == (None, None, None)


def test_a_file_may_speak_of_single_shots_alone(tmp_path):
    text = '[[shot]]\nname = "sh002"\nnear_mm = 900\n'
    assert read_cameras(written(tmp_path, text)).for_shots(SHOTS) == (None, Camera(near_mm=900.0), None)


def test_without_a_file_nothing_was_noted(tmp_path):
    assert cameras_in(None) == Cameras()
    assert cameras_in(None).for_shots(SHOTS) == (None, None, None)
    assert cameras_in(written(tmp_path, FULL)) == read_cameras(tmp_path / "camera.toml")


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ("= 35", "= 0", 3, ["focal_mm", "found 0", "more than 0"]),
        ("= 65", "= -65", 2, ["interaxial_mm", "-65"]),
        ("= 65", "= nan", 2, ["interaxial_mm", "nan"]),
        ("= 65", "= inf", 2, ["interaxial_mm", "inf"]),
        ("= 65", "= true", 2, ["interaxial_mm", "true"]),
        ("= 65", "= '65'", 2, ["interaxial_mm", "'65'"]),
        ("= 1500", "= inf", 7, ["near_mm", "inf"]),
        ("= inf", "= -inf", 8, ["far_mm", "-inf", "or inf"]),
        ("= inf", "= nan", 8, ["far_mm", "nan"]),
        ("= 3000", "= nan", 5, ["convergence_mm", "nan"]),
        ('"toed-in"', '"crossed"', 6, ["rig", "crossed", "parallel, toed-in"]),
        ("= inf", "= 1500", 7, ["near_mm", "1500 mm is not nearer than the farthest"]),
        ("= inf", "= 900", 7, ["near_mm", "not nearer than the farthest, 900 mm"]),
        ("interaxial_mm = 40", "far_mm = 900", 12, ["shot 1, far_mm", "nearest distance 1500 mm is not nearer"]),
        ("focal_mm = 50", "focal_mm = 2000", 17, ["shot 2, focal_mm", "not beyond the focal length"]),
        ("= 65", "= 0.03", 2, ["interaxial 0.03 mm? 30 mm would be a thousand times that", "0.2 to 20000 mm"]),
        ("= 65", "= 65000", 2, ["interaxial 65000 mm? 65 mm would be a thousandth of that"]),
        ("= 35", "= 0.035", 3, ["focal length 0.035 mm? 35 mm"]),
        ("= 3000", "= 3", 5, ["convergence distance 3 mm? 3000 mm"]),
        ("= 1500", "= 30", 7, ["near_mm", "nearest distance 30 mm", "focal length"]),
        ("= 1500", "= 150", 7, ["nearest distance 150 mm with an interaxial of 65 mm? 150000 mm if metres were meant"]),
        ("interaxial_mm = 40", "near_mm = 150", 12, ["shot 1, near_mm", "1500 mm if centimetres"]),
        ("= 1500", "= 2020-01-31", 7, ["near_mm", "found the date 2020-01-31"]),
        ("frame = 30", "frame = 99999999999", 16, ["frame", "a whole number up to 2147483647"]),
        ("= 1500", "= 1.5", 7, ["nearest distance 1.5 mm? 1500 mm"]),
        ("interaxial_mm = 40", "interaxial_mm = 0.04", 12, ["shot 1, interaxial_mm", "0.04 mm? 40 mm"]),
        ("focal_mm = 35", "lens_mm = 35", 3, ["[camera], lens_mm", "interaxial_mm, focal_mm"]),
        ("[camera]", "[cameras]", 1, ["cameras", "camera, shot"]),
        ('name = "sh003"', 'name = ""', 11, ["name"]),
        ('name = "sh003"', "name = 3", 11, ["name", "quotation marks"]),
        ('name = "sh003"', 'name = "sh003"\nframe = 50', 12, ["frame", "both name and frame"]),
        ('name = "sh003"\n', "", 10, ["name", "neither name nor frame"]),
        ("frame = 30", "frame = -1", 16, ["frame", "0 or more"]),
        ("frame = 30", 'name = "sh003"', 16, ["a second camera for shot 'sh003'", "line 10"]),
    ],
)
def test_what_cannot_be_or_is_hardly_meant_is_named_with_its_line_and_key(tmp_path, old, new, line, says):
    assert old in FULL
    refused(written(tmp_path, FULL.replace(old, new, 1)), line, *says)


def test_a_question_is_asked_with_what_was_expected_once(tmp_path):
    with pytest.raises(InputError) as caught:
        read_cameras(written(tmp_path, "[camera]\nfocal_mm = 1e9\n"))
    assert str(caught.value).count("expected") == 1


def test_a_macro_rig_may_note_what_is_near_and_its_interaxial(tmp_path):
    text = "[camera]\ninteraxial_mm = 3\n[[shot]]\nframe = 3\nnear_mm = 60\n"
    assert read_cameras(written(tmp_path, text)).for_shots(SHOTS)[0] == Camera(interaxial_mm=3.0, near_mm=60.0)


def test_a_file_that_is_missing_or_no_toml_is_refused(tmp_path):
    for path, says in ((tmp_path / "none.toml", "no such file"), (written(tmp_path, "[camera\n"), "not TOML")):
        with pytest.raises(InputError, match=says):
            read_cameras(path)


@pytest.mark.parametrize(
    ("entry", "says"),
    [
        (ShotCamera("sh009", None, WHOLE, "camera.toml, line 4"), ["line 4, name", "sh009", "sh001, sh002, sh003"]),
        (ShotCamera(None, 72, WHOLE, "camera.toml, line 4"), ["line 4, frame", "frame 72", "0 to 71"]),
        (ShotCamera(None, 50, WHOLE, "camera.toml, line 4"), ["line 4", "second camera for shot sh003", "line 2"]),
    ],
)
def test_a_camera_that_is_of_no_shot_or_of_one_that_has_one_is_refused(entry, says):
    cameras = Cameras(None, (ShotCamera("sh003", None, WHOLE, "camera.toml, line 2"), entry))
    for attempt in (lambda: cameras.for_shots(SHOTS), lambda: cameras.require_fit(72, SHOTS)):
        with pytest.raises(InputError) as caught:
            attempt()
        for word in says:
            assert word in str(caught.value)


def test_while_the_shots_are_not_known_only_frames_are_looked_at():
    Cameras(None, (ShotCamera("nobody", None, WHOLE), ShotCamera(None, 71, WHOLE))).require_fit(72)
    with pytest.raises(InputError, match="frame 71"):
        Cameras(None, (ShotCamera(None, 71, WHOLE),)).require_fit(71)


# --- in a plan ---------------------------------------------------------------------------------------------------


def _depths(number):
    return frame(-0.5, 0.3) if number < 24 else frame(0.0, 1.5)


@pytest.fixture(scope="module")
def plan():
    return planned(table(_depths, 72, (24, 48)), CINEMA)


@IN_A_FOLDER
@given(plan=plans(), data=st.data())
def test_a_camera_changes_nothing_else_of_a_plan_and_comes_back_from_its_file(tmp_path: Path, plan: Plan, data):
    noted = Cameras(data.draw(st.one_of(st.none(), CAMERAS)))
    given_ = with_cameras(plan, noted)
    path = tmp_path / "plan.toml"
    path.write_text(plan_text(given_), encoding="utf-8", newline="\n")
    assert read_plan(path) == given_
    for before, after in zip(plan.shots, given_.shots):
        assert after == replace(before, camera=noted.every or before.camera)
        assert as_planned(after) == as_planned(before)
        assert changes_nothing(after, plan.clip) == changes_nothing(before, plan.clip)


def test_only_what_is_known_is_written_and_infinity_as_toml_has_it(plan):
    noted = with_cameras(plan, Cameras(Camera(interaxial_mm=65.0, far_mm=math.inf)))
    assert plan_text(noted).count("\ncamera = {interaxial_mm = 65.0, far_mm = inf}\n") == 3
    assert "camera = " not in plan_text(plan)
    toed_in = with_cameras(plan, Cameras(Camera(rig="toed-in", near_mm=900.0)))
    assert shot_table(toed_in.shots[0])["camera"] == {"rig": "toed-in", "near_mm": 900.0}


def test_a_shot_of_which_nothing_new_is_said_keeps_its_camera(plan):
    earlier = with_cameras(plan, Cameras(WHOLE))
    newer = with_cameras(plan, Cameras(None, (ShotCamera("sh002", None, Camera(focal_mm=50.0)),)), earlier)
    assert [shot.camera for shot in newer.shots] == [WHOLE, Camera(focal_mm=50.0), WHOLE]
    assert with_cameras(earlier, Cameras()) == earlier
    assert with_cameras(plan, Cameras()) is plan


@pytest.mark.parametrize(
    ("camera", "key", "says"),
    [
        ("{interaxial_mm = 0}", "interaxial_mm", "more than 0"),
        ("{focal_mm = nan}", "focal_mm", "nan"),
        ("{interaxial_mm = 0.065}", "interaxial_mm", "0.065 mm? 65 mm would be a thousand times that"),
        ("{near_mm = 900, far_mm = 800}", "near_mm", "not nearer than the farthest"),
        ("{lens = 35}", "lens", "not known"),
        ("35", "camera", "a table"),
    ],
)
def test_a_camera_typed_into_a_plan_is_checked_with_its_line(tmp_path, camera, key, says):
    text = SMALL.replace('name = "a"\n', f'name = "a"\ncamera = {camera}\n')
    line = text.splitlines().index(f"camera = {camera}") + 1
    with pytest.raises(InputError) as caught:
        read_plan(written(tmp_path, text))
    assert f"line {line}, shot 1," in caught.value.where
    assert caught.value.where.endswith(f", {key}")
    assert says in str(caught.value)


def test_a_camera_typed_into_a_plan_in_any_layout_is_no_decision_by_hand(tmp_path):
    inline = SMALL.replace('name = "a"\n', 'name = "a"\ncamera = {focal_mm = 35, convergence_mm = inf}\n')
    dotted = SMALL.replace('name = "a"\n', 'name = "a"\ncamera.focal_mm = 35\ncamera.convergence_mm = inf\n')
    below = SMALL.replace(
        "\n[[shot]]  # the second", "[shot.camera]\nfocal_mm = 35\nconvergence_mm = inf\n\n[[shot]]  # the second"
    )
    plain = read_plan(written(tmp_path, SMALL))
    for text in (inline, dotted, below):
        read = read_plan(written(tmp_path, text))
        assert read.shots[0] == replace(plain.shots[0], camera=Camera(focal_mm=35.0, convergence_mm=math.inf))
        for new in (plain, with_cameras(read, Cameras(Camera(near_mm=700.0)))):
            updated = update_text(text, read, new)
            assert read_plan(written(tmp_path, updated)) == new
            assert "# the second" in updated


def test_a_changed_camera_is_told_in_words_with_all_digits(plan):
    before = with_cameras(plan, Cameras(None, (ShotCamera("sh001", None, WHOLE),)))
    after = with_cameras(plan, Cameras(None, (ShotCamera("sh001", None, replace(WHOLE, interaxial_mm=64.999)),)))
    (found,) = plan_differences(before, after)
    assert (found.where, found.what, found.kind) == ("shot sh001, frames 0 to 23", "camera", "changed")
    assert found.before == (
        "interaxial 65 mm, focal length 35 mm, sensor width 24.89 mm, convergence distance 3000 mm, rig toed-in, "
        "nearest distance 1500 mm, farthest distance infinity"
    )
    assert found.after.startswith("interaxial 64.999 mm, ")
    assert [one.kind for one in plan_differences(plan, after)] == ["added"]
    assert [one.kind for one in plan_differences(before, plan)] == ["removed"]


# --- at the command line -----------------------------------------------------------------------------------------


@pytest.fixture
def place(tmp_path):
    """A folder with a measurement of three shots and a file of cameras."""
    made = measurement(_depths, 72, (24, 48), replace(CLIP, footage="0123456789abcdef"))
    (tmp_path / "m.csv").write_text(table_text(made))
    written(tmp_path, FULL)
    return tmp_path


def run(*typed):
    assert main([str(word) for word in (*typed, "-q")]) == 0


def cameras_of(path):
    return [shot.camera for shot in read_plan(path).shots]


def test_plan_writes_the_cameras_for_every_screen_and_nothing_else_changes(place, capsys):
    typed = ["plan", place / "m.csv", "--screen", "cinema-12m", "--screen", "tv-55in"]
    run(*typed, "-o", place / "bare")
    bare = capsys.readouterr().out
    run(*typed, "-o", place / "told", "--camera", place / "camera.toml")
    for screen in ("cinema-12m", "tv-55in"):
        told = read_plan(place / "told" / screen / "plan.toml")
        assert [shot.camera for shot in told.shots] == list(read_cameras(place / "camera.toml").for_shots(SHOTS))
        plain = replace(told, shots=tuple(replace(shot, camera=None) for shot in told.shots))
        assert plain == read_plan(place / "bare" / screen / "plan.toml")
    assert [line for line in bare.splitlines() if line.startswith("sh00")] == [
        line for line in capsys.readouterr().out.splitlines() if line.startswith("sh00")
    ]


def test_an_update_keeps_cameras_unless_others_are_given_and_tells_what_changes(place, capsys):
    path = place / "p.toml"
    run("plan", place / "m.csv", "--screen", "cinema-12m", "-o", path, "--camera", place / "camera.toml")
    text = path.read_text().replace("interaxial_mm = 40.0,", "interaxial_mm = 42.0,  ")
    path.write_text(text.replace("[[shot]]", "# from the notes of the second unit\n[[shot]]", 1))
    typed = path.read_text()
    run("plan", place / "m.csv", "--update", path)
    assert path.read_text() == typed
    assert cameras_of(path)[2].interaxial_mm == 42.0
    written(place, '[[shot]]\nname = "sh001"\nfocal_mm = 40\n')
    capsys.readouterr()
    assert main([str(w) for w in ("plan", place / "m.csv", "--update", path, "--camera", place / "camera.toml")]) == 0
    assert "camera" in capsys.readouterr().out
    assert [camera.focal_mm for camera in cameras_of(path)] == [40.0, 50.0, 35.0]
    assert cameras_of(path)[0] == Camera(focal_mm=40.0)
    assert "# from the notes of the second unit" in path.read_text()
    assert not any(shot.by_hand for shot in read_plan(path).shots)
    data = ["plan", "--diff", place / "p.toml", place / "p.toml", "--json"]
    capsys.readouterr()
    assert main([str(word) for word in data]) == 0
    assert json.loads(capsys.readouterr().out)["differences"] == []


def test_a_locked_shot_keeps_its_camera_and_takes_one_that_is_given(place):
    path = place / "p.toml"
    run("plan", place / "m.csv", "--screen", "cinema-12m", "-o", path, "--camera", place / "camera.toml")
    path.write_text(path.read_text().replace("locked = false", "locked = true", 1))
    run("plan", place / "m.csv", "--screen", "cinema-12m", "-o", path, "--force")
    assert cameras_of(path) == [WHOLE, None, None]
    written(place, "[camera]\nfocal_mm = 28\n")
    run("plan", place / "m.csv", "--screen", "cinema-12m", "-o", path, "--force", "--camera", place / "camera.toml")
    assert cameras_of(path) == [Camera(focal_mm=28.0)] * 3


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[[shot]]\nname = "sh009"\n', ["camera.toml, line 1", "sh009", "sh001"]),
        ("[[shot]]\nframe = 72\n", ["camera.toml, line 1", "0 to 71"]),
        ("[camera]\ninteraxial_mm = 0.03\n", ["camera.toml, line 2", "0.03 mm?"]),
    ],
)
def test_a_file_that_cannot_be_meant_ends_plan_before_anything_is_written(place, capsys, text, says):
    written(place, text)
    typed = ["plan", place / "m.csv", "--screen", "cinema-12m", "-o", place / "p.toml"]
    fails(capsys, [*typed, "--camera", place / "camera.toml"], 3, *says)
    assert tree(place) == ["camera.toml", "m.csv"]


def test_no_output_replaces_the_file_of_cameras_and_two_plans_are_compared_without_one(place, capsys):
    camera = place / "camera.toml"
    typed = ["plan", place / "m.csv", "--screen", "cinema-12m", "-o", camera, "--camera", camera]
    fails(capsys, [*typed, "--force"], 4, "camera.toml")
    assert camera.read_text() == FULL
    fails(capsys, ["plan", "--diff", camera, camera, "--camera", camera], 2, "--camera")


def test_a_plan_with_cameras_gives_the_same_pictures(tmp_path):
    left, right = write_pair(tmp_path)
    run("measure", *source_words(left, right), "--one-shot", "-o", tmp_path / "m.csv")
    written(tmp_path, "[camera]\ninteraxial_mm = 65\nfocal_mm = 35\nfar_mm = inf\n")
    for name, more in (("bare", []), ("told", ["--camera", tmp_path / "camera.toml"])):
        plan_file = tmp_path / f"{name}.toml"
        run("plan", tmp_path / "m.csv", "--screen", "cinema-12m", "-o", plan_file, *more)
        typed = ["render", *source_words(left, right), "--plan", plan_file, "--measurement", tmp_path / "m.csv"]
        run(*typed, "--one-shot", "--no-check", "-o", tmp_path / name)
    assert cameras_of(tmp_path / "told/plan.toml") == [Camera(65.0, 35.0, far_mm=math.inf)]
    told, bare = ([path.read_bytes() for path in sorted((tmp_path / name).rglob("*.m*"))] for name in ("told", "bare"))
    assert told == bare
    assert len(told) == 2
