"""What is handed over: flagged walls first with their runs close up, long folders, centimetres, and paper."""

import io
import re
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from report_walls import LENS, open_wall, turned_wall

from rootread.measure.types import Interval
from rootread.report import advice_items, draw_wall, page, rows_of, run_captions, wall_section, walls_text
from rootread.report.crops import flagged_runs, run_crops
from rootread.report.page import MOST_DOTS, MOST_LISTED, MOST_SECTIONS
from rootread.report.pdf import pdf_of
from rootread.report.picture import draw_apart
from rootread.report.profiles import depth_amounts
from rootread.settings import ReportSettings, Settings
from rootread.units import length_words, lengths_shown_in, per_length_shown, shown

CM = Settings(report=ReportSettings("cm"))
CM_PER_IN = 2.54
"""International yard and pound agreement, 1959."""
RUN_AT_LEAST_IN = 4.5
YELLOW_SHARE = 0.01
STANDS_OUT = 90
"""Of 255 from the lightest to the darkest pixel where a figure is seen; thin strokes blend with paper."""


def report(*walls, settings=None):
    settings = settings or Settings()
    rows = [rows_of(wall)["walls"][0] for wall in walls]
    with lengths_shown_in(settings.report.units):
        runs = [run_captions(wall) for wall in walls]
    return page(
        rows,
        [wall_section(wall, settings) for wall in walls],
        settings,
        Path("graded"),
        [advice_items(wall) for wall in walls],
        runs=runs,
    )


# --- flags -----------------------------------------------------------------------------------------


def test_a_flagged_wall_stands_first_with_its_runs_close_up():
    html = report(open_wall(), turned_wall())
    flagged, others = html.index("Flagged: roots ran sideways at a layer"), html.index("The other walls")
    assert flagged < html.index("in sideways, 6.") < html.index("What to do") < others
    assert html.index('href="#wall-turned-run-1"') < others < html.index('id="wall-turned-run-1"')
    assert "wall-open-run" not in html


def test_an_open_folder_has_no_flags():
    html = report(open_wall())
    assert "Flagged" not in html and "The other walls" not in html


def test_the_crops_show_the_longest_runs_at_the_layer_one_for_each_place():
    wall = turned_wall()
    runs = flagged_runs(wall)
    assert len(runs) == 2  # Roots run sideways to the left and to the right, over one another on each side.
    assert all(run.length_in > RUN_AT_LEAST_IN for run in runs)
    assert max(run.length_in for root in wall.readings.roots for run in root.runs) == runs[0].length_in
    assert run_captions(wall)[0] == f"{runs[0].length_in:.1f} in sideways, {runs[0].depth_in:.1f} in deep"
    assert flagged_runs(open_wall()) == []


@pytest.mark.parametrize("lens", [None, LENS])
def test_a_crop_holds_the_run_in_the_colour_of_level_roots(lens):
    import base64

    wall = turned_wall(lens=lens)
    for address in run_crops(wall, draw_apart(wall, Settings())):
        content = base64.b64decode(address.removeprefix("data:image/jpeg;base64,"))
        crop = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR).astype(int)
        blue, green, red = np.moveaxis(crop, 2, 0)
        assert ((red > 180) & (green > 180) & (blue < 150)).mean() > YELLOW_SHARE
        assert crop.shape[1] / crop.shape[0] == pytest.approx(1.6, abs=0.05)


# --- long folders ----------------------------------------------------------------------------------


def test_a_page_of_very_many_walls_can_still_be_opened():
    (row,) = rows_of(open_wall())["walls"]
    many = MOST_LISTED + 25
    walls = [row | {"wall": f"w{k:03d}", "treatment": "deep", "grade": 40 + k / 10} for k in range(many)]
    read = []

    class Sections(list):
        def __getitem__(self, index):
            read.append(index)
            return f'<section id="wall-w{index:03d}"></section>'

    html = page(walls, Sections([""] * many), Settings(), Path("out"), [advice_items(open_wall())] * many)
    assert len(read) == MOST_SECTIONS and read[0] == 0  # those with the lowest grade
    assert len(re.findall(r"<li><a", html)) == MOST_LISTED
    assert "And 25 walls more: all are in walls.csv." in html
    assert len(re.findall('class="dot ', html)) <= MOST_DOTS
    assert "one in 2 is drawn" in html
    ids = set(re.findall(r'id="(wall-[^"]*)"', html))
    assert set(re.findall(r'<a[^>]* href="#(wall-[^"]*)"', html)) <= ids


