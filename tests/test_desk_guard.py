"""The desk answers its own page on this machine, with this run's token, in bounded amounts: nobody else."""

import contextlib
import io
import json
import threading
import zlib
from importlib.resources import files
from pathlib import Path

import pytest
from desk_walls import HOST, SAMPLES, TOKEN, put_bare_photo
from PIL import Image
from starlette.testclient import TestClient

import rootread.desk.guard as guard
from rootread.desk import Desk
from rootread.desk.folder import Folder, safe_photo_name
from rootread.desk.server import make_app
from rootread.errors import UnreadablePhoto

GOOD = {"x-desk-token": TOKEN}


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    put_bare_photo(tmp_path / "pit")
    (tmp_path / "secret.txt").write_text("not yours")
    return Desk(tmp_path / "pit")


@pytest.fixture
def client(desk: Desk) -> TestClient:
    # Not entered as a context, so that nothing is read: what is tested here lies before that.
    return TestClient(make_app(desk, TOKEN), base_url=HOST)


def test_the_page_itself_needs_no_token_and_the_folder_does(client: TestClient) -> None:
    assert client.get("/").status_code == 200
    assert client.get("/page/main.js").status_code == 200
    assert client.get("/api/desk").status_code == 401
    assert client.get("/api/desk", headers={"x-desk-token": TOKEN[:-1]}).status_code == 401
    assert client.get("/api/desk", headers=GOOD).status_code == 200


def test_every_address_but_the_page_needs_the_token(desk: Desk, client: TestClient) -> None:
    routes = make_app(desk, TOKEN)._app.routes
    for route in routes:
        if route.path in ("/", "/page/{file}"):
            continue
        address = route.path.replace("{name}", "bare").replace("{size}", "small")
        for part in ("{level:int}", "{column:int}", "{row:int}"):
            address = address.replace(part, "0")
        for method in route.methods:
            assert client.request(method, address).status_code == 401, address


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1.evil.example:8765", "10.0.0.7:8765", "", "localhost.evil"]
)
def test_a_name_that_is_not_this_machine_is_refused(client: TestClient, host: str) -> None:
    """A page that rebinds its own name to 127.0.0.1 still sends that name as Host."""
    assert client.get("/api/desk", headers={**GOOD, "host": host}).status_code == 403
    assert client.get("/", headers={"host": host}).status_code == 403


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765", "[::1]:8765"])
def test_this_machine_is_answered_under_its_own_names(client: TestClient, host: str) -> None:
    assert client.get("/api/desk", headers={**GOOD, "host": host}).status_code == 200


def test_beyond_this_machine_only_when_told_and_never_by_name(desk: Desk) -> None:
    told = TestClient(make_app(desk, TOKEN, loopback_only=False), base_url="http://10.0.0.7:8765")
    assert told.get("/api/desk", headers=GOOD).status_code == 200
    assert told.get("/api/desk", headers={**GOOD, "host": "evil.example"}).status_code == 403


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:8765", "http://127.0.0.1:9999"]
)
def test_a_request_from_another_page_is_refused_with_the_token_too(client: TestClient, origin: str) -> None:
    assert client.post("/api/report", headers={**GOOD, "origin": origin}).status_code == 403
    assert client.get("/api/desk", headers={**GOOD, "sec-fetch-site": "cross-site"}).status_code == 403
    assert client.get("/api/desk", headers={**GOOD, "origin": HOST}).status_code == 200


