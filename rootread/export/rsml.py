"""Roots as RSML, the open XML form in which root systems are passed between programs.

The form is the published one (Lobet and others, Plant Physiology 167:617-627,
2015, "Root System Markup Language"; elements and attributes from memory):
``rsml`` holds ``metadata`` and a ``scene``; the scene holds ``plant`` elements,
these ``root`` elements, and each root its ``properties``, ``geometry``
(a polyline from base to tip), ``functions`` (one sample a point of the
polyline) and its lateral roots. Coordinates are wall inches, y down.
"""

import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime

import numpy as np

from rootread.follow.crowns import find_crowns
from rootread.measure.types import RootReading
from rootread.wall import Wall

PLANT_ONTOLOGY = "http://www.plantontology.org/xml-dtd/po.dtd"
ROOT_TERM = "PO:0009005"
"""A root, in the Plant Ontology (from memory)."""
DECIMALS = 4
PROPERTIES = {
    "order": ("integer", "none"),
    "length": ("float", "inch"),
    "tortuosity": ("float", "none"),
    "descent": ("float", "degree"),
    "width-error": ("float", "inch"),
    "confidence": ("float", "none"),
    "cut": ("boolean", "none"),
}
"""Type and unit of every property of a root."""


def rsml(wall: Wall) -> bytes:
    """The roots of a wall, the crowns as plants; roots of no crown are on the plant ``unknown``."""
    ET.register_namespace("po", PLANT_ONTOLOGY)
    top = ET.Element("rsml")
    _metadata(ET.SubElement(top, "metadata"), wall)
    scene = ET.SubElement(top, "scene")
    children: dict[str, list[RootReading]] = {}
    known = {root.trace.id for root in wall.readings.roots}
    for root in wall.readings.roots:
        parent = root.trace.parent if root.trace.parent in known else None
        children.setdefault(parent or "", []).append(root)
    traces = [root.trace for root in wall.readings.roots]
    crown_of = find_crowns(traces, wall.plane.surface).of_root
    plant_of = {trace.id: int(crown) for trace, crown in zip(traces, crown_of, strict=True)}
    for crown in sorted({plant_of[root.trace.id] for root in children.get("", [])}, key=lambda k: (k < 0, k)):
        plant = ET.SubElement(scene, "plant", ID=f"crown{crown + 1}" if crown >= 0 else "unknown")
        for root in children.get("", []):
            if plant_of[root.trace.id] == crown:
                _root(plant, root, children)
    ET.indent(top, space="")
    return ET.tostring(top, encoding="utf-8", xml_declaration=True)


def _metadata(element: ET.Element, wall: Wall) -> None:
    photo = wall.photo.path
    taken = datetime.fromtimestamp(photo.stat().st_mtime, UTC) if photo and photo.exists() else None
    said = {
        "version": "1",
        "unit": "inch",
        "resolution": f"{wall.plane.scale.px_per_in:.3f}",
        "last-modified": taken.strftime("%Y-%m-%dT%H:%M:%S") if taken else "",
        "software": "rootread",
        "user": "",
        "file-key": wall.name,
    }
    for name, text in said.items():
        ET.SubElement(element, name).text = text
    definitions = ET.SubElement(element, "property-definitions")
    for label, (kind, unit) in PROPERTIES.items():
        definition = ET.SubElement(definitions, "property-definition")
        for name, text in (("label", label), ("type", kind), ("unit", unit)):
            ET.SubElement(definition, name).text = text
    image = ET.SubElement(element, "image")
    ET.SubElement(image, "label").text = photo.name if photo else wall.row.photo


def _root(above: ET.Element, root: RootReading, children: Mapping[str, Sequence[RootReading]]) -> None:
    trace = root.trace
    element = ET.SubElement(
        above, "root", {"ID": trace.id, "label": trace.id, f"{{{PLANT_ONTOLOGY}}}accession": ROOT_TERM}
    )
    values = {
        "length": root.length_in,
        "tortuosity": root.tortuosity,
        "descent": root.descent_deg,
        "width-error": trace.width_se_in,
        "confidence": trace.confidence,
    }
    properties = ET.SubElement(element, "properties")
    for name, value in values.items():
        if np.isfinite(value):
            ET.SubElement(properties, name, value=_text(value))
    # A lateral whose parent is not seen lies in no root: its nesting does not tell that it is one.
    ET.SubElement(properties, "order", value=str(trace.order))
    ET.SubElement(properties, "cut", value=str(trace.cut).lower())
    polyline = ET.SubElement(ET.SubElement(element, "geometry"), "polyline")
    for x_in, z_in in trace.points:
        ET.SubElement(polyline, "point", x=_text(x_in), y=_text(z_in))
    functions = ET.SubElement(element, "functions")
    for name, samples in (
        ("diameter", trace.width_in),
        ("flattened", root.flattened.astype(float)),
        ("inferred", trace.inferred.astype(float)),
    ):
        function = ET.SubElement(functions, "function", domain="polyline", name=name)
        for sample in samples:
            ET.SubElement(function, "sample", value=_text(sample))
    for lateral in children.get(trace.id, []):
        _root(element, lateral, children)


def _text(value: float) -> str:
    return f"{float(value):.{DECIMALS}f}"
