"""What is known of a trace beside its course: width and its error, cuts, crown, confidence."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from drawn_roots import PX_PER_IN, SIDE_IN, SURFACE, covered, followed, turned, wall_of
from handmade_roots import along, trace
from scipy.ndimage import distance_transform_edt

from rootread.find import RootMap
from rootread.follow import Trace, follow_roots
from rootread.follow.company import beside_another
from rootread.follow.confidence import LEAST, MOST, trace_features, with_confidence
from rootread.follow.crowns import find_crowns
from rootread.follow.cuts import with_cuts
from rootread.follow.profile import BLUR_PX, find_edges, width_between, with_measured_widths
from rootread.follow.shown import shown_part
from rootread.geometry import Points
from rootread.plane import Surface, WallImage
from rootread.settings import FollowSettings

WIDTH_TOLERANCE = 0.10
"""Share of the width of a root with sharp edges."""
SHADED_TOLERANCE = 0.15
"""The same where one flank fades into its shade."""
LENS_PX = 0.4
"""Blur of a sharp lens."""
CROWN_NEAR_IN = 0.5
LEVEL = Surface(np.array([[-5.0, 0.0], [20.0, 0.0]]), 0.1, "photo")


def course(angle_deg: float, length_in: float = 6.0) -> Points:
    middle = SIDE_IN / 2
    straight = np.linspace((middle - length_in / 2, middle), (middle + length_in / 2, middle), 80)
    return turned(straight, angle_deg, (0.37 / PX_PER_IN, 0.21 / PX_PER_IN))


def photographed(picture: np.ndarray, lens_px: float = LENS_PX) -> np.ndarray:
    """A drawn picture as a good lens shows it, its pixels being shares already, and blurred for measuring."""
    grey = (60 + 130 * picture).astype(np.float32)
    return cv2.GaussianBlur(cv2.GaussianBlur(grey, (0, 0), lens_px), (0, 0), BLUR_PX)


def measured(picture: np.ndarray, grey: np.ndarray, points_px: Points, mask_px: float) -> tuple:
    """Width and its error at every point of a drawn root, by a finder that is right pixel by pixel."""
    mask_width_px = np.full(len(points_px), mask_px)
    return width_between(find_edges(grey, picture.astype(np.float32), points_px, mask_width_px))


@pytest.mark.parametrize("angle_deg", [0.0, 28.0, 45.0])
@pytest.mark.parametrize("width_px", [2.5, 3.3, 5.0, 8.0, 13.0])
def test_a_width_is_right_to_a_tenth_down_to_two_and_a_half_pixels(width_px, angle_deg):
    root = course(angle_deg)
    picture = covered([root], width_px / PX_PER_IN)
    width, se = measured(picture, photographed(picture), root[::2] * PX_PER_IN, width_px + 1.0)
    assert np.median(width) == pytest.approx(width_px, rel=WIDTH_TOLERANCE)
    assert (np.abs(width - width_px) < 2 * se).mean() > 0.9


@pytest.mark.parametrize("lens_px", [0.3, 0.9])
@pytest.mark.parametrize("width_px", [2.5, 6.0])
def test_the_stated_error_of_a_width_covers_a_softer_or_sharper_lens(width_px, lens_px):
    root = course(28.0)
    picture = covered([root], width_px / PX_PER_IN)
    width, se = measured(picture, photographed(picture, lens_px), root[::2] * PX_PER_IN, width_px + 1.0)
    assert (np.abs(width - width_px) < 2 * se).mean() > 0.9


@pytest.mark.parametrize("width_px", [4.0, 6.0, 9.0])
def test_what_a_soft_lens_adds_to_a_root_is_taken_off_again(width_px):
    picture = covered([course(28.0)], width_px / PX_PER_IN)
    points_px = course(28.0)[::2] * PX_PER_IN
    sharp, soft = (photographed(picture, lens_px) for lens_px in (LENS_PX, 1.2))
    spread = [
        np.median(find_edges(g, picture, points_px, np.full(40, width_px)).apart_px) for g in (sharp, soft)
    ]
    width = [np.median(measured(picture, g, points_px, width_px)[0]) for g in (sharp, soft)]
    assert spread[1] > spread[0] + 0.5
    assert width[1] < width[0] + 0.1
    assert width == pytest.approx([width_px] * 2, rel=WIDTH_TOLERANCE)


@pytest.mark.parametrize("finder_px", [5.0, 7.2])
def test_finder_and_photo_have_an_equal_say_in_a_width(finder_px):
    root = course(28.0)
    grey = photographed(covered([root], 6.0 / PX_PER_IN))
    width, _ = measured(covered([root], finder_px / PX_PER_IN), grey, root[::2] * PX_PER_IN, 6.0)
    assert np.median(width) == pytest.approx(np.sqrt(6.0 * finder_px), rel=0.05)


def width_of(finder_px: float, **known: object) -> float:
    """How wide a root of 6 px reads whose finder sees it ``finder_px`` wide, px."""
    line = course(28.0)
    _, image = wall_of(covered([line], 6.0 / PX_PER_IN))
    seen = covered([line], finder_px / PX_PER_IN)
    root_map = RootMap(seen.astype(np.float32), seen > 0.5, image.grid, **known)  # type: ignore[arg-type]
    (found,) = with_measured_widths([trace(line[::2], 6.0 / PX_PER_IN)], image, root_map)
    return float(np.median(found.width_in)) * PX_PER_IN


def test_of_a_line_operator_and_of_a_painted_stroke_the_photo_alone_tells_the_width():
    """Neither has an edge of its own: a stroke is as wide as the brush."""
    halves = np.ones((1, 1), np.float32)
    alone = width_of(9.0)
    assert alone == pytest.approx(6.0, rel=0.15)
    assert width_of(9.0, half_width_px=halves) > 1.15 * alone
    brush = covered([course(28.0)], 9.0 / PX_PER_IN) > 0
    assert width_of(9.0, half_width_px=halves, painted=brush) == pytest.approx(alone, abs=0.1)


def test_shade_on_a_thick_root_is_no_softness_of_the_photo():
    """Brightness falls from the middle as on a round root, over far more than any lens blurs."""
    radius_px = 25.0
    rows = np.mgrid[0:200, 0:200][0]
    across = (rows - 100.3) / radius_px
    lit = 0.6 * np.clip(1 - across**2, 0, 1)
    points = np.column_stack([np.linspace(20, 180, 80), np.full(80, 100.3)])
    width, _ = measured(np.abs(across) < 1, photographed(lit), points, 2 * radius_px)
    assert np.median(width) == pytest.approx(2 * radius_px, rel=0.05)


def test_where_the_photo_shows_no_edge_nothing_is_taken_off():
    grey = np.full((120, 200), 90.0, np.float32)
    points = np.column_stack([np.linspace(20, 180, 80), np.full(80, 60.3)])
    edges = find_edges(grey, np.full_like(grey, np.nan), points, np.full(80, 10.0))
    assert edges.softness_px.max() == 0


@pytest.mark.parametrize("mask_px", [4.0, 8.0])
def test_a_width_does_not_hang_on_the_root_pixels_it_starts_from(mask_px):
    root = course(20.0)
    picture = covered([root], 6.0 / PX_PER_IN)
    width, _ = measured(picture, photographed(picture), root[::2] * PX_PER_IN, mask_px)
    assert np.median(width) == pytest.approx(6.0, rel=WIDTH_TOLERANCE)


def test_a_flank_in_shade_still_belongs_to_the_root():
    """Brightness falls to the soil's own across the root, as on a cylinder lit from the side."""
    rows = np.mgrid[0:120, 0:200][0]
    across = (rows - 60.3) / 5.0
    lit = np.where(np.abs(across) < 1, np.clip(0.55 - 0.5 * across, 0, 1), 0.0)
    points = np.column_stack([np.linspace(20, 180, 80), np.full(80, 60.3)])
    width, _ = measured(lit > 0, photographed(lit), points, 9.0)
    assert np.median(width) == pytest.approx(10.0, rel=SHADED_TOLERANCE)


