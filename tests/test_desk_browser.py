"""The desk in a real browser: from a dropped photo to the report, by mouse, by keyboard, and by axe-core.

It needs Chromium on this machine (Debian: ``apt-get install chromium``). Where there is none, these
tests are skipped and say so; with ``CI`` set in the environment they fail instead.
"""

import base64
import json
import math
import os
import re
import subprocess
import sys
import warnings
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from desk_walls import browser_path, put_bare_photo, put_wall, wait_until
from playwright.sync_api import APIResponse, Browser, Locator, Page, Route, expect, sync_playwright

from rootread.console import time_left
from rootread.marks import Marks, ScaleMark, write_marks

# Only what hangs is to be ended: each wait says itself how long it may take on a busy machine.
pytestmark = pytest.mark.timeout(1200)

CHROMIUM = browser_path()
if CHROMIUM is None and not os.environ.get("CI"):
    loud = (
        "NO BROWSER: the desk's page is NOT tested. Install Chromium (apt-get install chromium), run again."
    )
    sys.stderr.write(f"\n{'!' * 100}\n{loud}\n{'!' * 100}\n")
    pytest.skip(loud, allow_module_level=True)

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
READ_MS = 240_000
"""A reading on a machine that is busy with others."""
expect.set_options(timeout=READ_MS)
OPENS_IN_MS = 2000
"""From the click to the photo with its reading, for a wall of 12 megapixels that has been read."""
WCAG = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


ONE_OF_TWO = "1 wall read · 1 not read"


class Served:
    """A desk of its own process."""

    def __init__(self, folder: Path, port: int = 0, units: str = "in", settings: Path | None = None) -> None:
        self.folder = folder
        arguments = ["desk", str(folder), "--port", str(port), "--no-browser", "--units", units]
        arguments += ["--settings", str(settings)] if settings else []
        self.process = subprocess.Popen(
            [sys.executable, "-u", "-c", "from rootread.cli import main; main()", *arguments],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().removeprefix("Desk: ").strip()
        self.port = int(re.findall(r":(\d+)/", self.address)[0])

    def kill(self) -> None:
        """End it with signal 9."""
        self.process.kill()
        self.process.wait()
        assert self.process.stdout is not None
        self.process.stdout.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with warnings.catch_warnings(), sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 1366, "height": 768})
    page.set_default_timeout(READ_MS)  # a busy machine is no fault of the page
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    yield page
    page.context.close()
    assert not faults


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A desk over one small wall and one photo without a scale, for the tests that leave it as it was."""
    folder = tmp_path_factory.mktemp("looked-at")
    put_wall(folder, "north")
    put_bare_photo(folder, "bare")
    served = Served(folder)
    yield served
    served.kill()


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A desk over two walls that are read quickly, on which nobody's marks are looked at."""
    folder = tmp_path_factory.mktemp("two")
    for name in ("east", "west"):
        put_bare_photo(folder, name)
        scale = (ScaleMark((100.0, 100.0)), ScaleMark((500.0, 100.0)))
        write_marks(Marks(scale_points=scale, distance_in=10.0), folder / "marks" / f"{name}.json")
    served = Served(folder)
    yield served
    served.kill()


def faults_of_access(page: Page) -> str:
    """What axe-core finds against WCAG 2.0 to 2.2, levels A and AA, on the page as it is; empty for nothing.

    https://www.deque.com/axe/ (carried by PyPI)
    """
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": WCAG}})
    return found.generate_report() if found.violations_count else ""


def listened(page: Page) -> bool:
    """Let the browser tell what came: it does so while it is spoken to, not while this process sleeps."""
    page.wait_for_timeout(20)
    return True


class Held:
    """The desk's next answer to an address, made when it is asked for and held back."""

    def __init__(self, page: Page, address: str, method: str = "GET") -> None:
        self._page, self._address = page, address
        self._given: list[tuple[Route, APIResponse]] = []
        taken = False

        def hold(route: Route) -> None:
            nonlocal taken
            if taken or route.request.method != method:
                route.fallback()
            else:
                # Another request may come while the desk answers this one.
                taken = True
                self._given.append((route, route.fetch()))

        page.route(address, hold)

    def wait(self) -> None:
        """Until the desk has answered."""
        wait_until(lambda: listened(self._page) and self._given, READ_MS / 1000, "an answer")

    def give(self) -> None:
        """Let the page have it, and see what it makes of it."""
        ((route, answer),) = self._given
        route.fulfill(response=answer)
        self._page.unroute(self._address)
        self._page.wait_for_timeout(300)


def drop(page: Page, photo: Path) -> None:
    """Let a file go over the page, as a hand does."""
    page.evaluate(
        """([name, data]) => {
          const bytes = Uint8Array.from(atob(data), (c) => c.charCodeAt(0))
          const carried = new DataTransfer()
          carried.items.add(new File([bytes], name, { type: 'image/jpeg' }))
          const how = { dataTransfer: carried, bubbles: true, cancelable: true }
          for (const type of ['dragenter', 'dragover', 'drop']) window.dispatchEvent(new DragEvent(type, how))
        }""",
        [photo.name, base64.b64encode(photo.read_bytes()).decode()],
    )


