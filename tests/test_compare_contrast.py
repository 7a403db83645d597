import csv
import io
import json
import re
import shlex
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from handmade_roots import along
from scipy import stats

from rootread.compare import (
    contrast_csv,
    contrast_folders,
    contrast_page,
    contrast_text,
    contrast_walls,
    depth_profiles,
    grade_words,
    read_season,
    read_table,
)
from rootread.compare.measures import ALL, DEFAULT
from rootread.compare.page import headline
from rootread.compare.plots import EDGE, LETTERS_PX, WIDTH
from rootread.compare.scale import Scale
from rootread.compare.words import sentences
from rootread.errors import BadRequest
from rootread.report.faces import Face
from rootread.report.tables import table_csv
from rootread.schema import ROOTS, WALLS

BLANK_WALL = {column.name: "" if column.type is str else None for column in WALLS}
BLANK_ROOT = {column.name: "" if column.type is str else None for column in ROOTS}


def a_wall(name, treatment, pit="", grade=60.0, **given):
    return BLANK_WALL | {
        "wall": name,
        "treatment": treatment,
        "pit": pit,
        "status": "read",
        "grade": grade,
        "grade_low": grade - 5,
        "grade_high": grade + 5,
        **given,
    }


def pits(deep, shallow):
    """Pits p0, p1, ... with one deep and one shallow wall each."""
    return [
        a_wall(f"p{k}-{name}", name, f"p{k}", grade)
        for k, pair in enumerate(zip(deep, shallow, strict=True))
        for name, grade in zip(("deep", "shallow"), pair, strict=True)
    ]


def grade_pair(rows, **given):
    (pair,) = contrast_walls(rows, measures=("grade",), **given).pairs
    return pair


def flat(contrast):
    return " ".join(contrast_text(contrast).split())


def test_pits_that_hold_both_treatments_are_compared_with_themselves():
    # Pits differ by far more than treatments do: only pit by pit does the difference show.
    shallow = np.array([20.0, 30, 40, 50, 60, 70, 80, 90])
    rows = pits(shallow + 5, shallow)
    pair = grade_pair(rows)
    assert pair.paired
    assert pair.effect.value == pytest.approx(5)
    assert pair.test.p_value == 2 / 2**8
    apart = grade_pair(rows, pair="")
    assert not apart.paired
    assert apart.test.p_value > 0.5


def test_the_sign_of_the_difference_follows_the_order_of_the_names():
    pair = grade_pair(pits([60, 70], [50, 50]))
    assert (pair.first, pair.second) == ("deep", "shallow")
    assert pair.effect.value == pytest.approx(15)


def test_several_walls_of_a_treatment_in_one_pit_count_once():
    """Pits are the replicates: Hurlbert 1984, Ecological Monographs 54:187-211 (from memory)."""
    rows = pits([70, 71, 72, 73, 74, 75], [60, 62, 61, 66, 64, 63])
    doubled = rows + [row | {"wall": row["wall"] + "-again"} for row in rows]
    one, two = grade_pair(rows), grade_pair(doubled)
    assert two.test.p_value == one.test.p_value
    assert two.effect == one.effect
    assert len(two.units) == 12


def test_pits_of_the_same_name_in_two_folders_are_two_pits():
    rows = [row | {"folder": folder} for folder in ("2025", "2026") for row in pits([70, 80], [60, 50])]
    assert len(grade_pair(rows).differences) == 4


def test_few_complete_pits_among_many_are_no_reason_to_pair():
    rows = pits([70, 80], [60, 50]) + [a_wall(f"x{k}", "deep", f"x{k}", 60 + k) for k in range(5)]
    assert not grade_pair(rows).paired
    rows = [*pits([70, 80], [60, 50]), a_wall("x", "deep", "x")]
    pair = grade_pair(rows)
    assert pair.paired
    assert {unit.pit for unit in pair.units} == {"p0", "p1"}


def test_walls_without_a_pit_stand_alone():
    rows = [a_wall(f"w{k}", "ab"[k % 2], grade=50.0 + k) for k in range(8)]
    pair = grade_pair(rows)
    assert not pair.paired
    assert len(pair.units) == 8


