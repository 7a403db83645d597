import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from handmade_roots import along, trace
from report_walls import empty_wall, open_roots, open_wall, refused_wall, turned_roots, turned_wall, wall

from rootread.fieldsheet import RecordedLayer
from rootread.judge import CAUTIONS
from rootread.judge.strips import Strip
from rootread.judge.types import Grade
from rootread.marks import Marks
from rootread.measure.types import Interval
from rootread.plane import Grid, WallImage
from rootread.report import advice_items, page, profiles, rows_of, wall_section
from rootread.report.byhand import reading_words
from rootread.report.counsel import folder_advice
from rootread.report.definitions import definitions_of
from rootread.report.detail import around_layers
from rootread.report.profiles import passage_profile
from rootread.report.room import HIGHEST_MM, LEAST_MM, photo_height_mm
from rootread.report.rose import rose_lengths, rose_words
from rootread.report.section import anchor
from rootread.report.story import cautions, key_figures
from rootread.report.words import crack_words, scale_words
from rootread.settings import FindSettings, MeasureSettings, ReportSettings, Settings
from rootread.shares import odds, percent

SUM_TOLERANCE_IN = 0.1
PLAIN = Settings()
CENTIMETRES = Settings(report=ReportSettings(units="cm"))
NEVER_CLOSED = {"meta", "img", "input", "br"}


class Reader(HTMLParser):
    """Checks that what is opened is closed, and gathers ids, links, and addresses of pictures."""

    def __init__(self):
        super().__init__()
        self.open, self.ids, self.links, self.sources, self.tags, self.text = [], [], [], [], set(), []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.tags.add(tag)
        self.ids += [given["id"]] if "id" in given else []
        self.links += [given["href"]] if tag in ("a", "use") else []
        self.sources += [given[name] for name in ("src", "href") if tag in ("img", "image") and name in given]
        if tag not in NEVER_CLOSED:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in NEVER_CLOSED:
            self.open.pop()

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.text.append(data)


@cache
def section_of(made, settings=PLAIN):
    """A wall's section, its lines free to end anywhere."""
    return wall_section(made, settings).replace("\N{NO-BREAK SPACE}", " ")


def report(*walls, settings=PLAIN):
    rows = [rows_of(made)["walls"][0] for made in walls]
    sections = [section_of(made, settings) for made in walls]
    return page(rows, sections, settings, Path("graded"), [advice_items(made) for made in walls])


def read(html):
    reader = Reader()
    reader.feed(html)
    assert reader.open == []
    return reader


def words(html):
    return " ".join(" ".join(read(html).text).split())


def test_the_page_is_whole_and_needs_nothing_from_outside():
    html = report(turned_wall(), open_wall(), empty_wall(), refused_wall())
    reader = read(html)
    assert not reader.tags & {"script", "link", "iframe", "object"}
    assert "http://" not in html and "https://" not in html
    kinds = [source.split(";")[0] for source in reader.sources]
    # Of each wall that was read: thumbnail, photo, and the sheet of marks that lies over it; of the one
    # whose roots turned, also two runs close up, one to each side.
    plain = ["data:image/jpeg", "data:image/jpeg", "data:image/png"]
    assert kinds == ["data:image/jpeg"] * 2 + 3 * plain
    assert {link.removeprefix("#") for link in reader.links} <= {*reader.ids, "top"}
    assert len(set(reader.ids)) == len(reader.ids)


def test_what_the_sheet_says_cannot_act_on_the_page():
    evil = '"><script>alert(1)</script>'
    made = turned_wall(
        evil,
        notes=evil,
        treatment=evil,
        pit=evil,
        crop=evil,
        layers=(RecordedLayer(evil, 6.5), RecordedLayer(evil + "deep", 12.0)),
        cautions=(evil,),
    )
    refused = replace(refused_wall(), name=evil + "2", photo_name=evil, reason=evil, remedy=evil)
    html = report(made, refused)
    assert "script" not in read(html).tags
    assert "<script" not in html
    assert html.count("&lt;script&gt;") >= 10


def test_flagged_walls_come_first_and_then_the_worse_ones():
    html = report(open_wall("aa"), empty_wall("bb"), turned_wall("zz"))
    order = re.findall(r'<section class="wall" id="(wall-\w\w)">', html)
    assert order == ["wall-zz", "wall-aa", "wall-bb"]
    listed = re.findall(r'<li><a href="#(wall-\w\w)">', html)
    assert listed == order