def open_desk(page: Page, served: Served) -> None:
    """The desk with both walls read."""
    page.goto(served.address)
    expect(page.locator("#queue")).to_have_text(ONE_OF_TWO)


def open_wall(page: Page, name: str = "north") -> None:
    page.locator(f'a[href="#/wall/{name}"]').click()
    page.locator("canvas[data-opened]").wait_for()
    page.locator("#grade").wait_for()


def settled(page: Page, saved: Callable[[], bool]) -> None:
    """Wait until the last change is in the marks file and its reading whole."""
    wait_until(lambda: listened(page) and saved(), READ_MS / 1000, "the change is saved")
    expect(page.locator(".saved")).to_have_text("Saved")
    expect(page.locator(".state")).to_have_text("")
    expect(page.locator("#queue")).to_contain_text("read")


def unmoving(shown: Locator) -> bytes:
    """A picture of it once nothing changes any more: all of the photo has come."""
    pictures = [b""]

    def still() -> bool:
        shown.page.wait_for_timeout(300)
        pictures.append(shown.screenshot())
        return pictures[-1] == pictures[-2]

    wait_until(still, 60, "the photo is shown")
    return pictures[-1]


def grade(page: Page) -> float:
    return float(page.locator("#grade").get_attribute("data-value") or "nan")


def at(page: Page, place: tuple[float, float]) -> tuple[float, float]:
    """Where a photo pixel is on the page while the whole photo is shown."""
    page.get_by_role("button", name="Whole").click()
    box = page.locator("canvas").bounding_box()
    assert box is not None
    width, height = 1600, 1200
    rule = 52  # the depth rule stands left of the photo
    scale = min((box["width"] - rule) / width, box["height"] / height)
    left = box["x"] + (box["width"] + rule - width * scale) / 2
    top = box["y"] + (box["height"] - height * scale) / 2
    return left + (place[0] + 0.5) * scale, top + (place[1] + 0.5) * scale


def click(page: Page, *places: tuple[float, float]) -> None:
    for place in places:
        page.mouse.click(*at(page, place))


def marks(folder: Path, name: str = "north") -> dict:
    try:
        return json.loads((folder / "marks" / f"{name}.json").read_text(encoding="utf-8"))
    except FileNotFoundError:  # asked for once only: the desk may take it away at any moment
        return {}


def worked_on(folder: Path) -> Path:
    """A folder with a photo that is read by its marks, a sheet, and an earlier run's results."""
    put_bare_photo(folder, "south")
    scale = (ScaleMark((100.0, 100.0)), ScaleMark((500.0, 100.0)))
    write_marks(Marks(scale_points=scale, distance_in=10.0), folder / "marks" / "south.json")
    (folder / "results" / "pictures").mkdir(parents=True)
    (folder / "sheet.csv").write_text("photo,treatment,tool_depth_in\nnorth,deep pass,seven\n", "utf-8")
    for place in (folder, folder / "results"):
        (place / "walls.csv").write_text("wall\neast\n", "utf-8")
    put_bare_photo(folder / "results" / "pictures", "east")
    return folder


def test_from_a_dropped_photo_to_the_report(page: Page, tmp_path: Path) -> None:
    """Drop, read, fix the scale, strike, draw, see the grade change, reload, find it kept, hand over."""
    folder = tmp_path / "pit"
    served = Served(folder)
    try:
        page.goto(served.address)
        expect(page.locator("main")).to_contain_text("Drop photos")
        assert not faults_of_access(page)
        drop(page, put_wall(tmp_path / "camera", "north"))
        expect(page.locator("#queue")).to_have_text("1 wall read")
        open_wall(page)
        first = grade(page)

        page.get_by_role("button", name="Strike", exact=True).click()
        # The yellow bundle at the layer; whatever root lies there goes.
        click(page, (1100, 376))
        settled(page, lambda: len(marks(folder).get("roots_struck_px", [])) == 1)
        struck = grade(page)
        assert struck != first
        expect(page.locator(".change")).to_contain_text("by the last change")

        page.get_by_role("button", name="Draw", exact=True).click()
        click(page, (700, 420), (720, 620), (700, 850))
        page.get_by_role("button", name="Done").click()
        settled(page, lambda: len(marks(folder)["roots_added"]) == 1)
        drawn = grade(page)
        assert drawn != struck
        (root,) = marks(folder)["roots_added"]
        assert len(root["points_px"]) > 3, "the line was snapped to the photo"

        page.get_by_text("Layers (1)").click()
        page.get_by_role("button", name="No layer at").click()
        settled(page, lambda: len(marks(folder)["layers_struck_px"]) == 1)
        expect(page.locator(".reading s")).to_contain_text("in")
        assert grade(page) != drawn
        page.get_by_role("button", name="Undo").click()
        settled(page, lambda: not marks(folder)["layers_struck_px"])
        assert grade(page) == drawn
        page.get_by_role("button", name="Undo").click()
        settled(page, lambda: not marks(folder)["roots_added"])
        assert grade(page) == struck
        page.get_by_role("button", name="Redo").click()
        settled(page, lambda: len(marks(folder)["roots_added"]) == 1)
        assert grade(page) == drawn

        page.get_by_role("button", name="Scale", exact=True).click()
        click(page, (400, 500), (1400, 500))
        page.get_by_label("Distance between them").fill("30 in")
        page.get_by_role("button", name="Done").click()
        settled(page, lambda: marks(folder)["distance_in"] == 30)
        scaled = grade(page)
        assert scaled != drawn

        page.get_by_label("Checked by eye").check()
        settled(page, lambda: marks(folder)["checked"])
        page.reload()
        page.locator("canvas[data-opened]").wait_for()
        expect(page.locator(".plate")).to_contain_text("likely")
        assert grade(page) == pytest.approx(scaled, abs=0.05)
        expect(page.locator(".marks li")).to_have_count(3)
        expect(page.get_by_label("Checked by eye")).to_be_checked()

        page.get_by_role("link", name="Field", exact=True).click()
        expect(page.locator("main h2")).to_have_text("Checked by eye (1)")
        page.locator("#add-folder").set_input_files(worked_on(tmp_path / "card reader"))
        expect(page.get_by_role("alert")).to_have_text(
            re.compile(r"^The sheet is taken in\. Row 2, tool_depth_in: .* It is left blank\.$")
        )
        expect(page.locator("#queue")).to_have_text("2 walls read · 1 checked by eye")
        expect(page.locator('a[href="#/wall/north"]')).to_contain_text("deep pass")
        expect(page.locator('a[href="#/wall/south"]')).to_contain_text("mended by hand")

        page.get_by_role("link", name="Hand over").click()
        page.get_by_role("button", name="Write the report").click()
        written = f"Written into the folder {folder / 'results'}."
        expect(page.get_by_role("status").filter(has_text=written)).to_be_visible()
        with page.expect_download() as saved:
            page.get_by_role("button", name="Save a copy").click()
        report = Path(saved.value.path()).read_text(encoding="utf-8")
        assert re.search("checked by eye</dt><dd>yes", report) and "deep pass" in report
        assert report == (folder / "results" / "report.html").read_text(encoding="utf-8")
    finally:
        served.kill()


