"""A desk over a folder of its own, for the tests: one small wall, read once."""

import shutil
import time
from pathlib import Path

import cv2

SAMPLES = Path(__file__).parent.parent / "sample_images"
TOKEN = "the-token-of-this-run"
HOST = "http://127.0.0.1:8765"


def put_wall(folder: Path, name: str = "north", width_px: int = 1600, sample: str = "pit1-shallow") -> Path:
    """A sample wall at another size: smaller to be read quickly, larger to be heavy."""
    folder.mkdir(parents=True, exist_ok=True)
    photo = cv2.imread(str(SAMPLES / f"{sample}.jpg"))
    assert photo is not None
    height_px = round(photo.shape[0] * width_px / photo.shape[1])
    how = cv2.INTER_AREA if width_px < photo.shape[1] else cv2.INTER_CUBIC
    place = folder / f"{name}.jpg"
    cv2.imwrite(str(place), cv2.resize(photo, (width_px, height_px), interpolation=how))
    return place


def put_bare_photo(folder: Path, name: str = "bare") -> Path:
    """A photo that is refused at once: no scale object, nothing on it."""
    folder.mkdir(parents=True, exist_ok=True)
    photo = cv2.imread(str(SAMPLES / "pit1-deep.jpg"))[1700:2200, 0:800]
    place = folder / f"{name}.jpg"
    cv2.imwrite(str(place), photo)
    return place


def wait_until(true, seconds: float, what: str) -> None:
    """Wait until something holds; say what it was if it does not."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, f"not within {seconds} s: {what}"
        time.sleep(0.05)


def browser_path() -> str | None:
    """Chromium or Chrome on this machine."""
    return next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
