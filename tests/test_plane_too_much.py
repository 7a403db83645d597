"""Walls that cannot be as their scale says: too coarse, too large, too askew, or not in the photo at all."""

from dataclasses import fields, replace

import numpy as np
import pytest
from drawn_roots import followed
from drawn_walls import DrawnCamera

from rootread.errors import BadMarks, NoBelievableScale, WallRefused
from rootread.geometry import Points
from rootread.marks import Marks, RootMark, ScaleMark
from rootread.marks.types import Stroke
from rootread.photo import Photo
from rootread.plane import ScaleFinding, WallPlane, find_plane, lay_flat, locate
from rootread.plane.flat import LEAST_PX_PER_IN, LEAST_WALL_IN, MOST_OF_PHOTO, MOST_PX, wall_grid
from rootread.plane.reach import SMALLEST_SCALE_SHARE, local_px_per_in, photo_places
from rootread.settings import PlaneSettings


def bare(size_px: tuple[int, int]) -> Photo:
    """A photo of nothing but soil."""
    return Photo(None, np.full((size_px[1], size_px[0], 3), 90, np.uint8))


def apart(distance_in: float, *, px: float = 400.0) -> Marks:
    """Two points marked on a level line."""
    return Marks(
        scale_points=(ScaleMark((100.0, 300.0), None), ScaleMark((100.0 + px, 300.0), None)),
        distance_in=distance_in,
    )


def corners(camera: DrawnCamera, half_in: float = 4.0) -> Marks:
    """The four corners of a square about the camera's aim, as it shows them."""
    x, z = camera.aim_in
    at_in = np.array([x, z]) + half_in * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    places = zip(camera.to_photo(at_in), at_in, strict=True)
    return Marks(scale_points=tuple(ScaleMark((float(c), float(r)), (x, z)) for (c, r), (x, z) in places))


def plane_of(photo: Photo, marks: Marks) -> WallPlane:
    return find_plane(photo, None, marks, PlaneSettings())


@pytest.fixture
def looked_at(monkeypatch: pytest.MonkeyPatch) -> list[tuple[float, float, float, float]]:
    """How much of the wall is searched for its surface, each time it is, in inches; none is found."""
    extents: list[tuple[float, float, float, float]] = []
    monkeypatch.setattr(locate, "find_ground_line", lambda *given: extents.append(given[3]))
    return extents


def test_a_scale_too_coarse_to_read_is_refused_before_the_wall_is_looked_at(looked_at):
    # 900 pixels over 220 in of wall: the look alone would be 47 million pixels.
    with pytest.raises(NoBelievableScale, match=r"an inch of wall is 4\.1 pixels"):
        plane_of(bare((900, 675)), apart(400 / 4.1))
    assert not looked_at


def test_a_wall_larger_than_is_read_at_once_is_refused_with_its_size(looked_at):
    photo = bare((2880, 2160))
    with pytest.raises(
        NoBelievableScale, match=r"would show 2\d\d in by 1\d\d in of wall, more than is read"
    ):
        plane_of(photo, apart(400 / 12.5))
    assert not looked_at
    # As many pixels on a wall of usual size are read.
    assert plane_of(photo, apart(400 / 40)).scale.px_per_in == pytest.approx(40, rel=0.01)


@pytest.mark.parametrize("yaw_deg", [55.0, 70.0])
def test_marked_corners_seen_from_far_aside_are_refused(yaw_deg, looked_at):
    camera = DrawnCamera(yaw_deg=yaw_deg)
    with pytest.raises(NoBelievableScale, match="more than 50 degrees from square"):
        plane_of(bare(camera.size_px), corners(camera))
    assert not looked_at


def test_the_surface_is_sought_where_the_wall_is_seen_well_alone(looked_at):
    # Half of the view's width is 56 degrees: with 40 degrees of tilt the wall's horizon is in the photo.
    camera = DrawnCamera(focal_px=340.0, yaw_deg=40.0, distance_in=14.0)
    photo = Photo(None, bare(camera.size_px).rgb, focal_px=camera.focal_px)
    plane = plane_of(photo, corners(camera, 8.0))
    x0, z0, x1, z1 = looked_at[0]
    width, height = camera.size_px
    of_the_middle_in2 = width * height / plane.scale.px_per_in**2
    assert (x1 - x0) * (z1 - z0) < of_the_middle_in2 / SMALLEST_SCALE_SHARE**2


