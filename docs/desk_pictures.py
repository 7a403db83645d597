"""Makes the desk guide's pictures: the sample walls on a desk of their own, in a real browser.

    python docs/desk_pictures.py

It needs what the tests need: Chromium, and the extra ``test``.
"""

import io
import json
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from PIL import Image
from playwright.sync_api import Page, sync_playwright

HERE = Path(__file__).parent.parent
FIGURES = HERE / "shared" / "figures"
LARGE_PX, SMALL_PX = 1200, 683
"""Widths of the pictures; the small ones stand in pairs."""
SCREEN = {"width": 1366, "height": 768}
PHONE = {"width": 390, "height": 780}
ROOT_MISSED = [(0.8083, 0.3444), (0.8283, 0.392), (0.8623, 0.399)]
"""Where the first wall is clicked, as shares of its photo."""
BARE_SOIL = (0.6, 0.9)
"""Where the mouse rests after, so that no root is lit."""


class Shown:
    """A page of the desk, and the pictures taken of it."""

    def __init__(self, page: Page) -> None:
        self.page = page

    def go(self, screen: str) -> None:
        """Show a screen and wait until it is there."""
        self.page.evaluate(f"location.hash = '#/{screen}'")
        if screen.startswith("wall"):
            self.page.locator("canvas[data-opened]").wait_for()
        self.page.wait_for_timeout(1500)

    def use(self, tool: str, *shares: tuple[float, float]) -> None:
        """Take a tool and click places on the whole photo."""
        self.page.get_by_role("button", name=tool, exact=True).click()
        for across, down in shares:
            self.page.mouse.click(*self.on_photo(across, down))
        self.page.mouse.move(*self.on_photo(*BARE_SOIL))

    def on_photo(self, across: float, down: float) -> tuple[float, float]:
        """A place of the photo, which is 4 to 3, on the screen while it is shown whole."""
        box = self.page.locator("canvas").bounding_box()
        assert box is not None
        rule = 52
        height = min(box["height"], (box["width"] - rule) * 3 / 4)
        width = height * 4 / 3
        left = box["x"] + (box["width"] + rule - width) / 2
        return left + across * width, box["y"] + (box["height"] - height) / 2 + down * height

    def done(self) -> None:
        """Finish with a tool and wait for the whole reading."""
        self.page.get_by_role("button", name="Done").click()
        self.settle()

    def settle(self) -> None:
        """Wait until nothing is left to read."""
        self.page.wait_for_timeout(1500)
        while "Reading" in self.page.locator("#queue").inner_text():
            self.page.wait_for_timeout(500)
        self.page.wait_for_timeout(1000)

    def keep(self, name: str, width_px: int = SMALL_PX) -> None:
        """Write what is shown into the figures."""
        self.page.mouse.move(5, 5)
        self.page.wait_for_timeout(400)
        picture = Image.open(io.BytesIO(self.page.screenshot())).convert("RGB")
        height_px = round(picture.height * width_px / picture.width)
        picture = picture.resize((width_px, height_px), Image.Resampling.LANCZOS)
        picture.save(FIGURES / f"desk-{name}.jpg", quality=85, optimize=True)


def take_all(shown: Shown, folder: Path) -> None:
    """Every state in the order in which a person meets it."""
    page = shown.page
    shown.keep("empty")
    page.locator("#add-folder").set_input_files(str(folder))
    page.locator("a.hung img").nth(1).wait_for()
    shown.keep("queue")
    shown.settle()
    while "6 walls" not in page.locator("#queue").inner_text():
        page.wait_for_timeout(500)

    shown.go("wall/pit1-shallow")
    shown.use("Draw", *ROOT_MISSED)
    page.wait_for_timeout(1000)
    shown.keep("draw")
    shown.done()
    shown.use("Strike", doubtful(wall(page, "pit1-shallow")))
    shown.settle()
    page.get_by_text("Mended by hand (2)").wait_for()
    page.keyboard.press("Escape")
    page.get_by_label("Checked by eye").check()
    shown.settle()
    shown.keep("wall", LARGE_PX)

    shown.use("Scale", (0.05, 0.33), (0.24, 0.33))
    shown.keep("scale")
    page.keyboard.press("Escape")
    shown.go("field")
    shown.keep("field", LARGE_PX)

    marked = wall(page, "pit2-shallow")
    longest = sorted(marked["reading"]["roots"], key=lambda root: -root["length_in"])
    theirs = {"version": 1, "roots_struck_px": [root["points_px"] for root in longest[:12:4]]}
    shown.go("second/pit2-shallow")
    content = json.dumps(theirs).encode()
    page.locator("#second-marks").set_input_files(
        [{"name": "pit2-shallow.json", "mimeType": "application/json", "buffer": content}]
    )
    page.locator(".reading table").wait_for()
    shown.keep("second", LARGE_PX)
    shown.go("pair/pit1-deep/pit1-shallow")
    shown.keep("pair", LARGE_PX)

    shown.go("sheet")
    page.get_by_label("Treatment, row 2").fill("shallow pass, wet")
    page.get_by_label("Tool depth, in, row 3").fill("fourteen")
    page.get_by_text("Not saved yet").wait_for()
    shown.keep("sheet")
    shown.go("report")
    page.get_by_role("button", name="Write the report").click()
    page.get_by_text("Written into").wait_for()
    shown.keep("report")


def wall(page: Page, name: str) -> dict[str, Any]:
    """A wall as the desk hands it to its page."""
    answer: dict[str, Any] = page.evaluate(
        """async (name) => {
          const headers = { 'X-Desk-Token': sessionStorage.getItem('desk-token') }
          return (await fetch(`/api/walls/${name}`, { headers })).json()
        }""",
        name,
    )
    return answer


def doubtful(wall: dict[str, Any]) -> tuple[float, float]:
    """The middle of the line that is least surely a root, as shares of the photo."""
    least = min(wall["reading"]["roots"], key=lambda root: root["confidence"] + root["drawn"])
    (x, y), (columns, rows) = least["points_px"][len(least["points_px"]) // 2], wall["size_px"]
    return x / columns, y / rows


def main() -> None:
    """Open a desk, take the pictures, close it."""
    with tempfile.TemporaryDirectory() as scratch, sync_playwright() as playwright:
        command = [sys.executable, "-u", "-c", "from rootread.cli import main; main()"]
        arguments = ["desk", str(Path(scratch) / "pits"), "--port", "0", "--no-browser"]
        desk = subprocess.Popen([*command, *arguments], stdout=subprocess.PIPE, text=True)
        browser = playwright.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        try:
            assert desk.stdout is not None
            address = re.sub("^Desk: ", "", desk.stdout.readline().strip())
            page = browser.new_page(viewport=SCREEN)
            page.set_default_timeout(120_000)
            page.goto(address)
            page.locator("h1").wait_for()
            time.sleep(1)
            take_all(Shown(page), HERE / "sample_images")
            phone = browser.new_page(viewport=PHONE, has_touch=True)
            phone.goto(address)
            phone.locator("h1").wait_for()
            narrow = Shown(phone)
            narrow.go("wall/pit1-shallow")
            narrow.use("Draw", *ROOT_MISSED)
            narrow.keep("narrow", PHONE["width"])
        finally:
            browser.close()
            desk.kill()
            desk.wait()


if __name__ == "__main__":
    main()
