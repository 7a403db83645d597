"""What strokes teach of a field, and whether a photo is like anything that the network was trained on."""

import time
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
import pytest
import skimage.data
from numpy.typing import NDArray

from rootread.batch import plan_walls
from rootread.batch.strokes import taught_by_strokes
from rootread.errors import BadMarks, BadRequest
from rootread.find.familiar import pieces_of, training_walls, unfamiliar
from rootread.find.field import SEED as FIELD_SEED
from rootread.find.field import learn_field
from rootread.find.network import network_roots, read_picture
from rootread.find.session import shipped
from rootread.find.strokes import WEIGHTS, GridStroke, corrected, learn
from rootread.find.tiles import run_in_tiles
from rootread.marks import Marks, Stroke
from rootread.plane.types import Grid, Level, ScaleFinding, Surface, WallImage, WallPlane
from rootread.scene import draw_scene, render_crop
from rootread.settings import FindSettings, settings_from_dict, settings_toml
from rootread.train.held_out import HELD_OUT_SOILS

SEED = 910_100
"""Beyond the seeds of training, of checkpoints and of benchmarks."""
FIT_SECONDS = 3.0
CYAN = (90, 235, 240)
CYAN_THREADS = (
    [[60, 600], [200, 560], [330, 590], [600, 540]],
    [[40, 60], [180, 110], [300, 90]],
    [[560, 80], [520, 250], [580, 400]],
)