def test_the_page_may_load_nothing_from_elsewhere_and_be_framed_by_nobody(client: TestClient) -> None:
    policy = client.get("/").headers["content-security-policy"]
    assert "default-src 'none'" in policy and "frame-ancestors 'none'" in policy
    assert "script-src 'self';" in policy
    assert client.get("/api/desk", headers=GOOD).headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    "path",
    [
        "/page/../../../cli.py",
        "/page/..%2F..%2F..%2Fcli.py",
        "/page/%2e%2e/server.py",
        "/page//etc/passwd",
        "/api/walls/..%2F..%2Fsecret.txt",
        "/api/walls/..%2F..%2Fsecret/overview.jpg",
        "/api/walls/%2Fetc%2Fpasswd/overview.jpg",
    ],
)
def test_no_address_leads_out_of_the_folder(client: TestClient, path: str) -> None:
    answer = client.get(path, headers=GOOD)
    assert answer.status_code == 404
    assert "not yours" not in answer.text and "root:" not in answer.text


@pytest.mark.parametrize(
    ("given", "kept"),
    [
        ("../../secret.jpg", "secret.jpg"),
        ("..\\..\\secret.jpg", "secret.jpg"),
        ("/etc/cron.d/job.png", "job.png"),
        ("C:\\Users\\x\\wall.JPG", "wall.jpg"),
        ("...jpg", "%2E..jpg"),
        ("wall;rm -rf $HOME`id`.jpg", "wall;rm -rf $HOME`id`.jpg"),
        ("a\0b\n.png", "a%00b%0A.png"),
    ],
)
def test_a_photo_is_kept_under_its_last_name_only(given: str, kept: str) -> None:
    name = safe_photo_name(given)
    assert "/" not in name and "\\" not in name and not name.startswith(".")
    assert name == kept or given == "...jpg"


@pytest.mark.parametrize(
    "given", ["run.sh", "wall.jpg.exe", "sheet.csv", "marks/a.json", "", ".jpg", "page.svg", "x.html"]
)
def test_what_is_not_named_like_a_photo_is_not_taken(given: str) -> None:
    with pytest.raises(UnreadablePhoto):
        safe_photo_name(given)


def _send(client: TestClient, name: str, content: bytes) -> int:
    headers = {**GOOD, "x-photo-name": name}
    return client.post("/api/photos", content=content, headers=headers).status_code


def test_a_name_is_never_run_and_never_becomes_part_of_the_page(desk: Desk, client: TestClient) -> None:
    photo = (desk.folder.path / "bare.jpg").read_bytes()
    (desk.folder.path / "bare.jpg").unlink()
    name = "$(touch run)`touch run`;touch run<img src=x onerror=alert(1)>.jpg"
    assert _send(client, name, photo) == 200
    (wall,) = client.get("/api/desk", headers=GOOD).json()["walls"]
    assert wall["photo"].startswith("$(touch run)")
    assert desk.pyramid(desk.wall(wall["name"])).overview().startswith(b"\xff\xd8")
    assert [file.name for file in desk.folder.path.iterdir()] == [wall["photo"]]
    assert not Path("run").exists()
    # The page puts words where they belong as text; nothing in it makes elements or code of them.
    page = files("rootread.desk") / "page"
    for script in (file for file in page.iterdir() if file.name.endswith(".js")):
        text = script.read_text(encoding="utf-8")
        for way in (
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "new Function",
        ):
            assert way not in text, f"{script.name}: {way}"


def test_only_bytes_that_are_a_photo_are_taken_in_whatever_their_name(desk: Desk, client: TestClient) -> None:
    before = sorted(desk.folder.path.iterdir())
    for content in (
        b"",
        b"#!/bin/sh\necho hello",
        b"<svg onload=alert(1)>",
        b"\xff\xd8\xff" + bytes(50),
        b"GIF89a" + bytes(99),
    ):
        assert _send(client, "wall.jpg", content) == 422
    assert sorted(desk.folder.path.iterdir()) == before


def test_a_picture_that_would_unfold_to_gigapixels_is_not_decoded(
    client: TestClient,
) -> None:
    # Width and height of a small PNG rewritten to 30000 x 30000; the size is read before any pixel.
    small = io.BytesIO()
    Image.new("L", (8, 8)).save(small, "PNG")
    data = small.getvalue()
    header = b"IHDR" + (30000).to_bytes(4, "big") * 2 + data[24:29]
    bomb = data[:12] + header + zlib.crc32(header).to_bytes(4, "big") + data[33:]
    assert _send(client, "bomb.png", bomb) == 422