def test_walls_that_name_no_pit_are_counted_and_said():
    rows = [a_wall(f"w{k}", "ab"[k % 2], grade=50.0 + k) for k in range(8)]
    assert "8 walls name no pit; each counts as one of its own." in flat(contrast_walls(rows))
    named = [row | {"pit": f"p{k}"} for k, row in enumerate(rows)]
    assert "1 wall names no pit; it counts" in flat(contrast_walls([*named, a_wall("x", "a")]))
    assert "no pit" not in flat(contrast_walls(named))
    assert "no pit" not in flat(contrast_walls(rows, pair=""))


def test_one_wall_a_treatment_differs_as_a_wall_and_says_nothing_of_the_treatment():
    contrast = contrast_walls(pits([80], [50]), measures=("grade",))
    assert contrast.pairs[0].test is None
    text = flat(contrast)
    assert "these two walls differ. Nothing can be said of the treatments" in text
    assert "The test takes it" not in text  # there is none
    # A wall's name keeps its small letter where a sentence begins with a capital.
    assert "By wall: p0-deep (deep) 80.0 points" in contrast_page(contrast).replace("&#39;", "'")
    # The walls' own ranges, +- 5, are all that is known of their spread: a lower bound of it.
    assert "takes at least 6 pits with both treatments" in text
    near = flat(contrast_walls(pits([54], [50]), measures=("grade",)))
    assert "differ by no more than reading them is unsure by" in near


def test_one_pit_of_one_treatment_among_many_of_the_other_says_nothing():
    rows = [a_wall("d", "deep", "p9", 90.0)] + [
        a_wall(f"s{k}", "shallow", f"p{k}", 50.0 + k) for k in range(9)
    ]
    text = flat(contrast_walls(rows, measures=("grade",)))
    assert "Of deep there is one pit alone, so nothing can be said of the treatments." in text


def test_three_pits_are_told_that_they_cannot_show_anything():
    text = flat(contrast_walls(pits([90, 91, 92], [50, 50, 51]), measures=("grade",)))
    assert "p cannot fall below 0.25. It takes at least 6 pits with both." in text
    assert "the treatments differ" not in text


def test_a_range_that_leaves_out_nought_is_said_not_to_gainsay_p():
    few = contrast_walls(pits([90, 91, 92], [50, 50, 51]), measures=("grade",))
    assert few.pairs[0].effect.low > 0 and few.pairs[0].test.p_value == 0.25
    assert "A likely range that leaves out 0 does not change that." in flat(few)
    assert "a range may leave out 0 though p shows no more than chance. Then go by p." in flat(few)
    # Of three treatments the report shows range and p too; there it has no other words about either.
    rows = [
        a_wall(f"p{k}-{n}", name, f"p{k}", 50 + 9 * n + k) for k in range(3) for n, name in enumerate("abc")
    ]
    assert grade_words(rows)[-1].endswith("Then go by p.")
    agreed = pits([90, 91, 92, 88, 89, 95, 94], [50, 50, 51, 60, 55, 52, 51])
    assert not grade_words(agreed)[-1].endswith("Then go by p.")


def test_a_name_that_ends_in_a_number_does_not_run_into_the_figure():
    rows = [row | {"treatment": f"{row['treatment']} at 14"} for row in pits([60, 61], [50, 51])]
    told = "60.5 points with deep at 14 and 50.5 with shallow at 14: 10.0 higher with deep at 14"
    assert told in flat(contrast_walls(rows, measures=("grade",)))
    assert any(told in line for line in grade_words(rows))


def test_enough_pits_that_agree_show_that_treatments_differ():
    contrast = contrast_walls(pits([90, 91, 92, 88, 89, 95, 94], [50, 50, 51, 60, 55, 52, 51]))
    pair = contrast.pairs[0]
    assert pair.p_holm == pair.test.p_value  # the walls have no other figure than the grade
    text = flat(contrast)
    assert "higher with deep, and so in 7 of 7 pits" in text and "the treatments differ" in text
    assert "8 times in 10" not in text  # no more pits are needed


def test_asking_many_questions_makes_each_answer_weaker():
    deep, shallow = [90, 91, 92, 88, 89, 95, 94], [50, 50, 51, 60, 55, 52, 51]
    rows = [row | {"tortuosity": 1 + k / 100} for k, row in enumerate(pits(deep, shallow))]
    contrast = contrast_walls(rows, measures=("grade", "tortuosity"))
    grade = contrast.pairs[0]
    assert grade.p_holm == pytest.approx(2 * grade.test.p_value)
    assert "2 questions were asked" in flat(contrast)