@lru_cache
def threaded(number: int) -> tuple[NDArray[np.uint8], NDArray[np.bool_], NDArray[np.bool_]]:
    """A piece of a made wall with cyan threads laid over it; its roots, and the threads."""
    scene = draw_scene(np.random.default_rng(SEED + number), "open", "typical", soils=HELD_OUT_SOILS)
    root = max(scene.roots, key=lambda r: float(r.width_in.mean()) * len(r.points))
    x, z = root.points[len(root.points) // 2]
    rng = np.random.default_rng(SEED + number)
    rgb, share, _, _ = render_crop(scene, 640, 72.0, rng, (float(x), float(z)))
    threads = np.zeros(rgb.shape[:2], np.uint8)
    for line in CYAN_THREADS:
        cv2.polylines(threads, [np.array(line, np.int32)], False, 1, 6)
    rgb = rgb.copy()
    rgb[threads > 0] = CYAN
    return cv2.GaussianBlur(rgb, (0, 0), 0.8), (share > 0.7) & (threads == 0), threads > 0


def probability(rgb: NDArray[np.uint8], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    return 1 / (
        1 + np.exp(-run_in_tiles(rgb, corrected(shipped().with_features, weights)).logit.astype(float))
    )


def strokes_on(number: int) -> list[GridStroke]:
    """Two along threads, which are this field's roots, and one beside them on the ground."""
    _, root, thread = threaded(number)
    clear = cv2.dilate((root | thread).astype(np.uint8), np.ones((15, 15))) == 0
    row, column = np.nonzero(clear[:, 200:300])
    ground = np.column_stack([column + 200, row])[:: len(row) // 20].astype(float)
    roots = [GridStroke(True, np.array(line, float), 8.0) for line in CYAN_THREADS[:2]]
    return [*roots, *(GridStroke(False, place[None], 5.0) for place in ground)]


def test_strokes_on_one_photo_find_the_same_roots_on_another() -> None:
    begun = time.process_time()
    weights = learn(threaded(0)[0], strokes_on(0), shipped().with_features, np.random.default_rng(1))
    assert time.process_time() - begun < FIT_SECONDS
    rgb, root, thread = threaded(1)
    before, after = (probability(rgb, w) for w in (np.zeros(WEIGHTS), weights))
    assert before[thread].mean() < 0.2 < 0.4 < after[thread].mean()
    assert after[root].mean() > 0.9 * before[root].mean()
    assert after[~root & ~thread].mean() < before[~root & ~thread].mean() + 0.02


def test_without_strokes_nothing_changes() -> None:
    rgb = threaded(0)[0]
    plain = read_picture(rgb).logit
    assert np.array_equal(
        run_in_tiles(rgb, corrected(shipped().with_features, np.zeros(WEIGHTS))).logit, plain
    )


def test_what_was_learned_travels_with_the_settings() -> None:
    rgb, _, thread = threaded(1)
    weights = learn(threaded(0)[0], strokes_on(0), shipped().with_features, np.random.default_rng(1))
    taught = settings_from_dict({"find": {"learned": weights.round(5).tolist()}}, "test")
    assert repr(list(taught.find.learned)) in settings_toml(taught)
    wall = WallImage(rgb, np.ones(thread.shape, bool), Grid(72.0, 0.0, 0.0, thread.shape))
    plain, better = (network_roots(wall, s).mask for s in (FindSettings(), taught.find))
    assert plain[thread].mean() < 0.3 < 0.6 < better[thread].mean()


def level_plane() -> WallPlane:
    """A photo of 72 px/in that is the flat wall itself."""
    none = np.empty((0, 2))
    scale = ScaleFinding("points", 72.0, 0.0, (), none, none, 0.0)
    surface = Surface(np.array([[0.0, 0.0], [9.0, 0.0]]), 0.0, "marks")
    return WallPlane(np.diag([72.0, 72.0, 1.0]), None, scale, Level("photo", 0.0), surface, 0.0)


def as_marks(strokes: list[GridStroke]) -> Marks:
    return Marks(
        strokes=tuple(
            Stroke(
                "root" if s.is_root else "soil",
                tuple((float(x), float(y)) for x, y in s.points_px),
                s.width_px,
            )
            for s in strokes
        )
    )


def test_strokes_in_the_photo_teach_what_the_same_strokes_on_the_flat_wall_do() -> None:
    rgb, _, thread = threaded(0)
    wall = WallImage(rgb, np.ones(thread.shape, bool), Grid(72.0, 0.0, 0.0, thread.shape))
    learned = learn_field(wall, level_plane(), as_marks(strokes_on(0)))
    directly = learn(rgb, strokes_on(0), shipped().with_features, np.random.default_rng(FIELD_SEED))
    # Places go through inches and back, so a few pixels at the strokes' edges differ.
    assert np.corrcoef(learned, directly)[0, 1] > 0.99


def test_strokes_of_one_kind_alone_are_refused() -> None:
    rgb, _, thread = threaded(0)
    wall = WallImage(rgb, np.ones(thread.shape, bool), Grid(72.0, 0.0, 0.0, thread.shape))
    roots = [stroke for stroke in strokes_on(0) if stroke.is_root]
    with pytest.raises(BadMarks, match="both kinds"):
        learn_field(wall, level_plane(), as_marks(roots))


def test_weights_of_another_network_are_refused() -> None:
    rgb = threaded(0)[0][:64, :64]
    wall = WallImage(rgb, np.ones((64, 64), bool), Grid(72.0, 0.0, 0.0, (64, 64)))
    with pytest.raises(BadRequest, match="learned"):
        network_roots(wall, FindSettings(learned=(1.0, 2.0)))


def test_marks_without_a_photo_are_refused(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "wall.png"), cv2.resize(skimage.data.gravel(), (900, 900)))
    plan = plan_walls([tmp_path])
    with pytest.raises(BadRequest, match="no file"):
        taught_by_strokes(tmp_path / "marks" / "wall.json", plan, settings_from_dict({}, "test"))


def what_is_unusual(rgb: NDArray[np.uint8]) -> str | None:
    deep = read_picture(np.ascontiguousarray(rgb)).deep
    return unfamiliar(pieces_of(rgb, deep, np.ones(rgb.shape[:2], bool)), training_walls())


@pytest.mark.parametrize("number", [0, 1, 2])
def test_walls_of_soils_never_learnt_from_are_familiar(number: int) -> None:
    scene = draw_scene(np.random.default_rng(SEED + number), "open", "typical", soils=HELD_OUT_SOILS)
    rgb, *_ = render_crop(scene, 800, 72.0, np.random.default_rng(SEED), (scene.width_in / 2, 7.0))
    assert what_is_unusual(rgb) is None


@pytest.mark.parametrize("picture", ["brick", "grass", "rocket"])
def test_pictures_of_other_things_are_unfamiliar(picture: str) -> None:
    """Source: photographs that scikit-image carries."""
    rgb = getattr(skimage.data, picture)()
    said = what_is_unusual(np.dstack([rgb] * 3) if rgb.ndim == 2 else rgb)
    assert said is not None and "unlike" in said
    assert "--" not in said  # growers read it, who know no options of a command


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda rgb: (0.12 * rgb).astype(np.uint8), "dark"),
        (lambda rgb: cv2.GaussianBlur(rgb, (0, 0), 5.0), "not sharp"),
        (lambda rgb: np.clip(rgb * [0.3, 0.7, 2.5], 0, 255).astype(np.uint8), "bluer"),
    ],
)
def test_what_is_unusual_is_named(
    spoil: Callable[[NDArray[np.uint8]], NDArray[np.uint8]], words: str
) -> None:
    scene = draw_scene(np.random.default_rng(SEED), "open", "typical", soils=HELD_OUT_SOILS)
    rgb, *_ = render_crop(scene, 800, 72.0, np.random.default_rng(SEED), (scene.width_in / 2, 7.0))
    said = what_is_unusual(spoil(rgb))
    assert said is not None and words in said
