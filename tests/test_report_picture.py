import base64
import io
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import cv2
import numpy as np
import pytest
from handmade_roots import along, trace
from PIL import Image, ImageDraw
from report_walls import LENS, SOIL, empty_wall, open_wall, turned_wall, wall
from skimage.color import deltaE_ciede2000, rgb2lab

import rootread
from rootread.report import draw_wall, jpeg
from rootread.report.colours import (
    FADED_INK,
    INK,
    LEVEL,
    PAPER,
    VERDICT_COLOURS,
    WHITE,
    descent_colours,
    descent_table,
    hex_of,
    verdict_tone,
)
from rootread.report.embed import sheet_uri
from rootread.report.faces import STAND_IN, Face, cannot_be_drawn, font
from rootread.report.lettering import LabelRoom, wrap
from rootread.report.overlay import _label_run, lay_out_labels, runs_to_label
from rootread.report.picture import WIDTH_PX, draw_plane, draw_sheets, wall_view
from rootread.report.scale_picture import grid_labels
from rootread.report.shrink import shrunk
from rootread.report.strip import draw_strip
from rootread.report.strokes import clear_sheet, lay_over, stroke, veil
from rootread.report.view import AXIS_PX, TICK_PX
from rootread.settings import Settings
from rootread.units import length_words, lengths_shown_in

UNHEARD_OF = "\U000f0000"
"""A letter for private use (Unicode 15, section 23.5), which no font of a system has."""
COLOUR_TOLERANCE = 40
"""Per channel, of 255: anti-aliasing and the dark casing blend in."""
SAME_LOOK = 0.99
"""Correlation with the exact means: a shift of a third of a pixel gives less."""
EVEN_WITHIN = 0.15
"""Steps of the scale differ from their mean by no more than this share."""

