"""Places and pressures of the sheet and of cone.csv against the photo and against what soils are.

A place counted from elsewhere than the scale object, or a pressure in another unit, is taken as it is
written; it shows where nothing in the photo, or in any soil, can be so.
"""

from collections.abc import Iterator, Sequence
from itertools import pairwise

from rootread.fieldsheet.names import listing
from rootread.fieldsheet.types import SheetRow
from rootread.units import length_words, side

WRITTEN_TO_IN = 3.0
"""Places along a wall are read off a tape, and a cone just beyond the photo still tells of what it shows."""
HALF_SLOT_IN = 6.0
"""A shank this near to the wall loosened some of it, where the sheet gives no spacing."""
SOFTEST_PSI, HARDEST_PSI = 10.0, 1000.0
"""A profile that nowhere gets harder, or that gets as hard, is not in psi: a cone of 0.2 in2 with a person's
whole weight of 200 lb on it reads 1000 psi, and dry topsoil tens."""
SPACING_GIVE = 0.25
"""Of a spacing: the points of one frame wander, and places are read off a tape."""
MOST_PLACES = 3
PLACE_REMEDY = (
    "Places are counted from the middle of the scale object, left negative; a bare number is inches."
)
SPACING_REMEDY = (
    "Slots are taken to reach a quarter of the spacing to either side: mend the one that is not right."
)
PRESSURE_REMEDY = "A bare number is psi: write the unit where it is another, such as 1.4 MPa."

Asked = tuple[str, str]
"""What cannot well be, and what to do about it."""
Reach = tuple[float, float]


def places_asked(row: SheetRow, across_in: Reach | None) -> list[Asked]:
    """What to ask about the places of shanks and cone readings, and about how hard the cone met the soil.

    Parameters
    ----------
    across_in : x at which the wall in the photo begins and ends; None where that is not known.
    """
    asked = [*_apart(row), *(_outside(row, across_in) if across_in is not None else ())]
    hardest = max((reading.psi for reading in row.cone), default=None)
    if hardest is not None and hardest < SOFTEST_PSI:
        asked.append((f"cone readings of {hardest:.2g} psi at most, softer than soil is", PRESSURE_REMEDY))
    elif hardest is not None and hardest > HARDEST_PSI:
        asked.append(
            (f"cone readings of up to {hardest:.0f} psi, harder than cones are pushed", PRESSURE_REMEDY)
        )
    return asked


def told_of_places(asked: Sequence[Asked]) -> list[str]:
    """What is asked, as sentences, with what to do."""
    return [f"There are {what}. {remedy}" for what, remedy in asked]


def _apart(row: SheetRow) -> Iterator[Asked]:
    """Shanks that do not stand the sheet's spacing apart, nor twice it or more where some are left out."""
    spacing_in, places_in = row.shank_spacing_in, sorted(set(row.shanks_at_in))
    if not spacing_in:
        return
    for left, right in pairwise(places_in):
        spacings = (right - left) / spacing_in
        if abs(spacings - max(round(spacings), 1)) > SPACING_GIVE:
            apart = f"shanks {length_words(right - left)} apart at {_places([left, right])}"
            yield f"{apart}, where their spacing is {length_words(spacing_in)}", SPACING_REMEDY
            return


def _outside(row: SheetRow, across_in: Reach) -> Iterator[Asked]:
    """Places that the photo does not show; of the shanks only if none ran in what it shows or beside it."""
    left, right = across_in
    half_in = row.shank_spacing_in / 2 if row.shank_spacing_in else HALF_SLOT_IN
    shown = f"but the photo shows the wall from {side(left)} to {side(right)}"
    if row.shanks_at_in and all(not left - half_in < x < right + half_in for x in row.shanks_at_in):
        yield f"shanks at {_places(row.shanks_at_in)}, {shown}", PLACE_REMEDY
    probed = sorted({reading.x_in for reading in row.cone})
    beyond = [x for x in probed if not left - WRITTEN_TO_IN <= x <= right + WRITTEN_TO_IN]
    if beyond:
        yield f"cone readings at {_places(beyond)}, {shown}", PLACE_REMEDY


def _places(places_in: Sequence[float]) -> str:
    return listing([side(x) for x in places_in[:MOST_PLACES]], len(places_in))