def test_a_wall_of_12_megapixels_opens_within_two_seconds_of_the_click(page: Page, tmp_path: Path) -> None:
    put_wall(tmp_path, "large", width_px=4000)
    served = Served(tmp_path)
    try:
        page.goto(served.address)
        expect(page.locator("#queue")).to_have_text("1 wall read")
        times = []
        for _ in range(3):  # other work on this machine must not decide it
            begun = page.evaluate("performance.now()")
            open_wall(page, "large")
            times.append(float(page.locator("canvas").get_attribute("data-opened") or "nan") - begun)
            page.get_by_role("link", name="Field", exact=True).click()
        assert min(times) < OPENS_IN_MS, times
    finally:
        served.kill()


def test_the_keyboard_alone_strikes_parts_and_draws(page: Page, served: Served) -> None:
    open_desk(page, served)
    page.locator('a[href="#/wall/north"]').focus()
    page.keyboard.press("Enter")
    page.locator("canvas[data-opened]").wait_for()
    page.locator("canvas").focus()
    page.keyboard.press("d")
    expect(page.locator(".hint")).to_contain_text("missing root")
    page.keyboard.press("Space")
    for _ in range(3):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.locator(".marks li")).to_have_count(1)
    page.keyboard.press("Control+z")
    expect(page.locator(".marks li")).to_have_count(0)


def test_a_tab_without_the_token_says_what_to_do(page: Page, served: Served) -> None:
    page.goto(served.address.split("#")[0])
    expect(page.locator("#queue")).to_contain_text("the whole address that the terminal printed")


def test_screens_left_before_they_are_there_come_to_nothing(page: Page, served: Served) -> None:
    open_desk(page, served)
    for screen in ("wall/north", "pair", "sheet", "second/north", "pair", "report"):
        page.evaluate(f"location.hash = '#/{screen}'")
    page.wait_for_load_state("networkidle")
    expect(page.locator("h1")).to_have_text("Hand over")
    page.get_by_role("link", name="Side by side").click()
    page.get_by_role("link", name="Field", exact=True).click()
    page.wait_for_load_state("networkidle")
    expect(page.locator("h1")).to_have_text("Field")


@pytest.mark.parametrize("width", [1366, 360])
def test_every_screen_passes_axe_at_wcag_22_aa(page: Page, served: Served, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 768})
    open_desk(page, served)
    for screen in ("field", "wall/north", "sheet", "pair", "report", "second/north", "wall/bare"):
        page.evaluate(f"location.hash = '#/{screen}'")
        page.locator(f'main[data-screen="{screen.split("/")[0]}"] h1').first.wait_for(state="attached")
        if screen.startswith("wall"):
            page.locator("canvas[data-opened]").wait_for()
            for summary in page.locator(".reading summary").all():
                if summary.locator("..").get_attribute("open") is None:
                    summary.click()
            page.get_by_role("button", name="Scale", exact=True).click()
        if screen == "sheet":
            page.get_by_label("Tool depth, in, row 1").fill("seven")
            page.locator("input[aria-invalid]").wait_for()
        if screen.startswith("second"):
            page.get_by_role("button", name="Against the program alone").click()
            page.locator(".reading table").wait_for()
        assert not (faults := faults_of_access(page)), f"{screen}: {faults}"
        over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert over <= 0, f"{screen} is {over} px wider than the page"


