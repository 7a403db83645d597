"""The files of a run, with what a clock says left out, for comparing runs byte for byte."""

import re
from pathlib import Path

import cv2
import numpy as np
import skimage.data

from rootread.scene import draw_scene, render, write_scene


def files_of(out: Path) -> dict[str, bytes]:
    """Every file beneath a folder by its name, hidden ones too; the seconds a wall took are blanked."""
    return {
        path.relative_to(out).as_posix(): without_seconds(path)
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }


def without_seconds(path: Path) -> bytes:
    content = path.read_bytes()
    if path.name == "walls.csv":
        head, *rows = content.splitlines()
        assert head.endswith(b",seconds")
        return b"\n".join([head, *(row.rpartition(b",")[0] for row in rows)])
    if path.parent.name == "records":
        return re.sub(rb'"seconds":[\d.]+', b'"seconds":', content)
    return content


def made_wall(folder: Path, name: str, seed: int = 41, width_px: int = 900) -> Path:
    """A small photo of a made wall with a card, without its truth beside it."""
    folder.mkdir(parents=True, exist_ok=True)
    scene = draw_scene(np.random.default_rng(seed), kind="blocked", difficulty="clean", scale="card")
    photo = write_scene(render(scene, (width_px, width_px * 3 // 4)), folder, name)
    for truth in (photo.with_suffix(".json"), photo.with_suffix(".png")):
        truth.unlink()
    return photo


def gravel(folder: Path, name: str, size_px: int = 700) -> Path:
    """A photo without any scale, which is refused, quickly."""
    folder.mkdir(parents=True, exist_ok=True)
    photo = folder / f"{name}.jpg"
    cv2.imwrite(str(photo), cv2.resize(skimage.data.gravel(), (size_px, size_px)))
    return photo
