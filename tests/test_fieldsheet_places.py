"""Places of shanks and cone readings that the photo does not show, and pressures that are in another unit."""

import math
from pathlib import Path

import pytest

from rootread.check import check_photo
from rootread.fieldsheet import ConeReading, SheetRow, places_asked, told_of_places
from rootread.fieldsheet.places import HARDEST_PSI
from rootread.units import lengths_shown_in

ACROSS_IN = (-3.0, 38.0)


def row(**written):
    return SheetRow("a.jpg", "a", row=2, **written)


def cone(*places_in, psi=200.0):
    return tuple(ConeReading(x_in, depth_in, psi) for x_in in places_in for depth_in in (3.0, 6.0))


@pytest.mark.parametrize(
    ("written", "asked"),
    [
        ({"shanks_at_in": (4.6, 29.1)}, ""),
        ({"shanks_at_in": (-90.0, 8.0)}, ""),  # a wide tool; one of its shanks ran here
        ({"shanks_at_in": (-8.0,)}, ""),  # its slot reaches into the wall
        ({"shanks_at_in": (-15.0,), "shank_spacing_in": 30.0}, ""),
        (
            {"shanks_at_in": (-90.0, -60.0)},
            "shanks at 90 in left and 60 in left, but the photo shows the wall",
        ),
        ({"shanks_at_in": (4.6, 29.1), "shank_spacing_in": 24.0}, ""),
        ({"shanks_at_in": (-8.0, 31.0), "shank_spacing_in": 20.0}, ""),  # the one between is not written
        (
            {"shanks_at_in": (-8.0, 12.0), "shank_spacing_in": 30.0},
            "shanks 20.0 in apart at 8 in left and 12 in right, where their spacing is 30.0 in",
        ),
        ({"shanks_at_in": (8.0, 12.0), "shank_spacing_in": 30.0}, "shanks 4.0 in apart"),
        ({"cone": cone(-5.0, 17.0, 40.0)}, ""),  # a tape's give beyond the wall
        (
            {"cone": cone(5.0, 80.0)},
            "cone readings at 80 in right, but the photo shows the wall from 3 in left",
        ),
        ({"cone": cone(5.0, psi=2.2)}, "cone readings of 2.2 psi at most, softer than soil"),
        ({"cone": cone(5.0, psi=2070.0)}, "cone readings of up to 2070 psi, harder than"),
    ],
)
def test_what_the_photo_or_the_soil_cannot_bear_out_is_asked_about(written, asked):
    said = told_of_places(places_asked(row(**written), ACROSS_IN))
    assert len(said) == bool(asked) and all(asked in sentence for sentence in said)


def test_the_hardest_reading_is_a_persons_weight_on_the_small_cone():
    """A base of 0.2 in2, 0.505 in across: ASABE S313.3 and EP542 (from memory); 200 lb stand on it."""
    assert math.pi / 4 * 0.505**2 == pytest.approx(0.2, abs=0.001)
    assert pytest.approx(200 / 0.2) == HARDEST_PSI


def test_where_the_wall_ends_is_not_known_no_place_is_asked_about():
    assert places_asked(row(shanks_at_in=(-90.0,), cone=cone(80.0)), None) == []


def test_many_places_are_told_by_the_first_and_in_the_unit_that_is_read():
    with lengths_shown_in("cm"):
        (said,) = told_of_places(places_asked(row(cone=cone(*range(50, 90, 5))), ACROSS_IN))
    assert "at 127 cm right, 140 cm right, 152 cm right and 5 more" in said


def test_check_asks_before_the_pit_is_filled_in_with_what_to_do(tmp_path: Path):
    (tmp_path / "a.jpg").write_bytes(b"nothing")
    check = check_photo(tmp_path / "a.jpg", row(cone=cone(5.0, psi=2.2)))
    (finding,) = [finding for finding in check.findings if finding.question == "places"]
    assert finding.state == "look" and "1.4 MPa" in finding.remedy
