"""Two roots that were taken for each other: where that may be, and what it is to link them anew."""

import cv2
import numpy as np
import pytest
from drawn_roots import SURFACE, crossing
from numpy.typing import NDArray

from rootread.follow import regroup
from rootread.follow.encounter_facts import FACTS, LIMB_FACTS, PAIR_FACTS, PLACE_FACTS, encounter_facts
from rootread.follow.encounter_pictures import ACROSS, CHANNELS, LENGTH, Frame
from rootread.follow.encounters import LINKS, PLANS, Course, Encounter, possible_encounters
from rootread.follow.limbs import may_regroup
from rootread.follow.regroup import LOOSE_COST, SeenCourses, View, best_plans, looks, regrouped
from rootread.follow.relink import relinked
from rootread.follow.strands import find_strands
from rootread.geometry import arc_length, resample_polyline

STEP_IN = 0.03
PAIRS_AT = PLACE_FACTS + 4 * LIMB_FACTS
CROSSED = (False, False, True, True)
"""Each head goes on as the other root's tail."""
LED_OVER = (False, False, True, False)
"""The head of the first goes on as the tail of the second, as over a gap."""


def course(*corners_in: tuple[float, float], width_in: float = 0.1) -> Course:
    line = resample_polyline(np.array(corners_in), STEP_IN)[0]
    return Course(line, np.full(len(line), width_in), np.zeros(len(line), dtype=bool))


DOWN = course((1.0, 1.8), (5.0, 4.2))
UP = course((1.0, 4.2), (5.0, 1.8))
"""Two roots that cross at (3, 3)."""


def ends(one: Course) -> list[list[float]]:
    return one.line_in[[0, -1]].round(2).tolist()


def test_roots_that_cross_may_have_been_taken_for_each_other_once() -> None:
    (encounter,) = possible_encounters([DOWN, UP], STEP_IN)
    assert encounter.courses == (0, 1)
    assert not encounter.is_gap
    for part, one in ((encounter.first, DOWN), (encounter.second, UP)):
        assert one.line_in[part.until, 0] < 3.0 < one.line_in[part.onward, 0]


def test_roots_half_an_inch_apart_are_not_worth_a_look() -> None:
    assert look_at([DOWN, course((1.0, 2.4), (5.0, 4.8))]).worth_a_look() == []


def test_roots_that_are_linked_across_go_on_as_each_other() -> None:
    (encounter,) = possible_encounters([DOWN, UP], STEP_IN)
    first, second = relinked(encounter, CROSSED, [DOWN, UP], STEP_IN)
    assert ends(first) == [[1.0, 1.8], [5.0, 1.8]]
    assert ends(second) == [[1.0, 4.2], [5.0, 4.2]]
    for one in (first, second):
        assert arc_length(one.line_in)[-1] == pytest.approx(2 * np.hypot(2, 1.2), abs=0.15)
        assert not one.inferred.any()


def test_roots_linked_across_twice_are_as_they_were() -> None:
    once = relinked(possible_encounters([DOWN, UP], STEP_IN)[0], CROSSED, [DOWN, UP], STEP_IN)
    touch = next(e for e in possible_encounters(once, STEP_IN) if not e.is_gap)
    assert sorted(ends(one) for one in relinked(touch, CROSSED, once, STEP_IN)) == sorted(
        [ends(DOWN), ends(UP)]
    )


def test_a_lost_root_and_the_one_that_begins_across_the_gap_may_be_one() -> None:
    found, lost = course((1.0, 2.0), (3.0, 3.0)), course((4.0, 3.5), (6.0, 4.5))
    (encounter,) = possible_encounters([found, lost], STEP_IN)
    assert encounter.is_gap
    (one,) = relinked(encounter, LED_OVER, [found, lost], STEP_IN)
    assert ends(one) == [[1.0, 2.0], [6.0, 4.5]]
    unseen_in = STEP_IN * one.inferred.sum()
    assert unseen_in == pytest.approx(np.hypot(1.0, 0.5), abs=0.1)


def test_a_lost_root_that_was_followed_from_its_tip_is_turned() -> None:
    found, lost = course((1.0, 2.0), (3.0, 3.0)), course((6.0, 4.5), (4.0, 3.5))
    joined = [
        relinked(encounter, LED_OVER, [found, lost], STEP_IN)
        for encounter in possible_encounters([found, lost], STEP_IN)
    ]
    assert [[1.0, 2.0], [6.0, 4.5]] in [ends(one) for (one,) in joined]


