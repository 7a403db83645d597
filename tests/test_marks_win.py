"""What a person drew wins over what was found."""

import numpy as np

from rootread.find import RootMap, paint
from rootread.follow import Trace, with_marked_roots
from rootread.marks import Marks, RootMark, Stroke
from rootread.plane import Grid, Level, ScaleFinding, Surface, WallImage, WallPlane, within_outline

PX_PER_IN = 50.0


def plane() -> WallPlane:
    """A photo of 50 pixels an inch, wall origin at pixel (100, 40)."""
    to_photo = np.array([[PX_PER_IN, 0, 100], [0, PX_PER_IN, 40], [0, 0, 1.0]])
    nothing = np.empty((0, 2))
    scale = ScaleFinding("points", PX_PER_IN, 0.1, (), nothing, nothing, 0.0)
    line = np.array([[0.0, 0.0], [10.0, 0.0]])
    return WallPlane(to_photo, None, scale, Level("photo", 1.0), Surface(line, 0.1, "marks"), 0.0)


def px(*points_in: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    return tuple((100 + PX_PER_IN * x, 40 + PX_PER_IN * z) for x, z in points_in)


def trace(
    name: str, start: tuple[float, float], end: tuple[float, float], parent: str | None = None
) -> Trace:
    points = np.linspace(start, end, 50)
    return Trace(name, 0, parent, points, np.full(50, 0.1), np.zeros(50, dtype=bool), 0.5)


TRACES = (
    trace("r1", (1, 1), (5, 3)),
    trace("r2", (5, 3), (5, 5), parent="r1"),
    trace("r3", (1, 4), (3, 6)),
)


def test_without_marks_nothing_changes() -> None:
    assert with_marked_roots(TRACES, plane(), None) == TRACES


def test_a_struck_root_is_gone_and_its_lateral_has_no_parent() -> None:
    left = with_marked_roots(TRACES, plane(), Marks(roots_struck_px=(px((2, 1.5), (3, 2)),)))
    assert [root.id for root in left] == ["r2", "r3"]
    assert left[0].parent is None


def test_a_strike_beside_a_root_leaves_it() -> None:
    assert len(with_marked_roots(TRACES, plane(), Marks(roots_struck_px=(px((2, 2.2), (3, 2.7)),)))) == 3


def test_a_drawn_root_is_where_it_was_drawn_and_certain() -> None:
    drawn = with_marked_roots(
        TRACES, plane(), Marks(roots_added=(RootMark(px((6, 1), (8, 4)), width_px=10),))
    )[-1]
    assert drawn.id == "m1" and drawn.confidence == 1
    assert np.allclose(drawn.points[[0, -1]], [(6, 1), (8, 4)])
    assert np.allclose(drawn.width_in, 10 / PX_PER_IN)


def test_a_drawn_root_of_no_stated_width_is_as_wide_as_the_others() -> None:
    drawn = with_marked_roots(TRACES, plane(), Marks(roots_added=(RootMark(px((6, 1), (8, 4))),)))[-1]
    assert np.allclose(drawn.width_in, 0.1)


def test_strokes_win_over_the_finder_and_later_ones_over_earlier_ones() -> None:
    grid = Grid(PX_PER_IN, 0.0, 0.0, (300, 500))
    nothing = RootMap(np.zeros(grid.shape, np.float32), np.zeros(grid.shape, bool), grid)
    root = Stroke("root", px((1, 1), (4, 1)), 10)
    soil = Stroke("soil", px((2, 0.5), (2, 2)), 10)
    painted = paint(nothing, plane(), Marks(strokes=(root, soil)))
    assert painted.mask[50, 60] and painted.probability[50, 60] == 1
    assert not painted.mask[50, 100]
    assert not nothing.mask.any()


def test_no_roots_are_sought_outside_the_marked_outline() -> None:
    grid = Grid(PX_PER_IN, 0.0, 0.0, (300, 500))
    image = WallImage(np.zeros((300, 500, 3), np.uint8), np.ones(grid.shape, bool), grid)
    outlined = within_outline(image, plane(), Marks(outline_px=px((1, 1), (5, 1), (5, 4), (1, 4))))
    assert outlined.soil[100, 100] and not outlined.soil[100, 300]
    assert abs(outlined.soil.sum() / PX_PER_IN**2 - 12) < 0.2