def test_a_refused_wall_is_told_apart_with_its_reason_and_what_to_do():
    text = words(report(open_wall(), refused_wall("lost")))
    assert "Not read" in text
    assert "No scale object." in text
    assert "What to do: Hang the card." in text
    assert "1 wall could not be read" in text


def test_a_page_of_refused_walls_alone_still_says_so():
    text = words(report(refused_wall()))
    assert "No wall could be read." in text


def test_a_bare_wall_has_a_section_without_a_grade():
    text = words(report(empty_wall()))
    assert "No roots were found on this wall" in text
    assert "Without roots there is no grade." in text
    assert "nan" not in text.lower()


def test_every_wall_is_a_dot_in_the_row_of_its_treatment():
    walls = [
        turned_wall("a", treatment="shallow", pit="1"),
        open_wall("b", treatment="deep", pit="1"),
        open_wall("c", treatment="deep", pit="2"),
        open_wall("d"),
    ]
    html = report(*walls)
    assert html.count('class="dot ') == 4
    rows = html.split('class="dots-row"')[1:]
    assert [row.count('class="dot ') for row in rows] == [2, 1, 1]
    assert "deep" in rows[0] and "shallow" in rows[1] and "no treatment named" in rows[2]


@pytest.mark.parametrize(
    ("grade", "stands_in"), [(39.0, "stopped"), (57.0, "turned"), (61.0, "slowed"), (81.0, "open")]
)
def test_a_dot_has_the_colour_of_the_place_where_it_stands(grade, stands_in):
    unsure = replace(
        turned_wall("a", treatment="shallow"),
        grade=Grade(Interval(grade, grade - 6, grade + 6), (), "of two words, slowed or turned"),
    )
    (row,) = rows_of(unsure)["walls"]
    html = page([row], [section_of(unsure)], PLAIN, Path("graded"), [advice_items(unsure)])
    assert f'class="dot {stands_in}' in html.partition("By treatment")[2]
    assert 'class="verdict turned"' in html
    assert "likely range holds both; it is written in the colour of the worse." in html


def test_the_report_says_what_it_does_to_the_descent_if_roots_leave_the_wall_plane():
    made = turned_wall()
    section = section_of(made)
    unfolded, _, folded = section.partition('<details class="more">')
    least, seen = made.judgement.least_descent_deg, made.readings.descent.value
    assert least < seen
    says = (
        f"if roots leave the wall plane by 30°, every one, the mean descent is {least:.0f}°, not {seen:.0f}°"
    )
    assert says in " ".join(re.sub("<[^>]*>", " ", unfolded).split())
    assert "leave the wall plane" not in folded


def test_two_shares_of_flattened_root_say_what_each_is_a_share_of():
    text = words(section_of(turned_wall()))
    assert re.search(r"looks squeezed flat \d+ % \([^)]*\) of the length of all roots", text)
    assert re.search(
        r"of the root length looks flattened\. That is of the roots that count for the grade", text
    )


def test_pits_are_counted_only_where_every_wall_names_its_own():
    north, south = turned_wall("a", pit="1"), open_wall("b", pit="2")
    assert "2 pit walls from 2 pits" in words(report(north, south))
    unnamed = words(report(north, south, open_wall("c")))
    assert "3 pit walls" in unnamed and "3 pit walls from" not in unnamed


def test_without_treatments_there_is_no_comparison_of_them():
    assert "By treatment" not in report(open_wall(), turned_wall())


def test_the_section_says_what_the_roots_did_at_the_layer():
    wall = turned_wall()
    text = words(section_of(wall))
    assert "of 8 roots that came to it 0 crossed, 8 turned" in text
    assert f"{wall.layers[0].depth_in:.1f} in (16 cm)" in text
    assert "disk 6.5" in text
    for part in ("descent", "passage", "straightness", "roundness", "evenness"):
        assert part in text


