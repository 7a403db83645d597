"""Crops as people name them in the sheet."""

import re

from rootread.fieldsheet.names import folded

CORN = {"corn", "maize", "mais", "maíz", "milho"}
"""What a sheet calls the crop whose growth pattern is known here."""


def is_corn(crop: str) -> bool:
    """Whether a cell of the column ``crop`` names corn.

    >>> is_corn("silage maize"), is_corn("soybean")
    (True, False)
    """
    return not CORN.isdisjoint(re.findall(r"\w+", crop.casefold()))


def crop_key(crop: str) -> str:
    """The same for one crop however it is written; "" for a blank cell.

    >>> crop_key("Soybeans") == crop_key("soy-bean"), crop_key("Corn") == crop_key("maize")
    (True, True)
    """
    return "corn" if is_corn(crop) else folded(crop).removesuffix("s")