def test_the_console_names_the_walls_to_look_at_of_very_many():
    (row,) = rows_of(open_wall())["walls"]
    walls = [row | {"wall": f"w{k:03d}", "grade": 99 - k / 10} for k in range(200)]
    text = walls_text([*walls, row | {"wall": "bad", "sideways_flag": "yes"}])
    assert text.splitlines()[1].startswith("bad") and text.splitlines()[2].startswith("w199")
    assert "and 141 walls more, in walls.csv" in text


# --- units -----------------------------------------------------------------------------------------


def test_a_length_is_said_in_the_unit_asked_for():
    assert length_words(6.8) == "6.8 in"
    with lengths_shown_in("cm"):
        assert length_words(6.8) == "17.3 cm" and shown(1.0) == pytest.approx(CM_PER_IN)
        assert per_length_shown(254.0) == pytest.approx(100.0)  # 254 pixels to the inch, 100 to the cm
        assert length_words(float("nan")) == "–"
    assert length_words(6.8) == "6.8 in"


def test_whoever_reads_in_centimetres_meets_no_inch():
    with lengths_shown_in("cm"):  # as read_wall does by its settings
        wall = turned_wall("metric")
    html = report(wall, settings=CM)
    text = " ".join(re.sub(r"<(style|pre)>.*?</\1>|<[^>]*>", " ", html, flags=re.S).split())
    # The layer's depth alone is said in both: whoever set the tool may have set it in inches.
    text = re.sub(r"\(\d+\.\d in\)", "", text)
    assert not re.search(r"\d in\b|\binch", text), re.findall(r".{30}(?:\d in\b|\binch).{20}", text)
    length = sum(root.length_in for root in wall.readings.roots)
    assert f"{length * CM_PER_IN:.0f} cm" in text
    assert "depth, cm" in text


def test_the_picture_counts_depth_in_the_unit_asked_for():
    inches, centimetres = draw_wall(open_wall(), Settings()), draw_wall(open_wall(), CM)
    axis = np.s_[: inches.shape[0] // 2, :110]
    assert inches.shape == centimetres.shape and (inches[axis] != centimetres[axis]).any()
    assert (inches[axis] == draw_wall(open_wall())[axis]).all()


def test_the_console_counts_in_the_unit_asked_for_and_the_tables_stay():
    (row,) = rows_of(turned_wall())["walls"]
    text = walls_text([row], "cm")
    assert "sideways, cm" in text and f"{row['sideways_in'] * CM_PER_IN:.0f} *" in text
    assert "sideways_in" in row


# --- paper -----------------------------------------------------------------------------------------


def document_of(pdf: bytes):
    return pytest.importorskip("pypdfium2").PdfDocument(io.BytesIO(pdf))


def pages_of(pdf: bytes):
    document = document_of(pdf)
    return [
        (page.get_size(), page.get_textpage().get_text_range(), page.render(scale=0.5).to_numpy())
        for page in document
    ]


def patches(document, words):
    """Where these words stand in the PDF, each place as the pixels that a reader sees there."""
    found = []
    for sheet in document:
        text, picture = sheet.get_textpage(), sheet.render(scale=3).to_numpy()[:, :, :3]
        search = text.search(words, match_whole_word=True)
        while place := search.get_next():
            boxes = np.array([text.get_charbox(place[0] + k) for k in range(place[1])])
            left, bottom, right, top = (*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0))
            rows = np.round(3 * (sheet.get_height() - np.array([top, bottom]))).astype(int)
            columns = np.round(3 * np.array([left, right])).astype(int)
            found.append(picture[slice(*rows), slice(*columns)])
    return found


