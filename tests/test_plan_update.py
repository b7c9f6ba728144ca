"""New decisions go into a plan file that a person wrote in, and everything of that person's stays."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plan_files import IN_A_FOLDER, SETTINGS, SMALL, plans, shots

from postfix.errors import InputError
from postfix.limits import LimitRules, Limits, limits_for
from postfix.measure.table import ClipInfo
from postfix.plan.file import plan_text, read_plan
from postfix.plan.footage import require_same_footage
from postfix.plan.model import HitKey, Plan, ShotPlan, Subject, WindowKey
from postfix.plan.settings import PlanSettings, WindowSettings
from postfix.plan.toml_blocks import blocks_of
from postfix.plan.update import HAND_RULE, hand_limits, update_text
from postfix.viewing import BUILTIN_SCREENS

PATH = Path("plan.toml")


def _read(tmp_path: Path, text: str) -> Plan:
    file = tmp_path / "plan.toml"
    file.write_bytes(text.encode())
    return read_plan(file)


def _with_shot(plan: Plan, index: int, **changes: object) -> Plan:
    made = list(plan.shots)
    made[index] = replace(made[index], **changes)  # type: ignore[arg-type]
    return replace(plan, shots=tuple(made))


def _changed_lines(before: str, after: str) -> tuple[list[str], list[str]]:
    """Lines that are gone and lines that are new."""
    old, new = before.splitlines(), after.splitlines()
    return [line for line in old if line not in new], [line for line in new if line not in old]


@st.composite
def _two_plans(draw: st.DrawFn) -> tuple[Plan, Plan]:
    """A plan and another one of the same clip; some shots the same, some changed, some new or gone."""
    old = draw(plans())
    other = draw(shots(old.clip))
    if draw(st.booleans()):
        new_shots = other
    else:
        kept = draw(st.integers(0, len(old.shots) - 1))
        new_shots = tuple(
            shot if index == kept else replace(shot, reason=draw(st.text(max_size=5)), by_hand=(), zoom=1.0)
            for index, shot in enumerate(old.shots)
        )
    new = replace(old, shots=new_shots, settings=draw(SETTINGS))
    return old, replace(new, limits=draw(st.sampled_from([old.limits, Limits(-3.0, 2.0, 4.0, "near", "far", "")])))


@IN_A_FOLDER
@given(_two_plans(), st.booleans(), st.sampled_from(["", " # mine", "  #\t[[shot]]"]))
def test_the_updated_text_reads_as_the_new_plan(
    tmp_path: Path, two: tuple[Plan, Plan], windows_lines: bool, remark: str
) -> None:
    old, new = two
    text = plan_text(old).replace("locked = false\n", f"locked = false{remark}\n")
    if windows_lines:
        text = text.replace("\n", "\r\n")
    assert _read(tmp_path, text) == old
    updated = update_text(text, old, new)
    assert _read(tmp_path, updated) == new
    assert update_text(updated, new, new) == updated


@IN_A_FOLDER
@given(plans(), SETTINGS, st.randoms(use_true_random=False))
def test_no_remark_is_lost_wherever_it_stands(
    tmp_path: Path, old: Plan, new_settings: PlanSettings, random: Random
) -> None:
    lines = plan_text(old).split("\n")
    remarks = [f"# own {number}" for number in range(len(lines))]
    text = "\n".join(f"{line}\n{remark}" for line, remark in zip(lines, remarks))
    assert _read(tmp_path, text) == old
    changed = tuple(
        replace(
            shot,
            hit=tuple(HitKey(frame, 0.25) for frame in range(shot.first, shot.last + 1) if random.random() < 0.3)
            or (HitKey(shot.last, 1.0),),
            window=tuple(replace(key, left_px=(1.0, 2.0)) for key in shot.window if random.random() < 0.8),
            subject=shot.subject if random.random() < 0.5 else None,
            by_hand=(),
            reason="moved",
        )
        for shot in old.shots
    )
    new = replace(old, settings=new_settings, shots=changed)
    updated = update_text(text, old, new)
    assert _read(tmp_path, updated) == new
    assert [remark for remark in remarks if f"{remark}\n" not in f"{updated}\n"] == []


@IN_A_FOLDER
@given(plans())
def test_the_same_plan_leaves_every_byte_as_it_is(tmp_path: Path, plan: Plan) -> None:
    text = plan_text(plan).replace(" = ", "  =  ") if plan.screen.note == "" else plan_text(plan)
    assert update_text(plan_text(plan), plan, plan) == plan_text(plan)
    if tomllib.loads(text) == tomllib.loads(plan_text(plan)):
        assert update_text(text, plan, plan) == text


_OWN = (
    SMALL.replace("[limits]", "# Numbers of the projectionist\n[limits]  # agreed in spring")
    .replace("last = 9\n", "last = 9  # the gust\n# keep an eye on the tail\n")
    .replace("[[shot]]  # the second", "# Reel 2\n\n# quiet part\n[[shot]]  # the second")
)


def test_comments_blank_lines_order_and_spelling_survive_and_only_what_differs_changes(tmp_path: Path) -> None:
    text = _OWN.replace("hit = [{ frame = 0, pct = 0.42 }]", "hit = [{ frame = 0, pct = 0.42 }]  # by eye")
    old = _read(tmp_path, text)
    new = _with_shot(old, 0, hit=(HitKey(0, -0.25),), reason="moved", by_hand=())
    updated = update_text(text, old, new)
    gone, added = _changed_lines(text, updated)
    assert gone == ["hit = [{ frame = 0, pct = 0.42 }]  # by eye"]
    assert "hit = [{ frame = 0, pct = -0.25 }]  # by eye" in added
    assert 'reason = "moved"' in added
    assert [line.split(" = ")[0] for line in added] == ["hit", "zoom", "window", "as_planned", "reason"]
    assert _read(tmp_path, updated) == new


def test_a_hit_with_more_entries_keeps_the_remarks_inside(tmp_path: Path) -> None:
    text = _OWN.replace("[{ frame = 0, pct = 0.42 }]", "[\n  { frame = 0, pct = 0.42 },  # the gust\n]  # by eye")
    old = _read(tmp_path, text)
    new = _with_shot(old, 0, hit=(HitKey(0, 0.0), HitKey(9, 0.5)), by_hand=())
    updated = update_text(text, old, new)
    assert "# the gust" in updated
    assert "# by eye" in updated
    assert _read(tmp_path, updated) == new


def test_locked_shots_and_what_is_by_hand_stay_to_the_byte(tmp_path: Path) -> None:
    old = _read(tmp_path, _OWN)
    new = _with_shot(old, 0, fill="crop", reason="other sides")
    updated = update_text(_OWN, old, new)
    assert "hit = [{ frame = 0, pct = 0.42 }]\n" in updated
    assert updated.endswith(_OWN[_OWN.index("# Reel 2") :])
    assert _read(tmp_path, updated).shots[0].by_hand == ("hit",)


def test_a_checksum_that_no_longer_counts_goes_and_the_others_are_refreshed(tmp_path: Path) -> None:
    plan = Plan(
        BUILTIN_SCREENS["tv-55in"], Limits(-1.0, 1.0, 1.5), _read(tmp_path, SMALL).clip, (ShotPlan("a", 0, 19),)
    )
    text = plan_text(plan).replace("pct = 0.0", "pct = 0.5")
    old = _read(tmp_path, text)
    assert old.shots[0].by_hand == ("hit",)
    updated = update_text(text, old, _with_shot(old, 0, window=(WindowKey(0, (4.0, 4.0), (0.0, 0.0)),)))
    marks = tomllib.loads(updated)["shot"][0]["as_planned"]
    assert sorted(marks) == ["fill", "window"]
    assert marks["window"] != tomllib.loads(text)["shot"][0]["as_planned"]["window"]


def test_a_line_that_was_taken_out_comes_back_with_what_was_decided(tmp_path: Path) -> None:
    text = _OWN.replace("hit = [{ frame = 0, pct = 0.42 }]\n", "")
    old = _read(tmp_path, text)
    new = _with_shot(old, 0, reason="within limits as shot")
    assert "hit = [{frame = 0, pct = 0.0}]\n" in update_text(text, old, new)


def test_what_was_found_of_a_subject_is_put_in_and_the_subject_stays_as_typed(tmp_path: Path) -> None:
    typed = "subject = { at_pct = 0, frame = 3, box = [1, 2, 3, 4] }  # the kite"
    for text in (
        _OWN.replace("hit = [{ frame = 0, pct = 0.42 }]", typed),
        _OWN.replace("pct = 0.42 }]\n", f"pct = 0.42 }}]\n{typed}\nsubject_found = {{frame=3,box=[9,2,3,4],pct=1}}\n"),
        _OWN.replace(
            "pct = 0.42 }]\n", "pct = 0.42 }]\n[shot.subject]  # the kite\nframe=3\nbox=[1,2,3,4]\nat_pct=0\n"
        ),
    ):
        old = _read(tmp_path, text)
        assert old.shots[0].subject == Subject(3, (1, 2, 3, 4), 0.0)
        new = _with_shot(old, 0, subject=Subject(3, (1, 2, 3, 4), 0.0, 0.75), hit=(HitKey(0, -0.75),), by_hand=())
        updated = update_text(text, old, new)
        assert _read(tmp_path, updated) == new
        assert update_text(text, _with_shot(old, 0, subject=Subject(3, (1, 2, 3, 4), 0.0, 0.75)), new) == updated
        assert "# the kite" in updated
        assert (typed in updated) == (typed in text)


def test_limits_and_settings_are_refreshed_where_they_are_and_added_where_they_are_not(tmp_path: Path) -> None:
    old = _read(tmp_path, _OWN)
    new = replace(
        old,
        limits=Limits(-2.0, 0.5, 3.0, far_rule="the eyes"),
        settings=PlanSettings(limits=LimitRules(far_pct=0.5), window=WindowSettings(max_pct=4.0)),
    )
    updated = update_text(_OWN, old, new)
    assert "[limits]  # agreed in spring\nnear_pct = -2\nfar_pct = 0.5\nrange_pct = 3\n" in updated
    assert "[settings.window]\non = true\n" in updated
    assert "[settings.convergence]" not in updated
    back = replace(new, settings=replace(new.settings, limits=LimitRules(eye_mm=50.0)))
    again = update_text(updated.replace("max_pct = 4.0", "max_pct = 4.0  # ours"), new, back)
    assert "max_pct = 4.0  # ours" in again
    assert "eye_mm = 50.0" in again
    assert "far_pct = 0.5\n\n" not in again[again.index("[settings.limits]") :]
    assert _read(tmp_path, again) == back


def test_children_in_the_settings_give_way_to_an_eye_distance(tmp_path: Path) -> None:
    text = _OWN.replace("[[shot]]\n", "[settings.limits]\nchildren = true\n\n[[shot]]\n", 1)
    old = _read(tmp_path, text)
    for eye_mm in (60.0, None):
        new = replace(old, settings=PlanSettings(limits=LimitRules(eye_mm=eye_mm)))
        assert _read(tmp_path, update_text(text, old, new)) == new


def test_shots_that_are_new_or_gone_come_and_go_with_their_tables_and_no_other_remark(tmp_path: Path) -> None:
    old = _read(tmp_path, _OWN)
    first, second = old.shots
    new = replace(old, shots=(replace(first, last=4), ShotPlan("c", 5, 12, (HitKey(5, 0.0),)), ShotPlan("d", 13, 19)))
    new = _with_shot(new, 2, hit=(HitKey(13, 0.0),))
    updated = update_text(_OWN, old, new)
    assert _read(tmp_path, updated) == new
    assert "last = 4  # the gust\n# keep an eye on the tail\n" in updated
    assert "# Reel 2\n\n# quiet part\n" in updated
    assert 'name = "b"' not in updated
    whole = replace(old, shots=(replace(second, first=0),))
    assert _read(tmp_path, update_text(_OWN, old, whole)) == whole


def test_line_ends_and_a_mark_at_the_head_stay(tmp_path: Path) -> None:
    text = "\ufeff" + _OWN.replace("\n", "\r\n")
    old = _read(tmp_path, text)
    updated = update_text(text, old, _with_shot(old, 0, reason="moved"))
    assert updated.startswith("\ufeff[screen]\r\n")
    assert updated.count("\r\n") == updated.count("\n")


def test_tables_may_stand_in_any_order(tmp_path: Path) -> None:
    head, shots_text = _OWN.split("[clip]")[0], "[clip]" + _OWN.split("[clip]")[1]
    text = shots_text + "\n[settings]\nfill = 'crop'\n\n" + head + "# the end"
    old = _read(tmp_path, text)
    new = replace(_with_shot(old, 1, reason="still by hand"), limits=replace(old.limits, near_pct=-1.5))
    updated = update_text(text, old, new)
    assert _changed_lines(text, updated)[0] == ['reason = "by hand"', "near_pct = -2"]
    assert updated.endswith("# the end\n")
    assert _read(tmp_path, updated) == new


def test_words_that_look_like_tables_are_left_alone(tmp_path: Path) -> None:
    reason = '"""\n[[shot]]\nname = "c" # no\n\n[limits]\n"""'
    text = _OWN.replace('reason = "by hand"', f"reason = {reason}")
    old = _read(tmp_path, text)
    updated = update_text(text, old, _with_shot(old, 1, zoom=1.25))
    assert f"reason = {reason}" in updated
    assert _changed_lines(text, updated)[0] == ["zoom = 1"]


