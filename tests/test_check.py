"""Can this photo be read? Each question is put to a wall that is good and to one that is not."""

import itertools
import json
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import skimage.data
from numpy.typing import NDArray

from rootread.batch import plan_walls
from rootread.check import check_photo, check_summary, check_text, check_values
from rootread.check.light import exposure
from rootread.check.sharpness import blur_of_parts, pixels_per_mm, sharpness
from rootread.check.types import Finding, PhotoCheck, State
from rootread.fieldsheet import RecordedLayer, SheetRow, default_row, depths_asked
from rootread.find import find_roots
from rootread.find.shadow import shadow_edge_length_in
from rootread.photo import read_photo
from rootread.plane import Grid, WallImage, find_plane, lay_flat
from rootread.settings import ReportSettings, Settings

PX_PER_IN = 72.0
SAMPLES = Path(__file__).parents[1] / "sample_images"


def soil_wall(seed: int = 5, shape: tuple[int, int] = (1000, 1400)) -> NDArray[np.uint8]:
    """Crumbly brown soil with detail down to the pixel."""
    rng = np.random.default_rng(seed)
    grey = 90 + sum(
        cv2.GaussianBlur(rng.normal(0, 1, shape), (0, 0), size) * size * 14 for size in (0.6, 1.2, 2.5, 6.0)
    )
    return np.clip(np.dstack([grey * 1.15, grey, grey * 0.8]), 0, 255).astype(np.uint8)


def wall(rgb: NDArray[np.uint8], px_per_in: float = PX_PER_IN) -> WallImage:
    return WallImage(rgb, np.ones(rgb.shape[:2], dtype=bool), Grid(px_per_in, 0.0, 0.0, rgb.shape[:2]))


def blurred(rgb: NDArray[np.uint8], sigma_mm: float, px_per_in: float = PX_PER_IN) -> NDArray[np.uint8]:
    return cv2.GaussianBlur(rgb, (0, 0), sigma_mm / 25.4 * px_per_in)


def test_more_blur_is_always_seen_as_more_blur() -> None:
    levels = [
        np.median(blur_of_parts(wall(blurred(soil_wall(), sigma_mm)))) for sigma_mm in (0.2, 0.4, 0.6, 0.9)
    ]
    assert all(low < high for low, high in itertools.pairwise(levels))


def test_a_sharp_wall_is_good_and_one_blurred_by_a_root_width_is_bad() -> None:
    assert sharpness(wall(soil_wall())).state == "good"
    assert sharpness(wall(blurred(soil_wall(), 1.0))).state == "bad"


def test_blur_in_one_corner_only_is_still_seen() -> None:
    rgb = soil_wall()
    rgb[:340, :360] = blurred(soil_wall(), 1.0)[:340, :360]
    finding = sharpness(wall(rgb))
    assert finding.state == "look" and "%" in finding.seen


def test_a_millimetre_root_needs_two_and_a_half_pixels() -> None:
    assert [pixels_per_mm(px_per_mm * 25.4).state for px_per_mm in (1.2, 2.0, 3.0)] == ["bad", "look", "good"]


def test_burnt_out_and_black_walls_are_said_to_be_so() -> None:
    rgb = soil_wall()
    assert exposure(wall(rgb)).state == "good"
    burnt, black = rgb.copy(), rgb.copy()
    burnt[:, :300] = 255
    black[:, :300] = 0
    assert exposure(wall(burnt)).state == exposure(wall(black)).state == "bad"
    assert "burnt out" in exposure(wall(burnt)).seen and "black" in exposure(wall(black)).seen


def test_the_length_of_a_shadow_edge_is_measured() -> None:
    rgb = soil_wall()
    assert shadow_edge_length_in(wall(rgb)) == 0
    shaded = rgb.copy()
    shaded[:, 700:] = (shaded[:, 700:] * 0.55).astype(np.uint8)
    assert shadow_edge_length_in(wall(shaded)) == pytest.approx(1000 / PX_PER_IN, abs=2.5)


def test_a_horizon_of_another_colour_is_not_a_shadow() -> None:
    rgb = soil_wall()
    rgb[500:] = np.clip(rgb[500:] * np.array([1.9, 1.5, 0.9]), 0, 255).astype(np.uint8)
    assert shadow_edge_length_in(wall(rgb)) == 0


def test_a_horizon_that_is_darker_in_the_same_colour_is_not_a_shadow() -> None:
    """It is level, and no bluer on its dark side, as the sky's light is."""
    rgb = soil_wall()
    rgb[:500] = (rgb[:500] * 0.55).astype(np.uint8)
    assert shadow_edge_length_in(wall(rgb)) == 0