def test_an_end_beside_another_root_may_go_on_as_that() -> None:
    """A root ends a third of an inch above another, which begins as a stub: that one's tail is its own."""
    stub = course((2.0, 3.4), (6.0, 3.4))
    lost = course((1.0, 2.6), (3.0, 3.1))
    encounter = next(
        e for e in possible_encounters([stub, lost], STEP_IN) if not e.is_gap and e.first.course == 1
    )
    led, left = relinked(encounter, LED_OVER, [stub, lost], STEP_IN)
    assert ends(led) == [[1.0, 2.6], [6.0, 3.4]]
    assert led.inferred.any()
    assert ends(left)[0] == [2.0, 3.4]
    assert ends(left)[1][0] == pytest.approx(3.0, abs=0.1)


def test_where_a_root_ends_on_another_the_other_may_end_instead() -> None:
    stem, lateral = course((1.0, 3.0), (6.0, 3.0)), course((1.0, 2.0), (3.0, 2.95))
    encounter = next(e for e in possible_encounters([stem, lateral], STEP_IN) if not e.is_gap)
    head_of_lateral_alone = tuple(link == (2, 1) for link in LINKS)
    found = sorted(ends(one) for one in relinked(encounter, head_of_lateral_alone, [stem, lateral], STEP_IN))
    assert [one[0] for one in found] == [[1.0, 2.0], [1.0, 3.0]]
    assert [one[1][0] for one in found] == [6.0, pytest.approx(3.0, abs=0.1)]


@pytest.mark.parametrize("plan", [plan for plan in PLANS if not plan[3] and not plan[1]])
def test_where_a_root_begins_beside_another_none_of_it_is_lost(plan: tuple[bool, ...]) -> None:
    """It runs along the other for 2 in and leaves: of its head there is nothing, its tail is all of it."""
    long, along = course((1.0, 3.0), (9.0, 3.0)), course((3.0, 3.1), (5.0, 3.15), (8.0, 5.0))
    encounter = next(e for e in possible_encounters([long, along], STEP_IN) if not e.is_gap)
    assert encounter.second.until < 3 < encounter.second.onward
    found = relinked(encounter, plan, [long, along], STEP_IN)
    seen_in = sum(STEP_IN * np.count_nonzero(~one.inferred) for one in found)
    total_in = arc_length(long.line_in)[-1] + arc_length(along.line_in)[-1]
    assert seen_in == pytest.approx(total_in, abs=0.4)


def test_a_root_seen_beside_the_other_is_not_lost_where_that_goes_on_as_its_tail() -> None:
    """They run side by side for 3 in, where one ends and the other begins: what was seen of both is left."""
    one = course((1.0, 1.5), (3.0, 2.9), (6.0, 2.9))
    other = course((3.0, 3.05), (6.0, 3.05), (8.0, 4.5))
    encounter = next(e for e in possible_encounters([one, other], STEP_IN) if not e.is_gap)
    found = relinked(encounter, LED_OVER, [one, other], STEP_IN)
    assert len(found) == 2
    led, left = sorted(found, key=lambda root: -len(root.line_in))
    assert ends(led) == [[1.0, 1.5], [8.0, 4.5]]
    assert left.line_in[:, 1] == pytest.approx(3.05, abs=0.01)
    assert arc_length(left.line_in)[-1] > 2.5


def test_what_is_left_of_one_line_that_two_roots_share_is_no_root() -> None:
    """The same, but that both were led along one line."""
    one = course((1.0, 1.5), (3.0, 3.0), (6.0, 3.0))
    other = course((3.0, 3.02), (6.0, 3.02), (8.0, 4.5))
    encounter = next(e for e in possible_encounters([one, other], STEP_IN) if not e.is_gap)
    assert len(relinked(encounter, LED_OVER, [one, other], STEP_IN)) == 1


@pytest.mark.parametrize("unseen, until_in", [(True, 6.0), (False, 3.35)])
def test_what_is_left_beside_the_other_is_no_root_if_unseen_or_a_stump(unseen: bool, until_in: float) -> None:
    one = course((1.0, 1.5), (3.0, 2.9), (until_in, 2.9))
    other = course((3.0, 3.05), (until_in, 3.05), (until_in + 2.0, 4.5))
    if unseen:
        beside = other.line_in[:, 0] < until_in
        other = Course(other.line_in, other.width_in, beside)
    encounter = next(e for e in possible_encounters([one, other], STEP_IN) if not e.is_gap)
    assert len(relinked(encounter, LED_OVER, [one, other], STEP_IN)) == 1