def test_dark_roots_on_pale_soil_are_as_wide():
    root = course(33.0)
    picture = covered([root], 6.0 / PX_PER_IN)
    grey, points_px = photographed(picture), root[::2] * PX_PER_IN
    pale, dark = (measured(picture, g, points_px, 6.0)[0] for g in (grey, 255 - grey))
    assert np.abs(pale - dark).max() < 0.02


def test_the_stated_error_of_a_width_grows_where_roots_touch():
    apart = 0.12 + 1.5 / PX_PER_IN
    pair = [course(0.0), course(0.0) + np.array([0.0, apart])]
    assert all(near.mean() > 0.8 for near in beside_another([trace(line, 0.12) for line in pair]))
    (alone,) = followed([pair[0]])
    assert min(one.width_se_in for one in followed(pair)) > 1.5 * alone.width_se_in


def cut_of(line: Points, soil: np.ndarray | None = None, surface: Surface = SURFACE) -> bool:
    root_map, image = wall_of(covered([line], 0.12))
    if soil is not None:
        image = WallImage(image.rgb, soil, image.grid)
        root_map = replace(root_map, mask=root_map.mask & soil)
    (found,) = follow_roots(root_map, image, surface, FollowSettings())
    return found.cut


def test_a_root_that_ends_in_the_soil_is_not_cut():
    assert not cut_of(along((3, 3), (6, 6)))