@pytest.fixture(scope="module")
def pdf():
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    return pdf_of(report(open_wall(), turned_wall()))


@pytest.fixture(scope="module")
def printed(pdf):
    return pages_of(pdf)


def test_the_pdf_says_what_the_page_says_on_pages_of_its_own(printed):
    texts = [" ".join(text.split()) for _, text, _ in printed]
    assert texts[0].startswith("2 pit walls") and "Flagged: roots ran sideways at a layer" in texts[0]
    (first,) = [k for k, text in enumerate(texts) if text.startswith("turned ")]
    (second,) = [k for k, text in enumerate(texts) if text.startswith("open ")]
    assert 0 < first < second < len(texts) - 1
    methods = " ".join(texts[second + 1 :])
    assert "what it cannot see" in methods and "layer_p_value = 0.05" in methods
    assert sum(text.count("photo as taken") for text in texts) == 0  # A button is of no use on paper.


def test_the_pdf_shows_the_pictures_and_fills_its_paper(printed):
    for (width_pt, height_pt), _, _ in printed:
        assert (width_pt, height_pt) == pytest.approx((8.5 * 72, 11 * 72), abs=1)
    k = next(k for k, (_, text, _) in enumerate(printed) if text.startswith("turned"))
    soil = np.abs(printed[k][2][:, :, :3].astype(int) - [40, 50, 70]).sum(axis=2) < 60
    assert soil.mean() > 0.15, "the photo is not on its page"


def test_the_pdf_shows_the_length_of_root_beside_every_bar(pdf):
    document = document_of(pdf)
    for made in (open_wall(), turned_wall()):
        _, amounts = depth_amounts(made.readings)
        # A digit alone stands elsewhere too, in letters too small to tell.
        numbers = [f"{amount:.0f}" for amount in amounts if round(amount) >= 10]
        assert len(numbers) > 2
        for number in numbers:
            seen = patches(document, number)
            assert seen and all(np.ptp(patch) > STANDS_OUT for patch in seen), f"{number} is blank"


def test_a_wall_takes_two_pages_and_its_legend_stands_below_its_photo(printed):
    texts = [text.split() for _, text, _ in printed]
    first = [k for k, text in enumerate(texts) if text[0] in ("turned", "open")]
    methods = next(k for k, text in enumerate(texts) if text[:4] == ["How", "this", "was", "read,"])
    assert [*np.diff([*first, methods])] == [2, 2]


def test_how_it_was_read_takes_one_page_with_all_settings(printed):
    last = " ".join(printed[-1][1].split())
    assert last.startswith("How this was read")
    assert all(
        words in last for words in ("score of a part", "min_megapixels", "export_svg", "Read by rootread")
    )


def test_on_paper_the_figures_of_a_wall_stand_on_two_lines_beside_its_verdict():
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    metric = Settings(report=ReportSettings(units="cm"))
    (_, text, _), *_ = pages_of(pdf_of(report(open_wall(), turned_wall(), settings=metric), "cm"))
    lines = [" ".join(line.split()) for line in text.splitlines()]
    beside = [k for k, line in enumerate(lines) if "cm sideways of" in line]
    assert len(beside) == 2
    assert all(lines[k].endswith("of root") and lines[k + 1].endswith("°") for k in beside)


@pytest.mark.parametrize("units", ["in", "cm"])
def test_a_wall_with_much_to_say_takes_two_pages_too(units):
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    caution = "The photo is unlike those that the finder was trained on, in its light. " * 3
    wall = turned_wall("turned", cautions=(caution, caution), shanks_at_in=(5.0, 25.0), pit_depth_in=62.0)
    pages = pages_of(pdf_of(report(wall), units))
    begins = [" ".join(text.split()) for _, text, _ in pages]
    first = next(k for k, text in enumerate(begins) if text.startswith("turned"))
    assert begins[first + 2].startswith("How this was read")
    soil = np.abs(pages[first][2][:, :, :3].astype(int) - [40, 50, 70]).sum(axis=2) < 60
    # The smallest photo is 74 mm high, an eighth of the paper; its marks cover some.
    assert soil.mean() > 0.1, "the photo is not on the page of its text"
    assert "root that ran sideways" in begins[first], "the legend is not on the page of its photo"


