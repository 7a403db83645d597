"""RSML read back, so that a test can say what another program would find in it."""

import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rootread.geometry import Points


@dataclass(frozen=True, eq=False)
class RsmlRoot:
    """One root as an RSML file has it."""

    id: str
    plant: str
    parent: str | None
    points: Points
    """``(N, 2)`` base first, in the file's unit."""
    functions: Mapping[str, NDArray[np.float64]]
    """``(N,)`` samples by name, such as ``diameter``."""
    properties: Mapping[str, str]


def read_rsml(content: bytes) -> list[RsmlRoot]:
    """The roots of an RSML file, parents before their laterals."""
    found: list[RsmlRoot] = []
    for plant in ET.fromstring(content).iter("plant"):
        waiting: list[tuple[ET.Element, str | None]] = [(root, None) for root in plant.findall("root")]
        while waiting:
            element, parent = waiting.pop(0)
            name = element.get("ID", "")
            found.append(
                RsmlRoot(
                    id=name,
                    plant=plant.get("ID", ""),
                    parent=parent,
                    points=_numbers(element.findall("geometry/polyline/point"), "x", "y"),
                    functions={
                        function.get("name", ""): _numbers(function.findall("sample"), "value")[:, 0]
                        for function in element.findall("functions/function")
                    },
                    properties={p.tag: p.get("value", "") for p in element.findall("properties/*")},
                )
            )
            waiting += [(lateral, name) for lateral in element.findall("root")]
    return found


def _numbers(elements: Sequence[ET.Element], *names: str) -> NDArray[np.float64]:
    return np.array([[float(e.get(name, "nan")) for name in names] for e in elements]).reshape(-1, len(names))