def test_three_treatments_are_tested_together_and_pair_by_pair():
    draw = np.random.default_rng(5)
    rows = [
        a_wall(f"p{k}{name}", name, f"p{k}", base + 3 * draw.normal() + 10 * k)
        for k in range(7)
        for name, base in (("deep", 60), ("none", 40), ("shallow", 42))
    ]
    contrast = contrast_walls(rows, measures=("grade",))
    assert [(pair.first, pair.second) for pair in contrast.pairs] == [
        ("deep", "none"),
        ("deep", "shallow"),
        ("none", "shallow"),
    ]
    overall = contrast.overall["grade"]
    # Friedman's test asks the same of ranks (SciPy): both must see this difference.
    grades = [
        [row["grade"] for row in rows if row["treatment"] == name] for name in ("deep", "none", "shallow")
    ]
    assert overall.test.p_value < 0.01 and stats.friedmanchisquare(*grades).pvalue < 0.01
    assert [pair.p_holm < 0.05 for pair in contrast.pairs] == [True, True, False]
    assert "Over all 3 treatments" in flat(contrast)


def test_treatments_that_differ_together_but_not_two_by_two_are_said_to_do_so():
    rows = [
        a_wall(f"p{k}{name}", name, f"p{k}", base + 2 * k)
        for k in range(4)
        for name, base in (("deep", 90), ("none", 40), ("shallow", 60))
    ]
    contrast = contrast_walls(rows, measures=("grade",))
    assert all(pair.test.least_p > 0.05 for pair in contrast.pairs)
    assert headline(contrast) == (
        "Taken together, the treatments differ in grade; to say which from which takes more pits."
    )
    alike = [row | {"grade": 60.0 + k % 5} for k, row in enumerate(rows)]
    assert headline(contrast_walls(alike, measures=("grade",))) == (
        "Too few pits to tell any two treatments apart."
    )


def test_refused_walls_and_those_without_treatment_are_left_out_by_name():
    rows = [*pits([60, 61], [50, 51]), a_wall("lost", "deep", "p7", status="refused"), a_wall("who", "")]
    contrast = contrast_walls(rows, measures=("grade",))
    assert contrast.left_out == ("lost", "who")
    assert "lost and who" in flat(contrast)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"by": "soil"}, "no column soil"),
        ({"pair": "block"}, "no column block"),
        ({"measures": ("depth",)}, "--measure depth is not known"),
    ],
)
def test_a_request_that_makes_no_sense_is_told_so(given, says):
    with pytest.raises(BadRequest, match=re.escape(says)):
        contrast_walls(pits([60, 61], [50, 51]), **given)


def test_a_report_says_of_its_treatments_what_their_grades_say():
    told = " ".join(grade_words(pits([90, 91, 92], [50, 50, 51])))
    assert "3 pits hold both treatments" in told
    assert "so in 3 of 3 pits" in told
    assert grade_words([a_wall("a", "deep"), a_wall("b", "")]) == []
    assert grade_words(pits([90], [50]))[1].startswith("Grade by wall: p0-deep (deep) 90.0 points, ")


def test_a_report_says_the_figures_that_a_contrast_of_its_tables_says(tmp_path):
    rows = pits([89.2749, 92.3461, 76.6451], [56.2551, 62.0448, 63.1449])
    (tmp_path / "walls.csv").write_text(table_csv("walls", rows), encoding="utf-8")
    contrast = contrast_walls(read_table([tmp_path], "walls"), measures=("grade",))
    in_report = [*grade_words(rows)[2:]]
    assert [line.lower() for line in in_report] == [
        f"{'grade: ' * (k == 0)}{line}".lower() for k, line in enumerate(sentences(contrast, "grade"))
    ]


def test_one_treatment_alone_cannot_be_contrasted():
    with pytest.raises(BadRequest, match="only 'deep'"):
        contrast_walls([a_wall("a", "deep"), a_wall("b", "deep")])
    with pytest.raises(BadRequest, match="there is none"):
        contrast_walls([a_wall("a", ""), a_wall("b", "")])


