"""Who grows from whom: base and tip, main roots, laterals and their parents, crowns."""

import numpy as np
import pytest
from handmade_roots import along, trace

from rootread.follow.crowns import find_crowns
from rootread.follow.kinship import STRAY, possible_kinship
from rootread.follow.lineage import Lineage, chances, find_lineage, weights, without_rings
from rootread.geometry import Points
from rootread.plane import Surface

LEVEL = Surface(np.array([[-15.0, 0.0], [30.0, 0.0]]), 0.1, "photo")
THICK_IN, THIN_IN = 0.12, 0.04
CROWN_NEAR_IN = 0.3
MAIN = along((2, 0.5), (8, 8))


def lineage_of(lines: list[Points], widths_in: list[float]) -> Lineage:
    return find_lineage(lines, [np.full(len(x), w) for x, w in zip(lines, widths_in, strict=True)], LEVEL)


def main_roots(crown_x_in: float = 2.0, crown_z_in: float = 0.7) -> list[Points]:
    """Five roots that leave a crown and descend at 25 to 65 degrees to both sides."""
    crown, ways = np.array([crown_x_in, crown_z_in]), np.radians([25, 34, 65, 140, 150])
    return [
        along(crown + 0.2 * way, crown + 9 * way) for way in np.column_stack([np.cos(ways), np.sin(ways)])
    ]


def leaving(place: Points, along_in: float, down_in: float) -> Points:
    """A straight root from a place on."""
    return along(place, place + np.array([along_in, down_in]))


def with_laterals(*laterals: Points) -> Lineage:
    """The lineage of five main roots, 0 to 4, and of thin roots after them."""
    mains = main_roots()
    return lineage_of([*mains, *laterals], [THICK_IN] * len(mains) + [THIN_IN] * len(laterals))


def on_root(number: int, share: float) -> Points:
    line = main_roots()[number]
    return line[round(share * (len(line) - 1))]


def test_a_thin_root_on_the_side_of_a_thick_one_is_its_lateral():
    found = lineage_of([MAIN, along((5, 4.25), (7, 4.6))], [0.12, 0.05])
    assert found.parent.tolist() == [-1, 0] and found.order.tolist() == [0, 1]


def test_a_root_as_wide_that_slips_beneath_another_is_no_lateral():
    beneath = along((5, 4.25), (6.4, 6.6))
    assert lineage_of([MAIN, beneath], [0.12, 0.12]).parent.tolist() == [-1, -1]


def test_the_base_of_a_lateral_is_on_its_parent_whichever_way_it_was_walked():
    rising = along((5, 4.25), (7, 3.0))
    assert not lineage_of([MAIN, rising], [0.12, 0.05]).reverse[1]
    assert lineage_of([MAIN, rising[::-1]], [0.12, 0.05]).reverse[1]


@pytest.mark.parametrize("rise_in", [-1.2, 0.0, 1.2], ids=["rising", "level", "falling"])
def test_the_base_of_a_lateral_is_on_its_parent_whether_it_rises_or_falls(rise_in):
    base = on_root(1, 0.5)
    lateral = leaving(base, 0.9, rise_in)
    assert not with_laterals(lateral).reverse[5]
    assert with_laterals(lateral[::-1]).reverse[5]


def test_the_base_of_a_main_root_is_at_the_crown_whichever_way_it_was_walked():
    lines = main_roots()
    found = lineage_of([line[:: 1 if k % 2 else -1] for k, line in enumerate(lines)], [THICK_IN] * 5)
    assert found.reverse.tolist() == [True, False, True, False, True] and not found.order.any()


def test_a_lateral_that_leaves_a_bundle_belongs_to_the_member_it_touches():
    """Three roots flank by flank; one lateral leaves below, another above them."""
    apart = THICK_IN * np.array([-np.sin(np.radians(34)), np.cos(np.radians(34))])
    bundle = [main_roots()[1] + k * apart for k in range(3)]
    upper, lower = bundle[0][90], bundle[2][90]
    laterals = [leaving(lower, 0.2, 1.2), leaving(upper, 1.2, -0.2)]
    found = lineage_of([*bundle, *laterals], [THICK_IN] * 3 + [THIN_IN] * 2)
    assert found.parent.tolist() == [-1, -1, -1, 2, 0]


def test_a_lateral_whose_first_piece_soil_hides_belongs_to_the_root_it_comes_from():
    base, way = on_root(1, 0.5), np.array([0.1, 0.99])
    found = with_laterals(along(base + 0.35 * way, base + 2 * way))
    assert found.parent[5] == 1 and not found.reverse[5]