def test_a_level_shadow_in_the_sun_is_bluer_on_its_dark_side() -> None:
    rgb = soil_wall()
    rgb[500:] = np.clip(rgb[500:] * np.array([0.5, 0.53, 0.57]), 0, 255).astype(np.uint8)
    assert shadow_edge_length_in(wall(rgb)) == pytest.approx(1400 / PX_PER_IN, abs=2.5)


def test_the_sharp_horizon_of_a_sample_wall_is_not_taken_for_a_shadow() -> None:
    check = check_photo(SAMPLES / "pit1-deep.jpg", default_row("pit1-deep.jpg"))
    assert check.state == "good"


def test_a_check_and_a_reading_agree_on_darkness_and_on_shadow() -> None:
    """Of each wall, whether it is dark, and whether a shadow's edge lies on it."""
    for name in ("pit2-deep", "pit3-deep"):
        photo, row = SAMPLES / f"{name}.jpg", default_row(f"{name}.jpg")
        looked = {f.question for f in check_photo(photo, row).findings if f.state == "look"}
        taken, settings = read_photo(photo), Settings()
        plane = find_plane(taken, row, None, settings.plane)
        told = " ".join(find_roots(lay_flat(taken, plane, settings.plane), settings.find).cautions)
        assert ("exposure" in looked) == ("very dark" in told) == (name == "pit3-deep")
        assert ("shadow edges" in looked) == ("shadow's edge" in told) == (name == "pit3-deep")


def test_a_sample_wall_can_be_read() -> None:
    check = check_photo(SAMPLES / "pit2-deep.jpg", default_row("pit2-deep.jpg"))
    assert check.state in ("good", "look")
    assert {"scale", "pixels", "sharpness", "exposure", "shadow edges", "tilt", "surface"} <= {
        finding.question for finding in check.findings
    }
    assert json.dumps(check_values([check]))


def test_every_finding_that_is_not_good_says_what_to_do(tmp_path: Path) -> None:
    photo = tmp_path / "gravel.png"
    cv2.imwrite(str(photo), cv2.resize(skimage.data.gravel(), (900, 900)))
    check = check_photo(photo, default_row(photo.name))
    assert check.state == "bad"
    assert all(finding.remedy for finding in check.findings if finding.state != "good")
    assert "->" in check_text([check])


def test_a_file_that_is_no_photo_is_a_finding_and_not_an_error(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"nothing")
    check = check_photo(tmp_path / "a.jpg", default_row("a.jpg"))
    assert check.state == "bad"
    assert check.findings[0].seen == "Not a JPEG, PNG, TIFF or HEIC file."


def test_the_command_gives_json_and_exit_code_1_when_a_photo_must_be_taken_again(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "grass.png"), cv2.resize(skimage.data.grass(), (900, 900)))
    command = [
        sys.executable,
        "-c",
        "from rootread.cli import main; main()",
        "check",
        str(tmp_path),
        "--json",
    ]
    said = subprocess.run(command, capture_output=True, text=True, check=False)
    assert said.returncode == 1
    (photo,) = json.loads(said.stdout)
    assert photo["state"] == "bad" and photo["photo"] == "grass.png"


def test_after_several_photos_it_is_said_which_to_take_again() -> None:
    def checked(photo: str, state: State) -> PhotoCheck:
        return PhotoCheck(photo, Path(photo).stem, (Finding("sharpness", state, "as seen"),), 1.0)

    good, soft, lost = checked("a.jpg", "good"), checked("b.jpg", "look"), checked("c.jpg", "bad")
    assert check_summary([good, soft, lost]).splitlines() == [
        "1 of 3 photos is ok all through.",
        "Can be read, but look: b.jpg",
        "Take again: c.jpg",
    ]
    assert check_summary([good, good]) == "2 of 2 photos are ok all through."
    assert check_summary([lost]) == ""
    elsewhere = PhotoCheck("c.jpg", "pit 2-c", lost.findings, 1.0)
    assert check_summary([lost, elsewhere]).endswith("Take again: c.jpg, c.jpg (pit 2-c)")


def test_marks_that_cannot_be_read_are_a_finding_of_their_photo(tmp_path: Path) -> None:
    photo = tmp_path / "a.jpg"
    cv2.imwrite(str(photo), cv2.resize(skimage.data.grass(), (900, 900)))
    marks = tmp_path / "a.json"
    marks.write_text('{"version": 1, "photo_size_px": [400, 300]}', encoding="utf-8")
    finding, _sheet = check_photo(photo, default_row("a.jpg"), marks).findings
    assert finding.question == "marks" and "400 x 300" in finding.seen and finding.remedy