def test_a_photo_never_replaces_another_and_the_same_photo_is_taken_once(
    desk: Desk, client: TestClient
) -> None:
    there = (desk.folder.path / "bare.jpg").read_bytes()
    assert _send(client, "bare.jpg", there) == 200
    assert [p.name for p in desk.folder.path.glob("*.jpg")] == ["bare.jpg"]
    other = (SAMPLES / "pit1-deep.jpg").read_bytes()
    assert _send(client, "../BARE.JPG", other) == 200
    assert (desk.folder.path / "bare.jpg").read_bytes() == there
    assert sorted(desk.walls) == ["BARE-2", "bare"]


def test_two_photos_of_one_name_that_come_at_the_same_time_are_both_kept(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two windows, or two folders dropped one after the other: cameras use the same names again."""
    photos = [(SAMPLES / f"pit1-{tool}.jpg").read_bytes() for tool in ("deep", "shallow")]
    found, places = Folder._free, []
    both_found = threading.Barrier(2)

    def find_and_wait(*given) -> Path:
        place = found(*given)
        with contextlib.suppress(threading.BrokenBarrierError):
            both_found.wait(timeout=1)
        return place

    monkeypatch.setattr(Folder, "_free", find_and_wait)
    adding = [
        threading.Thread(target=lambda photo=photo: places.append(desk.folder.add_photo("wall.jpg", photo)))
        for photo in photos
    ]
    for thread in adding:
        thread.start()
    for thread in adding:
        thread.join()
    assert sorted(place.read_bytes() for place in places) == sorted(photos)


def test_bodies_are_bounded_by_what_is_announced_and_by_what_comes(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard, "LARGEST_PHOTO", 1000)
    monkeypatch.setattr(guard, "LARGEST_BODY", 100)
    assert _send(client, "wall.jpg", bytes(1001)) == 413

    def unannounced():
        for _ in range(20):
            yield bytes(100)

    headers = {**GOOD, "x-photo-name": "wall.jpg"}
    assert client.post("/api/photos", content=unannounced(), headers=headers).status_code == 413
    answer = client.put("/api/walls/bare/marks", content=json.dumps({"marks": "x" * 200}), headers=GOOD)
    assert answer.status_code == 413


def test_a_photo_linked_from_outside_the_folder_is_left_out(tmp_path: Path) -> None:
    outside = put_bare_photo(tmp_path / "elsewhere", "private")
    put_bare_photo(tmp_path / "pit")
    (tmp_path / "pit" / "link.jpg").symlink_to(outside)
    desk = Desk(tmp_path / "pit")
    assert list(desk.walls) == ["bare"]
    assert any("link.jpg lies outside" in message for message in desk.messages)


def test_marks_linked_out_of_the_folder_are_not_followed(tmp_path: Path) -> None:
    put_bare_photo(tmp_path / "pit")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "pit" / "marks").symlink_to(tmp_path / "elsewhere")
    desk = Desk(tmp_path / "pit")
    assert not desk.walls
    assert any("outside the folder" in message for message in desk.messages)


@pytest.mark.parametrize(
    "sent",
    [
        "",
        "{",
        "[]",
        '{"marks": 3}',
        '{"marks": {"version": 1, "surface_px": [[0]]}}',
        '{"marks": {"version": 1, "x": 1}}',
        '{"marks": {"version": 1, "distance_in": 1e999}}',
    ],
)
def test_marks_that_make_no_sense_are_told_and_not_saved(desk: Desk, client: TestClient, sent: str) -> None:
    answer = client.put("/api/walls/bare/marks", content=sent, headers=GOOD)
    assert answer.status_code == 422 and answer.json()["cause"]
    assert not (desk.folder.path / "marks" / "bare.json").exists()
