"""Exports say of the roots what the wall says of them, in the form that other programs read."""

import io
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from report_walls import empty_wall, open_roots, turned_wall
from report_walls import wall as wall_of
from rsml_roots import read_rsml
from run_files import gravel
from typer.testing import CliRunner

from rootread.batch import grade_walls, plan_walls
from rootread.cli import app
from rootread.errors import BadRequest
from rootread.export import exported, graphml, overlay_svg, rsml, wanted_exports
from rootread.follow import GraphEdge, RootGraph
from rootread.plane import Grid
from rootread.settings import ReportSettings

ROUNDING_IN = 0.5e-4
ROUNDING_PX = 0.06
SVG = "{http://www.w3.org/2000/svg}"


def branched_roots():
    """A main root, its lateral and a lateral of that."""
    main, lateral, fine = open_roots()[:3]
    return [main, replace(lateral, order=1, parent="r1"), replace(fine, order=2, parent="r2")]


def test_roots_come_back_from_rsml_as_they_were():
    wall = turned_wall()
    back = {root.id: root for root in read_rsml(rsml(wall))}
    assert set(back) == {root.trace.id for root in wall.readings.roots}
    for root in wall.readings.roots:
        trace, again = root.trace, back[root.trace.id]
        assert again.parent == trace.parent
        assert np.abs(again.points - trace.points).max() <= ROUNDING_IN
        assert np.abs(again.functions["diameter"] - trace.width_in).max() <= ROUNDING_IN
        assert np.array_equal(again.functions["inferred"] > 0.5, trace.inferred)
        assert float(again.properties["length"]) == pytest.approx(root.length_in, abs=ROUNDING_IN)
        assert again.properties["cut"] == "false"


def test_rsml_has_the_elements_of_the_published_schema():
    """Names and nesting as published (Lobet and others, Plant Physiology 167:617, 2015; from memory)."""
    top = ET.fromstring(rsml(turned_wall()))
    assert top.tag == "rsml" and [child.tag for child in top] == ["metadata", "scene"]
    named = {element.tag for element in top.find("metadata")}
    assert {"version", "unit", "resolution", "last-modified", "software", "user", "file-key"} <= named
    root = top.find("scene/plant/root")
    assert root is not None and root.get("ID") and root.get("label")
    assert root.get("{http://www.plantontology.org/xml-dtd/po.dtd}accession", "").startswith("PO:")
    points = root.findall("geometry/polyline/point")
    for function in root.findall("functions/function"):
        assert function.get("domain") == "polyline"
        assert len(function.findall("sample")) == len(points)


def test_a_lateral_lies_within_its_parent_in_rsml():
    wall = wall_of(branched_roots())
    nested = ET.fromstring(rsml(wall))
    parents = {
        child.get("ID"): element.get("ID")
        for element in nested.iter("root")
        for child in element.findall("root")
    }
    assert parents == {"r2": "r1", "r3": "r2"}


def test_a_lateral_whose_parent_is_not_seen_is_one_in_rsml_too():
    main, lateral, _ = branched_roots()
    back = {root.id: root for root in read_rsml(rsml(wall_of([main, replace(lateral, parent=None)])))}
    assert back["r2"].parent is None and back["r2"].properties["order"] == "1"
    assert back["r2"].plant == "unknown"


def test_a_wall_without_roots_is_an_rsml_file_without_roots():
    assert read_rsml(rsml(empty_wall())) == []


def test_the_overlay_has_every_root_where_the_photo_shows_it():
    wall = turned_wall()
    top = ET.fromstring(overlay_svg(wall))
    height, width = wall.photo.rgb.shape[:2]
    assert top.get("viewBox") == f"0 0 {width} {height}"
    groups = {group.get("id"): group for group in top.iter(f"{SVG}g") if group.get("id")}
    for root in wall.readings.roots:
        drawn = " ".join(path.get("d", "") for path in groups[root.trace.id].iter(f"{SVG}path"))
        numbers = np.array([float(n) for n in re.findall(r"-?\d+\.\d+", drawn)]).reshape(-1, 2)
        expected = wall.plane.to_photo_px(root.trace.points)
        assert np.abs(numbers[[0, -1]] - expected[[0, -1]]).max() <= ROUNDING_PX


def test_the_graph_of_an_x_is_a_crossing_with_four_tips():
    centre = np.array([50.0, 50.0])
    arms = [centre + 30 * np.array(way) for way in ((1, 1), (-1, 1), (-1, -1), (1, -1))]
    edges = tuple(
        GraphEdge(np.linspace(centre, arm, 31), np.full(31, 6.0), np.full(31, 0.9), (0, -1)) for arm in arms
    )
    graph = RootGraph(centre[None], np.array([4.0]), edges, Grid(10.0, 0.0, 0.0, (100, 100))).to_networkx()
    file = io.BytesIO()
    nx.write_graphml(graph, file)
    back = nx.read_graphml(io.BytesIO(file.getvalue()), force_multigraph=True)
    assert sorted(kind for _, kind in back.nodes(data="kind")) == ["crossing", *["tip"] * 4]
    for _, _, values in back.edges(data=True):
        assert values["length_in"] == pytest.approx(3 * np.sqrt(2))
        assert values["width_in"] == pytest.approx(0.6)
        assert len(values["points_in"].split()) == len(values["widths_in"].split()) == 31
    headings = sorted(values["last_heading_deg"] for *_, values in back.edges(data=True))
    assert headings == pytest.approx([-135, -45, 45, 135])


def test_the_graphml_of_a_wall_opens_in_networkx():
    graph = nx.read_graphml(io.BytesIO(graphml(turned_wall())))
    assert graph.graph["units"] == "in"


def test_only_what_is_asked_for_is_made():
    wall = turned_wall()
    assert exported(wall, ReportSettings()) == {}
    assert set(exported(wall, ReportSettings(export_rsml=True, export_svg=True))) == {"rsml", "svg"}


def test_a_list_of_exports_is_read_as_people_write_it():
    assert wanted_exports(" RSML, svg ") == {"export_rsml": True, "export_svg": True}


def test_an_unknown_export_is_said_to_be_unknown():
    with pytest.raises(BadRequest, match="dxf"):
        wanted_exports("rsml,dxf")


def test_an_unknown_export_is_refused_before_any_photo_is_read(tmp_path):
    ran = CliRunner().invoke(app, ["grade", "nowhere.jpg", "--out", str(tmp_path), "--export", "dxf"])
    assert isinstance(ran.exception, BadRequest) and "dxf" in ran.exception.cause


@pytest.mark.parametrize(("others", "left"), [((), []), (("notes.txt",), ["notes.txt"])])
def test_a_run_without_exports_leaves_no_empty_folder_for_them_behind(tmp_path, others, left):
    photo, out = gravel(tmp_path, "gravel"), tmp_path / "out"
    (out / "exports").mkdir(parents=True)
    for name in ("gravel.rsml", *others):
        (out / "exports" / name).write_text("of an earlier run")
    grade_walls(plan_walls([photo]), out)
    assert (out / "exports").exists() == bool(left)
    assert [path.name for path in out.glob("exports/*")] == left