def test_a_second_persons_marks_are_held_against_this_desks_reading(page: Page, served: Served) -> None:
    open_desk(page, served)
    longest = max(shown(page)["roots"], key=lambda root: root["length_in"])
    page.evaluate("location.hash = '#/second/north'")
    expect(page.locator(".reading")).to_contain_text("no second person’s reading yet")

    def take_in(content: bytes) -> None:
        theirs = {"name": "north.json", "mimeType": "application/json", "buffer": content}
        page.locator("#second-marks").set_input_files([theirs])

    take_in(b"not marks")
    expect(page.get_by_text("That is no marks file.")).to_be_visible()
    take_in(json.dumps({"version": 1, "roots_struck_px": [longest["points_px"]]}).encode())
    table = page.locator(".reading table")
    expect(table).to_contain_text("the second person")
    length = table.locator("tr", has_text="length").first.locator("td").all_inner_texts()
    ours, others = (float(re.sub(r"[^0-9.]", "", text)) for text in length)
    assert others < ours


def test_a_photo_without_a_scale_is_read_once_two_points_are_marked(page: Page, served: Served) -> None:
    open_desk(page, served)
    page.locator('a[href="#/wall/bare"]').click()
    expect(page.locator(".plate")).to_contain_text("mark two points")
    page.locator("canvas[data-opened]").wait_for()
    page.get_by_role("button", name="Strike", exact=True).click()
    page.mouse.click(300, 300)
    expect(page.locator(".hint")).to_have_text("Nothing is read on this photo yet.")
    page.get_by_role("button", name="Scale", exact=True).click()
    page.mouse.click(200, 300)
    page.mouse.click(700, 300)
    page.get_by_label("Distance between them").fill("25 cm")
    page.get_by_role("button", name="Done").click()
    expect(page.locator("#queue")).to_have_text("2 walls read")
    expect(page.locator(".plate")).to_contain_text("no roots")
    page.get_by_role("button", name="Take back: Scale").click()
    expect(page.locator("#queue")).to_have_text(ONE_OF_TWO)


def told(page: Page) -> dict:
    """What the desk tells its page of the wall among all walls."""
    walls = page.evaluate(
        """fetch('/api/desk', { headers: { 'X-Desk-Token': sessionStorage.getItem('desk-token') } })
          .then((answer) => answer.json()).then((desk) => desk.walls)"""
    )
    return next(wall for wall in walls if wall["name"] == "north")


def shown(page: Page) -> dict:
    """The reading as the desk hands it to its page."""
    return page.evaluate(
        """fetch('/api/walls/north', { headers: { 'X-Desk-Token': sessionStorage.getItem('desk-token') } })
          .then((answer) => answer.json()).then((wall) => wall.reading)"""
    )


