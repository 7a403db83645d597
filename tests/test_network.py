"""The network finder: made walls of held-out seeds and soils, bare textures, a real photograph of vessels."""

from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from found_roots import recall_and_precision
from numpy.typing import NDArray
from PIL import Image
from scipy.ndimage import distance_transform_edt
from skimage.filters import sato
from skimage.morphology import skeletonize
from typer.testing import CliRunner

from rootread.cli import app
from rootread.components import lasting_pieces
from rootread.errors import BadRequest
from rootread.find import find_roots, tiles
from rootread.find.network import network_roots, photo_probability, read_picture, zoom_for
from rootread.find.session import shipped
from rootread.find.tone import hollows, tone_against_soil
from rootread.plane.types import Grid, WallImage
from rootread.scene import draw_scene, render_crop
from rootread.settings import FindSettings
from rootread.train.held_out import HELD_OUT_SOILS

SEED = 910_000
"""Beyond the seeds of training, of checkpoints and of benchmarks."""
SEAM_TOLERANCE = 1e-4
"""Probability."""
CALIBRATION_TOLERANCE = 0.1
"""Probability; single walls are off by so much, the mean of many by 0.03."""


def wall(rgb: NDArray[np.uint8], px_per_in: float = 72.0) -> WallImage:
    soil = np.ones(rgb.shape[:2], dtype=bool)
    return WallImage(np.ascontiguousarray(rgb), soil, Grid(px_per_in, 0.0, 0.0, rgb.shape[:2]))


