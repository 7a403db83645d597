"""What else than the treatment sets the walls of a contrast apart is said beside what they show."""

import csv
import io

import pytest

from rootread.compare import contrast_csv, contrast_page, contrast_text, contrast_walls, grade_words

DEEP, SHALLOW = "deep pass", "shallow pass"


def a_wall(pit, treatment, **grew):
    grade = 70.0 if treatment == DEEP else 50.0
    return {"wall": f"{pit} {treatment}", "pit": pit, "treatment": treatment, "status": "read"} | {
        "grade": grade,
        "grade_low": grade - 5,
        "grade_high": grade + 5,
        **grew,
    }


def in_pits(column, *cells):
    """Pits with a wall of each treatment, whose sheet says these two of the column."""
    return [
        a_wall(f"pit{k}", treatment, **{column: cell})
        for k, pair in enumerate(cells)
        for treatment, cell in zip((DEEP, SHALLOW), pair, strict=True)
    ]


def told(rows, **given):
    return " ".join(contrast_text(contrast_walls(rows, measures=("grade",), **given)).split())


OTHER_CROPS = "Walls of different crops are compared: corn and soybean. Roots of each crop go down"
PITS_OF_CROPS = "The pits are of different crops: corn and soybean. Each pit is compared with itself"
OTHER_AGES = "Walls of different ages are compared: "


def test_walls_of_different_crops_are_said_to_be_so_wherever_treatments_are_compared():
    rows = in_pits("crop", ("corn", "soybean"), ("corn", "soybean"))
    assert OTHER_CROPS in told(rows)
    contrast = contrast_walls(rows, measures=("grade",))
    assert OTHER_CROPS in contrast_page(contrast)
    assert any(sentence.startswith(OTHER_CROPS) for sentence in grade_words(rows))
    (row,) = csv.DictReader(io.StringIO(contrast_csv(contrast)))
    assert row["crops"] == "corn; soybean"


def test_pits_of_different_crops_that_are_compared_with_themselves_are_told_as_what_they_are():
    rows = in_pits("crop", ("corn", "corn"), ("soybean", "soybean"))
    assert PITS_OF_CROPS in told(rows)
    # Not pit by pit, corn is set against soybean.
    assert OTHER_CROPS in told(rows, pair="")
    assert "Each wall is compared" not in told(rows, pair="")


@pytest.mark.parametrize(
    "cells",
    [("corn", "corn"), ("corn", "Maize"), ("Soybeans", "soy bean"), ("corn", ""), ("", "")],
)
def test_one_crop_is_one_however_it_is_written_and_a_blank_says_nothing(cells):
    assert "crop" not in told(in_pits("crop", cells, cells))


def test_a_contrast_of_crops_needs_no_telling_that_they_differ():
    rows = in_pits("crop", ("corn", "soybean"), ("corn", "soybean"))
    assert "crops are compared" not in told(rows, by="crop")
    (row,) = csv.DictReader(io.StringIO(contrast_csv(contrast_walls(rows, "crop", measures=("grade",)))))
    assert row["first"] == "corn" and row["second"] == "soybean"


def test_walls_left_out_of_the_comparison_are_of_no_account():
    rows = in_pits("crop", ("corn", "corn"), ("corn", "corn"))
    assert "crop" not in told([*rows, a_wall("pit9", DEEP, crop="soybean")])


@pytest.mark.parametrize(
    ("column", "cells", "what"),
    [
        ("stage", ("V4", "V10"), "V4 and V10"),
        ("stage", ("V9", "R1"), "R1 and V9"),
        ("date", ("2026-06-20", "2026-07-09"), "2026-06-20 and 2026-07-09"),
        ("date", ("2025-07-09", "2026-07-09"), "2025-07-09 and 2026-07-09"),
        ("date", ("7/9/2026", "8/13/2026"), "7/9/2026 and 8/13/2026"),
    ],
)
def test_walls_far_apart_in_age_are_said_to_be_so(column, cells, what):
    assert f"{OTHER_AGES}{what}. Roots go on growing" in told(in_pits(column, cells, cells))


@pytest.mark.parametrize(
    ("column", "cells"),
    [
        ("stage", ("V8", "V9")),
        ("stage", ("V9", "v 9")),
        ("stage", ("VT", "vt")),
        ("stage", ("V9", "")),
        ("date", ("2026-07-09", "2026-07-12")),
        # The 7th of September and the 7th of October, or the 9th and the 10th of July.
        ("date", ("7/9/2026", "7/10/2026")),
        ("date", ("early July", "August")),
        ("date", ("", "2026-07-09")),
    ],
)
def test_walls_near_in_age_or_of_unknown_age_are_not(column, cells):
    assert OTHER_AGES not in told(in_pits(column, cells, cells))


def test_stages_of_two_crops_are_not_compared():
    rows = [
        a_wall("pit1", treatment, crop=crop, stage=stage)
        for treatment, crop, stage in ((DEEP, "corn", "V9"), (SHALLOW, "soybean", "R1"))
    ]
    assert OTHER_CROPS in told(rows) and OTHER_AGES not in told(rows)


def test_pits_dug_in_different_seasons_may_each_be_compared_with_themselves():
    rows = in_pits("date", ("2025-07-09", "2025-07-09"), ("2026-07-12", "2026-07-12"))
    assert OTHER_AGES not in told(rows)
    assert f"{OTHER_AGES}2025-07-09 and 2026-07-12" in told(rows, pair="")
