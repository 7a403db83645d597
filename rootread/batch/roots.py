"""The roots of a wall kept from run to run: what comes after them can be made anew without seeking them."""

import io
import zipfile
import zlib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rootread.batch.record import Places
from rootread.find import RootMap
from rootread.follow import Trace
from rootread.plane.types import Grid
from rootread.settings import Settings
from rootread.store import write_bytes
from rootread.wall import Roots, Wall

Arrays = dict[str, NDArray[Any]]


def write_roots(wall: Wall, out: Path, key: str) -> None:
    """Write what was found and followed of a wall; ``key`` says what it was made from."""
    arrays: dict[str, Any] = {"key": np.array(key)} | _of_map(wall.root_map) | _of_traces(wall.traces)
    file = io.BytesIO()
    np.savez_compressed(file, **arrays)
    write_bytes(Places(out, wall.name).roots, file.getvalue())


def kept_roots(out: Path, wall: str, key: str, settings: Settings) -> Roots | None:
    """The roots that an earlier run found in the same photo, exactly as it followed them.

    None where they have to be sought: they were made from something else or
    are not there; so too where GraphML is asked for, which alone of all that is
    written is made from the root map's pixels: these are not kept.
    """
    if settings.report.export_graphml:
        return None
    try:
        with np.load(io.BytesIO(Places(out, wall).roots.read_bytes()), allow_pickle=False) as file:
            if file["key"] != key:
                return None
            arrays = dict(file)
        return Roots(_map_from(arrays), _traces_from(arrays))
    except (OSError, ValueError, KeyError, EOFError, RuntimeError, zipfile.BadZipFile, zlib.error):
        return None


def _of_map(root_map: RootMap) -> Arrays:
    """What is kept of a root map: all but its pixels, which are as large as the photo."""
    grid, crack, floor_in = root_map.grid, root_map.crack, root_map.floor_in
    return {
        "grid": np.array([grid.px_per_in, grid.x0_in, grid.z0_in]),
        "shape": np.array(grid.shape),
        "cautions": np.array(root_map.cautions, str),
        "crack": np.zeros(0, np.uint8) if crack is None else np.packbits(crack),
        "floor_in": np.array([] if floor_in is None else [floor_in]),
    }


def _map_from(arrays: Arrays) -> RootMap:
    rows, columns = arrays["shape"].tolist()
    px_per_in, x0_in, z0_in = arrays["grid"].tolist()
    floor_in = next(iter(arrays["floor_in"].tolist()), None)
    bits, nothing = arrays["crack"], np.zeros((0, 0), dtype=bool)
    return RootMap(
        nothing.astype(np.float32),
        nothing,
        Grid(px_per_in, x0_in, z0_in, (rows, columns)),
        tuple(arrays["cautions"].tolist()),
        crack=np.unpackbits(bits, count=rows * columns).reshape(rows, columns) > 0 if len(bits) else None,
        floor_in=floor_in,
    )


def _of_traces(traces: tuple[Trace, ...]) -> Arrays:
    """A place a trace in some arrays, and in others all their points one after the other."""
    return {
        "id": np.array([trace.id for trace in traces], dtype=str),
        "parent": np.array([trace.parent or "" for trace in traces], dtype=str),
        "order": np.array([trace.order for trace in traces], dtype=int),
        "confidence": np.array([trace.confidence for trace in traces], dtype=float),
        "cut": np.array([trace.cut for trace in traces], dtype=bool),
        "width_se_in": np.array([trace.width_se_in for trace in traces], dtype=float),
        "count": np.array([len(trace.points) for trace in traces], dtype=int),
        "points": _joined(np.zeros((0, 2)), (trace.points for trace in traces)),
        "width_in": _joined(np.zeros(0), (trace.width_in for trace in traces)),
        "inferred": _joined(np.zeros(0, bool), (trace.inferred for trace in traces)),
        "squeezed": _joined(np.zeros(0, bool), (_squeezed(trace) for trace in traces)),
    }


def _traces_from(arrays: Arrays) -> tuple[Trace, ...]:
    last = np.cumsum(arrays["count"])
    return tuple(
        _trace(arrays, index, slice(first, last))
        for index, (first, last) in enumerate(zip(last - arrays["count"], last, strict=True))
    )


def _trace(arrays: Arrays, index: int, along: slice) -> Trace:
    """One trace, from its place in the arrays of traces and its own stretch of the arrays of points."""
    squeezed = arrays["squeezed"][along]
    return Trace(
        id=str(arrays["id"][index]),
        order=int(arrays["order"][index]),
        parent=str(arrays["parent"][index]) or None,
        points=arrays["points"][along],
        width_in=arrays["width_in"][along],
        inferred=arrays["inferred"][along],
        confidence=float(arrays["confidence"][index]),
        cut=bool(arrays["cut"][index]),
        width_se_in=float(arrays["width_se_in"][index]),
        squeezed=squeezed if squeezed.any() else None,
    )


def _joined(nothing: NDArray[Any], pieces: Iterable[NDArray[Any]]) -> NDArray[Any]:
    return np.concatenate([nothing, *pieces])


def _squeezed(trace: Trace) -> NDArray[np.bool_]:
    return np.zeros(len(trace.points), dtype=bool) if trace.squeezed is None else trace.squeezed
