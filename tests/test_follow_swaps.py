"""Two roots that were taken for each other: where that may be, and what it is to exchange them."""

import numpy as np
import pytest
from drawn_roots import SURFACE, crossing

from rootread.follow import swap_eye
from rootread.follow.limbs import FACTS, LIMB_FACTS, PAIR_FACTS, SWAP_FACTS, may_swap, swap_facts
from rootread.follow.strands import find_strands
from rootread.follow.swap_eye import Look, View, with_swaps
from rootread.follow.swap_pictures import ACROSS, CHANNELS, LENGTH
from rootread.follow.swaps import Course, Swap, possible_swaps, swapped
from rootread.geometry import arc_length, resample_polyline

STEP_IN = 0.03
PAIRS_AT = SWAP_FACTS + 4 * LIMB_FACTS


def course(*corners_in: tuple[float, float], width_in: float = 0.1) -> Course:
    line = resample_polyline(np.array(corners_in), STEP_IN)[0]
    return Course(line, np.full(len(line), width_in), np.zeros(len(line), dtype=bool))


DOWN = course((1.0, 1.8), (5.0, 4.2))
UP = course((1.0, 4.2), (5.0, 1.8))
"""Two roots that cross at (3, 3)."""


def ends(one: Course) -> list[list[float]]:
    return one.line_in[[0, -1]].round(2).tolist()


def test_roots_that_cross_may_have_been_taken_for_each_other_once() -> None:
    (swap,) = possible_swaps([DOWN, UP], STEP_IN)
    assert swap.courses == (0, 1)
    assert not swap.is_gap
    for part, one in ((swap.first, DOWN), (swap.second, UP)):
        assert one.line_in[part.until, 0] < 3.0 < one.line_in[part.onward, 0]


def test_roots_half_an_inch_apart_are_not_worth_a_look() -> None:
    assert look_at([DOWN, course((1.0, 2.4), (5.0, 4.8))]).worth_a_look() == []


def test_swapped_roots_go_on_as_each_other() -> None:
    (swap,) = possible_swaps([DOWN, UP], STEP_IN)
    first, second = swapped(swap, [DOWN, UP], STEP_IN)
    assert ends(first) == [[1.0, 1.8], [5.0, 1.8]]
    assert ends(second) == [[1.0, 4.2], [5.0, 4.2]]
    for one in (first, second):
        assert arc_length(one.line_in)[-1] == pytest.approx(2 * np.hypot(2, 1.2), abs=0.15)
        assert not one.inferred.any()


def test_roots_swapped_twice_are_as_they_were() -> None:
    once = swapped(possible_swaps([DOWN, UP], STEP_IN)[0], [DOWN, UP], STEP_IN)
    touch = next(s for s in possible_swaps(once, STEP_IN) if not s.is_gap)
    assert sorted(ends(one) for one in swapped(touch, once, STEP_IN)) == sorted([ends(DOWN), ends(UP)])


def test_a_lost_root_and_the_one_that_begins_across_the_gap_may_be_one() -> None:
    found, lost = course((1.0, 2.0), (3.0, 3.0)), course((4.0, 3.5), (6.0, 4.5))
    (swap,) = possible_swaps([found, lost], STEP_IN)
    assert swap.is_gap
    (one,) = swapped(swap, [found, lost], STEP_IN)
    assert ends(one) == [[1.0, 2.0], [6.0, 4.5]]
    unseen_in = STEP_IN * one.inferred.sum()
    assert unseen_in == pytest.approx(np.hypot(1.0, 0.5), abs=0.1)


def test_a_lost_root_that_was_followed_from_its_tip_is_turned() -> None:
    found, lost = course((1.0, 2.0), (3.0, 3.0)), course((6.0, 4.5), (4.0, 3.5))
    joined = [swapped(swap, [found, lost], STEP_IN) for swap in possible_swaps([found, lost], STEP_IN)]
    assert [[1.0, 2.0], [6.0, 4.5]] in [ends(one) for (one,) in joined]


def test_an_end_beside_another_root_may_go_on_as_that() -> None:
    """A root ends a third of an inch above another, which begins as a stub: that one's tail is its own."""
    stub = course((2.0, 3.4), (6.0, 3.4))
    lost = course((1.0, 2.6), (3.0, 3.1))
    swap = next(s for s in possible_swaps([stub, lost], STEP_IN) if not s.is_gap and s.first.course == 1)
    led, left = swapped(swap, [stub, lost], STEP_IN)
    assert ends(led) == [[1.0, 2.6], [6.0, 3.4]]
    assert led.inferred.any()
    assert ends(left)[0] == [2.0, 3.4]
    assert ends(left)[1][0] == pytest.approx(3.0, abs=0.1)


