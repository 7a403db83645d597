"""The report of cone, floor, calipers, sloped layers and descent along the wall says what the values say."""

import re
from dataclasses import replace

import numpy as np
import pytest
from report_walls import open_wall, turned_wall

from rootread.fieldsheet import CaliperPair, ConeReading, RecordedLayer
from rootread.judge.cone import ConeAgreement, cone_profiles
from rootread.judge.floor import loosened_floor
from rootread.judge.shape import LayerLine
from rootread.report import wall_section
from rootread.report.colours import PAPER, WHITE
from rootread.report.ground import CONE, FLOOR, agreement_words, caliper_figures, told_places
from rootread.report.legend import kinds_of_marks
from rootread.report.overlay import lay_out_labels
from rootread.report.picture import WIDTH_PX, draw_sheets, wall_view
from rootread.report.story import key_figures
from rootread.report.strip import COLUMNS_PX, MARGIN_PX, draw_strip
from rootread.report.view import AXIS_PX
from rootread.report.words import layer_depth_words, layer_short_words
from rootread.settings import Settings

FLOOR_LINE = np.array([[2.0, 8.0], [9.0, 12.0], [16.0, 8.0], [23.0, 12.0], [30.0, 8.0]])


ROW = turned_wall().row


def words(section):
    return " ".join(re.sub("<[^>]*>", " ", section).split())


def blank(view):
    width, height = view.size_px
    return np.zeros((height, view.left_px + width, 4), np.uint8)


def with_ground(wall):
    surface = wall.plane.surface.line_in
    cone = cone_profiles([ConeReading(12.0, 2.0, 100.0), ConeReading(12.0, 6.0, 500.0)], surface, 300.0)
    floor = loosened_floor(FLOOR_LINE, surface, replace(wall.row, tool_depth_in=12.0))
    agrees = (ConeAgreement(wall.layers[0].depth_in, 1, 0, 1, 0),)
    return replace(wall, judgement=replace(wall.judgement, cone=cone, cone_agrees=agrees, floor=floor))


@pytest.fixture(scope="module")
def section():
    wall = with_ground(turned_wall())
    wall = replace(wall, row=replace(wall.row, calipers=(CaliperPair(0.12, 0.06), CaliperPair(0.10, 0.08))))
    return words(wall_section(wall, Settings()))


def test_the_depth_of_the_limit_is_told_place_by_place(section):
    assert "12 in right of the card 4.0 in 500 6.0 in" in section


def test_the_cone_is_set_against_the_layer(section):
    assert "does not bear out the layer at" in section
    assert "300 psi are reached well above it at the one place that tests it." in section


def test_the_floor_is_told_with_its_berm_and_spacing(section):
    assert "83 % of it down to 12.0 in, where the tool ran" in section
    high, wide = re.search(r"1 berm left standing ([\d.]+) in high, ([\d.]+) in wide", section).groups()
    assert (float(high), float(wide)) == pytest.approx((4.0, 7.0), abs=0.15)
    assert "14.0 in from valley to valley: 1.2 working depths, enough for plain points" in section


def test_spacing_and_depth_of_the_sheet_are_set_against_the_rule_though_nobody_marked_the_floor():
    row = replace(ROW, tool_depth_in=14.0, shank_spacing_in=24.5)
    told = "24.5 in by the sheet: 1.8 working depths, enough for winged points (Spoor and Godwin 1978)"
    assert ("shank spacing", told) in key_figures(replace(turned_wall(), row=row))


def test_calipers_stand_beside_what_the_photo_shows(section):
    assert "looks squeezed flat" in section and "flattening by calipers 35 % (20 to 50), 2 roots" in section


def test_calipers_are_told_at_the_depths_where_they_were_taken():
    def said(*pairs):
        ((_, words_of_them),) = caliper_figures(replace(turned_wall(), row=replace(ROW, calipers=pairs)))
        return words_of_them

    deep, shallow, unknown = CaliperPair(0.1, 0.04, 7.3), CaliperPair(0.1, 0.09, 3.0), CaliperPair(0.1, 0.08)
    assert said(deep, shallow, unknown).startswith(
        "30 % (10 to 60), 3 roots: 10 % at 3.0 in and 60 % at 7.3 in; "
    )
    assert said(deep).startswith("60 %, 1 root, 7.3 in deep; ")
    assert said(*[deep] * 4, shallow).startswith("50 % (10 to 60), 5 roots, 3.0 to 7.3 in deep; ")