def test_the_mean_of_roots_followed_from_their_tips_is_that_of_roots_going_down():
    rows, roots = [], []
    for k in range(4):
        for treatment, descent in (("deep", 40.0), ("shallow", 30.0)):
            name = f"p{k}{treatment}"
            rows.append(a_wall(name, treatment, f"p{k}", descent_deg=descent + k))
            for number in range(6):
                up = number % 2
                roots.append(
                    BLANK_ROOT
                    | {
                        "wall": name,
                        "root": f"r{number}",
                        "descent_deg": (descent + k + number) * (-1 if up else 1),
                        "base_z_in": 9.0 if up else 1.0,
                        "tip_z_in": 1.0 if up else 9.0,
                        "width_in": 0.1 if number < 5 else 0.01,  # the last is too thin to count
                    }
                )
    (pair,) = contrast_walls(rows, measures=("descent",), roots=roots).pairs
    assert pair.roots.effect == pytest.approx(10.0, abs=1e-6)
    assert pair.roots.roots == 4 * 2 * 5
    told = flat(contrast_walls(rows, measures=("descent",), roots=roots))
    assert re.search(
        r"differ, \d+ % goes with the wall they are in \(8 walls\), the rest with the root", told
    )


# --- no difference where there is none -------------------------------------------------------------


ROOTS_A_WALL, PITS, SETS = 10, 8, 400
ALIKE_SD, ROOT_SD = 6.0, 4.0
"""Pits and walls differ by more than the roots of one wall do: four fifths of the spread are shared."""


def null_rows(draw):
    """Pits with two treatments that do nothing; each wall's grade is the mean of ten roots much alike."""
    rows, roots = [], []
    for k in range(PITS):
        soil = draw.normal(0, ALIKE_SD)
        for name in ("deep", "shallow"):
            values = 60 + soil + draw.normal(0, ALIKE_SD) + draw.normal(0, ROOT_SD, ROOTS_A_WALL)
            rows.append(a_wall(f"p{k}{name}", name, f"p{k}", float(values.mean())))
            roots.append((name, values))
    by_root = {name: np.concatenate([v for n, v in roots if n == name]) for name in ("deep", "shallow")}
    return rows, by_root


def test_treatments_that_do_nothing_are_found_to_differ_one_time_in_twenty():
    draw = np.random.default_rng(11)
    found = naive = 0
    for _ in range(SETS):
        rows, by_root = null_rows(draw)
        found += grade_pair(rows).test.p_value <= 0.05
        naive += stats.ttest_ind(by_root["deep"], by_root["shallow"]).pvalue <= 0.05
    # 256 deals: the nearest rate below 5 % is 12/256 = 4.7 %; three standard errors of 400 sets are 3.2 %.
    assert abs(found / SETS - 12 / 256) < 0.032
    # Counting each root as a plot of its own cries wolf several times as often.
    assert naive / SETS > 0.25


# --- files, page and table ----------------------------------------------------------------------------


def graded(folder, rows):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "walls.csv").write_text(table_csv("walls", rows), encoding="utf-8")
    (folder / "roots.csv").write_text(table_csv("roots", []), encoding="utf-8")
    (folder / "traces").mkdir(exist_ok=True)
    for row in rows:
        line = along((0, 0), (5, 5), (10, 5 if row["treatment"] == "shallow" else 10))
        traces = {"roots": [{"points": line.tolist()}]}
        (folder / "traces" / f"{row['wall']}.json").write_text(json.dumps(traces), encoding="utf-8")
    return folder


class Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.text = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.text.append(data)


def read(html):
    reader = Reader()
    reader.feed(html)
    return reader


def test_every_wall_is_a_dot_and_every_pit_a_line():
    contrast = contrast_walls(pits([60, 61, 62], [50, 51, 58]), measures=("grade",))
    reader = read(contrast_page(contrast))
    kinds = [attributes.get("class") for _, attributes in reader.tags]
    assert kinds.count("wall-dot") == 6 + 1  # and the difference itself
    assert kinds.count("joined") == 3
    assert kinds.count("interval") == 1


def test_a_difference_has_its_unit_and_of_shares_it_is_in_percentage_points():
    rows = [
        row | {"sideways_in": 100.0 * share, "root_length_in": 500.0, "descent_deg": 30 + share}
        for row, share in zip(pits([60, 61], [50, 51]), (0.5, 1.0, 0.6, 1.1), strict=True)
    ]
    contrast = contrast_walls(rows, measures=("grade", "descent", "sideways"))
    html = contrast_page(contrast)
    for heading in ("points", "degrees", "percentage points"):
        assert f">difference, {heading}</text>" in html
    (told, *_, needed) = sentences(contrast, "sideways")
    assert re.search(r"with \w+ and [\d.]+ with \w+: [\d.]+ percentage points (higher|lower)", told)
    assert re.search(r"likely \S+ to \S+ percentage points", told)
    assert "difference of 5 percentage points" in needed