def test_a_wall_seen_from_far_aside_has_hardly_more_pixels_than_its_photo():
    camera = DrawnCamera(yaw_deg=47.0)
    plane = plane_of(bare(camera.size_px), corners(camera))
    width, height = camera.size_px
    grid = wall_grid(camera.size_px, plane, 72.0)
    # At the resolution of its middle it would have a quarter more.
    middle = float(np.median(local_px_per_in(plane.to_wall_in, photo_places(camera.size_px, 41, 31))))
    assert (middle / grid.px_per_in) ** 2 > 1.25
    assert grid.shape[0] * grid.shape[1] == pytest.approx(MOST_OF_PHOTO * width * height, rel=0.01)


@pytest.mark.parametrize("row_px", [674.0, 1200.0])
def test_a_wall_wholly_above_the_marked_surface_is_refused(row_px):
    surface_px = ((0.0, row_px), (899.0, row_px))
    marks = Marks(scale_points=apart(16.0).scale_points, distance_in=16.0, surface_px=surface_px)
    photo = bare((900, 675))
    plane = plane_of(photo, marks)
    with pytest.raises(WallRefused, match="Hardly anything in the photo lies below the soil surface"):
        lay_flat(photo, plane, PlaneSettings())
    assert plane.to_wall_in(np.array([[450.0, 674.0]]))[0, 1] < LEAST_WALL_IN


def test_a_flat_wall_never_has_more_pixels_than_fit_in_memory():
    photo = bare((900, 675))
    plane = plane_of(photo, apart(10.0))
    # The same wall in a photo of ten times as many pixels each way.
    tenfold: Points = np.diag([10.0, 10.0, 1.0]) @ plane.to_photo
    large = WallPlane(tenfold, None, plane.scale, plane.level, plane.surface, plane.tilt_deg)
    grid = wall_grid((9000, 6750), large, 600.0)
    assert 0.99 * MOST_PX < grid.shape[0] * grid.shape[1] < 1.01 * MOST_PX
    assert wall_grid((9000, 6750), large, 72.0).px_per_in == 72.0


@pytest.mark.parametrize("px_per_in", [10.1, 13.3])
def test_roots_are_followed_in_the_coarsest_photo_that_is_read(px_per_in):
    photo = bare((900, 675))
    grid = lay_flat(photo, plane_of(photo, apart(400 / px_per_in)), PlaneSettings()).grid
    assert grid.px_per_in == LEAST_PX_PER_IN
    (root,) = followed([np.array([[2.5, 2.0], [6.0, 6.5]])], 0.3, grid.px_per_in)
    assert np.hypot(*(root.points[-1] - root.points[0])) == pytest.approx(np.hypot(3.5, 4.5), abs=0.5)


def test_settings_ask_for_no_coarser_wall_than_is_followed():
    (limits,) = (key.metadata["limits"] for key in fields(PlaneSettings) if key.name == "working_px_per_in")
    assert limits[0] == LEAST_PX_PER_IN


@pytest.mark.parametrize("kind", ["roots_struck_px", "surface_px", "strokes"])
def test_a_mark_on_the_horizon_of_the_wall_is_refused(kind):
    camera = DrawnCamera(focal_px=340.0, yaw_deg=40.0, distance_in=14.0)
    photo = Photo(None, bare(camera.size_px).rgb, focal_px=camera.focal_px)
    # 40 degrees of tilt: the horizon lies 50 degrees aside, at 340 tan 50 = 405 px left of the middle.
    line = ((130.0, 400.0), (80.0, 420.0))
    mark = {"roots_struck_px": (line,), "surface_px": line, "strokes": (Stroke("root", line, 9.0),)}[kind]
    with pytest.raises(BadMarks, match=f"{kind}.* lies where the photo shows no wall"):
        plane_of(photo, replace(corners(camera, 8.0), **{kind: mark}))


def test_a_drawn_root_longer_than_any_is_refused():
    there_and_back = tuple((x, 300.0) for x in (50.0, 850.0) * 4)
    marks = replace(apart(10.0), roots_added=(RootMark(there_and_back),))
    with pytest.raises(BadMarks, match=r"roots_added\[0\] would be 224 in long"):
        plane_of(bare((900, 675)), replace(marks, distance_in=16.0))
    plane_of(bare((900, 675)), replace(marks, roots_added=(RootMark(there_and_back[:4]),)))


def test_a_scale_that_is_refused_is_said_to_be_sure_to_what_a_check_would_say():
    """Two standard errors, which hold 95 times in 100."""
    scale = ScaleFinding("tape", 60.0, 60.0 * 0.018, (), np.zeros((0, 2)), np.zeros((0, 2)), 0.2)
    with pytest.raises(NoBelievableScale, match=r"sure only to 3\.6 %; 3 % is the most"):
        locate._check_sure_enough(scale)
    locate._check_sure_enough(replace(scale, px_per_in_se=60.0 * 0.0149))