def test_shots_without_headers_of_their_own_are_refused_with_a_way_out(tmp_path: Path) -> None:
    text = 'shot = [{ name = "a", first = 0, last = 19 }]\n' + SMALL.split("[[shot]]")[0]
    old = _read(tmp_path, text)
    with pytest.raises(InputError, match=r"plan\.toml: found a layout .* or write a new plan to another file"):
        update_text(text, old, _with_shot(old, 0, reason="moved"), PATH)


@pytest.mark.parametrize(
    ("old_text", "new_text"),
    [
        ("hit = [{ frame = 0, pct = 0.42 }]", "[[shot.hit]]\nframe = 0\npct = 0.42"),
        ("hit = [{ frame = 0, pct = 0.42 }]", "hit = 0.42"),
        ("[limits]\nnear_pct = -2\nfar_pct = 1\nrange_pct = 3\n", ""),
    ],
)
def test_other_ways_to_write_the_same_are_kept_in_step(tmp_path: Path, old_text: str, new_text: str) -> None:
    text = SMALL.replace(old_text, new_text)
    if not new_text:
        text = f"limits = {{ near_pct = -2, far_pct = 1, range_pct = 3 }}\n{text}"
    old = _read(tmp_path, text)
    for keys in ((HitKey(0, 0.5),), (HitKey(0, 0.5), HitKey(3, 1.0))):
        new = _with_shot(old, 0, reason="moved", hit=keys, by_hand=())
        new = replace(new, limits=Limits(-1.0, 1.0, 3.0, "by rule"))
        assert _read(tmp_path, update_text(text, old, new)) == new