def test_what_the_sheet_leaves_blank_is_asked_for_at_the_pit(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"nothing")

    def sheet_finding(row: SheetRow) -> Finding:
        (finding,) = [f for f in check_photo(tmp_path / "a.jpg", row).findings if f.question == "sheet"]
        return finding

    blank = sheet_finding(SheetRow("a.jpg", "a", pit="pit 1", tool_depth_in=14.0, row=3))
    assert blank.state == "look" and blank.remedy
    assert blank.seen == "row 3 leaves blank: treatment, layers"
    assert sheet_finding(default_row("a.jpg")).state == "good"
    nothing_there = sheet_finding(SheetRow("a.jpg", "a", "pit 1", "deep", tool_depth_in=14.0, row=4))
    assert (nothing_there.state, nothing_there.remedy) == ("good", "")
    assert nothing_there.seen == "row 4: pit 1, deep; no layers written down"


@pytest.mark.parametrize(
    ("written", "asked"),
    [
        ({"tool_depth_in": 14.0, "layers": (RecordedLayer("disk", 7.5),), "pit_depth_in": 40.0}, ""),
        ({"tool_depth_in": 35.5}, "the tool at 35.5 in, but the photo shows the wall down to 27.0 in"),
        ({"layers": (RecordedLayer("A/B", 30.7),)}, "A/B at 30.7 in, but the photo shows"),
        ({"layers": (RecordedLayer("A/B", 27.9),)}, ""),  # to the inch, as depths are written down
        ({"tool_depth_in": 20.0, "pit_depth_in": 16.0}, "the tool at 20.0 in, in a pit of 16.0 in"),
        ({"pit_depth_in": 102.0}, "a pit of 102.0 in, deeper than"),
    ],
)
def test_depths_that_may_be_centimetres_are_asked_about(written: dict[str, Any], asked: str) -> None:
    said = depths_asked(SheetRow("a.jpg", "a", row=3, **written), 27.0)
    assert bool(said) == bool(asked) and asked in said


def test_a_depth_that_cannot_be_is_a_finding_with_what_to_do(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"nothing")
    check = check_photo(tmp_path / "a.jpg", SheetRow("a.jpg", "a", tool_depth_in=355.0, row=2))
    (finding,) = [finding for finding in check.findings if finding.question == "depths"]
    assert finding.state == "look" and "A bare number in the sheet is inches" in finding.remedy


def test_a_tool_deeper_than_any_is_asked_about_where_the_photo_cannot_be_read(tmp_path: Path) -> None:
    (tmp_path / "a.jpg").write_bytes(b"nothing")
    check = check_photo(tmp_path / "a.jpg", SheetRow("a.jpg", "a", tool_depth_in=355.0, row=2))
    assert "deeper than tools run" in check_text([check])


def test_the_sample_sheet_has_no_depth_below_its_photos() -> None:
    jobs = plan_walls([SAMPLES]).jobs
    assert [f for f in check_photo(jobs[0].photo, jobs[0].row).findings if f.question == "depths"] == []
    deeper = replace(jobs[0].row, layers=(RecordedLayer("A/B", 29.0),))
    assert [f.state for f in check_photo(jobs[0].photo, deeper).findings if f.question == "depths"] == [
        "look"
    ]


def test_a_lens_profile_that_is_not_there_is_a_finding_and_the_other_photos_are_checked() -> None:
    photo = SAMPLES / "pit1-deep.jpg"
    checked = check_photo(photo, SheetRow(photo=photo.name, wall="north", lens="borrowed", row=2))
    (bad,) = (finding for finding in checked.findings if finding.state == "bad")
    assert bad.question == "lens" and "borrowed" in bad.seen and bad.remedy


def test_a_check_in_inches_has_no_millimetres_in_it() -> None:
    photo = SAMPLES / "pit3-deep.jpg"
    check = check_photo(photo, default_row(photo.name))
    assert "a root of 0.04 in is " in check_text([check]) and " mm" not in check_text([check])
    assert "0.04 in" in sharpness(wall(blurred(soil_wall(), 1.0))).seen


def test_a_check_speaks_in_the_unit_of_the_settings() -> None:
    photo = SAMPLES / "pit3-deep.jpg"
    settings = Settings(report=ReportSettings(units="cm"))
    said = {f.question: f.seen for f in check_photo(photo, default_row(photo.name), None, settings).findings}
    assert "pixels per centimetre" in said["scale"]
    assert said["pixels"].startswith("a root of 0.10 cm is ")
    assert said["surface"].endswith(" cm") and " cm of shadow edge" in said["shadow edges"]