def test_other_roots_are_drawn_whole_in_the_picture() -> None:
    """In pieces or in one: the layer of all others shows an unbroken line."""
    across = course((2.4, 1.0), (2.6, 3.0), (2.3, 5.0))
    look = look_at([DOWN, UP, across])
    encounter = next(e for e in look.worth_a_look() if set(e.courses) == {0, 1})
    pictures = look.pictures([encounter])
    frame = Frame.of(look.limbs(encounter))
    line_px = frame.to_picture(across.line_in)
    whole = np.zeros((ACROSS, LENGTH), np.uint8)
    cv2.polylines(whole, [np.round(line_px * 16).astype(np.int32)], False, 255, 1, cv2.LINE_AA, 4)
    assert whole.any()
    assert np.array_equal(pictures[0, 8], whole)


def test_what_nobody_saw_is_no_root_by_itself() -> None:
    """A root that was led along another is crossed there: parted, its unseen half is gone."""
    unseen = course((1.0, 1.8), (3.0, 3.0)).unseen()
    led = Course(
        np.concatenate([unseen.line_in, DOWN.line_in[len(unseen.line_in) :]]),
        np.full(len(DOWN.line_in), 0.1),
        np.arange(len(DOWN.line_in)) < 0.6 * len(DOWN.line_in),
    )
    (encounter,) = possible_encounters([led, UP], STEP_IN)
    found = relinked(encounter, (False, True, False, False), [led, UP], STEP_IN)
    assert len(found) == 2
    assert not any(one.inferred.all() for one in found)


def look_at(courses: list[Course]) -> SeenCourses:
    root_map, image = crossing([one.line_in for one in courses])
    return SeenCourses(courses, View.of(image, find_strands(root_map, image), SURFACE))


def there(look: SeenCourses, encounters: list[Encounter]) -> NDArray[np.bool_]:
    return np.array([[limb is not None for limb in look.limbs(encounter)] for encounter in encounters])


def test_roots_that_cross_at_a_slant_are_worth_a_look() -> None:
    assert len(look_at([DOWN, UP]).worth_a_look()) == 1


def test_a_lateral_that_leaves_backward_is_not_worth_a_look() -> None:
    """Neither does the stem go on as it, nor it as the stem."""
    stem = course((1.0, 3.0), (7.0, 3.0))
    lateral = course((4.0, 3.0), (2.0, 3.8))
    look = look_at([stem, lateral])
    (encounter,) = [e for e in possible_encounters(look.courses, look.view.step_in) if not e.is_gap]
    assert not may_regroup(look.limbs(encounter))


def test_a_hair_does_not_go_on_as_a_thick_root() -> None:
    thin, thick = course((1.0, 2.0), (3.0, 3.0), width_in=0.03), course((3.5, 3.25), (6.0, 4.5), width_in=0.2)
    look = look_at([thin, thick])
    (encounter,) = possible_encounters(look.courses, look.view.step_in)
    assert not may_regroup(look.limbs(encounter))