def test_every_tool_leaves_its_mark(page: Page, served: Served) -> None:
    """Each tool once by mouse, in one go; what it drew is in the marks file."""
    open_desk(page, served)
    open_wall(page)
    off = (700, 900)
    reading = shown(page)
    lines = [root["points_px"] for root in reading["roots"]]
    left, right = reading["layers"][0]["line_px"]
    lines.sort(key=len, reverse=True)
    flat = lines[0][len(lines[0]) // 3 : len(lines[0]) // 2 + 1]
    # A stretch marked not flattened takes back what was marked flattened there, so another place is taken.
    round_one = next(
        line[len(line) // 3 : len(line) // 2 + 1]
        for line in lines[4:]
        if min(math.dist(a, b) for a in line[len(line) // 3 : len(line) // 2 + 1] for b in flat) > 40
    )
    uses = [
        ("Flattened", [flat[0], flat[-1]], False, "flattened_px"),
        ("Not flattened", [round_one[0], round_one[-1]], False, "not_flattened_px"),
        ("Part", [lines[1][len(lines[1]) // 2]], False, "splits_px"),
        ("Join", [lines[2][-1], lines[3][0]], False, "joins_px"),
        ("No layer", [((left[0] + right[0]) / 2, (left[1] + right[1]) / 2)], False, "layers_struck_px"),
        ("Layer", [off], True, "layers"),
        ("Loosened floor", [(200, 800), (1400, 820)], True, "loosened_floor_px"),
        ("Outline", [(150, 160), (1250, 160), (1250, 850), (150, 850)], True, "outline_px"),
        ("Surface", [(100, 60), (1500, 66)], True, "surface_px"),
        ("Plumb", [(700, 200), (703, 900)], True, "plumb_px"),
    ]
    for word, places, ends, kept in uses:
        page.get_by_role("button", name=word, exact=True).click()
        click(page, *places)
        if ends and page.get_by_role("button", name="Done").is_visible():
            page.get_by_role("button", name="Done").click()
        wait_until(lambda kept=kept: marks(served.folder).get(kept), 60, f"{word} is kept in {kept}")
    for word, says in (("Paint root", "root"), ("Paint soil", "soil")):
        page.get_by_role("button", name=word).click()
        page.mouse.move(*at(page, (400, 700)))
        page.mouse.down()
        page.mouse.move(*at(page, (480, 760)), steps=4)
        page.mouse.up()
        wait_until(
            lambda says=says: says in [stroke["says"] for stroke in marks(served.folder).get("strokes", [])],
            60,
            f"{word} is kept",
        )
    # The list follows the readings, one after each mark.
    expect(page.locator(".marks li")).to_have_count(12)
    for _ in range(12):
        page.get_by_role("button", name="Undo").click()
    wait_until(lambda: not marks(served.folder), 60, "all is undone and no marks file is left")


def test_a_photo_is_zoomed_and_moved_by_wheel_mouse_and_two_fingers(page: Page, served: Served) -> None:
    open_desk(page, served)
    open_wall(page)
    shown = page.locator("canvas")
    whole = unmoving(shown)
    page.mouse.move(*at(page, (800, 500)))
    page.mouse.wheel(0, -600)
    page.mouse.down()
    page.mouse.move(*at(page, (800, 500)), steps=2)
    page.mouse.up()
    wait_until(lambda: shown.screenshot() != whole, 60, "the wheel comes closer")
    closer = unmoving(shown)
    shown.evaluate(
        """(canvas) => {
          const box = canvas.getBoundingClientRect()
          const touch = (type, pointerId, x) => canvas.dispatchEvent(new PointerEvent(type,
            { pointerId, pointerType: "touch", clientX: box.left + x, clientY: box.top + 200 }))
          canvas.setPointerCapture = () => {}
          touch('pointerdown', 1, 300); touch('pointerdown', 2, 400)
          touch('pointermove', 2, 560); touch('pointerup', 1, 300); touch('pointerup', 2, 560)
        }"""
    )
    wait_until(lambda: shown.screenshot() != closer, 60, "two fingers come closer still")


def test_a_long_name_does_not_make_its_wall_wide(page: Page, served: Served) -> None:
    open_desk(page, served)
    tile = page.locator("li", has=page.locator('a[href="#/wall/bare"]'))
    before = tile.bounding_box()
    page.evaluate(
        "(long) => { document.querySelector('a[href=\"#/wall/bare\"] b').textContent = long }",
        "of a wall " * 20,
    )
    after = tile.bounding_box()
    assert before is not None and after is not None
    assert after["width"] <= max(before["width"], 31 * 18)  # rem of up to 18 pixels


def test_raw_photos_and_sheets_in_other_forms_are_said_not_to_be_taken(page: Page, served: Served) -> None:
    open_desk(page, served)
    files = [
        {"name": name, "mimeType": "application/octet-stream", "buffer": b"x"}
        for name in ("IMG_7.CR2", "sheet.xlsx", "notes.txt")
    ]
    page.locator("#add-photos").set_input_files(files)
    expect(page.locator("#trouble")).to_contain_text("IMG_7.CR2: raw photos are not taken; save them as JPEG")
    expect(page.locator("#trouble")).to_contain_text(
        "sheet.xlsx is not taken; save it as CSV, named sheet.csv."
    )


def test_the_time_that_is_left_is_told_as_the_command_line_tells_it(page: Page, served: Served) -> None:
    open_desk(page, served)
    seconds = (7.2, 99, 100, 384, 5990, 7000)
    told = page.evaluate(
        "async (all) => { const { timeLeft } = await import('/page/parts.js'); return all.map(timeLeft) }",
        list(seconds),
    )
    assert [f"about {words}" for words in told] == [time_left(each) for each in seconds]


def test_the_grade_s_bar_is_parted_where_the_settings_part_the_verdicts(page: Page, tmp_path: Path) -> None:
    settings = tmp_path / "mine.toml"
    settings.write_text("[judge]\nturned_from = 30\nslowed_from = 55\nopen_from = 90\n", encoding="utf-8")
    served = Served(tmp_path / "walls", settings=settings)
    page.goto(served.address)
    expect(page.locator("h1")).to_have_text("Field")
    bar = page.evaluate("async () => (await import('/page/parts.js')).gradeBar([50, 40, 60]).outerHTML")
    served.kill()
    drawn = re.findall(r'class="zone (\w+)" style="left:([\d.]+)%;width:([\d.]+)%"', bar)
    assert [(word, float(left), float(width)) for word, left, width in drawn] == [
        ("stopped", 0, 30),
        ("turned", 30, 25),
        ("slowed", 55, 35),
        ("open", 90, 10),
    ]


def test_a_grade_from_before_marks_that_are_refused_is_called_so(page: Page, served: Served) -> None:
    open_desk(page, served)
    wall = page.locator('a[href="#/wall/north"]')
    verdict = wall.locator(".verdict .tone").inner_text()
    page.evaluate(
        """async () => {
          const headers = { 'X-Desk-Token': sessionStorage.getItem('desk-token') }
          const { marks, revision } = await (await fetch('/api/walls/north', { headers })).json()
          const points_px = Array.from({ length: 20 }, (_, k) => [100 + 1000 * (k % 2), 200 + 10 * k])
          const roots_added = [{ points_px, width_px: 6 }]
          const body = JSON.stringify({ marks: { ...marks, roots_added }, revision })
          await fetch('/api/walls/north/marks', { method: 'PUT', headers, body })
        }"""
    )
    expect(page.locator("#queue")).to_have_text("0 walls read · 2 not read")
    expect(wall).to_contain_text(f"Not read since the last change. Before it, and as pictured: {verdict}")
    expect(wall).to_contain_text("draw each root as a line of its own")
    assert wall.locator(".grade").count() == 0, "no bar that could be read as the grade of now"
    page.goto(f"{served.address.partition('#')[0]}#/pair/north")
    expect(page.locator(".words").first).to_contain_text("Not read since the last change.")
    page.goto(f"{served.address.partition('#')[0]}#/wall/north")
    expect(page.locator(".plate h2")).to_contain_text("north")
    expect(page.locator(".plate")).to_contain_text("are of before the last change")
    page.get_by_role("button", name="Take back: Root drawn").click()
    page.locator("#grade").wait_for()
    expect(page.locator("#queue")).to_have_text(ONE_OF_TWO)
    page.locator("nav a", has_text="Field").click()
    assert wall.locator(".verdict .tone").inner_text() == verdict


def test_a_desk_in_centimetres_shows_and_takes_no_inches(page: Page, tmp_path: Path) -> None:
    put_wall(tmp_path, "north")
    put_bare_photo(tmp_path, "bare")
    rows = "photo,layers,tool_depth_in\nnorth.jpg,disk 7.5,7.5\n"
    (tmp_path / "sheet.csv").write_text(rows, encoding="utf-8")
    served = Served(tmp_path, units="cm")
    try:
        open_desk(page, served)
        for screen in ("wall/north", "second/north", "field", "report"):
            page.goto(f"{served.address.partition('#')[0]}#/{screen}")
            page.locator(f'main[data-screen="{screen.partition("/")[0]}"] h1').first.wait_for()
            if screen == "wall/north":
                page.locator("#grade").wait_for()
                page.evaluate(
                    "document.querySelectorAll('.body details').forEach((fold) => { fold.open = true })"
                )
                expect(page.locator(".body")).to_contain_text("photo pixels a centimetre")
            said = page.locator("main").inner_text()
            assert "inch" not in said and set(re.findall(r"\d (in|cm)\b", said)) <= {"cm"}, said
        page.goto(f"{served.address.partition('#')[0]}#/sheet")
        depth = page.get_by_label("Tool depth, cm, row 1")
        expect(depth).to_have_value("19.05 cm")
        depth.fill("20")
        wait_until(lambda: "20 cm" in (tmp_path / "sheet.csv").read_text("utf-8"), 60, "the sheet is saved")
        assert "disk 7.5," in (tmp_path / "sheet.csv").read_text("utf-8"), "what was left alone is as it was"
        page.goto(f"{served.address.partition('#')[0]}#/wall/bare")
        page.locator("canvas[data-opened]").wait_for()
        page.get_by_role("button", name="Scale", exact=True).click()
        for x in (0.3, 0.6):
            box = page.locator("canvas").bounding_box()
            assert box is not None
            page.mouse.click(box["x"] + x * box["width"], box["y"] + box["height"] / 2)
        page.get_by_label("Distance between them").fill("30")
        page.get_by_role("button", name="Done").click()
        wait_until(lambda: "distance_in" in marks(tmp_path, "bare"), 60, "the scale is saved")
        assert marks(tmp_path, "bare")["distance_in"] == pytest.approx(30 / 2.54)
        expect(page.get_by_text("Scale from two points, 30 cm apart")).to_be_visible()
    finally:
        served.kill()


def test_a_root_is_lit_only_while_it_is_pointed_at(page: Page, served: Served) -> None:
    open_desk(page, served)
    open_wall(page)
    page.locator("summary", has_text="Roots (").click()
    expect(page.get_by_text("Degrees are below level; with a minus the root rises")).to_be_visible()
    photo, elsewhere = page.locator("canvas"), page.locator("#queue")
    elsewhere.hover()
    plain = unmoving(photo)

    def lit() -> None:
        wait_until(lambda: photo.screenshot() != plain, 60, "the root is lit")

    def unlit(why: str) -> None:
        wait_until(lambda: photo.screenshot() == plain, 60, f"no root is lit: {why}")

    longest = max(shown(page)["roots"], key=lambda root: root["length_in"])["points_px"]
    page.mouse.move(*at(page, longest[len(longest) // 2]))
    lit()
    elsewhere.hover()
    unlit("the pointer left the photo")
    page.locator("tbody tr").first.hover()
    lit()
    elsewhere.hover()
    unlit("the pointer left its row")
    page.locator("tbody button").first.focus()
    lit()
    page.locator("summary").first.focus()
    unlit("the focus left its row")


def test_two_changes_made_before_the_first_is_answered_for_are_both_kept(page: Page, served: Served) -> None:
    open_desk(page, served)
    open_wall(page)
    page.locator("summary", has_text="Roots (").click()
    first = Held(page, "**/api/walls/north/marks", "PUT")
    for row in (0, 1):
        page.get_by_role("button", name=re.compile("^Strike .")).nth(row).click()
    first.wait()
    first.give()
    settled(page, lambda: len(marks(served.folder).get("roots_struck_px", [])) == 2)
    later = Held(page, "**/api/walls/north/marks", "PUT")
    page.get_by_role("button", name="Undo").click()
    page.get_by_role("button", name=re.compile("^Strike .")).nth(5).click()
    later.wait()
    later.give()
    settled(page, lambda: len(marks(served.folder).get("roots_struck_px", [])) == 2)
    for _ in range(2):
        page.get_by_role("button", name="Undo").click()
    settled(page, lambda: not marks(served.folder))


def test_an_answer_from_before_a_change_that_comes_after_its_own_does_not_undo_it(
    page: Page, served: Served
) -> None:
    open_desk(page, served)
    open_wall(page)
    page.locator("summary", has_text="Roots (").click()
    before = Held(page, "**/api/walls/north")
    treat(page, "of another window")
    before.wait()
    expect(page.locator(".plate h2")).to_contain_text("of another window")
    strike = page.get_by_role("button", name=re.compile("^Strike ."))
    strike.first.click()
    settled(page, lambda: len(marks(served.folder).get("roots_struck_px", [])) == 1)
    before.give()
    strike.first.click()
    settled(page, lambda: len(marks(served.folder).get("roots_struck_px", [])) == 2)
    treat(page, "")
    for _ in range(2):
        page.get_by_role("button", name="Undo").click()
    settled(page, lambda: not marks(served.folder))


def treat(page: Page, treatment: str) -> None:
    """Write the first wall's treatment into the sheet, as another window would."""
    page.evaluate(
        """async (treatment) => {
          const { get, put } = await import('/page/api.js')
          const sheet = await get('/api/sheet')
          const north = sheet.rows.find((row) => row[0] === 'north.jpg')
          north[sheet.columns.indexOf('treatment')] = treatment
          await put('/api/sheet', sheet)
        }""",
        treatment,
    )


def test_a_root_is_drawn_to_the_last_click_though_done_comes_before_its_line(
    page: Page, served: Served
) -> None:
    open_desk(page, served)
    open_wall(page)
    page.get_by_role("button", name="Draw", exact=True).click()
    with page.expect_response("**/snap"):
        click(page, (700, 420), (720, 620))
    page.wait_for_timeout(300)
    last = Held(page, "**/snap", "POST")
    click(page, (700, 850))
    page.get_by_role("button", name="Done").click()
    last.wait()
    last.give()
    settled(page, lambda: len(marks(served.folder).get("roots_added", [])) == 1)
    (root,) = marks(served.folder)["roots_added"]
    assert math.dist(root["points_px"][-1], (700, 850)) < 20
    page.get_by_role("button", name="Undo").click()
    settled(page, lambda: not marks(served.folder))


def test_the_sheet_is_saved_as_it_was_typed_last(page: Page, two: Served) -> None:
    page.goto(two.address)
    page.get_by_role("link", name="Sheet").click()
    notes = page.get_by_label("Notes, row 1")
    first = Held(page, "**/api/sheet", "PUT")
    notes.fill("dry")
    first.wait()
    with page.expect_response("**/api/sheet/check"):
        notes.fill("dry and stony")
    first.give()
    expect(page.locator(".lead")).to_have_text("Saved to sheet.csv.")
    assert "dry and stony" in (two.folder / "sheet.csv").read_text(encoding="utf-8")
    sent: list[str] = []
    page.on("request", lambda request: sent.append(request.method))
    page.get_by_role("link", name="Field", exact=True).click()
    expect(page.locator("h1")).to_have_text("Field")
    assert "PUT" not in sent, "what is saved is not saved again, over what came meanwhile"


def test_a_link_that_is_clicked_before_the_desk_has_answered_is_followed_once(
    page: Page, two: Served
) -> None:
    """What is typed would be lost were the screen made again, and its lengths might be of another unit."""
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url.removeprefix(f"http://127.0.0.1:{two.port}")))
    first = Held(page, "**/api/desk")
    page.goto(two.address)
    first.wait()
    page.get_by_role("link", name="Sheet").click()
    page.wait_for_timeout(300)
    first.give()
    page.get_by_label("Notes, row 1").wait_for()
    assert asked.count("/api/sheet") == 1


def test_of_two_walls_chosen_one_after_the_other_the_last_is_shown(page: Page, two: Served) -> None:
    page.goto(two.address)
    expect(page.locator("#queue")).to_have_text("2 walls read")
    page.get_by_role("link", name="Side by side").click()
    page.locator("canvas").first.wait_for()
    canvas, right = page.locator("canvas").all()
    expect(canvas).to_have_attribute("aria-label", re.compile("^east "))
    expect(right).to_have_attribute("aria-label", re.compile("^west "))
    west = Held(page, "**/api/walls/west/large.flat.jpg")
    page.get_by_label("Left wall").select_option("west")
    west.wait()
    with page.expect_response("**/api/walls/east/large.flat.jpg"):
        page.get_by_label("Left wall").select_option("east")
    west.give()
    expect(canvas).to_have_attribute("aria-label", re.compile("^east "))


def test_a_wall_whose_name_the_sheet_gives_to_another_is_shown_with_that_one_s_photo(
    page: Page, two: Served
) -> None:
    def name(*walls: str) -> None:
        """In another window."""
        page.evaluate(
            """async (names) => {
              const headers = { 'X-Desk-Token': sessionStorage.getItem('desk-token') }
              const sheet = await (await fetch('/api/sheet', { headers })).json()
              names.forEach((name, row) => { sheet.rows[row][sheet.columns.indexOf('wall')] = name })
              await fetch('/api/sheet', { headers, method: 'PUT', body: JSON.stringify(sheet) })
            }""",
            walls,
        )

    page.goto(two.address)
    open_wall(page, "east")
    with page.expect_response("**/api/walls/east/overview.jpg"):
        name("west", "east")
    page.locator("canvas[data-opened]").wait_for()
    assert page.url.endswith("#/wall/east")
    with page.expect_response("**/api/walls/east/overview.jpg"):
        name("east", "west")


def test_a_photo_that_was_taken_in_stays_on_the_field_when_an_older_look_at_it_comes_late(
    page: Page, two: Served, tmp_path: Path
) -> None:
    page.goto(two.address)
    expect(page.locator("#queue")).to_have_text("2 walls read")
    older = Held(page, "**/api/desk")
    older.wait()
    page.locator("#add-photos").set_input_files(put_wall(tmp_path, "south", width_px=800))
    south = page.locator('a[href="#/wall/south"]')
    expect(south).to_be_visible()
    page.evaluate(
        """new MutationObserver(() => {
          if (!document.querySelector('a[href="#/wall/south"]')) document.body.dataset.lost = 'south'
        }).observe(document.getElementById('main'), { childList: true, subtree: true })"""
    )
    older.give()
    assert page.locator("body[data-lost]").count() == 0
    (two.folder / "south.jpg").unlink()


def test_of_two_comparisons_the_one_asked_for_last_is_shown(page: Page, served: Served) -> None:
    open_desk(page, served)
    with_second = Held(page, "**/api/walls/north/second?against=second")
    page.evaluate("location.hash = '#/second/north'")
    with_second.wait()
    page.get_by_role("button", name="Against the program alone").click()
    table = page.locator(".reading table")
    expect(table).to_contain_text("the program alone")
    with_second.give()
    expect(table).to_contain_text("the program alone")


def test_a_change_whose_answer_is_lost_does_not_cost_the_next(page: Page, served: Served) -> None:
    """The desk may end after it saved a change and before it said so: it is no change by another person."""
    open_desk(page, served)
    open_wall(page)
    lost = []

    def lose(route: Route) -> None:
        lost.append(route.fetch().status)
        route.abort()

    page.route("**/api/walls/north/marks", lose, times=1)
    page.get_by_role("button", name="Part", exact=True).click()
    root = max(shown(page)["roots"], key=lambda root: root["length_in"])["points_px"]
    click(page, root[len(root) // 3])
    expect(page.locator(".saved")).to_contain_text("Not saved")
    click(page, root[2 * len(root) // 3])
    wait_until(lambda: len(marks(served.folder).get("splits_px", [])) == 2, 60, "both changes are saved")
    assert lost == [200]
    expect(page.locator(".saved")).to_have_text("Saved")
    for _ in range(2):
        page.get_by_role("button", name="Undo").click()
    wait_until(lambda: not marks(served.folder), 60, "both are undone")


def test_first_figures_are_not_shown_as_whole_ones_while_those_are_on_their_way(
    page: Page, served: Served
) -> None:
    """The desk has read the wall whole before the page has its figures: until then they are first ones."""
    open_desk(page, served)
    open_wall(page)
    held: list[Route] = []
    page.get_by_role("button", name="Scale", exact=True).click()
    click(page, (400, 500), (1400, 500))
    page.get_by_label("Distance between them").fill("30 in")
    page.route("**/api/walls/north", lambda route: held.append(route))
    page.get_by_role("button", name="Done").click()
    wait_until(lambda: marks(served.folder).get("distance_in") == 30, 60, "the change is saved")
    expect(page.locator(".state")).to_contain_text("First figures")
    wait_until(lambda: told(page)["settled"], READ_MS / 1000, "the desk has read the wall whole")
    for _ in range(2):  # the page has learnt of it
        page.wait_for_event("response", lambda answer: answer.url.endswith("/api/desk"))
    assert "First figures" in page.locator(".state").inner_text()
    for route in held:
        route.continue_()
    page.unroute("**/api/walls/north")
    expect(page.locator(".state")).to_have_text("")
    page.get_by_role("button", name="Undo").click()
    settled(page, lambda: not marks(served.folder))


def test_a_change_made_while_the_desk_is_dead_is_not_lost(page: Page, served: Served) -> None:
    """Killed with signal 9, a change made, then started again on the same port; last: it ends the desk."""
    open_desk(page, served)
    open_wall(page)
    served.kill()
    page.get_by_role("button", name="Part", exact=True).click()
    click(page, (1100, 376))
    expect(page.locator(".saved")).to_contain_text("Not saved")
    assert not marks(served.folder)
    again = Served(served.folder, served.port)
    assert again.address.split("#")[1] != served.address.split("#")[1], "each run has a token of its own"
    try:
        page.goto("about:blank")
        page.goto(again.address)
        page.locator('a[href="#/wall/north"]').click()
        wait_until(lambda: len(marks(served.folder).get("splits_px", [])) == 1, 60, "the change is saved")
    finally:
        again.kill()