def test_the_headings_of_a_drawing_do_not_meet():
    face = Face(LETTERS_PX)
    for measure in ALL:
        room = WIDTH - EDGE - 4 - face.getlength(measure.on_axis) - face.getlength(measure.apart_on_axis)
        assert room > 8, measure.name


def test_the_page_explains_figures_whose_names_do_not():
    rows = [row | {"tortuosity": 1.1, "passage": 0.5} for row in pits([60, 61], [50, 51])]
    html = contrast_page(contrast_walls(rows, measures=("passage", "tortuosity")))
    assert "Of 100 roots, how many get down the wall" in html
    assert "the straight line between its ends; 1 is straight" in html


def test_the_page_needs_nothing_from_outside_and_what_a_sheet_says_cannot_act_on_it():
    evil = '"><script>alert(1)</script>'
    rows = [
        row | {"treatment": row["treatment"] + evil, "pit": row["pit"] + evil} for row in pits([6, 7], [1, 2])
    ]
    html = contrast_page(contrast_walls(rows))
    assert "<script" not in html and "://" not in html
    assert not {"script", "link", "img"} & {tag for tag, _ in read(html).tags}


def test_folders_give_one_page_one_table_and_the_same_sentences(tmp_path):
    first = graded(tmp_path / "2025", pits([90, 91, 92], [50, 50, 51]))
    second = graded(tmp_path / "2026", pits([88, 89, 95], [60, 55, 52]))
    contrast, page = contrast_folders([first, second], tmp_path / "both", measures=("grade",))
    assert len(contrast.pairs[0].differences) == 6
    html = page.read_text(encoding="utf-8")
    text = " ".join("".join(read(html).text).split())
    assert "6 pits hold both treatments" in text
    assert "Each thin line is one wall" in text
    (row,) = csv.DictReader(io.StringIO((tmp_path / "both" / "contrast.csv").read_text(encoding="utf-8")))
    assert (row["design"], row["pits"], row["measure"]) == ("paired", "6", "grade")
    assert float(row["p_value"]) == pytest.approx(2 / 2**6)
    assert float(row["difference"]) == pytest.approx(contrast.pairs[0].effect.value, rel=1e-4)


def test_a_table_comes_back_as_it_was_written(tmp_path):
    rows = [a_wall("=1+1", "NA", "p0", 61.5), a_wall("b", "", "007")]
    table = read_table([graded(tmp_path / "out", rows)], "walls")
    assert table["wall"].tolist() == ["=1+1", "b"]
    assert table["treatment"].tolist() == ["NA", ""]
    assert table["pit"].tolist() == ["p0", "007"]
    assert table["grade"].tolist() == [61.5, 60.0]


