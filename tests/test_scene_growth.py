"""Made roots grow as roots are said to grow, and layers turn them."""

import numpy as np
import pytest

from rootread.geometry import arc_length
from rootread.scene.course import FATES, fates, runs_of, walk
from rootread.scene.draw import HINDERED_DEPTH_IN, draw_scene
from rootread.scene.draw_ground import draw_ground
from rootread.scene.draw_view import draw_light
from rootread.scene.grow import sharp_turns
from rootread.scene.soils import SOILS, draw_root_colour

OPEN_DESCENT_DEG = (30.0, 35.0)
"""Descent of unobstructed corn roots: common practice, no source (the design's growth pattern)."""
DESCENT_SLACK_DEG = 2.0
"""Roots of six walls are a sample."""
LAYER_SPREAD_IN = 0.8
"""A sideways run lies this near its layer."""


def main_descents_deg(scene):
    """Descent over 1 in along each main root longer than 3 in."""
    found = []
    for root in scene.roots:
        if root.order == 0 and len(root.points) > 60:
            chord = root.points[20:] - root.points[:-20]
            found.append(np.degrees(np.arctan2(chord[:, 1], np.abs(chord[:, 0]))))
    return np.concatenate(found)


def test_roots_of_open_walls_descend_as_the_growth_pattern_says():
    descents = [main_descents_deg(draw_scene(np.random.default_rng(seed), "open")) for seed in range(6)]
    mean = np.concatenate(descents).mean()
    assert OPEN_DESCENT_DEG[0] - DESCENT_SLACK_DEG < mean < OPEN_DESCENT_DEG[1] + DESCENT_SLACK_DEG


def test_roots_of_blocked_walls_run_along_the_layer():
    scene = draw_scene(np.random.default_rng(7), "blocked")
    runs = [run for root in scene.roots if root.order == 0 for run in root.runs]
    depths = np.array([layer.z_in for layer in scene.layers])
    off = np.array([np.abs(depths - run.z_in).min() for run in runs])
    assert len(runs) >= 3
    assert (off < LAYER_SPREAD_IN).mean() > 0.9


def test_main_roots_of_open_walls_seldom_run_sideways():
    for seed in range(6):
        scene = draw_scene(np.random.default_rng(seed), "open")
        mains = [root for root in scene.roots if root.order == 0]
        sideways = sum(run.length_in for root in mains for run in root.runs)
        assert sideways < 0.03 * sum(arc_length(root.points)[-1] for root in mains)


def test_the_layer_of_a_mixed_wall_leaves_part_of_the_width_free():
    for seed in range(6):
        scene = draw_scene(np.random.default_rng(seed), "mixed")
        assert scene.layers[0].x1_in - scene.layers[0].x0_in < 0.85 * scene.width_in
        assert scene.slots


def test_a_level_stretch_of_two_inches_is_a_run_and_one_of_an_inch_is_not():
    down, level = np.full(60, 40.0), np.zeros(40)
    start = np.array([5.0, 2.0])
    long = runs_of(walk(start, np.concatenate([down, level, down])))
    short = runs_of(walk(start, np.concatenate([down, level[:20], down])))
    # Tangents over 1 in see each bend a quarter inch early.
    assert len(long) == 1 and long[0].length_in == pytest.approx(2.0, abs=0.5)
    assert long[0].z_in == pytest.approx(2.0 + 3.0 * np.sin(np.radians(40)), abs=0.1)
    assert short == ()


def test_a_lateral_starts_on_its_mother():
    scene = draw_scene(np.random.default_rng(3), "open")
    by_id = {root.id: root for root in scene.roots}
    laterals = [root for root in scene.roots if root.parent is not None]
    assert laterals
    for root in laterals:
        mother = by_id[root.parent]
        assert mother.order == root.order - 1
        assert np.hypot(*(mother.points - root.points[0]).T).min() < 0.06