def test_blocks_give_the_text_back() -> None:
    for text in (_OWN, SMALL, "", "# a\n\n", "a = 1\n[b]\n# c\n\n# d\n[['e']]\nf = [\n[1],\n# ]\n]\n\n"):
        blocks, rest = blocks_of(text)
        assert "".join(part for block in blocks for part in (block.above, block.text)) + rest == text


def test_limits_typed_into_a_plan_are_kept_and_said_to_be_by_hand() -> None:
    screen = BUILTIN_SCREENS["cinema-12m"]
    by_rule = limits_for(screen)
    clip_shots = (ShotPlan("a", 0, 9),)
    clip = read_plan(Path(__file__).parents[1] / "samples/kite-workshop-plan.toml").clip
    given_now = Limits(-1.0, 0.9, 1.4, "n", "f", "r")
    assert hand_limits(Plan(screen, by_rule, clip, clip_shots), given_now) == given_now
    edited = Plan(screen, replace(by_rule, far_pct=0.3, by_hand=("far",)), clip, clip_shots)
    assert hand_limits(edited, given_now) == Limits(-1.0, 0.3, 1.4, "n", HAND_RULE, "r", ("far",))
    again = replace(edited, limits=hand_limits(edited, by_rule))
    assert hand_limits(again, given_now).far_pct == 0.3


