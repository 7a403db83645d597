"""Pressures as a cone penetrometer's readings are written down, to psi."""

import re

from rootread.errors import BadRequest
from rootread.units import LONGEST, THOUSAND_OR_ONE

PSI_PER = {"": 1.0, "psi": 1.0, "kpa": 0.1450377, "mpa": 145.0377, "bar": 14.50377}
"""By unit; a bare number is psi. 1 psi is 6894.757 Pa (from memory)."""
MOST_PSI = 5000.0
"""No one pushes harder by hand or from a tractor; a larger figure is in another unit."""
REMEDY = "Write 0 to 5000 psi, or the unit after the number: 1.4 MPa, 1400 kPa, 14 bar."
_PRESSURE = re.compile(r"(?P<number>\d+(?:[.,]\d*)?|[.,]\d+)\s*(?P<unit>[a-z]*)")


def pressure_psi(text: str) -> float:
    """Psi of a pressure such as ``310``, ``1.4 MPa``, ``1400 kPa``; a comma may stand for the decimal point.

    >>> pressure_psi("310"), round(pressure_psi("2,07 MPa"))
    (310.0, 300)

    Raises
    ------
    BadRequest : not a pressure.
    """
    if not text:
        raise BadRequest("nothing is written.", REMEDY)
    if THOUSAND_OR_ONE.search(text):
        raise BadRequest(f"{text!r} can be read two ways.", "Write the number without the comma.")
    found = _PRESSURE.fullmatch(text.lower()) if len(text) <= LONGEST else None
    if found is None or found["unit"] not in PSI_PER:
        raise BadRequest(f"{text!r} is no pressure.", REMEDY)
    psi = float(found["number"].replace(",", ".")) * PSI_PER[found["unit"]]
    if psi > MOST_PSI:
        raise BadRequest(f"{text!r} is no pressure that a cone is pushed with.", REMEDY)
    return psi