def test_the_section_says_whether_a_person_looked_and_what_they_changed():
    as_read = wall_section(turned_wall(), Settings())
    assert re.search(r"checked by eye</dt><dd>no", as_read) and "mended by hand" not in as_read
    wall = replace(turned_wall(), layers=())
    marks = Marks(
        splits_px=((1.0, 2.0),),
        layers_struck_px=(((5.0, 5.0), (9.0, 5.0)),),
        checked=reading_words(wall.readings, wall.layers, wall.grade),
    )
    html = wall_section(replace(wall, marks=marks), Settings())
    assert re.search(r"checked by eye</dt><dd>yes", html)
    assert re.search(r"mended by hand</dt><dd>1 root parted and 1 layer struck", html)
    assert "There is no depth at which" not in html, "the program did see one"
    earlier = replace(wall, marks=replace(marks, checked="9 roots, 80 in, no layer"))
    assert "not as it reads now, but when it read: 9 roots, 80\N{NO-BREAK SPACE}in" in wall_section(
        earlier, Settings()
    )
    metric = Settings(report=ReportSettings(units="cm"))
    assert "when it read: 9 roots, 203\N{NO-BREAK SPACE}cm, no layer" in wall_section(earlier, metric)


def test_the_growth_pattern_is_stated_the_way_the_settings_state_it():
    assert "30 to 35° below level" in words(report(open_wall()))
    plumb = Settings(measure=MeasureSettings(pattern_from="plumb"))
    assert "30 to 35° from plumb" in words(report(open_wall(), settings=plumb))


def test_the_page_says_how_roots_were_told_from_soil():
    by_network = words(report(open_wall()))
    assert "Roots are found by a small network that learnt on made walls" in by_network
    assert "ridges that stand out" not in by_network
    by_ridges = words(report(open_wall(), settings=Settings(find=FindSettings(finder="ridges"))))
    assert "Roots are found as narrow ridges that stand out from the soil" in by_ridges
    assert "network that learnt" not in by_ridges


def test_settings_and_limits_are_on_the_page():
    text = words(report(open_wall()))
    assert "run_min_length_in = 1.5" in text
    assert "What a photo of a wall cannot see" in text
    # comparison of four rooting methods, Plant and Soil 172:63-71, 1995
    assert "profile walls gave 4 to 10 times less than cores, and differently in each soil" in text
    assert "local codes and licensed practice decide" in text


@pytest.mark.parametrize(
    ("depth_in", "ladder", "shoring"),
    [(40, False, False), (50, True, False), (60, True, True), (None, False, False)],
)
def test_a_deep_pit_asks_for_a_ladder_and_a_deeper_one_for_shoring(depth_in, ladder, shoring):
    # 29 CFR 1926.651-652 (OSHA; from memory): a ladder from 4 ft, a protective system from 5 ft.
    text = words(section_of(open_wall(pit_depth_in=depth_in)))
    assert ("a ladder within 25 feet" in text) == ladder
    assert ("a protective system" in text) == shoring


def test_advice_stands_before_the_picture_with_what_it_rests_on():
    made = turned_wall()
    section = section_of(made)
    (advice,) = made.judgement.advice
    before, _, after = section.partition("<figure>")
    assert advice.text in before and advice.evidence in before
    assert advice.text not in after


def test_the_summary_says_the_same_advice_once_for_all_walls_that_get_it():
    walls = [turned_wall("a"), turned_wall("b"), empty_wall("c")]
    text, same = words(report(*walls)), walls[0].judgement.advice[0].text
    summary = text.partition("Before anyone climbs in")[0]
    assert summary.count(same) == 1
    told = folder_advice({made.name: advice_items(made) for made in walls})
    assert [group["walls"] for group in told] == [["a", "b"], ["c"]]
    assert told[0]["evidence"] == [(name, walls[0].judgement.advice[0].evidence) for name in "ab"]


def test_what_is_to_be_done_comes_before_what_is_to_be_left():
    leave = {"kind": "leave", "text": "Leave it.", "evidence": "Nothing."}
    deeper = {"kind": "run deeper", "text": "Run deeper.", "evidence": "A layer."}
    told = folder_advice({"a": [leave], "b": [leave], "c": [deeper, leave]})
    assert [group["text"] for group in told] == ["Run deeper.", "Leave it."]
    assert told[1]["walls"] == ["a", "b"]  # of a wall with two pieces of advice, the first


def test_advice_for_the_worst_wall_comes_first_whatever_depth_it_names():
    asked = [{"kind": "run deeper", "text": f"A layer at {z} in.", "evidence": ""} for z in (7, 10, 5)]
    told = folder_advice({f"pit{k}": [one] for k, one in enumerate(asked)})
    assert [group["walls"] for group in told] == [["pit0"], ["pit1"], ["pit2"]]


