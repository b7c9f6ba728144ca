"""How shots were filmed, told to a run by a file or by a job file in layers, and what carrying on says of it."""

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from broken_off import short_segments, write_videos
from clips import FRAMES, fails, source_words, tree, write_pair

from postfix.camera import Camera
from postfix.cli import main
from postfix.effort import Effort, using
from postfix.errors import InputError, OutputError
from postfix.job.choice import SourceChoice
from postfix.job.file import check_pins, read_job
from postfix.job.run import run_clip
from postfix.job.settings import Settings
from postfix.job.unfinished import Unfinished
from postfix.plan.cameras import Cameras, read_cameras
from postfix.plan.file import read_plan
from postfix.source.shots import Shot
from postfix.viewing import BUILTIN_SCREENS

JOB = """\
screens = ["tv-55in"]

[camera]
sensor_width_mm = 24.89
focal_mm = 35

[[clip]]
name = "lane"
left = "lane_left.mov"
right = "lane_right.mov"
camera = { interaxial_mm = 65, near_mm = 2000 }

[[clip.shot]]
name = "s002"
hit = 0.4
camera = { focal_mm = 50 }

[[clip.shot]]
name = "s003"
camera = { rig = "toed-in", far_mm = inf }

[[clip.shot]]
subject = { frame = 31, box = [1, 2, 3, 4], at_pct = 0.0 }
camera = { near_mm = 1500 }

[[clip]]
name = "hill"
left = "hill_left.mov"
right = "hill_right.mov"
one_shot = true
"""
SHOTS = tuple(Shot(f"s00{number + 1}", 10 * number, 10 * number + 9) for number in range(4))
LANE = Camera(65.0, 35.0, 24.89, near_mm=2000.0)
SAMPLES = Path(__file__).parents[1] / "samples"


def clips(folder, text):
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return read_job(path)


def line_of(text, part):
    """The one line that holds this."""
    (found,) = [number for number, line in enumerate(text.splitlines(), 1) if part in line]
    return found


# --- the job file ------------------------------------------------------------------------------------------------


def test_the_camera_of_the_job_of_a_clip_and_of_a_shot_go_one_over_the_other_key_by_key(tmp_path):
    lane, hill = clips(tmp_path, JOB)
    assert lane.cameras.for_shots(SHOTS) == (
        LANE,
        replace(LANE, focal_mm=50.0),
        replace(LANE, rig="toed-in", far_mm=math.inf),
        replace(LANE, near_mm=1500.0),
    )
    assert hill.cameras == Cameras(Camera(focal_mm=35.0, sensor_width_mm=24.89))
    assert [(pin.shot, pin.frame) for pin in lane.pins] == [("s002", None), (None, 31)]


def test_a_job_without_cameras_notes_none(tmp_path):
    text = "\n".join(line for line in JOB.splitlines() if "camera" not in line and "_mm" not in line)
    lane, hill = clips(tmp_path, text.replace('[[clip.shot]]\nname = "s003"\n', ""))
    assert lane.cameras == hill.cameras == Cameras()


def test_a_clip_of_one_shot_has_its_camera_by_that_name_or_any_frame(tmp_path):
    for which in ('name = "s001"', "frame = 7"):
        text = f"{JOB}[[clip.shot]]\n{which}\ncamera = {{ interaxial_mm = 3 }}\n"
        _, hill = clips(tmp_path, text)
        assert hill.cameras.for_shots((Shot("s001", 0, 9),)) == (Camera(3.0, 35.0, 24.89),)