@pytest.mark.parametrize("end", [(12, 6), (-2, 6), (5, 12)], ids=["right", "left", "below"])
def test_a_root_that_leaves_the_photo_is_cut(end):
    assert cut_of(along((4, 3), end))


def test_a_root_that_enters_from_the_photos_side_is_cut():
    assert cut_of(along((-2, 3), (5, 7)))


def test_a_root_that_runs_under_the_scale_object_is_cut():
    soil = np.ones((round(SIDE_IN * PX_PER_IN),) * 2, dtype=bool)
    soil[300:480, 300:480] = False
    assert cut_of(along((2, 2), (6, 6)), soil)


def test_a_root_that_comes_from_the_surface_is_not_cut():
    """The picture begins at the surface, and soil is looked at from a little below it."""
    soil = np.ones((round(SIDE_IN * PX_PER_IN),) * 2, dtype=bool)
    soil[:20] = False
    assert not cut_of(
        along((2, 0.2), (5, 5)), soil, Surface(np.array([[-1.0, 0.3], [12.0, 0.3]]), 0.1, "photo")
    )


def test_straw_that_lies_on_the_surface_is_no_root():
    """The surface undulates; the straw lies along it, and a root comes out of the soil below."""
    surface = Surface(np.array([[0.0, 1.0], [4.0, 1.3], [9.0, 0.9]]), 0.1, "photo")
    straw, root = along((1, 1.2), (4, 1.4), (6, 1.3)), along((5, 2), (8, 6))
    (found,) = follow_roots(*wall_of(covered([straw, root], 0.12)), surface, FollowSettings())
    assert found.points[0] == pytest.approx([5, 2], abs=0.2)


def test_a_wall_without_traces_has_nothing_cut_and_no_crowns():
    root_map, image = wall_of(np.zeros((60, 60)))
    assert with_cuts((), image, LEVEL) == () and with_confidence((), root_map, image) == ()
    assert len(find_crowns((), LEVEL).places_in) == 0