def test_the_cautions_are_said_once_however_many_walls_there_are():
    text = words(report(turned_wall("a"), turned_wall("b"), open_wall("c")))
    for caution in CAUTIONS:
        assert text.count(caution) == 1


def test_thirds_of_a_wall_are_called_a_guess_and_known_shanks_are_not():
    guessed = words(section_of(turned_wall()))
    known = words(section_of(turned_wall(shanks_at_in=(5.0, 25.0))))
    assert "left third" in guessed and "a guess" in guessed
    assert "slot" in known and "a guess" not in known
    assert "Slots reach from 3 to 10 in right and from 20 to 27 in right: a quarter of the spacing" in known
    # Their descents do not average to the wall's, which stands above.
    note = "thin roots count in part here, as in the grade; the mean descent leaves them out"
    assert note in guessed and note in known


def test_advice_on_a_photo_that_is_hard_to_read_begins_with_looking_again():
    plain = turned_wall()
    dark = replace(plain, root_map=replace(plain.root_map, cautions=("This photo is very dark.",)))
    checked = replace(dark, marks=Marks(checked="8 roots, no layer, grade 45"))
    said = [words(section_of(made)) for made in (plain, dark, checked)]
    assert ["Look again first" in section for section in said] == [False, True, False]
    assert (
        said[1].index("This photo is very dark.")
        < said[1].index("Look again first")
        < said[1].index("run points")
    )


def test_a_layer_is_told_with_the_likely_share_that_crosses():
    layer = turned_wall().layers[0]
    low, high = (100 * edge for edge in (layer.passage_interval.low, layer.passage_interval.high))
    assert f"of 100 such roots, likely {low:.0f} to {high:.0f} cross" in words(section_of(turned_wall()))


def test_a_handful_of_roots_is_not_said_to_show_that_there_is_no_layer():
    few = words(section_of(wall(open_roots()[:1], "few")))
    assert few.count("So few roots do not tell of a layer.") == 2
    assert "no depth at which" not in few.lower()
    assert "1 root thick enough to count" in few


def test_shanks_that_ran_elsewhere_are_not_said_to_be_unknown():
    elsewhere = words(section_of(turned_wall(shanks_at_in=(-90.0, -60.0))))
    assert (
        "nearly all roots of this wall are in slots, or in berms, so thirds of the wall stand in" in elsewhere
    )
    assert "The sheet does not say where the shanks went" not in elsewhere


def test_guessed_slots_are_told_with_their_places():
    made = turned_wall()
    slot = Strip("slot", True, ((-3.0, 4.0), (10.0, 15.0)), 12.0, 30.0, 0.2, 40.0, 0.9)
    berm = replace(slot, name="berm", reaches_in=((4.0, 10.0),))
    made = replace(made, judgement=replace(made.judgement, strips=(slot, berm)))
    said = words(section_of(made))
    assert "crossed the layer, from 3 in left to 4 in right and from 10 to 15 in right: a guess" in said


def test_root_above_and_at_the_layer_adds_up_to_the_root_of_the_wall():
    made = turned_wall()
    table = around_layers(made.judgement, made.layers)
    assert [row[0] for row in table["rows"]] == ["above the layer", "at the layer"]
    length_in = sum(float(row[2].removesuffix(" in")) for row in table["rows"])
    assert length_in == pytest.approx(made.readings.root_length_in, abs=len(table["rows"]) * 0.5)
    assert around_layers(open_wall().judgement, ()) is None


def test_the_curve_of_passage_ends_where_the_share_of_roots_ends_within_its_band():
    made = wall([*turned_roots()[:6], *open_roots()])
    curve = made.judgement.passage
    drawing = passage_profile(curve, made.readings, made.layers)
    ways = {
        kind: np.array(re.findall(r"[-\d.]+", shape), dtype=float).reshape(-1, 2)
        for shape, kind in re.findall(r'<path d="(M[^"]*?)Z?" class="(band|curve|few)"/>', drawing)
    }
    way = np.vstack([ways["curve"], ways.get("few", np.empty((0, 2)))])
    assert way[0, 0] == pytest.approx(profiles.LEFT + profiles.WIDTH * curve.share[0], abs=0.1)
    assert way[-1, 0] == pytest.approx(profiles.LEFT + profiles.WIDTH * curve.share[-1], abs=0.1)
    assert 0 < curve.share[-1] < 1
    low, high = ways["band"][len(curve.depth_in) - 1, 0], ways["band"][len(curve.depth_in), 0]
    assert low < way[-1, 0] < high