def test_roots_that_follow_a_crack_are_squeezed_flat_there():
    scenes = [draw_scene(np.random.default_rng(seed), "blocked") for seed in range(8)]
    flattest = [
        root.flat_ratio.min()
        for scene in scenes
        for root in scene.roots
        if root.order == 0 and scene.layers and len(root.points) > 40
    ]
    assert min(flattest) < 0.6
    assert np.median(flattest) == 1.0


def test_drawn_looks_span_all_soils_lights_and_both_polarities():
    rng = np.random.default_rng(0)
    grounds = [draw_ground(rng, tuple(SOILS), "typical", 40.0, 26.0) for _ in range(150)]
    assert {ground.soil for ground in grounds} == set(SOILS)
    assert {draw_light(rng, 40.0, 26.0).name for _ in range(60)} == {"overcast", "hazy", "sun", "lowsun"}
    paler = [np.mean(draw_root_colour(rng)) > np.mean(ground.topsoil_rgb) for ground in grounds]
    assert 0.55 < np.mean(paler) < 0.97


def test_soils_left_out_stay_out():
    rng = np.random.default_rng(0)
    grounds = [draw_ground(rng, ("chalk", "muck"), "typical", 40.0, 26.0) for _ in range(20)]
    assert {ground.soil for ground in grounds} == {"chalk", "muck"}


def test_wavier_roots_turn_more_on_their_way_and_go_down_as_steeply():
    """Change of heading from one third of an inch to the next, and the mean descent, of the same scene."""
    turns, descents = [], []
    for waviness in (1.0, 2.5):
        scene = draw_scene(np.random.default_rng(8), "open", waviness=waviness)
        change = []
        for root in scene.roots:
            way = root.points[6:] - root.points[:-6]
            heading_deg = np.degrees(np.unwrap(np.arctan2(way[:, 1], way[:, 0])))
            change.append(np.abs(heading_deg[6:] - heading_deg[:-6]))
        turns.append(np.median(np.concatenate(change)))
        descents.append(main_descents_deg(scene).mean())
    assert turns[1] > 1.8 * turns[0]
    assert descents[1] == pytest.approx(descents[0], abs=4.0)


def test_where_a_layer_hinders_more_more_main_roots_come_to_it_and_run_along_it():
    walls = [
        [draw_scene(np.random.default_rng(seed), "blocked", hindrance=hindrance) for seed in range(12)]
        for hindrance in (0.0, 1.0)
    ]
    usual, hindered = (
        sum(bool(root.runs) for scene in scenes for root in scene.roots if root.order == 0)
        / sum(root.order == 0 for scene in scenes for root in scene.roots)
        for scenes in walls
    )
    assert hindered > 1.5 * usual
    assert all(scene.layers[0].z_in <= HINDERED_DEPTH_IN for scene in walls[1])
    assert sum(fates(1.0).values()) == pytest.approx(1.0)
    assert fates(0.0) == FATES


def test_a_path_round_a_corner_has_one_sharp_turn_and_a_straight_one_none():
    along, down = np.arange(0, 3, 0.05), np.arange(0.05, 3, 0.05)
    level = np.column_stack([along, np.zeros(len(along))])
    corner = np.vstack([level, np.column_stack([np.full(len(down), along[-1]), down])])
    (turn,) = sharp_turns(corner)
    assert abs(turn - (len(level) - 1)) <= 2
    assert sharp_turns(level) == sharp_turns(level[:6]) == []


def test_turns_that_are_buried_lie_under_soil():
    scenes = [
        draw_scene(np.random.default_rng(7), "blocked", "clean", turns_buried=chance) for chance in (0.0, 1.0)
    ]
    shown, buried = (
        [
            root.out_in[turn] / root.width_in[turn]
            for root in scene.roots
            if root.order == 0
            for turn in sharp_turns(root.points)
        ]
        for scene in scenes
    )
    assert np.mean(np.array(shown) < -0.5) < 0.2
    assert np.mean(np.array(buried) < -0.5) > 0.6
