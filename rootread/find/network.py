"""Roots by a small trained network: which pixels, which way, how wide.

The network was trained on made walls alone (see ``rootread.train``) and runs
on the CPU. Its probabilities are calibrated on made walls of soils it has not
seen; on a photo unlike any of them they are only a ranking.
"""

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import logit

from rootread.components import components, lasting_pieces
from rootread.errors import BadRequest
from rootread.find.familiar import light_words, pieces_of, training_walls, unfamiliar
from rootread.find.hairs import surer_by
from rootread.find.second_look import doubled
from rootread.find.session import shipped
from rootread.find.strokes import WEIGHTS, corrected
from rootread.find.tiles import RawMap, Run, run_in_tiles
from rootread.find.tone import BARE_BELOW, darker_than_ground, hollows, tone_against_soil
from rootread.find.types import RootMap
from rootread.plane.types import WallImage
from rootread.settings import FindSettings
from rootread.threads import both

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]

TRAINED_PX_PER_IN = (44.0, 105.0)
"""Wall resolutions the network has learnt from; others are resampled to the nearer end."""
MOST_PX = 20_000_000
"""A wall is not enlarged beyond so many pixels: no more than any wall is laid flat with."""
PHOTO_SIDE_PX = 4000
"""Without a scale in inches a photo is first brought to this longest side: walls then have 70-130 px/in."""
PHOTO_SCALES = (1.0, 0.5)
"""Then it is read at these reductions, and the surer answer counts."""
REFUSED_SHARE = 0.70
"""Share of the mask expected to be root under which short pieces are not believed; sharp photos of made walls
have 0.76 and more, grainy ones of weak contrast 0.60 and more."""
DOUBTFUL_SHARE = 0.76
HANGS_TOGETHER_IN = 5.0
"""Pieces of faint roots reach as far, each pixel's counted alike; those of gravel and grass 1 to 4 inches."""


def network_roots(image: WallImage, settings: FindSettings) -> RootMap:
    """Root map of a wall laid flat, by the network."""
    run, zoom = _taught(settings.learned), zoom_for(image)
    raw = read_picture(_polarised(image.rgb, settings.polarity), zoom, run)
    unusual, (probability, mask) = both(
        lambda: _unfamiliar(image, raw, zoom), lambda: _likely(image, raw, settings)
    )
    mask, doubts = _believed(mask, probability, settings.network_low, image.grid.px_per_in)
    cautions = (*doubts, *unusual)
    direction = np.float32(0.5) * np.arctan2(raw.sin2, raw.cos2)
    return RootMap(probability, mask, image.grid, cautions, direction, _exp(raw.log_half_width_px))


def _likely(image: WallImage, raw: RawMap, settings: FindSettings) -> tuple[Image, Mask]:
    """Probability of root, nought off the soil and in hollows, and the pieces that last."""
    probability = _sigmoid(raw.logit)
    probability[~image.soil] = 0
    if settings.polarity == "light":
        probability[doubled(_hollows(image, probability, raw.log_half_width_px), probability.shape)] = 0
    line = raw.logit + doubled(surer_by(_exp(raw.log_half_width_px)), probability.shape)
    line[probability == 0] = -np.inf
    low, high = logit([settings.network_low, settings.network_high])
    shortest_px = settings.network_min_piece_in * image.grid.px_per_in
    return probability, lasting_pieces(line, low, high, shortest_px)


def _believed(mask: Mask, probability: Image, low: float, px_per_in: float) -> tuple[Mask, tuple[str, ...]]:
    """The mask, or an empty one where little of it can be root; and what a person should know."""
    # Hairs left out, whose pixels are less sure than they are.
    sure = mask & (probability > low)
    expected = float(probability[sure].mean()) if sure.any() else 1.0
    # Grain in a photo makes roots faint, but they still go on for inches, as the lines of bare ground do not.
    if expected < REFUSED_SHARE and _reach_px(sure) < HANGS_TOGETHER_IN * px_per_in:
        caution = (
            "Lines here look only faintly like roots, as grass or masonry may: none is taken. "
            "If they are roots, clean the face, photograph it in even light, or mark them by hand."
        )
        return np.zeros_like(mask), (caution,)
    if expected < DOUBTFUL_SHARE:
        caution = (
            "Many of the roots found are doubtful: this wall is unlike those the finder knows. "
            "Compare the picture with the wall, and mark what is wrong or missing."
        )
        return mask, (caution,)
    return mask, ()


def _reach_px(mask: Mask) -> float:
    """How far the piece reaches that a middling pixel of the mask is part of: the mean over its pixels."""
    pieces = components(mask)
    return float(np.average(pieces.reach_px, weights=pieces.px))


def _unfamiliar(image: WallImage, raw: RawMap, zoom: float) -> tuple[str, ...]:
    """What is unusual in the picture as the network saw it."""
    seen, soil = _as_seen(image, zoom)
    said = unfamiliar(pieces_of(seen, raw.deep, soil), training_walls())
    return (said,) if said else ()