def test_a_wall_without_cone_or_floor_says_nothing_of_them():
    said = words(wall_section(open_wall(), Settings()))
    assert "Cone" not in said and "loosened" not in said and "calipers" not in said


def test_cone_and_floor_are_drawn_where_they_are():
    bare, drawn = (draw_sheets(wall, Settings())[1] for wall in (turned_wall(), with_ground(turned_wall())))
    added = np.argwhere((bare != drawn).any(axis=2))
    for colour in (CONE, FLOOR):
        assert not (bare[..., :3] == colour).all(axis=2).any()
        assert (drawn[..., :3] == colour).all(axis=2).any()
    assert len(added)


def test_the_legend_of_a_wall_with_every_kind_of_mark_ends_above_the_margin():
    made = turned_wall(shanks_at_in=(12.0,))
    roots = list(made.readings.roots)
    stretch = np.arange(len(roots[0].flattened)) < 20
    bridged = replace(roots[0].trace, inferred=stretch)
    roots[0] = replace(roots[0], trace=bridged, flattened=~stretch)
    made = with_ground(replace(made, readings=replace(made.readings, roots=tuple(roots))))
    assert len(kinds_of_marks(made)) == 8
    strip = draw_strip(made, WIDTH_PX, Settings())
    assert (strip[1 - MARGIN_PX :] == PAPER).all()


def test_the_sample_of_the_cone_has_the_white_bar_that_its_words_name():
    def white(made):
        right = draw_strip(made, WIDTH_PX, Settings())[:, COLUMNS_PX[2] :]
        return (right == WHITE).all(axis=2).sum()

    made = turned_wall()
    with_cone = with_ground(made)
    with_cone = replace(with_cone, judgement=replace(with_cone.judgement, floor=None))
    assert "white bar" in dict(kinds_of_marks(with_cone))["cone"]
    assert white(with_cone) - white(made) > 100
    key = wall_section(with_cone, Settings()).partition("cone readings")[0].rpartition("<svg")[2]
    assert 'stroke="#fff"' in key


def test_agreement_in_words():
    assert agreement_words(ConeAgreement(6.0, 3, 2, 0, 1), "6.0 in", 300.0) == (
        "The cone agrees with the layer at 6.0 in: of 3 places that test it, "
        "300 psi are reached near it at 2 and not reached there at 1."
    )
    for tested, places in ((1, "the one place that tests it"), (2, "both"), (3, "all 3")):
        said = agreement_words(ConeAgreement(6.0, tested, tested, 0, 0), "6.0 in", 300.0)
        assert said.endswith(f"300 psi are reached near it at {places}.")
    assert agreement_words(ConeAgreement(6.0, 0, 0, 0, 0), "6.0 in", 300.0).startswith(
        "The cone does not tell of the layer at 6.0 in"
    )


def with_cone(*readings):
    made = turned_wall()
    cone = cone_profiles(readings, made.plane.surface.line_in, 300.0)
    return replace(made, judgement=replace(made.judgement, cone=cone))


def test_soil_that_is_hard_from_the_first_reading_may_be_hard_above_it():
    said = words(
        wall_section(with_cone(ConeReading(12.0, 8.0, 400.0), ConeReading(12.0, 9.0, 450.0)), Settings())
    )
    assert "12 in right of the card 8.0 in or above 450 9.0 in" in said


def test_no_pressure_is_drawn_above_the_first_reading():
    bare, drawn = (
        draw_sheets(made, Settings())[1]
        for made in (turned_wall(), with_cone(ConeReading(4.0, 9.0, 590.0), ConeReading(4.0, 15.0, 590.0)))
    )
    rows, columns = np.nonzero(
        ((drawn[..., :3] == CONE) & (bare != drawn).any(axis=2, keepdims=True)).all(axis=2)
    )
    left = columns.min()
    # The curve begins at 9 in of the 15 that the upright line goes down.
    far = rows[columns > left + 0.8 * (columns.max() - left)]
    assert far.min() > rows.min() + 0.5 * (rows.max() - rows.min())