def test_a_folder_without_results_is_told_the_command_that_makes_them(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    photos = Path("north field")
    with pytest.raises(BadRequest, match="There is no such folder"):
        read_table([photos], "walls")
    photos.mkdir()
    with pytest.raises(BadRequest, match="holds neither results nor photos: name the folder after the --out"):
        read_table([photos], "walls")
    (photos / "pit 1").mkdir()
    (photos / "pit 1" / "north.JPG").touch()
    with pytest.raises(BadRequest, match=r"walls\.csv is missing") as refused:
        read_table([photos], "walls")
    command = refused.value.remedy.partition(": ")[2]
    results = photos / "results"
    assert shlex.split(command) == ["rootread", "grade", str(photos), "--out", str(results)]
    graded(results, [a_wall("a", "deep")])
    with pytest.raises(BadRequest, match=r"Results lie in .*results: name that folder"):
        read_table([photos], "walls")


def test_a_run_that_was_stopped_is_told_to_be_given_again(tmp_path):
    """Its marked pictures are no photos: to grade the folder would read them."""
    for folder in ("records", "pictures"):
        (tmp_path / folder).mkdir()
    with pytest.raises(BadRequest) as refused:
        read_table([tmp_path], "walls")
    with pytest.raises(BadRequest) as of_season:
        read_season([tmp_path])
    says = "That run did not come to its end: give the same rootread grade again."
    assert refused.value.remedy == of_season.value.remedy == says


def test_the_table_is_safe_in_a_spreadsheet():
    rows = [row | {"treatment": "=" + row["treatment"]} for row in pits([6, 7], [1, 2])]
    (row, *_) = csv.DictReader(io.StringIO(contrast_csv(contrast_walls(rows))))
    assert row["first"] == "'=deep"


def test_depth_profiles_share_each_walls_root_length_out_over_depth(tmp_path):
    rows = pits([60, 61, 62], [50, 51, 52])
    folder = graded(tmp_path / "out", rows)
    deep, shallow = depth_profiles(rows, [folder], "treatment", "pit", np.random.default_rng(1))
    for profile in (deep, shallow):
        assert profile.walls.sum(axis=1) == pytest.approx(1.0)
    level_in, slanting_in = 5.0, np.hypot(5, 5)
    # A shallow wall's root goes down to 5 in and then level there: slice 4 to 6 in holds both.
    in_slice = (level_in + slanting_in / 5) / (level_in + slanting_in)
    assert shallow.mean[2] == pytest.approx(in_slice, abs=0.01)
    assert deep.mean == pytest.approx(np.full(5, 0.2), abs=0.01)
    # Walls that are all the same leave nothing unsure.
    assert deep.low == pytest.approx(deep.mean) and deep.high == pytest.approx(deep.mean)


def test_without_traces_there_is_no_depth_profile(tmp_path):
    assert depth_profiles(pits([6], [5]), [tmp_path], "treatment", "pit", np.random.default_rng(1)) == ()


def test_every_measure_has_a_name_of_its_own_and_rows_may_come_as_a_frame():
    assert len({measure.name for measure in ALL}) == len(ALL)
    assert set(DEFAULT) <= {measure.name for measure in ALL}
    rows = pits([60, 61], [50, 51])
    assert contrast_walls(pd.DataFrame(rows)).pairs == contrast_walls(rows).pairs


@pytest.mark.parametrize("grades", [(81.64, 58.46), (70.05, 60.14), (60.0, 60.0)])
def test_the_difference_is_that_of_the_numbers_beside_it(grades):
    text = flat(contrast_walls(pits([grades[0]] * 2, [grades[1]] * 2), measures=("grade",)))
    deep, shallow, apart = map(
        float, re.search(r"([\d.]+) points with deep and ([\d.]+) with shallow: ([\d.]+)", text).groups()
    )
    assert deep - shallow == pytest.approx(apart, abs=1e-9)


def test_treatments_with_long_names_go_by_letters_with_a_key():
    rows = [
        a_wall(f"{k}{name}", f"a pass by the {name} implement", f"p{k}", 50.0 + k)
        for k in range(3)
        for name in ("first", "second", "third")
    ]
    drawing = (
        contrast_page(contrast_walls(rows, measures=("grade",))).partition("<svg")[2].partition("</svg>")[0]
    )
    assert ">less C</text>" in drawing
    assert ">C  a pass by the third implement</text>" in drawing


def many_pits(names, pits=7, **given):
    draw = np.random.default_rng(2)
    return [
        a_wall(f"p{k}-{n}", name, f"p{k}", 20 + 8 * n + draw.normal(), **given)
        for k in range(pits)
        for n, name in enumerate(names)
    ]


MANY = (
    "none",
    "deep, straight points",
    "disk",
    "strip till",
    "спокойная почва",
    "深松",
    "paraplow",
    "chisel",
)


def texts(drawing):
    """Each text of a drawing with its place."""
    found = re.findall(r'<text x="([-\d.]+)" y="([-\d.]+)"[^>]*>([^<]*)</text>', drawing)
    return {words: (float(x), float(y)) for x, y, words in found}


def test_of_many_treatments_all_pairs_are_drawn_and_only_those_told_that_differ():
    contrast = contrast_walls(many_pits(MANY, pits=12), measures=("grade",))
    (told,) = [sentences(contrast, "grade")]
    sure = [pair for pair in contrast.pairs if pair.p_holm < 0.05]
    assert sure
    assert sum("corrected p" in line for line in told) == len(sure)
    assert len(told) <= len(sure) + 3
    drawing = contrast_page(contrast).partition("<svg")[2].partition("</svg>")[0]
    rows = [place for words, place in texts(drawing).items() if re.fullmatch("[A-H] less [A-H]", words)]
    assert len(rows) == 8 * 7 / 2
    heights = sorted(y for _, y in rows)
    assert min(np.diff(heights)) >= 16  # the height of a line of its letters


def test_numbers_along_a_short_axis_keep_apart():
    scale = Scale.over([-0.061, 0.058], 1)
    places = sorted(x for x, _ in texts("".join(scale.level(0, 90, 20, 300, True))).values())
    assert len(places) >= 2
    assert min(np.diff(places)) > 36  # six letters of 11 pixels' height
    assert "0.00" in texts("".join(scale.level(0, 90, 20, 300, True)))


def test_no_letters_of_a_drawing_lie_beyond_its_edge(tmp_path):
    for names in (MANY[:2], MANY[:3], MANY):
        rows = many_pits(names, passage=0.95, pits=4)
        folder = graded(tmp_path / str(len(names)), rows)
        _, page = contrast_folders([folder], folder)
        drawings = re.findall(r'<svg viewBox="0 0 (\d+) (\d+)".*?</svg>', page.read_text(encoding="utf-8"))
        whole = re.findall(r"<svg viewBox=.*?</svg>", page.read_text(encoding="utf-8"), re.S)
        assert len(drawings) == len(whole) == 3  # grade, passage, root by depth
        for (width, height), drawing in zip(drawings, whole, strict=True):
            places = texts(drawing).values()
            assert all(0 <= x <= int(width) and 0 <= y <= int(height) for x, y in places)


def test_every_treatment_is_named_in_the_key_of_root_by_depth(tmp_path):
    folder = graded(tmp_path, many_pits(MANY, pits=2))
    _, page = contrast_folders([folder], folder)
    key = page.read_text(encoding="utf-8").rpartition("<svg")[2]
    assert all(f">{name}</text>" in key for name in MANY)


def test_names_that_hold_a_comma_are_told_apart_by_semicolons():
    text = flat(contrast_walls(many_pits(MANY[:3]), measures=("grade",)))
    assert text.startswith("deep, straight points; disk; none against one another, in 7 pits.")
    assert "deep, none and shallow" in flat(contrast_walls(many_pits(("deep", "none", "shallow"))))


def test_a_name_from_right_to_left_does_not_turn_the_figures_beside_it():
    rows = [row | {"treatment": row["treatment"].replace("deep", "عميق")} for row in pits([60, 61], [50, 51])]
    text = flat(contrast_walls(rows, measures=("grade",)))
    assert (
        "50.5 points with shallow and 60.5 with \u2068عميق\u2069: 10.0 lower with shallow, and so in" in text
    )
    assert "\u2068" not in flat(contrast_walls(pits([60, 61], [50, 51])))


def test_a_column_that_is_not_there_is_told_those_that_hold_words():
    with pytest.raises(BadRequest) as refused:
        contrast_walls(pits([60, 61], [50, 51]), by="soil")
    assert refused.value.remedy == "It has wall, pit, treatment, status."


def test_short_names_stand_below_the_axis_themselves():
    rows = [row | {"treatment": f"{row['treatment']} pass"} for row in pits([60, 61], [50, 51])]
    page = contrast_page(contrast_walls(rows, measures=("grade",)))
    assert ">shallow pass</text>" in page and ">less shallow pass</text>" in page


def test_a_difference_that_is_written_as_nothing_has_no_side_and_no_sign():
    text = flat(contrast_walls(pits([60.0, 60.02], [60.01, 60.0]), measures=("grade",)))
    assert "60.0 points with deep and 60.0 with shallow: 0.0 apart (likely" in text
    assert "+0.0" not in text and "−0.0" not in text


def test_no_axis_runs_further_than_its_figure_can():
    of_100_roots = Scale.over([0.12, 0.96], 100, 1.0)
    assert (of_100_roots.low, of_100_roots.high) == (0, 100)
    difference = Scale.over([0, 0.06, 1.0], 100, 1.0)
    assert (difference.low, difference.high) == (0, 100)
    lower = Scale.over([0, -0.06, -1.0], 100, 1.0)
    assert (lower.low, lower.high) == (-100, 0)


@pytest.mark.parametrize("value", [0.0, 0.5, 1.0, -0.3])
def test_figures_that_are_all_alike_have_an_axis_with_few_round_numbers(value):
    scale = Scale.over([value] * 3, 100, 1.0)
    assert scale.low <= 100 * value <= scale.high
    assert all(tick == pytest.approx(round(tick, 1)) for tick in scale.ticks)
    assert scale.high - scale.low >= 1


def test_no_axis_begins_below_zero_for_shares_that_do_not() -> None:
    assert Scale.over([0.004, 0.15], 100).low == 0
    assert Scale.over([-0.02, 0.15], 100).low < 0