@pytest.mark.parametrize("cautions", [0, 1, 3])
def test_the_photo_is_as_high_as_the_words_of_its_page_let_it_be(cautions):
    """What is left below the key figures is less than a photo's legibility is worth: an inch."""
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    caution = "A shadow's edge lies on the wall, and roots at it are read less surely. Shade the whole wall."
    wall = turned_wall("turned", cautions=(caution,) * cautions)
    sheets = [sheet.get_textpage() for sheet in document_of(pdf_of(report(wall)))]
    text = next(sheet for sheet in sheets if sheet.get_text_range().startswith("turned"))
    feet_pt = [text.get_charbox(k)[1] for k in range(text.count_chars())]
    margin_pt = 14 / 25.4 * 72
    assert min(foot for foot in feet_pt if foot > margin_pt) < margin_pt + 72
    assert "checked by eye" in text.get_text_range(), "the key figures are not on the page of the photo"


def test_no_heading_is_left_at_the_foot_of_a_page():
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    headings = {"What to do", "The other walls", "Key figures", "Layers", "What makes the grade"}
    for walls in range(1, 6):
        printed = pages_of(pdf_of(report(*(turned_wall(f"w{k}", pit=f"p{k}") for k in range(walls)))))
        for _, text, _ in printed:
            *_, last, _number = text.strip().splitlines()
            assert last.strip() not in headings


def test_no_word_is_broken_on_paper():
    """However wide the words beside it: the library broke some that would have fitted."""
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    says = "A pit counts once, however many roots it shows. The command rootread contrast compares them."
    marked = says.replace("rootread contrast", "<code>rootread contrast</code>")
    begun, _, _ = report(open_wall()).partition("<header>")
    narrow = "".join(f'<p class="small" style="width: {px}px">{marked}</p>' for px in range(240, 480, 2))
    shown = {word for _, text, _ in pages_of(pdf_of(begun + narrow)) for word in text.split()}
    assert shown <= {*says.split(), *map(str, range(1, 30))}


def test_no_name_is_printed_over_the_dot_of_another_wall():
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    close = [
        replace(made, grade=replace(made.grade, score=Interval(grade, grade - 5, 100.0)))
        for made, grade in (
            (open_wall(f"w{grade}", treatment="deep", pit=f"pit{grade:.0f}"), grade)
            for grade in (88.0, 92.0, 96.0, 98.0)
        )
    ]
    document = document_of(pdf_of(report(*close)))
    for name in ("pit88", "pit92", "pit96", "pit98"):
        seen = patches(document, name)
        colourful = max(int(np.ptp(patch.astype(int), axis=2).max()) for patch in seen)
        assert colourful < 40, f"{name} lies over something coloured"


def test_whoever_reads_in_centimetres_prints_on_a4():
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    ((size, _, _),) = pages_of(pdf_of("<p>one page</p>", "cm"))
    assert size == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=1)


def test_no_address_in_a_page_is_followed_when_it_is_printed(tmp_path):
    pytest.importorskip("plutoprint", reason="a PDF needs plutoprint, which does not come built for here")
    secret = tmp_path / "secret.txt"
    secret.write_text("body::after { content: 'read from the disk'; }")
    html = f'<link rel="stylesheet" href="{secret.as_uri()}"><p>shown</p><img src="{secret.as_uri()}">'
    ((_, text, _),) = pages_of(pdf_of(html))
    assert "shown" in text and "disk" not in text


def test_settings_of_the_report_are_settings_like_others():
    assert replace(Settings(), report=ReportSettings("cm")) == CM
