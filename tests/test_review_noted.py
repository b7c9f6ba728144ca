"""What was noted of a shot on several screens: sentences that hold for all of them are told once."""

from types import SimpleNamespace

import pytest

from postfix.camera import Camera
from postfix.review.noted import noted
from postfix.story.model import Filmed, Notice

SCREENS = ("barn", "hall", "tv")
LENS = Notice("lens", "the lens is like 18 mm on a Super 35 sensor, wide; 25 to 50 mm look natural")


def shot(*notices, camera=None, filmed=None):
    """As much of a result as is looked at; ``story`` None where nothing is told."""
    return SimpleNamespace(
        plan=SimpleNamespace(camera=camera), story=SimpleNamespace(notices=notices, filmed=filmed)
    )  # fmt: skip


def flat(figure, more="a larger interaxial gives more"):
    return Notice("flat", f"flat: the main part has {figure} times the depth for its width; {more}")


def test_what_is_the_same_on_all_screens_is_told_once():
    found = noted(SCREENS, [shot(LENS), shot(LENS), shot(LENS)])
    assert found.together == (f"lens: {LENS.text}",)
    assert found.each == ((), (), ())


def test_what_differs_by_one_figure_is_told_once_with_the_figure_of_each_screen():
    found = noted(SCREENS, [shot(flat("0.46")), shot(flat("0.15")), shot(flat("0.46"))])
    assert found.together == (
        "flat: the main part has 0.46 (barn, tv), 0.15 (hall) times the depth for its width; a larger interaxial gives "
        "more",
    )
    assert found.each == ((), (), ())


def test_what_does_not_hold_everywhere_says_where_it_does():
    found = noted(SCREENS, [shot(LENS, flat("0.46")), shot(), shot(LENS)])
    assert found.together == (f"lens: on barn, tv: {LENS.text}",)
    only = "flat: the main part has 0.46 times the depth for its width; a larger interaxial gives more"
    assert found.each == ((only,), (), ())


def test_a_screen_on_which_the_shot_is_cut_otherwise_does_not_count():
    assert noted(SCREENS, [shot(LENS), None, shot(LENS)]).together == (f"lens: {LENS.text}",)


def test_on_a_single_screen_all_is_told_there():
    assert noted(("barn",), [shot(LENS)]).each == ((f"lens: {LENS.text}",),)
    assert noted(("barn",), [shot(LENS)]).together == ()
    silent = replace_story(shot(LENS), None)
    assert noted(("barn",), [silent]) == noted(("barn",), [shot()])


def replace_story(result, story):
    return SimpleNamespace(plan=result.plan, story=story)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        # Two figures, a word that is no figure, another number of words.
        ("11.6 m, seen at 4.67 m", "20.4 m, seen at 4.52 m"),
        ("the left part is wide", "the right part is wide"),
        ("0.46 times", "0.15 times or so"),
        # What is said of "this screen" is of one.
        ("3 % of this screen", "3 % of this screen"),
        ("3 % of this screen", "4 % of this screen"),
    ],
)
def test_what_differs_by_more_is_told_on_each_screen(first, second):
    found = noted(SCREENS[:2], [shot(Notice("lens", first)), shot(Notice("lens", second))])
    assert found.together == ()
    assert found.each == ((f"lens: {first}",), (f"lens: {second}",))


def test_screens_that_agree_are_told_together_where_another_does_not():
    odd = Notice("lens", "the lens is long")
    found = noted(SCREENS, [shot(LENS), shot(odd), shot(LENS)])
    assert found.together == (f"lens: on barn, tv: {LENS.text}",)
    assert found.each == ((), (f"lens: {odd.text}",), ())


def test_several_of_a_kind_on_one_screen_stay_there_all_of_them():
    found = noted(SCREENS[:2], [shot(LENS, LENS), shot(LENS)])
    assert found.together == ()
    assert [len(one) for one in found.each] == [2, 1]


# --- an interaxial that would have fitted --------------------------------------------------------------------------

TOO_DEEP = Notice("interaxial", "too deep for this screen: an interaxial of 30 mm instead of 40 mm would have fitted")


def test_an_interaxial_that_would_have_fitted_is_told_as_a_share_and_in_millimetres_in_one_sentence():
    # 30 of 40 mm is 75 % (computed).
    found = noted(
        ("barn",), [shot(TOO_DEEP, camera=Camera(interaxial_mm=40.0), filmed=Filmed(fitting_interaxial_mm=30.0))]
    )
    assert found.each == (
        (
            "interaxial: too deep: 75 % of the interaxial would have fitted, 30 mm instead of 40 mm, with one HIT for "
            "the whole shot",
        ),
    )


def test_the_rig_that_reaches_it_is_told_and_a_share_is_never_rounded_to_all_of_it():
    filmed = Filmed(fitting_interaxial_mm=39.99, rig="two cameras side by side")
    (line,) = noted(("barn",), [shot(TOO_DEEP, camera=Camera(interaxial_mm=40.0), filmed=filmed)]).each[0]
    assert "99.9 % of the interaxial" in line
    assert line.endswith("(two cameras side by side)")


@pytest.mark.parametrize(
    ("camera", "filmed"),
    [
        (None, Filmed(fitting_interaxial_mm=30.0)),
        (Camera(), Filmed(fitting_interaxial_mm=30.0)),
        (Camera(interaxial_mm=40.0), None),
        (Camera(interaxial_mm=40.0), Filmed()),
        (Camera(interaxial_mm=40.0), Filmed(fitting_interaxial_mm=50.0)),
    ],
)
def test_where_one_of_both_is_not_known_the_notice_stands_as_it_was_written(camera, filmed):
    found = noted(("barn",), [shot(TOO_DEEP, camera=camera, filmed=filmed)])
    assert found.each == ((f"interaxial: {TOO_DEEP.text}",),)


def test_the_same_interaxial_on_all_screens_is_told_once():
    one = shot(TOO_DEEP, camera=Camera(interaxial_mm=40.0), filmed=Filmed(fitting_interaxial_mm=30.0))
    found = noted(SCREENS, [one, one, one])
    assert len(found.together) == 1
    assert "this screen" not in found.together[0]