def test_limits_by_hand_that_contradict_new_ones_are_refused() -> None:
    screen = BUILTIN_SCREENS["cinema-12m"]
    clip = read_plan(Path(__file__).parents[1] / "samples/kite-workshop-plan.toml").clip
    edited = Plan(screen, replace(limits_for(screen), far_pct=-1.2, by_hand=("far",)), clip, (ShotPlan("a", 0, 9),))
    with pytest.raises(InputError, match=r"near_pct -1 and far_pct -1\.2"):
        hand_limits(edited, Limits(-1.0, 0.9, 1.4))


CLIP = ClipInfo("wind", 2048, 1080, Fraction(24), 2)


def _marked(footage: str = "") -> Plan:
    screen = BUILTIN_SCREENS["cinema-12m"]
    return Plan(screen, limits_for(screen), replace(CLIP, footage=footage), (ShotPlan("a", 0, 95),))


@pytest.mark.parametrize(
    ("clip", "frames", "found"),
    [
        (CLIP, 95, "96 frames"),
        (replace(CLIP, width_px=1998), 96, "2048x1080 px"),
        (replace(CLIP, rate=Fraction(25)), 96, "24 frames/s"),
        (replace(CLIP, step_px=1), 96, "steps of 2 px"),
        (replace(CLIP, footage="f" * 16), 96, "footage mark 0000000000000000"),
    ],
)
def test_a_plan_for_other_footage_is_refused_by_what_differs(clip: ClipInfo, frames: int, found: str) -> None:
    plan = _marked("0" * 16)
    with pytest.raises(
        InputError, match=rf"lee\.csv: found footage 'wind' with .*, expected [^,]*{found}, as in the plan"
    ):
        require_same_footage(plan, clip, frames, Path("lee.csv"))


