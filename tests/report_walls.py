"""Walls made by hand for the tests of the report, read by the real measure and judge stages."""

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from handmade_roots import along, trace

from rootread.fieldsheet import RecordedLayer, default_row
from rootread.find.types import RootMap
from rootread.judge import find_layers, grade_wall, judge_wall
from rootread.measure import measure_wall
from rootread.photo import Photo
from rootread.plane.types import Grid, Lens, Level, ScaleFinding, Surface, WallImage, WallPlane
from rootread.settings import Settings
from rootread.wall import RefusedWall, Wall

PX_PER_IN = 20.0
SOIL = (70, 50, 40)

# A little perspective: a level line of the wall slopes in the photo, and inches shrink to the right.
TO_PHOTO = ((20.0, 0.4, 60.0), (0.5, 20.0, 40.0), (0.0002, 0.0001, 1.0))
LENS = Lens(fx=900.0, fy=900.0, cx=399.5, cy=299.5, k1=-0.05)


def open_roots():
    """Six roots that go straight down at 45 degrees, three to each side of the crown."""
    lines = [along((15, 0.5 + k / 2), (15 + side * 9, 9.5 + k / 2)) for side in (-1, 1) for k in range(3)]
    return [trace(line, name=f"r{number}") for number, line in enumerate(lines, start=1)]


def turned_roots(depth_in=6.0):
    """Eight roots that go down at 45 degrees, turn at one depth and run level for 5 in and more."""
    traces = []
    for number in range(8):
        side = 1 if number % 2 else -1
        turn_x = 15 + side * depth_in
        depth = depth_in + 0.02 * number
        line = along((15, 0.0), (turn_x, depth), (turn_x + side * (5 + 0.1 * number), depth + 0.1))
        traces.append(trace(line, name=f"r{number + 1}"))
    return traces


def wall(roots, name="north", size_px=(800, 600), lens=None, to_photo=TO_PHOTO, cautions=(), **sheet):
    """A read wall with these traces, over a photo of bare soil."""
    settings = Settings()
    row = replace(default_row(f"{name}.jpg"), wall=name, **sheet)
    scale = ScaleFinding("card", PX_PER_IN, 0.05, (), np.zeros((0, 2)), np.zeros((0, 2)), 0.2)
    surface = Surface(np.array([[-2.0, 0.1], [40.0, -0.1]]), 0.1, "photo")
    level = Level("card", 0.3)
    plane = WallPlane(np.array(to_photo), lens, scale, level, surface, 2.0, 0.4, tuple(cautions))
    rgb = np.full((size_px[1], size_px[0], 3), SOIL, np.uint8)
    grid = Grid(PX_PER_IN, 0.0, 0.0, (10, 10))
    nothing = np.zeros((10, 10), bool)
    readings = measure_wall(roots, plane, settings.measure)
    layers = find_layers(readings, row.layers, settings.judge)
    grade = grade_wall(readings, layers, row, settings.judge)
    return Wall(
        name=name,
        photo=Photo(Path(f"{name}.jpg"), rgb),
        row=row,
        plane=plane,
        image=WallImage(np.zeros((10, 10, 3), np.uint8), nothing, grid),
        root_map=RootMap(nothing.astype(np.float32), nothing, grid),
        traces=tuple(roots),
        readings=readings,
        layers=tuple(layers),
        grade=grade,
        judgement=judge_wall(readings, layers, grade, row, settings.judge),
        seconds=1.5,
    )


@cache
def turned_wall(name="turned", **given):
    given.setdefault("layers", (RecordedLayer("disk", 6.5), RecordedLayer("A/B", 12.0)))
    return wall(turned_roots(), name, **given)


@cache
def open_wall(name="open", **given):
    return wall(open_roots(), name, **given)


@cache
def empty_wall(name="bare", **given):
    return wall([], name, **given)


def refused_wall(name="lost"):
    return RefusedWall(name, f"{name}.jpg", default_row(f"{name}.jpg"), "No scale object.", "Hang the card.")