def test_where_a_root_ends_on_another_the_other_may_end_instead() -> None:
    stem, lateral = course((1.0, 3.0), (6.0, 3.0)), course((1.0, 2.0), (3.0, 2.95))
    swap = next(s for s in possible_swaps([stem, lateral], STEP_IN) if not s.is_gap)
    found = sorted(ends(one) for one in swapped(swap, [stem, lateral], STEP_IN))
    assert [one[0] for one in found] == [[1.0, 2.0], [1.0, 3.0]]
    assert [one[1][0] for one in found] == [6.0, pytest.approx(3.0, abs=0.3)]


def look_at(courses: list[Course]) -> Look:
    root_map, image = crossing([one.line_in for one in courses])
    return Look(courses, View.of(image, find_strands(root_map, image), SURFACE))


def test_roots_that_cross_at_a_slant_are_worth_a_look() -> None:
    assert len(look_at([DOWN, UP]).worth_a_look()) == 1


def test_roots_that_cross_upright_and_level_are_worth_one_but_not_those_that_would_turn_back() -> None:
    """A lateral that leaves backward: the stem's tail never goes on as it, nor its own head as the stem."""
    stem = course((1.0, 3.0), (7.0, 3.0))
    lateral = course((4.0, 3.0), (2.0, 3.8))
    look = look_at([stem, lateral])
    (swap,) = [s for s in possible_swaps(look.courses, look.view.step_in) if not s.is_gap]
    assert not may_swap(look.limbs(swap))


def test_a_hair_does_not_go_on_as_a_thick_root() -> None:
    thin, thick = course((1.0, 2.0), (3.0, 3.0), width_in=0.03), course((3.5, 3.25), (6.0, 4.5), width_in=0.2)
    look = look_at([thin, thick])
    (swap,) = possible_swaps(look.courses, look.view.step_in)
    assert not may_swap(look.limbs(swap))


def test_the_way_of_both_roots_lies_from_left_to_right_in_the_picture() -> None:
    """Heads are drawn in its left half, tails in its right one; roots lie beneath their lines."""
    look = look_at([DOWN, UP])
    pictures, facts = look.shown(look.worth_a_look())
    assert pictures.shape == (1, CHANNELS, ACROSS, LENGTH)
    assert facts.shape == (1, FACTS)
    head, tail, other_head, other_tail, others = pictures[0, 4:] > 128
    for left, right in ((head, tail), (other_head, other_tail)):
        assert left.any() and not left[:, LENGTH // 2 :].any()
        assert right.any() and not right[:, : LENGTH // 2].any()
    assert not others.any()
    drawn = head | tail | other_head | other_tail
    assert pictures[0, 3][drawn].mean() > 200 > 60 > pictures[0, 3][~drawn].mean()


def test_facts_are_those_of_the_limbs() -> None:
    """At a crossing a head goes straight on as its own tail, and bends by twice the slope as the other's."""
    look = look_at([DOWN, UP])
    (swap,) = look.worth_a_look()
    head, tail, _, other_tail = look.limbs(swap)
    assert head is not None and tail is not None and other_tail is not None
    assert head.length_in == pytest.approx(np.hypot(2, 1.2), abs=0.4)
    facts = swap_facts(swap, look.limbs(swap), look.view.step_in, SURFACE)
    own, others = facts[PAIRS_AT + 1 : PAIRS_AT + 4], facts[PAIRS_AT + 2 * PAIR_FACTS + 1 :][:3]
    assert own == pytest.approx(0.0, abs=1.0)
    assert others == pytest.approx(2 * np.degrees(np.arctan2(1.2, 2)), abs=1.0)


def test_nothing_is_swapped_where_no_swap_is_likely(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(swap_eye, "log_odds", lambda look, swaps: np.full(len(swaps), -0.1))
    look = look_at([DOWN, UP])
    assert with_swaps([DOWN, UP], look.view) == [DOWN, UP]


def test_likely_swaps_are_done_one_of_each_root_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a root that is crossed twice both swaps are done, one after the other, and not undone."""
    other = course((2.0, 5.0), (6.0, 3.0))
    long = course((1.0, 2.0), (6.0, 4.5))
    asked: list[int] = []

    def odds(look: Look, swaps: list[Swap]) -> np.ndarray:
        asked.append(len(swaps))
        return np.array([1.0 if len(asked) < 3 and not s.is_gap else -1.0 for s in swaps])

    monkeypatch.setattr(swap_eye, "log_odds", odds)
    look = look_at([long, UP, other])
    found = with_swaps([long, UP, other], look.view)
    assert len(asked) == 3
    assert sorted(ends(one)[0] for one in found) == [[1.0, 2.0], [1.0, 4.2], [2.0, 5.0]]
    assert sorted(ends(one)[1] for one in found) == sorted([[6.0, 4.5], [5.0, 1.8], [6.0, 3.0]])


def test_no_root_has_no_swaps() -> None:
    look = look_at([DOWN, UP])
    assert with_swaps([], look.view) == []
    assert with_swaps([DOWN], look.view) == [DOWN]