def test_the_way_of_both_roots_lies_from_left_to_right_in_the_picture() -> None:
    """Heads are drawn in its left half, tails in its right one; roots lie beneath their lines."""
    look = look_at([DOWN, UP])
    pictures, facts = look.pictures(look.worth_a_look()), look.facts(look.worth_a_look())
    assert pictures.shape == (1, CHANNELS, ACROSS, LENGTH)
    assert facts.shape == (1, FACTS)
    head, tail, other_head, other_tail, others, *_ = pictures[0, 4:] > 128
    for left, right in ((head, tail), (other_head, other_tail)):
        assert left.any() and not left[:, LENGTH // 2 :].any()
        assert right.any() and not right[:, : LENGTH // 2].any()
    assert not others.any()
    drawn = head | tail | other_head | other_tail
    assert pictures[0, 3][drawn].mean() > 200 > 60 > pictures[0, 3][~drawn].mean()


def test_between_head_and_tail_each_root_is_shown_as_it_was_followed() -> None:
    """Head, what lies between, and tail are one line, also where roots run along each other."""
    upper = course((1.0, 2.0), (3.0, 2.95), (4.5, 2.95), (6.0, 2.2))
    lower = course((1.0, 4.0), (3.0, 3.05), (4.5, 3.05), (6.0, 3.8))
    look = look_at([upper, lower])
    (encounter,) = [e for e in look.worth_a_look() if not e.is_gap]
    pictures = look.pictures([encounter])
    for part, shown in ((encounter.first, (4, 9, 5)), (encounter.second, (6, 10, 7))):
        assert part.onward - part.until > 1.0 / look.view.step_in
        line = (pictures[0, list(shown)].max(axis=0) > 0).astype(np.uint8)
        pieces = cv2.connectedComponents(line, connectivity=8)[0] - 1
        assert pieces == 1
        between = pictures[0, shown[1]] > 0
        assert 0.2 * line.sum() < between.sum() < line.sum()


def test_facts_are_those_of_the_limbs() -> None:
    """At a crossing a head goes straight on as its own tail, and bends by twice the slope as the other's."""
    look = look_at([DOWN, UP])
    (encounter,) = look.worth_a_look()
    head, tail, _, other_tail = look.limbs(encounter)
    assert head is not None and tail is not None and other_tail is not None
    assert head.length_in == pytest.approx(np.hypot(2, 1.2), abs=0.4)
    facts = encounter_facts(encounter, look.limbs(encounter), look.view.step_in, SURFACE)
    own, others = facts[PAIRS_AT + 1 : PAIRS_AT + 4], facts[PAIRS_AT + 2 * PAIR_FACTS + 1 :][:3]
    assert own == pytest.approx(0.0, abs=1.0)
    assert others == pytest.approx(2 * np.degrees(np.arctan2(1.2, 2)), abs=1.0)


def test_plans_have_no_link_whose_limbs_both_have_others() -> None:
    """Of four limbs: none, one or two links, and two of these may share a limb; how roots are comes first."""
    assert len(PLANS) == len(set(PLANS)) == 1 + 4 + 6
    assert PLANS[0] == (True, True, False, False)
    assert max(sum(plan) for plan in PLANS) == 2


def test_roots_that_are_parted_are_four() -> None:
    (encounter,) = possible_encounters([DOWN, UP], STEP_IN)
    pieces = relinked(encounter, (False, False, False, False), [DOWN, UP], STEP_IN)
    assert sorted(ends(one)[0][0] for one in pieces) == pytest.approx([1.0, 1.0, 3.0, 3.0], abs=0.1)
    total_in = sum(float(arc_length(one.line_in)[-1]) for one in pieces)
    assert total_in == pytest.approx(4 * np.hypot(2, 1.2), abs=0.15)


def test_a_root_that_ran_along_another_goes_on_with_it_unseen() -> None:
    """It ends where it comes to the other; both run on as one, and the other keeps its own tail."""
    other, lost = course((1.0, 3.0), (6.0, 3.0)), course((1.0, 2.0), (3.0, 2.95))
    encounter = next(e for e in possible_encounters([other, lost], STEP_IN) if not e.is_gap)
    head_of_lost_to_tail_of_other = LINKS.index((2, 1))
    plan = tuple(k in (0, head_of_lost_to_tail_of_other) for k in range(len(LINKS)))
    assert plan in PLANS
    found = relinked(encounter, plan, [other, lost], STEP_IN)
    assert sorted(ends(one) for one in found) == [[[1.0, 2.0], [6.0, 3.0]], [[1.0, 3.0], [6.0, 3.0]]]
    along = min(found, key=lambda one: float(one.line_in[0, 1]))
    assert along.inferred[along.line_in[:, 0] > 3.3].all()
    assert not along.inferred[along.line_in[:, 0] < 2.7].any()


def test_a_limb_that_is_not_there_has_no_link() -> None:
    """However sure the network is of one: of a gap only head and tail of different roots can be linked."""
    look = look_at([course((1.0, 2.0), (3.0, 3.0)), course((4.0, 3.5), (6.0, 4.5))])
    encounters = look.worth_a_look()
    best, gain = best_plans(np.full((1, len(LINKS)), 4.0), there(look, encounters))
    assert PLANS[best[0]] == (False, False, True, False)
    assert gain[0] == pytest.approx(np.tanh(2.0) + 2 * LOOSE_COST)


@pytest.mark.parametrize(
    ("chances", "plan", "gain"),
    [
        ((0.9, 0.9, 0.2, 0.2), (True, True, False, False), 0.0),
        ((0.2, 0.2, 0.9, 0.9), (False, False, True, True), 1.6 + 1.2),
        ((0.1, 0.9, 0.1, 0.1), (False, True, False, False), 0.8 - 2 * LOOSE_COST),
        ((0.3, 0.9, 0.9, 0.1), (False, True, True, False), 0.8 + 0.4 - LOOSE_COST),
    ],
)
def test_roots_are_linked_by_what_is_likely(
    chances: tuple[float, ...], plan: tuple[bool, ...], gain: float
) -> None:
    """A link is worth the chance that it is right less that it is wrong; a limb without one costs."""
    look = look_at([DOWN, UP])
    odds = np.log(np.array([chances]) / (1 - np.array([chances])))
    best, found = best_plans(odds, there(look, look.worth_a_look()))
    assert PLANS[best[0]] == plan
    assert found[0] == pytest.approx(gain)


def test_nothing_is_linked_anew_where_that_is_not_likely(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(regroup, "log_odds", lambda _, found: np.tile([1.0, 1.0, 1.1, 1.1], (len(found), 1)))
    look = look_at([DOWN, UP])
    assert regrouped([DOWN, UP], look.view) == [DOWN, UP]


def test_a_root_that_was_taken_for_others_twice_is_set_right_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    """One encounter of a root at a time, then the next."""
    long, other = course((1.0, 2.0), (6.0, 4.5)), course((2.0, 5.0), (6.0, 3.0))
    asked: list[int] = []

    def odds(look: SeenCourses, encounters: list[Encounter]) -> NDArray[np.float64]:
        asked.append(len(encounters))
        likely = len(asked) < 3
        return np.array([[-3, -3, 3, 3] if likely and not e.is_gap else [3, 3, -3, -3] for e in encounters])

    monkeypatch.setattr(regroup, "log_odds", odds)
    look = look_at([long, UP, other])
    found = regrouped([long, UP, other], look.view)
    assert len(asked) == 3
    asked.clear()
    *_, (_, _, last) = looks([long, UP, other], look.view)
    assert sorted(map(ends, last)) == sorted(map(ends, found))
    assert sorted(ends(one)[0] for one in found) == [[1.0, 2.0], [1.0, 4.2], [2.0, 5.0]]
    assert sorted(ends(one)[1] for one in found) == sorted([[6.0, 4.5], [5.0, 1.8], [6.0, 3.0]])


def test_one_root_or_none_has_no_encounter() -> None:
    look = look_at([DOWN, UP])
    assert regrouped([], look.view) == []
    assert regrouped([DOWN], look.view) == [DOWN]


def test_a_thicket_is_left_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(regroup, "MOST_COURSES", 1)
    monkeypatch.setattr(
        regroup, "log_odds", lambda _, found: np.tile([-3.0, -3.0, 3.0, 3.0], (len(found), 1))
    )
    look = look_at([DOWN, UP])
    assert regrouped([DOWN, UP], look.view) == [DOWN, UP]


def test_a_full_wall_is_thought_over_no_longer_than_it_may_take(monkeypatch: pytest.MonkeyPatch) -> None:
    """Looks are bounded, in all rounds together, a crowd's closer: twelve roots cross twelve others here."""
    places_in = np.linspace(1.0, 4.3, 12).tolist()
    thicket = [course((0.5, at), (5.0, at + 0.5)) for at in places_in]
    thicket += [course((at, 0.5), (at + 0.5, 5.0)) for at in places_in]
    asked: list[int] = []

    def odds(_: SeenCourses, found: list[Encounter]) -> NDArray[np.float64]:
        asked.append(len(found))
        return np.tile([-3.0, -3.0, 3.0, 3.0], (len(found), 1))

    monkeypatch.setattr(regroup, "MOST_LOOKS", 100)
    monkeypatch.setattr(regroup, "log_odds", odds)
    look = look_at(thicket)
    assert len(look.worth_a_look(1_000)) > 100
    assert regrouped(thicket, look.view) != thicket
    assert sum(asked) == 100
    asked.clear()
    monkeypatch.setattr(regroup, "CROWD", 23)
    monkeypatch.setattr(regroup, "MOST_LOOKS_AT_A_CROWD", 60)
    assert regrouped(thicket, look.view) != thicket
    assert sum(asked) == 60


def test_of_too_many_encounters_those_of_the_longest_limbs_are_looked_at(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    stub = course((2.6, 1.9), (3.2, 2.4))
    look = look_at([DOWN, UP, stub])
    assert len(look.worth_a_look()) > 1
    assert [encounter.courses for encounter in look.worth_a_look(1)] == [(0, 1)]
    monkeypatch.setattr(regroup, "MOST_LOOKS", 1)
    ((_, encounters, _),) = looks(look.courses, look.view)
    assert len(encounters) == 1