def unusual_light(image: WallImage) -> tuple[str, str] | None:
    """Whether a wall is darker or brighter than those the network learnt from, in words, and what to do."""
    return light_words(*_as_seen(image, zoom_for(image)), training_walls())


def _as_seen(image: WallImage, zoom: float) -> tuple[NDArray[np.uint8], Mask]:
    """The picture as the network sees it, and where in it is soil."""
    if zoom == 1.0:
        return image.rgb, image.soil
    seen = resized(image.rgb, zoom)
    soil = cv2.resize(image.soil.astype(np.uint8), seen.shape[1::-1], interpolation=cv2.INTER_NEAREST)
    return seen, soil > 0


def _hollows(image: WallImage, probability: Image, log_half_width_px: Image) -> Mask:
    """Cracks and channels that the network took for dark roots, at half resolution: they are wide."""
    size = (log_half_width_px.shape[1], log_half_width_px.shape[0])
    rgb = cv2.resize(image.rgb, size, interpolation=cv2.INTER_AREA)
    likely = cv2.resize(probability, size, interpolation=cv2.INTER_AREA)
    soil = cv2.resize(image.soil.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    px_per_in = image.grid.px_per_in / 2
    tone = tone_against_soil(rgb, soil & (likely < BARE_BELOW), px_per_in)
    return hollows(likely, 0.5 * _exp(log_half_width_px), tone, px_per_in)


def photo_probability(rgb: NDArray[np.uint8], polarity: str = "light") -> Image:
    """Root probability of ``(M, N, 3)`` sRGB whose scale is not known, ``(M, N)`` 0 to 1."""
    rows, columns = rgb.shape[:2]
    best = np.full((rows, columns), -np.inf, np.float32)
    fitting = min(1.0, PHOTO_SIDE_PX / max(rows, columns))
    for scale in PHOTO_SCALES:
        best = np.maximum(best, read_picture(_polarised(rgb, polarity), fitting * scale).logit)
    probability = _sigmoid(best)
    return probability * darker_than_ground(rgb, probability) if polarity == "dark" else probability


def read_picture(rgb: NDArray[np.uint8], zoom: float = 1.0, run: Run | None = None) -> RawMap:
    """What the network says of a picture, resampled by ``zoom`` before and back after."""
    run = run or shipped()
    if zoom == 1.0:
        return run_in_tiles(rgb, run)
    rows, columns = rgb.shape[:2]
    raw = run_in_tiles(resized(rgb, zoom), run)
    half = ((columns + 1) // 2, (rows + 1) // 2)

    def back(values: Image, to: tuple[int, int]) -> Image:
        return cv2.resize(values, to, interpolation=cv2.INTER_LINEAR)

    return RawMap(
        back(raw.logit, (columns, rows)),
        back(raw.cos2, half),
        back(raw.sin2, half),
        back(raw.log_half_width_px, half) - np.float32(np.log(zoom)),
        raw.deep,
    )


def resized(rgb: NDArray[np.uint8], zoom: float) -> NDArray[np.uint8]:
    """A picture ``zoom`` times as large."""
    size = (max(round(rgb.shape[1] * zoom), 1), max(round(rgb.shape[0] * zoom), 1))
    return cv2.resize(rgb, size, interpolation=cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC)


def _taught(learned: tuple[float, ...]) -> Run:
    """The network, with what strokes taught it."""
    if not learned:
        return shipped()
    if len(learned) != WEIGHTS:
        raise BadRequest(
            f"The setting find.learned holds {len(learned)} numbers, not {WEIGHTS}.",
            "Leave it out, and give --strokes again.",
        )
    return corrected(shipped().with_features, np.array(learned))


def zoom_for(image: WallImage) -> float:
    """What brings a wall to a resolution that the network has learnt from, as far as memory allows."""
    low, high = TRAINED_PX_PER_IN
    px_per_in = image.grid.px_per_in
    zoom = float(np.clip(px_per_in, low, high) / px_per_in)
    return min(zoom, max(1.0, float(np.sqrt(MOST_PX / image.soil.size))))


def _polarised(rgb: NDArray[np.uint8], polarity: str) -> NDArray[np.uint8]:
    """Dark lines on pale ground become pale lines on dark ground, in grey: inverted colours are no soil's."""
    if polarity not in ("light", "dark"):
        raise BadRequest(f"polarity {polarity!r}.", "Give light or dark.")
    if polarity == "light":
        return rgb
    return cv2.cvtColor(np.bitwise_not(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)), cv2.COLOR_GRAY2RGB)


def _sigmoid(logit: Image) -> Image:
    # In place: on pictures of many megapixels fresh memory costs more than the arithmetic.
    odds_against = cv2.exp(np.negative(logit))
    odds_against += 1
    return np.reciprocal(odds_against, out=odds_against)


def _exp(values: Image) -> Image:
    return cv2.exp(values)