def test_the_words_above_a_drawing_are_clear_of_the_numbers_of_its_upper_axis():
    made = turned_wall()
    drawing = passage_profile(made.judgement.passage, made.readings, made.layers)
    rows = {
        said: float(y) for y, said in re.findall(r'<text x="[-\d.]+" y="([-\d.]+)"[^>]*>([^<]*)<', drawing)
    }
    tail_px = 3.0  # of the letters p and comma, below the line they stand on
    assert rows["100"] - profiles.NUMBER_PX >= rows["depth, in"] + tail_px
    assert rows["depth, in"] == rows["of 100 roots"] >= profiles.LETTERS_PX


def test_finer_figures_are_folded_away():
    section = section_of(turned_wall())
    folded = section.partition("<details")[2]
    assert "half of the root length lies above" in folded
    assert "fine, 1–2 mm" in folded or "medium, 2–5 mm" in folded


@pytest.mark.parametrize(
    ("se_px", "says"), [(0.0004, "within 0.1 %"), (0.05, "give or take 0.5 %"), (0.2, "give or take 2.0 %")]
)
def test_no_scale_is_said_to_be_exact(se_px, says):
    made = open_wall()
    scale = replace(made.plane.scale, px_per_in=20.0, px_per_in_se=se_px)
    assert says in scale_words(replace(made.plane, scale=scale))


def test_the_rose_holds_all_root_length_in_the_direction_it_went():
    right_45 = trace(along((15, 1), (25, 11)), name="a")
    left_45_from_its_tip = trace(along((5, 11), (15, 1)), name="b")
    level_right = trace(along((15, 5), (20, 5)), name="c")
    straight_down = trace(along((15, 1), (15, 7)), name="d")
    made = wall([right_45, left_45_from_its_tip, level_right, straight_down])
    lengths = rose_lengths(made.readings.roots)
    assert lengths.sum() == pytest.approx(made.readings.root_length_in, abs=SUM_TOLERANCE_IN)
    diagonal = np.hypot(10, 10)
    assert lengths[4] == pytest.approx(diagonal, abs=SUM_TOLERANCE_IN)  # 40 to 50 degrees, right
    assert lengths[13] == pytest.approx(diagonal, abs=SUM_TOLERANCE_IN)  # the same, left
    assert lengths[0] == pytest.approx(5, abs=SUM_TOLERANCE_IN)
    assert lengths[8] + lengths[9] == pytest.approx(6, abs=SUM_TOLERANCE_IN)
    assert rose_words(made.readings.roots).startswith(
        "13 % of the length of all roots, thin ones too, lies within 30° of level, 72 % slants"
    )


def test_different_wall_names_have_different_places_on_the_page():
    names = ["a b", "a-b", "a_b", "a_20_b", "A b", "a  b", "ä b"]
    assert len({anchor(name) for name in names}) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+", anchor(name)) for name in names)


@pytest.mark.parametrize(
    ("p_value", "words"),
    [
        (0.0, "almost never"),
        (0.001, "about 1 time in 1000"),
        (0.25, "about 1 time in 4"),
        (0.75, "about 8 times in 10"),
        (0.97, "nearly every time"),
        (1.0, "every time"),
    ],
)
def test_a_probability_is_told_as_so_many_times_in_so_many(p_value: float, words: str) -> None:
    assert odds(p_value) == words


@pytest.mark.parametrize(
    ("cracked", "stretches", "words"),
    [
        (1, 1, "flattened in a crack"),
        (0, 1, "in no crack that shows"),
        (2, 3, "2 of them flattened in a crack"),
        (0, 3, "none in a crack that shows"),
        (2, 2, "both flattened in a crack"),
        (3, 3, "all flattened in a crack"),
    ],
)
def test_of_one_flattened_stretch_no_share_is_told(cracked: int, stretches: int, words: str) -> None:
    assert crack_words(cracked, stretches) == words