def test_a_plan_for_the_same_footage_passes_whatever_its_name_and_where_no_mark_is_known() -> None:
    plan = _marked("0" * 16)
    require_same_footage(plan, replace(CLIP, footage="0" * 16, name="gale"), 96, Path("lee.csv"))
    require_same_footage(plan, CLIP, 96, Path("lee.csv"))
    require_same_footage(_marked(), replace(CLIP, footage="0" * 16), 96, Path("lee.csv"))


def test_a_limit_whose_line_is_removed_is_what_the_rules_give(tmp_path: Path) -> None:
    screen = BUILTIN_SCREENS["cinema-12m"]
    text = plan_text(
        Plan(screen, replace(limits_for(screen), far_pct=0.3, by_hand=("far",)), CLIP, (ShotPlan("a", 0, 9),))
    )
    assert _read(tmp_path, text).limits.far_pct == 0.3
    removed = "".join(line for line in text.splitlines(keepends=True) if not line.startswith("far_pct"))
    read = _read(tmp_path, removed)
    assert (read.limits.far_pct, read.limits.by_hand) == (limits_for(screen).far_pct, ())
    assert read.limits.far_rule == limits_for(screen).far_rule
    updated = update_text(removed, read, read)
    assert any(line.startswith("far_pct = ") for line in updated.splitlines())
    assert update_text(updated, read, read) == updated


def test_a_limit_that_contradicts_what_the_rules_give_is_named_itself(tmp_path: Path) -> None:
    screen = BUILTIN_SCREENS["cinema-12m"]
    text = plan_text(Plan(screen, limits_for(screen), CLIP, (ShotPlan("a", 0, 9),)))
    lines = [line for line in text.splitlines() if not line.startswith("near_pct")]
    typed = "\n".join("far_pct = -8.0" if line.startswith("far_pct") else line for line in lines)
    with pytest.raises(InputError, match=r"\[limits\], far_pct: found -8\.0, expected more than -1\.745"):
        _read(tmp_path, typed)
