"""The tables of a wall's section beyond the grade: around the layers, across the wall, and finer figures."""

import math
from collections.abc import Sequence
from itertools import dropwhile
from typing import Any

from rootread.fieldsheet import SheetRow
from rootread.judge import Judgement, Layer
from rootread.judge.judgement import ProfileRow
from rootread.judge.strips import Strip
from rootread.measure.abundance import SIZE_FROM_MM, SIZES
from rootread.measure.slices import DepthSlice
from rootread.report.words import (
    between_depths,
    between_places,
    degrees,
    layer_short_words,
    listing,
    range_words,
)
from rootread.shares import percent
from rootread.units import length_range, length_words, per_length_shown, unit_shown

Table = dict[str, Any]
"""``head``: column names, ``rows``: lists of cells, the first of which names the row."""


def around_layers(judgement: Judgement, layers: Sequence[Layer]) -> Table | None:
    """Roots above, at and below the layers; nothing without a layer to compare with."""
    slices = judgement.around_layers
    if not layers or len(slices) < 2:
        return None
    rows = [
        [
            _place(part, layers),
            f"{length_range(part.from_in, part.to_in)} {unit_shown()}",
            length_words(part.root_length_in, 0),
            degrees(part.descent_deg),
            percent(part.flattened_share),
        ]
        for part in slices
    ]
    return {"head": ["", "depth", "root", "descent", "looks flat"], "rows": rows}


def twisting_table(judgement: Judgement, layers: Sequence[Layer]) -> Table | None:
    """How roots turn and wave above, at and below the layers, or on the whole wall."""
    slices = judgement.around_layers
    if not slices:
        return None
    rows = [
        [
            _place(part, layers) if layers else "the whole wall",
            _turning_words(part),
            length_words(part.waves.wavelength_in),
            length_words(part.waves.amplitude_in, 2),
        ]
        for part in slices
    ]
    return {"head": ["", f"turning, ° per {unit_shown()}", "wave", "to each side"], "rows": rows}


def _turning_words(part: DepthSlice) -> str:
    if not math.isfinite(part.turning_deg_per_in):
        return "–"
    return f"{per_length_shown(part.turning_deg_per_in):.0f}"


def _place(part: DepthSlice, layers: Sequence[Layer]) -> str:
    within = [layer for layer in layers if part.from_in <= layer.depth_in < part.to_in]
    if within:
        return "at the layer" if len(layers) == 1 else f"at {layer_short_words(within[0])}"
    if part.to_in <= layers[0].depth_in:
        return "above the layer" if len(layers) == 1 else "above both" if len(layers) == 2 else "above all"
    if part.from_in >= layers[-1].depth_in:
        return "below the layer" if len(layers) == 1 else "below both" if len(layers) == 2 else "below all"
    return "between"


def across_wall(strips: Sequence[Strip], row: SheetRow) -> Table | None:
    """Slots beside berms, or thirds of the wall where the sheet does not say where shanks ran here."""
    if not strips:
        return None
    rows = [
        [
            strip.name,
            f"{per_length_shown(strip.density):.2f}" if math.isfinite(strip.density) else "–",
            degrees(strip.descent_deg),
            f"{100 * strip.passage:.0f}" if math.isfinite(strip.descent_deg) else "–",
        ]
        for strip in strips
    ]
    head = ["", f"root, {unit_shown()} per square {unit_shown()}", "descent", "of 100 roots get down"]
    thirds = strips[0].name.endswith("third")
    heading = "Across the wall" if thirds else "Slots and berms"
    words = _thirds_words(row) if thirds else _slots_words(strips[0], row)
    return {"heading": heading, "head": head, "rows": rows, "words": words}


def _shanks_words(row: SheetRow) -> str:
    """Why the sheet's shanks do not tell of slots and berms here."""
    if not row.shanks_at_in:
        return "The sheet does not say where the shanks went"
    return "By the shanks of the sheet nearly all roots of this wall are in slots, or in berms"


def _thirds_words(row: SheetRow) -> str:
    return f"{_shanks_words(row)}, so thirds of the wall stand in for slots and berms: a guess."


def _slots_words(slots: Strip, row: SheetRow) -> str:
    """Where the slots are, and what they are known from."""
    where = listing([f"from {between_places(left, right, 0)}" for left, right in slots.reaches_in])
    if not slots.guessed:
        return f"Slots reach {where}: a quarter of the spacing to either side of each shank."
    return (
        f"{_shanks_words(row)}. Slots are taken to be where most roots crossed the layer, {where}: a guess "
        "from the roots themselves, so that they cross more there is no finding. "
        "The grade goes by thirds of the wall."
    )


def abundance_table(judgement: Judgement) -> Table | None:
    """Classes of the soil survey by depth and size, with the number of roots."""
    found = judgement.abundance
    if not found:
        return None
    sizes = [size for size in SIZES if any(one.size == size for one in found)]
    steps = sorted({(one.from_in, one.to_in) for one in found})
    cell = {(one.from_in, one.size): f"{one.quantity} ({one.roots})" for one in found}
    rows = [
        [f"{length_range(top, bottom, 0)} {unit_shown()}", *(cell.get((top, size), "–") for size in sizes)]
        for top, bottom in steps
    ]
    return {"head": ["depth", *(f"{size}, {_size_words(SIZES.index(size))}" for size in sizes)], "rows": rows}


def profile_wall_table(judgement: Judgement) -> Table | None:
    """Units of 5 mm of root in cells of 5 by 5 cm, row by row of the grid.

    Rows above the surface in which there is next to nothing are left out.
    """
    found = list(dropwhile(_nothing_above_surface, judgement.profile_wall))
    rows = [
        [between_depths(row.from_in, row.to_in), f"{row.mean_units:.1f}", f"{row.most_units:.0f}"]
        for row in found
    ]
    return {"head": ["depth", "units a cell", "most in a cell"], "rows": rows} if rows else None


def _nothing_above_surface(row: ProfileRow) -> bool:
    return row.to_in <= 0 and f"{row.mean_units:.1f}" == "0.0"


def _size_words(index: int) -> str:
    if index == 0:
        return f"< {SIZE_FROM_MM[1]:g} mm"
    if index == len(SIZES) - 1:
        return f"≥ {SIZE_FROM_MM[index]:g} mm"
    return f"{SIZE_FROM_MM[index]:g}–{SIZE_FROM_MM[index + 1]:g} mm"


def finer_figures(judgement: Judgement) -> list[tuple[str, str]]:
    """How root is spread over depth, and how roots wave."""
    figures = []
    fit = judgement.depth_fit
    if fit:
        figures += [
            (
                "half of the root length lies above",
                f"{length_words(fit.d50_in.value)} ({length_range(fit.d50_in.low, fit.d50_in.high)})",
            ),
            (
                "95 % of it lies above",
                f"{length_words(fit.d95_in.value)} ({length_range(fit.d95_in.low, fit.d95_in.high)})",
            ),
            (
                "beta of Y = 1 − beta^d, d in cm",
                f"{fit.beta.value:.3f} ({range_words(fit.beta.low, fit.beta.high, 3)})",
            ),
        ]
    waves = judgement.waviness
    if math.isfinite(waves.wavelength_in):
        figures.append(
            (
                "a usual wave of a root",
                f"{length_words(waves.wavelength_in)} long, "
                f"{length_words(waves.amplitude_in, 2)} to each side",
            )
        )
    return figures