# Machado, Oliveira and Fernandes 2009, IEEE TVCG 15:1291-1298: full deuteranopia and protanopia,
# acting on linear RGB (from memory).
DEUTERANOPIA = np.array(
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
)
PROTANOPIA = np.array(
    [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
)


def linear(colours):
    unit = np.asarray(colours, dtype=float) / 255
    return np.where(unit <= 0.04045, unit / 12.92, ((unit + 0.055) / 1.055) ** 2.4)


def contrast(one, other):
    """Contrast ratio of WCAG 2 between two sRGB colours."""
    light, dark = sorted((linear(colour) @ [0.2126, 0.7152, 0.0722] for colour in (one, other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def bare_photo(made):
    """The photo of a wall as pictures show it, without marks."""
    return draw_plane(made.photo, made.plane, Settings()).photo


@cache
def marked(made):
    """The photo with its marks, without the grade beneath."""
    return lay_over(draw_sheets(made, Settings())[1], bare_photo(made))


def colour_at(picture, place):
    column, row = np.round(place).astype(int)
    return picture[row, column].astype(int)


@pytest.mark.parametrize("size_px", [(640, 480), (600, 800), (3000, 2000), (2000, 500)])
def test_a_picture_is_as_wide_and_its_photo_as_high_as_it_should_be(size_px):
    to_photo = ((size_px[0] / 40, 0.0, 0.0), (0.0, size_px[0] / 40, 0.0), (0.0, 0.0, 1.0))
    made = open_wall(size_px=size_px, to_photo=to_photo)
    photo = bare_photo(made)
    assert photo.dtype == np.uint8
    assert photo.shape == (round(size_px[1] * (WIDTH_PX - AXIS_PX) / size_px[0]), WIDTH_PX, 3)
    whole = draw_wall(made, Settings())
    assert whole.shape[1] == WIDTH_PX
    assert whole.shape[0] > photo.shape[0]
    assert jpeg(whole)[:3] == b"\xff\xd8\xff"


def test_every_line_beside_the_grade_stands_by_itself(monkeypatch):
    written = []
    draw = ImageDraw.ImageDraw.text
    monkeypatch.setattr(
        ImageDraw.ImageDraw,
        "text",
        lambda self, at, text, **how: (written.append(text), draw(self, at, text, **how)),
    )
    draw_strip(turned_wall(), WIDTH_PX, Settings())
    (sideways,) = [line for line in written if line.endswith("ran sideways") and line[0].isdigit()]
    assert sideways.endswith("in of root ran sideways")


@pytest.mark.parametrize("lens", [None, LENS])
@pytest.mark.parametrize(("degrees", "tip"), [(45, (24, 14)), (90, (15, 15)), (20, (28, 5 + 13 * 0.36397))])
def test_a_root_is_drawn_where_the_plane_says_in_the_colour_of_its_descent(lens, degrees, tip):
    made = wall([trace(along((15, 5), tip))], lens=lens)
    view = wall_view(made)
    middle = made.plane.to_photo_px([[(15 + tip[0]) / 2, (5 + tip[1]) / 2]])
    place = (middle[0] + 0.5) * view.scale - 0.5 + [AXIS_PX, 0]
    drawn = colour_at(marked(made), place)
    bare = colour_at(marked(empty_wall(lens=lens)), place)
    assert np.abs(drawn - descent_colours([degrees])[0]).max() < COLOUR_TOLERANCE
    assert np.abs(bare - SOIL).max() <= 1


def test_marks_on_a_sheet_cover_the_photo_by_their_opacity():
    line = np.array([[0.0, 10.0], [40.0, 10.0]])
    sheet = clear_sheet(40, 20)
    veil(sheet, [line], WHITE, 13, 0.5)
    stroke(sheet, [line], LEVEL, 3)
    seen = lay_over(sheet, np.full((20, 40, 3), SOIL, np.uint8))
    assert np.abs(seen[10, 20].astype(int) - LEVEL).max() <= 1
    assert np.abs(seen[6, 20] - (np.array(SOIL) + WHITE) / 2).max() <= 2  # half veil, half soil
    assert np.abs(seen[0, 20].astype(int) - SOIL).max() <= 1


def test_a_veil_is_as_one_drawn_over_the_whole_sheet():
    line = np.array([[-20.0, 30.3], [60.0, 50.6], [400.0, 38.2]])
    for moved in ([0, 0], [0, -60], [0, 70], [0, 300]):
        below = np.random.default_rng(7).integers(0, 256, (100, 200, 4), np.uint8)
        drawn = below.copy()
        stroke(drawn, [line + moved], WHITE, 9)
        wanted = cv2.addWeighted(drawn, 0.4, below, 0.6, 0)
        veil(below, [line + moved], WHITE, 9, 0.4)
        assert np.array_equal(below, wanted)


@pytest.mark.parametrize("size_px", [(380, 285), (228, 171), (160, 120), (100, 75)])
def test_a_shrunk_photo_looks_like_its_means_over_areas(size_px):
    rng = np.random.default_rng(8)
    photo = cv2.GaussianBlur(rng.integers(0, 256, (300, 400, 3), np.uint8), (0, 0), 1.5)
    means = cv2.resize(photo, size_px, interpolation=cv2.INTER_AREA)
    small = shrunk(photo, size_px)
    assert small.shape == means.shape
    # Not shifted, and hardly dulled, though this texture is as fine as can be shown.
    assert np.corrcoef(small.ravel(), means.ravel())[0, 1] > SAME_LOOK
    assert small.std() == pytest.approx(means.std(), rel=0.15)


def test_the_sheet_in_the_page_looks_like_the_picture():
    made = turned_wall()
    address = sheet_uri(draw_sheets(made, Settings())[1], WIDTH_PX)
    kept = Image.open(io.BytesIO(base64.b64decode(address.partition(",")[2]))).convert("RGBA")
    on_page = Image.fromarray(bare_photo(made)).convert("RGBA")
    on_page.alpha_composite(kept)
    apart = np.abs(np.asarray(on_page)[:, :, :3].astype(int) - marked(made))
    assert apart.mean() < 1
    # 256 colours stand for all: one pixel in a thousand may be off by more than the eye would notice.
    assert np.quantile(apart.max(axis=2), 0.999) < COLOUR_TOLERANCE


def test_a_root_followed_from_its_tip_has_the_same_colours():
    line = along((15, 5), (24, 14))
    there, back = (marked(wall([trace(points)])) for points in (line, line[::-1]))
    # Away from the ends a pixel may differ by rounding of where lines meet.
    assert np.mean(np.abs(there.astype(int) - back).max(axis=2) > COLOUR_TOLERANCE) < 1e-4


def test_a_stretch_that_was_bridged_is_dashed():
    line = along((15, 5), (24, 14))
    unseen = np.arange(len(line)) > len(line) // 2
    made = wall([trace(line, inferred=unseen)])
    picture = marked(made)
    colour = descent_colours([45])[0]

    def coloured_share(points):
        places = wall_view(made).px(points)
        near = [np.abs(colour_at(picture, place) - colour).max() < COLOUR_TOLERANCE for place in places]
        return np.mean(near)

    assert coloured_share(line[5 : len(line) // 2 - 5]) == 1
    assert 0.3 < coloured_share(line[len(line) // 2 + 5 : -5]) < 0.8


def test_a_sideways_run_is_thicker_than_a_root_that_goes_down():
    made = turned_wall()
    picture = marked(made)
    view = wall_view(made)
    run = made.readings.roots[-1].runs[0]
    column, row = np.round(view.px([[run.x_to_in - 0.5, run.depth_in + 0.05]])[0]).astype(int)
    band = picture[row - 15 : row + 15, column].astype(int)
    assert (np.abs(band - LEVEL).max(axis=1) < COLOUR_TOLERANCE).sum() >= 6


def test_a_layer_is_flagged_on_the_axis_at_its_depth():
    made = turned_wall()
    row = round(wall_view(made).row_at_edges(made.layers[0].depth_in)[0])
    picture = marked(made)
    assert np.abs(picture[row - 20, 12].astype(int) - INK).max() <= 2
    assert np.abs(marked(empty_wall())[row - 20, 12].astype(int) - PAPER).max() <= 2


def test_a_level_line_slopes_in_a_photo_taken_askew():
    view = wall_view(open_wall())
    left, right = view.row_at_edges(10.0)
    # In the photo: row = (0.5 x + 20 z + 40) / (0.0002 x + 0.0001 z + 1), by the plane of these walls.
    for row, column in ((left, 0), (right, 799)):
        x_in, z_in = view.plane.to_wall_in([[column, (row + 0.5) / view.scale - 0.5]])[0]
        assert z_in == pytest.approx(10.0, abs=0.02)
        assert -4 < x_in < 42
    assert right > left + 10


@pytest.mark.parametrize(("unit", "apart_in", "depths"), [("in", 6.0, "6 in"), ("cm", 10 / 2.54, "10 cm")])
def test_the_scale_picture_s_grid_is_numbered_in_the_unit_shown(unit, apart_in, depths):
    view = wall_view(open_wall())
    with lengths_shown_in(unit):
        labels = {label.text: label for label in grid_labels(view)}
    row = labels[depths].centre[1]
    # The label stands at the left edge of the photo.
    assert view.row_at_edges(apart_in)[0] == pytest.approx(row, abs=3)


def test_no_line_on_a_picture_ends_between_a_number_and_its_unit():
    face, said = font(20), "Straight distance is 98 % of root length over each 8 cm."
    for width_px in range(120, 600, 10):
        lines = wrap(said, face, width_px, 20)
        assert " ".join(lines) == said
        assert all(not line.endswith(("98", "8")) for line in lines)
    assert wrap(" ", face, 100, 2) == []


def test_labels_neither_overlap_nor_cover_the_ticks_at_the_photo_s_edges():
    made = turned_wall(shanks_at_in=(5.0, 25.0))
    view = wall_view(made)
    labels = lay_out_labels(clear_sheet(WIDTH_PX, view.size_px[1]), view, made).labels
    assert len(labels) >= 4
    for one, other in combinations(labels, 2):
        apart = (
            one.x >= other.x + other.width
            or other.x >= one.x + one.width
            or one.y >= other.y + other.height
            or other.y >= one.y + one.height
        )
        assert apart
    for label in labels:
        assert label.x >= AXIS_PX + TICK_PX and label.x + label.width <= WIDTH_PX - TICK_PX
        assert label.y >= 0 and label.y + label.height <= view.size_px[1]


def test_the_longest_run_of_each_place_is_the_one_with_a_label():
    chosen = runs_to_label(turned_wall().readings.roots)
    lengths = [run.length_in for root in turned_wall().readings.roots for run in root.runs]
    assert chosen[0].length_in == max(lengths)
    assert len(chosen) == 2  # one bundle to the left, one to the right


def box(left, top, right, bottom):
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]])


def test_the_longest_run_has_its_length_where_the_layer_and_the_card_leave_little_room():
    made = turned_wall()
    view = wall_view(made)
    longest = runs_to_label(made.readings.roots)[0]
    ends = [[longest.x_from_in, longest.depth_in], [longest.x_to_in, longest.depth_in]]
    (left, y), (right, _) = view.px(ends)
    layer_words, card = (
        box(left - 400, y - 120, right + 400, y - 20),
        box(left + 15, y + 5, right + 400, y + 190),
    )
    size_px = view.right_px + 1, view.size_px[1]
    room = LabelRoom(size_px, view.left_px, np.empty((0, 2)), [layer_words, card])
    _label_run(clear_sheet(WIDTH_PX, view.size_px[1]), view, longest, room)
    (label,) = room.labels
    assert label.text == f"{length_words(longest.length_in)} sideways"
    # What is written later keeps off what leads from it to the run.
    x, _ = label.centre
    assert room.place("another", [(x, (label.y + y) / 2)], size_px=20, ink=WHITE, plate=INK) is None


def test_equal_angles_are_equally_different_to_the_eye():
    lab = rgb2lab(descent_table()[np.newaxis, ::10] / 255)[0]
    steps = deltaE_ciede2000(lab[:-1], lab[1:])
    assert np.abs(steps / steps.mean() - 1).max() < EVEN_WITHIN


@pytest.mark.parametrize("sight", [np.eye(3), DEUTERANOPIA, PROTANOPIA])
def test_steeper_is_darker_also_for_those_who_do_not_tell_red_from_green(sight):
    seen = np.clip(linear(descent_table()[::10]) @ sight.T, 0, 1)
    lightness = seen @ [0.2126, 0.7152, 0.0722]
    assert all(steeper < flatter for flatter, steeper in pairwise(lightness))


def test_letters_stand_out_as_wcag_asks():
    for colour in (INK, FADED_INK, *VERDICT_COLOURS.values()):
        assert contrast(colour, PAPER) >= 4.5
        assert contrast(colour, WHITE) >= 4.5
    assert contrast(INK, LEVEL) >= 4.5


@pytest.mark.parametrize("page", ["report/templates/style.css", "desk/page/desk.css"])
def test_report_and_desk_show_a_verdict_in_the_colour_of_the_pictures(page):
    style = (Path(rootread.__file__).parent / page).read_text(encoding="utf-8")
    for word, colour in VERDICT_COLOURS.items():
        assert f"--{word}: {hex_of(colour)};" in style


def test_of_two_verdict_words_the_worse_one_gives_the_colour():
    assert verdict_tone("slowed or turned") == "turned"
    assert verdict_tone("open") == "open"
    assert verdict_tone("no roots") == ""


# Seen so askew that the wall's horizon stands in the photo, 500 pixels from its left edge; 25 in left of
# the scale object is the camera's own plane.
ASKEW = ((20.0, 0.0, 60.0), (0.0, 20.0, 40.0), (0.04, 0.0, 1.0))


@pytest.mark.parametrize("shank_in", [-315.0, -25.0, 1e9])
@pytest.mark.parametrize("lens", [None, LENS])
def test_a_shank_beside_the_photo_is_not_drawn(shank_in, lens):
    given = {"to_photo": ASKEW, "lens": lens}
    without, beside = (open_wall(**given, shanks_at_in=at) for at in ((), (shank_in,)))
    assert np.array_equal(draw_sheets(beside, Settings())[1], draw_sheets(without, Settings())[1])
    within = open_wall(**given, shanks_at_in=(12.0,))
    assert not np.array_equal(draw_sheets(within, Settings())[1], draw_sheets(without, Settings())[1])


def test_what_cannot_be_drawn_of_a_line_is_left_out():
    line = np.array([[10, 10], [60, 10], [np.nan, 10], [1e30, 40], [10, 40], [60, 40.0]])
    sheet = clear_sheet(80, 60)
    stroke(sheet, [line], WHITE, 3)
    both_ends = clear_sheet(80, 60)
    stroke(both_ends, [line[:2], line[4:]], WHITE, 3)
    assert np.array_equal(sheet, both_ends)
    assert sheet[10, 30].all()


def test_a_photo_that_shows_the_horizon_of_its_wall_shows_a_limited_wall():
    least, most = wall_view(open_wall(to_photo=ASKEW)).wall_range_in
    assert least[0] == pytest.approx(-3.0, abs=0.1)
    assert 20.0 < most[0] < 300.0
    assert np.ptp([least[1], most[1]]) < 300.0


@pytest.mark.parametrize(
    "edges", [(0.0, 0.0, 0.0), (1e-12, 60.0, 80.0), (0.3, 0.5, 99.9), (100.0, 100.0, 100.0)]
)
def test_verdicts_without_room_on_the_scale_are_not_drawn(edges):
    judge = replace(Settings().judge, turned_from=edges[0], slowed_from=edges[1], open_from=edges[2])
    made = open_wall()
    drawn = draw_wall(made, replace(Settings(), judge=judge))
    assert drawn.shape == draw_wall(made, Settings()).shape


def letters(text, size_px=30):
    """A text as drawn on white, and the columns of it that have ink."""
    image = Image.new("L", (60 * size_px, 3 * size_px), 255)
    Face(size_px).write(ImageDraw.Draw(image), (size_px, size_px), text, 0)
    drawn = np.asarray(image)
    return drawn, np.flatnonzero((drawn < 128).any(axis=0))


def test_a_name_of_two_scripts_has_each_letter_from_a_font_that_has_it():
    if cannot_be_drawn(["壁面"]):
        pytest.skip("this machine has no font with these letters")
    mixed, _ = letters("Pit 3 壁面 a")
    boxes, _ = letters("Pit 3 \uffff\uffff a")
    other, _ = letters("Pit 3 面壁 a")
    assert (mixed != boxes).any() and (mixed != other).any()
    # Latin letters stay those of the usual font.
    alone, ink = letters("Pit 3")
    assert (mixed[:, : ink.max()] == alone[:, : ink.max()]).all()
    assert Face(30).getlength("壁面 a") == Face(30).getlength("壁面") + Face(30).getlength(" a")


def test_a_word_that_the_usual_font_has_is_drawn_as_pillow_draws_it():
    text = "naïve Größe стенка"
    plain = Image.new("L", (1800, 90), 255)
    ImageDraw.Draw(plain).text((30, 30), text, fill=0, font=font(30))
    assert (letters(text)[0] == np.asarray(plain)).all()
    assert (letters("nai\u0308ve")[0] == letters("naïve")[0]).all()


def test_a_letter_made_of_two_is_drawn_where_its_script_is_and_nowhere_else():
    # U+0E33 is a ring and the vowel aa (Unicode 15, section 16.1; from memory)
    assert bool(cannot_be_drawn(["\u0e33"])) == bool(cannot_be_drawn(["\u0e01"]))


def test_a_letter_that_no_font_has_is_no_box_and_is_told():
    assert cannot_be_drawn(["Pit 1", f"pit {UNHEARD_OF} 2", "Größe"]) == [f"pit {UNHEARD_OF} 2"]
    assert (letters(f"{UNHEARD_OF} 2")[0] == letters(f"{STAND_IN} 2")[0]).all()