def test_no_words_cover_the_limit_of_a_cone_or_the_top_of_a_berm():
    bare = turned_wall()
    view = wall_view(bare)
    (named,) = (label for label in lay_out_labels(blank(view), view, bare).labels if "layer at" in label.text)
    # A berm and the first 300 psi right under the words of the layer.
    x_in, z_in = bare.plane.to_wall_in([(np.array(named.centre) - [view.left_px, 0]) / view.scale])[0]
    surface = bare.plane.surface.line_in
    cone = cone_profiles([ConeReading(x_in, 1.0, 100.0), ConeReading(x_in, z_in, 300.0)], surface, 300.0)
    line = np.array([[x_in - 8, z_in + 5], [x_in + 2, z_in], [x_in + 8, z_in + 5]])
    judgement = replace(bare.judgement, cone=cone, floor=loosened_floor(line, surface, bare.row))
    made = replace(bare, judgement=judgement)
    places = told_places(view, judgement)
    assert len(places) == 2
    for label in lay_out_labels(blank(view), view, made).labels:
        for left, top, right, bottom in (
            np.vstack([box.min(axis=0), box.max(axis=0)]).ravel() for box in places
        ):
            assert (
                label.x > right or label.x + label.width < left or label.y > bottom or label.box.bottom < top
            )


def test_a_cone_beyond_the_photo_is_neither_drawn_nor_in_the_legend():
    made = with_cone(ConeReading(90.0, 3.0, 100.0), ConeReading(90.0, 6.0, 400.0))
    assert (draw_sheets(made, Settings())[1] == draw_sheets(turned_wall(), Settings())[1]).all()
    assert "cone" not in dict(kinds_of_marks(made))


def test_shanks_and_recorded_layers_that_the_photo_does_not_show_are_not_in_the_legend():
    kinds = dict(kinds_of_marks(turned_wall(shanks_at_in=(-90.0,), layers=(RecordedLayer("pan", 60.0),))))
    assert "shank" not in kinds and "recorded" not in kinds


def test_a_layer_recorded_deeper_than_the_photo_is_not_named_at_its_edge():
    made, bare = (turned_wall(layers=layers) for layers in ((RecordedLayer("pan", 60.0),), ()))
    assert all(
        (one == other).all()
        for one, other in zip(draw_sheets(made, Settings()), draw_sheets(bare, Settings()), strict=True)
    )


def test_a_sloped_layer_is_said_from_end_to_end():
    layer = turned_wall().layers[0]
    sloped = replace(layer, fitted=LayerLine("sloped", ((0.0, 5.0), (30.0, 8.0))))
    assert layer_depth_words(sloped) == "5.0 to 8.0 in, sloping from left to right"
    stepped = replace(layer, fitted=LayerLine("stepped", ((0.0, 5.0), (9.0, 5.0), (9.1, 8.0), (30.0, 8.0))))
    assert layer_depth_words(stepped) == "5.0 to 8.0 in, with a step from left to right"


def test_the_flag_of_a_sloped_layer_stands_where_its_line_begins():
    made = turned_wall()
    layer = made.layers[0]
    left, right = layer.x_from_in, layer.x_to_in

    def strip(*line):
        sloped = replace(layer, fitted=LayerLine("sloped", line)) if line else replace(layer, depth_in=4.0)
        return draw_sheets(replace(made, layers=(sloped,)), Settings())[1][:, :AXIS_PX]

    assert (strip((left, 4.0), (right, 9.0)) == strip()).all()
    assert (strip((left, 5.0), (right, 9.0)) != strip()).any()


def test_a_sloped_layer_is_named_by_both_its_depths_everywhere():
    layer = replace(turned_wall().layers[0], fitted=LayerLine("sloped", ((0.0, 5.0), (30.0, 8.0))))
    made = replace(turned_wall(), layers=(layer,))
    assert layer_short_words(layer) == "5.0 to 8.0 in"
    said = words(wall_section(with_ground(made), Settings()))
    assert "At 5.0 to 8.0 in, sloping from left to right, something held the roots" in said
    assert "the layer at 5.0 to 8.0 in:" in said


def test_descent_is_shown_by_depth_and_along_the_wall(section):
    assert "Descent at each depth" in section and "Descent along the wall" in section
