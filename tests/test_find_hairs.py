"""Hairs, roots thinner than a pixel or two: on made walls of seeds and soils that nothing was learnt from."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from rootread.find import network
from rootread.find.hairs import LESS, SURER_BY_WIDTH_PX, surer_by
from rootread.find.network import network_roots, read_picture
from rootread.find.second_look import doubled
from rootread.plane.types import Grid, WallImage
from rootread.scene import draw_scene, render_crop
from rootread.settings import FindSettings
from rootread.train.held_out import HELD_OUT_SOILS

SEED = 920_000
PX_PER_IN = 72.0
SIDE_PX = 640
NEAR_IN = 0.06
HAIR_PX = 1.4
LINE_TOLERANCE = 0.1
"""Probability; of pieces of eight walls, on which it is off by 0.05 at most."""


def logit(probability: float) -> np.float32:
    return np.float32(np.log(probability / (1 - probability)))


def test_the_thinner_a_line_the_surer_it_is_than_its_pixels() -> None:
    surer = surer_by(np.array([[0.6, 0.9, 1.2, 1.4, 1.6, 4.0]], np.float32))[0]
    assert (np.diff(surer[:4]) < 0).all() and surer[3] > 0
    assert (surer[4:] == 0).all(), "a root of three pixels and more is as sure as its pixels"


def test_a_line_is_root_as_often_as_its_odds_raised_by_its_thinness_say() -> None:
    stated, root = [], []
    for number in range(8):
        rng = np.random.default_rng(SEED + number)
        scene = draw_scene(rng, "open", "typical", soils=HELD_OUT_SOILS)
        longest = max(scene.roots, key=lambda r: len(r.points))
        x, z = longest.points[len(longest.points) // 2]
        rgb, share, _, _ = render_crop(scene, SIDE_PX, PX_PER_IN, rng, (float(x), float(z)))
        raw = read_picture(rgb)
        half_width_px = doubled(np.exp(raw.log_half_width_px), share.shape)
        crest = raw.logit >= cv2.dilate(raw.logit, np.ones((3, 3))) - 1e-6
        hair = crest & (half_width_px < HAIR_PX)
        line = raw.logit[hair] + SURER_BY_WIDTH_PX / half_width_px[hair] - LESS
        stated.append(1 / (1 + np.exp(-line)))
        away_px = cv2.distanceTransform((share < 0.2).astype(np.uint8), cv2.DIST_L2, 5)
        root.append(away_px[hair] < NEAR_IN * PX_PER_IN)
    probability, is_root = np.concatenate(stated), np.concatenate(root)
    for low in (0.1, 0.3, 0.5):
        within = (probability >= low) & (probability < low + 0.2)
        assert is_root[within].mean() == pytest.approx(probability[within].mean(), abs=LINE_TOLERANCE)
    assert is_root[probability >= 0.7].mean() > 0.9


def test_a_hair_is_found_where_a_wide_line_as_doubtful_is_not(monkeypatch: pytest.MonkeyPatch) -> None:
    rgb = np.random.default_rng(3).integers(80, 100, (256, 256, 3), dtype=np.uint8)
    raw = read_picture(rgb)
    odds = np.full((256, 256), logit(0.01))
    half_px = np.full((128, 128), 3.0, np.float32)
    odds[60:62, 20:236] = odds[180:186, 20:236] = logit(0.3)
    half_px[28:34] = 0.9
    faint = replace(raw, logit=odds, log_half_width_px=np.log(half_px))
    monkeypatch.setattr(network, "read_picture", lambda *_: faint)
    soil = np.ones((256, 256), dtype=bool)
    found = network_roots(WallImage(rgb, soil, Grid(PX_PER_IN, 0.0, 0.0, soil.shape)), FindSettings())
    assert found.mask[60:62, 20:236].all() and not found.mask[180:186].any()
    assert found.probability[61, 100] == pytest.approx(0.3, abs=0.01), "the pixel is told as it is"