@pytest.mark.parametrize(
    ("old", "new", "part", "says"),
    [
        ("focal_mm = 35", "focal_mm = 0", "focal_mm = 0", ["[camera], focal_mm", "more than 0"]),
        ("focal_mm = 35", "focal_mm = 35000", "= 35000", ["[camera], focal_mm", "35 mm would be a thousandth"]),
        ("focal_mm = 35", "lens = 35", "lens", ["[camera], lens", "not known"]),
        ("interaxial_mm = 65", "interaxial_mm = -65", "= -65", ["clip 1, [camera], interaxial_mm", "-65"]),
        ("focal_mm = 50", "focal_mm = nan", "= nan", ["clip 1, shot 1, [camera], focal_mm", "nan"]),
        ("far_mm = inf", "far_mm = 900", "= 900", ["shot 2, [camera], far_mm", "nearest distance 2000 mm is not"]),
        ("near_mm = 1500", "near_mm = 1.5", "= 1.5", ["shot 3, [camera], near_mm", "1500 mm would be a thousand"]),
        ('name = "s003"\n', "", 'rig = "toed-in"', ["clip 1, shot 2, name", "neither name nor frame"]),
        ('name = "s003"', 'name = "s003"\nframe = 4', "frame = 4", ["shot 2, frame", "both name and frame"]),
        ('name = "s003"', 'name = "s003"\ndepth = 4', "depth = 4", ["shot 2, depth", "hit, subject, camera"]),
        ('"s003"\ncamera =', '"s002"\ncamera =', 'rig = "toed-in"', ["a second camera for shot 's002'", "line 13"]),
        ("camera = { interaxial_mm = 65, near_mm = 2000 }", "camera = 65", "camera = 65", ["clip 1, camera", "table"]),
        ("one_shot = true", 'one_shot = true\n[[clip.shot]]\nname = "s002"\ncamera.focal_mm = 20', "camera.focal", [
            "clip 2, shot 1, name", "one_shot", "s001",
        ]),
    ],
)  # fmt: skip
def test_a_camera_that_cannot_be_meant_is_named_with_its_line_before_anything_is_opened(tmp_path, old, new, part, says):
    assert old in JOB
    text = JOB.replace(old, new, 1)
    with pytest.raises(InputError) as caught:
        clips(tmp_path, text)
    line = line_of(text, part)
    lines = [line, line - 1, line - 2]  # a missing name is told at the head of its entry, a wrong one at the name
    assert any(caught.value.where.startswith(f"{tmp_path / 'job.toml'}, line {one},") for one in lines)
    for word in says:
        assert word in str(caught.value), str(caught.value)


def test_cameras_that_the_footage_cannot_have_are_refused_as_far_as_its_shots_are_known(tmp_path):
    lane, _ = clips(tmp_path, JOB.replace('name = "s003"', "frame = 25"))
    check_pins(lane, 40, 1920, 1080, SHOTS)
    with pytest.raises(InputError, match="frame 25"):
        lane.cameras.require_fit(25)
    named, _ = clips(tmp_path, JOB.replace('name = "s003"', 'name = "s030"'))
    check_pins(named, 40, 1920, 1080)
    with pytest.raises(InputError, match=r"job.toml, line \d+, name: found a camera for shot 's030', expected .*s001"):
        check_pins(named, 40, 1920, 1080, SHOTS)


# --- run ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def gull(tmp_path_factory):
    return write_pair(tmp_path_factory.mktemp("gull"))


def cameras_of(folder):
    return [shot.camera for shot in read_plan(folder / "plan.toml").shots]


def test_a_run_puts_the_cameras_of_a_file_into_every_plan(gull, tmp_path, capsys):
    camera = tmp_path / "camera.toml"
    camera.write_text("[camera]\nfocal_mm = 35\n[[shot]]\nframe = 3\ninteraxial_mm = 40\n")
    typed = ["run", *source_words(*gull), "--one-shot", "--screen", "tv-55in", "--screen", "cinema-12m", "--no-check"]
    assert main([*typed, "--camera", str(camera), "-o", str(tmp_path / "out"), "-q"]) == 0
    for screen in ("tv-55in", "cinema-12m"):
        assert cameras_of(tmp_path / "out" / screen) == [Camera(40.0, 35.0)]
    # Other notes are another plan; nothing is replaced without a word.
    camera.write_text("[camera]\nfocal_mm = 40\n")
    fails(capsys, [*typed, "--camera", camera, "-o", tmp_path / "out", "--resume", "-q"], 4, "plan.toml")
    assert cameras_of(tmp_path / "out/tv-55in") == [Camera(40.0, 35.0)]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[camera]\nfocal_mm = 0\n", ["camera.toml, line 2", "focal_mm"]),
        ('[[shot]]\nname = "s002"\n', ["camera.toml, line 1", "s002"]),
        (f"[[shot]]\nframe = {FRAMES}\n", ["camera.toml, line 1", f"0 to {FRAMES - 1}"]),
    ],
)
def test_a_file_that_cannot_be_meant_ends_a_run_before_anything_is_measured(gull, tmp_path, capsys, text, says):
    (tmp_path / "camera.toml").write_text(text)
    typed = ["run", *source_words(*gull), "--one-shot", "--screen", "tv-55in", "-o", tmp_path / "out"]
    fails(capsys, [*typed, "--camera", tmp_path / "camera.toml"], 3, *says)
    assert tree(tmp_path) == ["camera.toml"]