@lru_cache
def crop(
    number: int, px_per_in: float = 72.0, side_px: int = 640
) -> tuple[NDArray[np.uint8], NDArray[np.float32]]:
    """A piece of a made wall about one of its roots; root share, half-width and direction stacked last."""
    scene = draw_scene(np.random.default_rng(SEED + number), "open", "typical", soils=HELD_OUT_SOILS)
    root = max(scene.roots, key=lambda r: float(r.width_in.mean()) * len(r.points))
    x, z = root.points[len(root.points) // 2]
    rng = np.random.default_rng(SEED + number)
    rgb, share, half_px, direction = render_crop(scene, side_px, px_per_in, rng, (float(x), float(z)))
    return rgb, np.dstack([share, half_px, direction])


@pytest.mark.parametrize("px_per_in", [45.0, 72.0, 110.0])
def test_roots_in_soils_never_learnt_from_are_found_at_any_resolution(px_per_in: float) -> None:
    figures = []
    for number in range(3):
        rgb, truth = crop(number, px_per_in, side_px=round(8 * px_per_in))
        # Roots thinner than 0.05 in count for precision only.
        wide = (truth[..., 0] > 0.5) & (truth[..., 1] >= 0.025 * px_per_in)
        mask = network_roots(wall(rgb, px_per_in), FindSettings()).mask
        recall, _ = recall_and_precision(mask, wide, px_per_in)
        _, precision = recall_and_precision(mask, truth[..., 0] > 0.3, px_per_in)
        figures.append((recall, precision))
    recall, precision = np.median(figures, axis=0)
    assert recall > 0.85
    assert precision > 0.85


def test_direction_and_half_width_come_with_the_roots() -> None:
    degrees, ratios = [], []
    for number in range(3):
        rgb, truth = crop(number)
        found = network_roots(wall(rgb), FindSettings())
        assert found.direction_rad is not None and found.half_width_px is not None
        truth = truth[::2, ::2]
        on = found.mask[::2, ::2] & (truth[..., 0] > 0.9) & (truth[..., 1] > 2.0)
        true_rad = 0.5 * np.arctan2(truth[..., 3], truth[..., 2])
        off_rad = np.abs((found.direction_rad - true_rad + np.pi / 2) % np.pi - np.pi / 2)
        degrees.append(np.degrees(off_rad[on]))
        ratios.append(found.half_width_px[on] / truth[..., 1][on])
    assert np.median(np.concatenate(degrees)) < 6.0
    assert np.median(np.concatenate(ratios)) == pytest.approx(1.0, abs=0.15)


def test_a_stated_probability_is_the_share_that_is_root() -> None:
    """On soils and seeds that neither training nor calibration has seen, every pixel counted."""
    stated, root = [], []
    for number in range(6):
        rgb, truth = crop(number)
        stated.append(1 / (1 + np.exp(-read_picture(rgb).logit.ravel())))
        root.append(truth[..., 0].ravel() > 0.5)
    probability, is_root = np.concatenate(stated), np.concatenate(root)
    for low in (0.2, 0.4, 0.6, 0.8):
        within = (probability >= low) & (probability < low + 0.2)
        assert is_root[within].mean() == pytest.approx(probability[within].mean(), abs=CALIBRATION_TOLERANCE)


def seam_error(tile_px: int) -> float:
    """Largest change of probability when a picture is read in tiles; its size is no multiple of 32."""
    rgb = np.tile(crop(0)[0], (1, 2, 1))[:610, :1000]
    whole, pieces = (tiles.run_in_tiles(rgb, shipped(), size) for size in (4096, tile_px))
    assert whole.logit.shape == pieces.logit.shape == rgb.shape[:2]
    return float(np.abs(1 / (1 + np.exp(-whole.logit)) - 1 / (1 + np.exp(-pieces.logit))).max())


@pytest.mark.parametrize("tile_px", [192, 416])
def test_the_result_does_not_depend_on_the_tiles(tile_px: int) -> None:
    assert seam_error(tile_px) < SEAM_TOLERANCE


def test_tiles_that_overlap_too_little_would_show(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(tiles, "VIEW_PX", 32)
    assert seam_error(192) > 100 * SEAM_TOLERANCE


@pytest.mark.parametrize("texture", ["gravel", "grass", "brick"])
def test_no_roots_in_bare_ground_textures(texture: str) -> None:
    """Source: the photographs that scikit-image carries; there are no roots in them."""
    grey = getattr(skimage.data, texture)()
    mask = find_roots(wall(np.dstack([grey] * 3)), FindSettings(finder="network")).mask
    square_feet = grey.size / 72.0**2 / 144
    assert skeletonize(mask).sum() / 72.0 / square_feet <= 0.5


def test_a_wall_of_faint_lines_is_doubted_in_plain_words() -> None:
    grey = skimage.data.grass()
    found = network_roots(wall(np.dstack([grey] * 3)), FindSettings())
    assert found.probability.max() > 0.9
    assert any("mark them by hand" in caution for caution in found.cautions)


def test_roots_that_grain_makes_faint_are_read_with_a_doubt() -> None:
    """Grain as a phone adds in the shade; the roots still hang together for inches."""
    rgb, truth = crop(11, 45.0)
    grain = 0.15 * np.random.default_rng(0).standard_normal(rgb.shape)
    found = network_roots(
        wall(np.rint(255 * np.clip(rgb / 255 + grain, 0, 1)).astype(np.uint8), 45.0), FindSettings()
    )
    assert found.probability[found.mask].mean() < 0.69
    recall, precision = recall_and_precision(found.mask, truth[..., 0] > 0.5, 45.0)
    assert min(recall, precision) > 0.6
    assert any("are doubtful" in caution for caution in found.cautions)


def test_vessels_of_a_real_photograph_agree_with_scikit_image() -> None:
    """Source: ``skimage.data.retina()``, against scikit-image's own ``sato`` with ``skeletonize``."""
    rgb = skimage.data.retina()[300:1100, 300:1100]
    ours = skeletonize(photo_probability(rgb, "dark") > 0.5)
    ridges = sato(rgb[..., 1].astype(float), sigmas=[1, 2, 3, 5], black_ridges=True)
    theirs = skeletonize(ridges > np.quantile(ridges, 0.90))
    assert ours.sum() > 2500
    assert (distance_transform_edt(~theirs)[ours] < 4).mean() > 0.9


def test_asked_for_dark_lines_pale_ones_are_not_given() -> None:
    """Source: ``skimage.data.retina()``: dark vessels, and pale ones once its light and dark are swapped."""
    rgb = skimage.data.retina()[300:800, 300:800]
    dark, swapped = (photo_probability(np.ascontiguousarray(v), "dark") for v in (rgb, 255 - rgb))
    assert dark.mean() > 0.03
    assert swapped.mean() < 0.4 * dark.mean()


def test_a_mirrored_wall_has_the_mirrored_roots() -> None:
    rgb, _ = crop(1)
    plain = network_roots(wall(rgb), FindSettings()).mask
    mirrored = network_roots(wall(rgb[:, ::-1]), FindSettings()).mask[:, ::-1]
    recall, precision = recall_and_precision(mirrored, plain, 72.0)
    assert min(recall, precision) > 0.9


def test_a_coarse_and_a_fine_picture_keep_their_size_and_widths() -> None:
    """Width is told in the picture's own pixels, whatever it was resampled to on the way."""
    rgb, truth = crop(2)
    on = (truth[..., 0] > 0.9)[::2, ::2] & (truth[..., 1] > 3.0)[::2, ::2]
    plain, zoomed = read_picture(rgb), read_picture(rgb, 0.75)
    assert zoomed.logit.shape == plain.logit.shape == rgb.shape[:2]
    change = zoomed.log_half_width_px[on] - plain.log_half_width_px[on]
    assert abs(float(np.median(change))) < 0.15


def striped(levels: dict[int, float]) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Probability, half-width and tone of a wall with one upright line 8 px wide per column in ``levels``."""
    grey = np.full((200, 400, 3), 110, np.uint8)
    probability = np.zeros((200, 400), np.float32)
    for column, factor in levels.items():
        grey[:, column : column + 8] = np.clip(110 * factor, 0, 255)
        probability[:, column : column + 8] = 0.95
    tone = tone_against_soil(grey, probability < 0.5, 72.0)
    return probability, np.full_like(probability, 4.0), tone


def test_dark_lines_among_pale_roots_are_hollows() -> None:
    hollow = hollows(*striped({60: 1.8, 160: 0.3, 260: 1.8}), 72.0)
    assert hollow[:, 161:167].all() and not hollow[:, 60:68].any() and not hollow[:, 260:268].any()


def test_where_all_roots_are_dark_none_is_a_hollow() -> None:
    assert not hollows(*striped({60: 0.3, 160: 0.3, 260: 0.35}), 72.0).any()


def test_short_and_unsure_pieces_do_not_last() -> None:
    probability = np.zeros((100, 300), np.float32)
    probability[20, 10:90] = 0.95
    probability[50, 10:90] = 0.5
    probability[80, 10:25] = 0.95
    kept = lasting_pieces(probability, 0.35, 0.9, 29.0)
    assert kept[20, 10:90].all() and not kept[50].any() and not kept[80].any()


@pytest.mark.parametrize(
    ("shape", "px_per_in", "zoom"),
    [((300, 400), 72.0, 1.0), ((300, 400), 22.0, 2.0), ((300, 400), 210.0, 0.5)],
)
def test_a_wall_is_brought_to_a_resolution_that_the_network_knows(
    shape: tuple[int, int], px_per_in: float, zoom: float
) -> None:
    assert zoom_for(bare_wall(shape, px_per_in)) == pytest.approx(zoom)


@pytest.mark.parametrize(("rows", "zoom"), [(4000, 1.0), (2500, np.sqrt(20 / 12.5))])
def test_a_coarse_wall_is_enlarged_only_as_far_as_memory_allows(rows: int, zoom: float) -> None:
    assert zoom_for(bare_wall((rows, 5000), 20.0)) == pytest.approx(zoom)


def bare_wall(shape: tuple[int, int], px_per_in: float) -> WallImage:
    soil = np.broadcast_to(np.array(True), shape)
    return WallImage(np.broadcast_to(np.uint8(90), (*shape, 3)), soil, Grid(px_per_in, 0.0, 0.0, shape))


def test_the_command_writes_a_map_in_the_pixels_of_the_upright_photo(tmp_path: Path) -> None:
    """The photo lies on its side and says so in its Exif, as phones do."""
    rgb = np.ascontiguousarray(crop(0)[0][:540, :640])
    exif = Image.Exif()
    exif[0x0112] = 6  # to be shown turned a quarter to the right (Exif 2.3, tag 0x0112)
    Image.fromarray(np.rot90(rgb)).save(tmp_path / "turned.png", exif=exif)
    request = ["mask", str(tmp_path / "turned.png"), "--out", str(tmp_path / "map.png")]
    assert CliRunner().invoke(app, request).exit_code == 0
    written = np.asarray(Image.open(tmp_path / "map.png"))
    assert written.shape == (540, 640) and written.dtype == np.uint8
    assert np.abs(written / 255 - photo_probability(rgb)).max() < 0.005


def test_an_unknown_polarity_is_refused() -> None:
    with pytest.raises(BadRequest, match="polarity"):
        photo_probability(np.zeros((64, 64, 3), np.uint8), "bright")


def test_pictures_smaller_than_the_network_is_deep_are_read() -> None:
    for shape in ((1, 1), (5, 300), (33, 31)):
        assert photo_probability(np.full((*shape, 3), 90, np.uint8)).shape == shape


def test_an_enlarged_wall_keeps_its_roots() -> None:
    rgb, _ = crop(1)
    small = network_roots(wall(rgb), FindSettings()).mask
    large = cv2.resize(rgb, None, fx=1.4, fy=1.4, interpolation=cv2.INTER_CUBIC)
    found = network_roots(wall(large, 72.0 * 1.4), FindSettings()).mask
    back = cv2.resize(found.astype(np.uint8), small.shape[::-1], interpolation=cv2.INTER_NEAREST) > 0
    recall, precision = recall_and_precision(back, small, 72.0)
    assert min(recall, precision) > 0.85