def fan(x_in: float, first: int) -> list[Trace]:
    """Six roots that spread from a crown half an inch down and are seen from an inch on."""
    ways = np.radians([25, 45, 65, 115, 135, 155])
    starts = [np.array([x_in, 0.5]) + 1.0 * np.array([np.cos(a), np.sin(a)]) for a in ways]
    ends = [np.array([x_in, 0.5]) + 8.0 * np.array([np.cos(a), np.sin(a)]) for a in ways]
    return [
        trace(along(start, end), 0.1, name=f"r{first + k}")
        for k, (start, end) in enumerate(zip(starts, ends, strict=True))
    ]


def test_crowns_are_where_the_bases_of_main_roots_gather():
    roots = [*fan(3.0, 1), *fan(12.0, 7)]
    crowns = find_crowns(roots, LEVEL)
    assert np.abs(crowns.places_in[:, 0] - [3.0, 12.0]).max() < CROWN_NEAR_IN
    assert crowns.of_root.tolist() == [0] * 6 + [1] * 6


def test_laterals_and_deep_roots_make_no_crown():
    laterals = [replace(root, order=1, parent="r9") for root in fan(3.0, 1)]
    deep = [replace(root, points=root.points + np.array([0, 5.0])) for root in fan(12.0, 7)]
    crowns = find_crowns([*laterals, *deep], LEVEL)
    assert len(crowns.places_in) == 0 and set(crowns.of_root.tolist()) == {-1}


def test_a_plain_root_is_followed_with_confidence():
    (found,) = followed([course(35.0)])
    assert found.confidence > 0.85


def test_a_root_with_gaps_and_a_sharp_turn_is_less_sure_than_a_plain_one():
    bent = np.concatenate([np.linspace((2, 2), (5, 5), 60), np.linspace((5, 5), (7.5, 3.2), 60)[1:]])
    plain, turned_root = trace(along((2, 2), (7, 7)), 0.1), trace(bent, 0.1)
    gaps = replace(turned_root, inferred=(np.arange(len(bent)) % 40) < 16)
    root_map, image = wall_of(covered([bent, plain.points], 0.1))
    sure, unsure = (with_confidence((one,), root_map, image)[0].confidence for one in (plain, gaps))
    assert sure > unsure + 0.2


def test_confidence_is_a_chance_and_hangs_on_no_order_of_traces():
    lines = [course(20.0), course(75.0), course(20.0) + np.array([0.0, 0.25])]
    root_map, image = wall_of(covered(lines, 0.1))
    traces = tuple(trace(line, 0.1, name=f"r{k}") for k, line in enumerate(lines))
    ahead = [one.confidence for one in with_confidence(traces, root_map, image)]
    back = [one.confidence for one in with_confidence(traces[::-1], root_map, image)]
    assert ahead == pytest.approx(back[::-1])
    assert all(LEAST <= chance <= MOST for chance in ahead)


def test_every_feature_of_confidence_is_a_finite_number_on_the_shortest_trace():
    root_map, image = wall_of(covered([course(0.0)], 0.1))
    shortest = trace(np.array([[2.0, 4.5], [2.1, 4.5]]), 0.1)
    for values in trace_features([shortest], root_map, image).values():
        assert np.isfinite(values).all()


def test_how_deep_a_place_lies_in_what_is_shown_is_as_scipy_measures_it() -> None:
    """Beside ``scipy.ndimage.distance_transform_edt``, with the picture's edge as an end."""
    shown = np.ones((60, 90), bool)
    shown[20:30, 40:60] = shown[:5] = False
    reference = distance_transform_edt(np.pad(shown, 1))[1:-1, 1:-1]
    row, column = np.indices(shown.shape).reshape(2, -1)
    depth = shown_part(shown).depth_px(np.column_stack([column, row]) + 0.3)
    np.testing.assert_allclose(depth, reference[row, column])
    # A place beside the picture counts as the nearest in it.
    assert shown_part(shown).depth_px(np.array([[-7.0, 40.0], [89.0, 200.0]])).tolist() == [1.0, 1.0]