def test_a_job_puts_the_camera_of_each_clip_into_its_plans_and_takes_no_file_beside(gull, tmp_path, capsys):
    job = tmp_path / "job.toml"
    eyes = f'left = "{gull[0].as_posix()}"\nright = "{gull[1].as_posix()}"\none_shot = true\n'
    job.write_text(
        f'screens = ["tv-55in"]\ncamera = {{ focal_mm = 35 }}\n[[clip]]\nname = "near"\n{eyes}frames = "0-3"\n'
        f"[[clip.shot]]\nframe = 0\ncamera = {{ near_mm = 900 }}\n"
        f'[[clip]]\nname = "far"\n{eyes}frames = "4-7"\ncamera = {{ far_mm = inf }}\n'
    )
    typed = ["run", "--job", str(job), "--no-check", "-o", str(tmp_path / "out")]
    fails(capsys, [*typed, "--camera", tmp_path / "camera.toml"], 2, "--camera", "camera in the job file")
    assert main([*typed, "-q"]) == 0
    assert cameras_of(tmp_path / "out/near/tv-55in") == [Camera(focal_mm=35.0, near_mm=900.0)]
    assert cameras_of(tmp_path / "out/far/tv-55in") == [Camera(focal_mm=35.0, far_mm=math.inf)]
    log = json.loads((tmp_path / "out/near/tv-55in/changes.json").read_text())
    assert log["shots"][0]["by_hand"] == []


def test_the_sample_notes_the_shots_of_the_clip_pair():
    first, second = read_cameras(SAMPLES / "camera.toml").for_shots((Shot("s001", 0, 19), Shot("s002", 20, 39)))
    assert (first.interaxial_mm, first.far_mm, first.near_mm) == (65.0, math.inf, None)
    assert second == replace(first, interaxial_mm=40.0, near_mm=2500.0, far_mm=9000.0)


# --- carried on --------------------------------------------------------------------------------------------------


def carried_out(pair, out, camera, **settings):
    """A run of one clip for a cinema, on one thread, with this camera for its shot."""
    choice = SourceChoice(*pair, one_shot=True)
    with using(Effort(workers=1)):
        return run_clip(
            choice,
            choice.open(),
            (BUILTIN_SCREENS["cinema-12m"],),
            out,
            Settings(quiet=True, **settings),
            cameras=Cameras(camera),
        )


def test_a_run_that_was_broken_off_is_carried_on_whatever_was_noted_of_the_camera_since(tmp_path, monkeypatch, caplog):
    pair, out, camera = write_videos(tmp_path / "in"), tmp_path / "out", Camera(interaxial_mm=65.0, far_mm=math.inf)
    usual = Unfinished.mark

    def mark(work, name, facts):
        if name == "000002":
            raise OSError("the machine went down")
        usual(work, name, facts)

    with short_segments(monkeypatch):
        with monkeypatch.context() as patched:
            patched.setattr(Unfinished, "mark", mark)
            with pytest.raises((OSError, OutputError)):
                carried_out(pair, out, camera)
        drawn = sorted(path.name for path in (out / ".cinema-12m.unfinished").rglob("*.mark"))
        assert drawn
        other = replace(camera, interaxial_mm=64.0)
        caplog.set_level("INFO")
        carried_out(pair, out, other, resume=True)
        assert "kept" in caplog.text
        assert cameras_of(out / "cinema-12m") == [other]
        # The measurement does not depend on it: it is kept also where the versions are another matter.
        with pytest.raises(OutputError, match=r"plan\.toml"):
            carried_out(pair, out, None, resume=True)
        carried_out(pair, out, None, resume=True, force=True)
        assert cameras_of(out / "cinema-12m") == [None]