def test_a_lateral_that_reaches_a_second_root_belongs_to_the_one_it_leaves_in_its_direction_of_growth():
    """It goes from the shallower root down and on to the steeper one, against whose growth it would leave."""
    upper = main_roots()[1]
    middle = upper[len(upper) // 2]
    lower = leaving(middle + np.array([1.6, 1.2]), -2.8, 3.3)
    found = lineage_of([*main_roots(), lower, leaving(middle, 1.0, 1.9)], [THICK_IN] * 6 + [THIN_IN])
    assert found.parent[6] == 1 and not found.reverse[6]


def test_a_thin_root_deep_in_the_soil_is_a_lateral_of_a_root_that_is_not_seen():
    found = with_laterals(along((13.0, 7.0), (14.0, 7.3)))
    assert found.order[5] == 1 and found.parent[5] == -1


def test_the_lower_piece_of_a_thick_long_root_is_still_a_main_root():
    upper, lower = main_roots()[1][:60], main_roots()[1][110:]
    found = lineage_of([*main_roots()[2:], upper, lower], [THICK_IN] * 5)
    assert found.order[4] == 0 and not found.reverse[4]


def test_a_lateral_of_a_lateral_is_of_the_second_order():
    first = on_root(1, 0.4)
    lateral = leaving(first, 0.8, 2.6)
    second = lateral[len(lateral) // 2]
    found = with_laterals(lateral, leaving(second, 0.8, 0.2))
    assert found.parent[5:].tolist() == [1, 5] and found.order[5:].tolist() == [1, 2]


def test_lineage_hangs_neither_on_the_order_nor_on_the_direction_in_which_roots_are_given():
    base, tip = on_root(1, 0.5), on_root(3, 0.3)
    lines = [*main_roots(), leaving(base, 0.4, 1.1), leaving(tip, -0.2, 0.9)]
    widths = [THICK_IN] * 5 + [THIN_IN] * 2
    plain = lineage_of(lines, widths)
    turned = lineage_of([line[::-1] for line in lines[::-1]], widths[::-1])
    assert plain.order.tolist() == turned.order[::-1].tolist()
    assert plain.parent.tolist() == [6 - k if k >= 0 else -1 for k in turned.parent[::-1].tolist()]
    assert plain.reverse.tolist() == (~turned.reverse[::-1]).tolist()


def test_a_wall_in_the_mirror_has_the_same_lineage():
    base = on_root(1, 0.5)
    lines = [*main_roots(), leaving(base, 0.4, 1.1)]
    widths = [THICK_IN] * 5 + [THIN_IN]
    plain, mirrored = lineage_of(lines, widths), lineage_of([line * [-1, 1] for line in lines], widths)
    assert plain.parent.tolist() == mirrored.parent.tolist()
    assert plain.reverse.tolist() == mirrored.reverse.tolist()


def test_no_root_is_its_own_ancestor():
    """Of three roots each on the side of the next, the least likely lateral is of unseen parent."""
    parent = without_rings(np.array([1, 2, 0, 0, -1]), np.array([0.9, 0.4, 0.8, 0.2, 1.0]))
    assert parent.tolist() == [1, STRAY, 0, 0, -1]


def test_the_chances_of_a_roots_origins_make_one():
    lines = [MAIN, along((5, 2.69), (5.4, 4.1))]
    kinship = possible_kinship(lines, [np.full(len(line), 0.1) for line in lines], LEVEL)
    assert np.bincount(kinship.root, chances(kinship, weights())) == pytest.approx([1.0, 1.0])


def test_every_weight_is_of_a_feature_and_every_feature_has_a_weight():
    kinship = possible_kinship([MAIN], [np.full(len(MAIN), 0.1)], LEVEL)
    assert set(kinship.features) == set(weights())
    assert all(np.isfinite(values).all() for values in kinship.features.values())


def test_the_shortest_root_and_a_wall_without_roots_have_a_lineage():
    assert len(lineage_of([], []).parent) == 0
    short = np.array([[2.0, 4.5], [2.001, 4.5]])
    assert lineage_of([short, MAIN], [0.0, 0.1]).order.shape == (2,)


@pytest.mark.parametrize("crown_z_in", [0.3, 0.7, 1.4])
def test_a_crown_is_as_deep_as_its_roots_drawn_back_come_together(crown_z_in):
    traces = [trace(line[8:], THICK_IN, f"r{k}") for k, line in enumerate(main_roots(3.0, crown_z_in))]
    (place,) = find_crowns(traces, LEVEL).places_in
    assert np.hypot(*(place - [3.0, crown_z_in])) < CROWN_NEAR_IN