def test_the_more_is_told_of_a_wall_the_lower_its_printed_photo():
    heights = [photo_height_mm(["word " * 20], ["word " * 20] * k, [], ["a layer"], []) for k in range(40)]
    assert heights == sorted(heights, reverse=True)
    assert (heights[0], heights[-1]) == (HIGHEST_MM, LEAST_MM)
    a_line_more = photo_height_mm(["word " * 40], ["word " * 20] * 14, [], ["a layer"], [])
    assert LEAST_MM < a_line_more < heights[14] < HIGHEST_MM


def test_the_range_of_what_was_traced_is_said_to_be_of_the_true_length():
    figures = dict(key_figures(turned_wall()))
    assert re.fullmatch(r"8 roots, \d+ in \(true length \d+ to \d+\)", figures["traced"])


def test_a_wall_with_a_handful_of_roots_says_that_its_grade_is_theirs():
    few = wall(open_roots()[:2])
    assert any("says little of the wall" in caution for caution in cautions(few))
    assert not any("says little of the wall" in caution for caution in cautions(turned_wall()))
    assert cautions(empty_wall()) == []


@pytest.mark.parametrize("settings", [PLAIN, CENTIMETRES])
def test_no_number_of_a_wall_is_parted_from_its_unit_at_the_end_of_a_line(settings):
    section = wall_section(turned_wall(), settings)
    told = re.sub(r"<svg.*?</svg>|<[^>]*>", "", section, flags=re.DOTALL)
    assert re.findall(r"\d+\s(?:in|cm|%)(?!\w)", told) and not re.findall(r"\d+ (?:in|cm|%)(?!\w)", told)
    assert re.findall(r"±\s\d", told) and not re.findall(r"± \d", told)


@pytest.mark.parametrize(
    ("share", "words"), [(0.0, "0 %"), (0.004, "under 1 %"), (0.006, "1 %"), (1.0, "100 %")]
)
def test_a_little_is_not_told_as_nothing(share, words):
    assert percent(share) == words


def test_the_page_says_what_scores_nothing_and_what_is_not_in_the_growth_pattern():
    told = dict(definitions_of(PLAIN))
    assert "0 where roots kept 50 % of a free descent and 100 from 95 % on" in told["score of a part"]
    assert "5° at least. Thin roots are left out" in told["against the growth pattern"]


def test_the_page_says_what_each_part_counts_though_the_weights_add_up_to_more_than_1():
    judge = replace(PLAIN.judge, weight_descent=0.9, weight_passage=0.9, open_from=82.5)
    told = dict(definitions_of(replace(PLAIN, judge=judge)))["grade"]
    shares = "descent 41 %, passage 41 %, straightness 7 %, roundness 5 % and evenness 7 %"
    assert shares in told and "Open from 82.5, slowed from 60" in told


def test_where_roots_turned_it_is_said_that_they_may_have_got_down_all_the_same():
    note = "A root that turned did not cross, though it may have got down farther on"
    assert turned_wall().layers and note in wall_section(turned_wall(), PLAIN)
    assert note not in wall_section(open_wall(), PLAIN)


def test_a_depth_below_all_that_the_photo_shows_is_asked_about_since_advice_goes_by_it():
    made = turned_wall()
    soil = np.ones((25, 10), bool)
    image = WallImage(np.zeros((25, 10, 3), np.uint8), soil, Grid(1.0, 0.0, 0.0, (25, 10)))
    deep = replace(made, image=image, row=replace(made.row, tool_depth_in=36.0))
    (told,) = [caution for caution in cautions(deep) if "the tool" in caution]
    assert told.startswith(
        "The sheet has the tool at 36.0 in, but the photo shows the wall down to 24.0 in. "
    )
    assert "write the unit" in told
    assert cautions(replace(deep, row=replace(deep.row, tool_depth_in=14.0))) == []
    outlined = Marks(outline_px=((0.0, 0.0), (9.0, 0.0), (9.0, 9.0)))
    assert cautions(replace(deep, marks=outlined)) == []  # drawn by hand, it may end above


@pytest.mark.parametrize(
    ("crop", "told"),
    [
        ("corn", False),
        ("Sweet corn", False),
        ("maíz", False),
        ("", False),
        ("soybean", True),
        ("acorn squash", True),
    ],
)
def test_of_another_crop_than_corn_it_is_said_that_the_growth_pattern_is_corn_s(crop, told):
    made = turned_wall()
    told_of = cautions(replace(made, row=replace(made.row, crop=crop)))
    assert any("is corn's" in caution for caution in told_of) == told
