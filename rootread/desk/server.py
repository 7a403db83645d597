"""The desk over HTTP: thin handlers over ``Desk``, behind the ``Guard``."""

import asyncio
import base64
import contextlib
import json
import secrets
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from functools import wraps
from importlib.resources import files
from types import FrameType
from typing import Any
from urllib.parse import unquote

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route

from rootread.desk.cells import sheet_of
from rootread.desk.guard import Guard, TooLarge
from rootread.desk.second import second_opinion, take_second
from rootread.desk.state import Desk
from rootread.desk.walldesk import Stale
from rootread.errors import BadRequest, RootreadError

PAGE = {
    "index.html": "text/html; charset=utf-8",
    "desk.css": "text/css; charset=utf-8",
}
SCRIPT = "text/javascript; charset=utf-8"
MOST_CLICKS = 200
USUAL_PORT = 8765


def make_app(desk: Desk, token: str, loopback_only: bool = True) -> Guard:
    """The desk as an ASGI application."""

    @contextlib.asynccontextmanager
    async def life(_: Starlette) -> AsyncIterator[None]:
        desk.start()
        yield
        desk.stop()

    here = _Handlers(desk)
    wall = "/api/walls/{name}"
    routes = [
        Route("/", here.page),
        Route("/page/{file}", here.page),
        Route("/api/desk", here.folder),
        Route("/api/photos", here.add_photo, methods=["POST"]),
        Route("/api/sheet", here.sheet),
        Route("/api/sheet", here.write_sheet, methods=["PUT"]),
        Route("/api/sheet/file", here.take_sheet, methods=["POST"]),
        Route("/api/sheet/check", here.check_sheet, methods=["POST"]),
        Route("/api/report", here.make_report, methods=["POST"]),
        Route("/api/report.html", here.report),
        Route(wall, here.wall),
        Route(wall + "/marks", here.marks, methods=["PUT"]),
        Route(wall + "/snap", here.snap, methods=["POST"]),
        Route(wall + "/overview.jpg", here.overview),
        Route(wall + "/tiles/{level:int}/{column:int}/{row:int}.jpg", here.tile),
        Route(wall + "/{size}.flat.jpg", here.flat),
        Route(wall + "/second", here.second),
        Route(wall + "/second", here.take_second, methods=["PUT"]),
    ]
    return Guard(Starlette(routes=routes, lifespan=life), token, loopback_only)


def told(handler: Callable[..., Awaitable[Response]]) -> Callable[..., Awaitable[Response]]:
    """Errors raised on purpose become an answer with cause and remedy."""

    @wraps(handler)
    async def telling(self: "_Handlers", request: Request) -> Response:
        try:
            return await handler(self, request)
        except Stale as error:
            return _error(409, error)
        except TooLarge as error:
            return _error(413, error)
        except RootreadError as error:
            return _error(422, error)
        except KeyError:
            return _error(404, BadRequest("There is no such wall on the desk.", "Go back to the field."))
        except ClientDisconnect:
            return Response(status_code=499)

    return telling


class _Handlers:
    def __init__(self, desk: Desk) -> None:
        self._desk = desk

    @told
    async def page(self, request: Request) -> Response:
        name = request.path_params.get("file", "index.html")
        folder = files("rootread.desk") / "page"
        # Only names that are there by themselves: nothing a browser sends is joined to a path.
        known = {entry.name: entry for entry in folder.iterdir() if entry.is_file()}
        if name not in known:
            return Response(status_code=404)
        return Response(known[name].read_bytes(), media_type=PAGE.get(name, SCRIPT))

    @told
    async def folder(self, request: Request) -> Response:
        return _json(await run_in_threadpool(self._desk.values))

    @told
    async def add_photo(self, request: Request) -> Response:
        name = unquote(request.headers.get("x-photo-name", ""))
        content = await request.body()

        def take() -> str:
            place = self._desk.folder.add_photo(name, content)
            self._desk.refresh()
            return place.name

        return _json({"photo": await run_in_threadpool(take)})

    @told
    async def sheet(self, request: Request) -> Response:
        # Named before it is read: of a sheet that changes in between, the name is the older one.
        revision = await run_in_threadpool(lambda: self._desk.folder.sheet_revision)
        sheet = await run_in_threadpool(self._desk.sheet)
        faults = await run_in_threadpool(self._desk.sheet_faults, sheet)
        return _json({"columns": sheet.columns, "rows": sheet.rows, "faults": faults, "revision": revision})

    @told
    async def check_sheet(self, request: Request) -> Response:
        sheet = sheet_of(await _body(request))
        return _json({"faults": await run_in_threadpool(self._desk.sheet_faults, sheet)})

    @told
    async def write_sheet(self, request: Request) -> Response:
        given = await _body(request)
        sheet, made_on = sheet_of(given), str(given.get("revision", ""))
        faults, revision = await run_in_threadpool(self._desk.write_sheet, sheet, made_on)
        return _json({"faults": faults, "saved": not faults, "revision": revision})

    @told
    async def take_sheet(self, request: Request) -> Response:
        content, placed = _sheet_file(await _body(request))
        return _json({"says": await run_in_threadpool(self._desk.take_sheet, content, placed)})

    @told
    async def make_report(self, request: Request) -> Response:
        self._desk.make_report()
        return _json(self._desk.report.values())

    @told
    async def report(self, request: Request) -> Response:
        path = self._desk.out / "report.html"
        if not path.is_file():
            return _error(404, BadRequest("There is no report yet.", "Hand over the report first."))
        return Response(await run_in_threadpool(path.read_bytes), media_type="text/html; charset=utf-8")

    @told
    async def wall(self, request: Request) -> Response:
        wall = self._desk.wall(request.path_params["name"])
        self._desk.want(wall.name)
        return _json(await run_in_threadpool(wall.values))

    @told
    async def marks(self, request: Request) -> Response:
        wall = self._desk.wall(request.path_params["name"])
        given = await _body(request)
        if not isinstance(given, dict) or "marks" not in given:
            raise BadRequest("No marks were sent.", "Load the page again.")

        def take() -> dict[str, Any]:
            wall.take_marks(given["marks"], str(given.get("revision", "")))
            self._desk.want(wall.name)
            return wall.values()

        return _json(await run_in_threadpool(take))

    @told
    async def snap(self, request: Request) -> Response:
        wall = self._desk.wall(request.path_params["name"])
        clicks = _places(await _body(request))
        return _json(await run_in_threadpool(wall.snapped, clicks))

    @told
    async def overview(self, request: Request) -> Response:
        wall = self._desk.wall(request.path_params["name"])
        return _picture(await run_in_threadpool(lambda: self._desk.pyramid(wall).overview()))

    @told
    async def tile(self, request: Request) -> Response:
        at = request.path_params
        wall = self._desk.wall(at["name"])
        picture = await run_in_threadpool(
            lambda: self._desk.pyramid(wall).tile(at["level"], at["column"], at["row"])
        )
        return _picture(picture) if picture else Response(status_code=404)

    @told
    async def flat(self, request: Request) -> Response:
        wall = self._desk.wall(request.path_params["name"])
        small = request.path_params["size"] == "small"
        kept = await run_in_threadpool(self._desk.flat, wall, small)
        if kept is None:
            return Response(status_code=404)
        picture, place = kept
        return _picture(picture, {"x-place": json.dumps(place)})

    @told
    async def second(self, request: Request) -> Response:
        wall = self._desk.wall(request.path_params["name"])
        against = request.query_params.get("against", "second")
        return _json(await run_in_threadpool(second_opinion, self._desk, wall, against == "program"))

    @told
    async def take_second(self, request: Request) -> Response:
        wall = self._desk.wall(request.path_params["name"])
        await run_in_threadpool(take_second, self._desk, wall, await _body(request))
        return _json(await run_in_threadpool(second_opinion, self._desk, wall, False))


async def _body(request: Request) -> Any:
    try:
        return json.loads(await request.body())
    except (ValueError, RecursionError) as error:
        raise BadRequest("What was sent is not JSON.", "Load the page again.") from error


def _places(value: Any) -> list[tuple[float, float]]:
    points = value.get("points_px") if isinstance(value, dict) else None
    if not isinstance(points, list) or not 2 <= len(points) <= MOST_CLICKS:
        raise BadRequest("A line needs two places or more.", "Click along the root.")
    places = []
    for point in points:
        if not (isinstance(point, list) and len(point) == 2 and all(_is_pixel(v) for v in point)):
            raise BadRequest("A place is two numbers.", "Click along the root.")
        places.append((float(point[0]), float(point[1])))
    return places


def _sheet_file(value: Any) -> tuple[bytes, dict[str, str]]:
    """The bytes of a sheet's file, and which photo went where."""
    given = value if isinstance(value, dict) else {}
    content, placed = given.get("content_base64"), given.get("photos", {})
    names = [*placed, *placed.values()] if isinstance(placed, dict) else [None]
    if not isinstance(content, str) or not all(isinstance(name, str) for name in names):
        raise BadRequest("No sheet was sent.", "Add it again.")
    try:
        return base64.b64decode(content, validate=True), placed
    except ValueError as error:
        raise BadRequest("The sheet did not arrive whole.", "Add it again.") from error


def _is_pixel(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e6


def _json(value: Any) -> Response:
    text = json.dumps(value, allow_nan=False, separators=(",", ":"))
    return Response(text, media_type="application/json")


def _error(status: int, error: RootreadError) -> Response:
    text = json.dumps({"cause": error.cause, "remedy": error.remedy})
    return Response(text, status_code=status, media_type="application/json")


def _picture(content: bytes, headers: dict[str, str] | None = None) -> Response:
    return Response(content, media_type="image/jpeg", headers=headers)


def serve(
    desk: Desk, host: str, port: int | None, say: Callable[[str], None], end: Callable[[], None]
) -> None:
    """Serve the desk until it is interrupted; ``say`` is given the address, token and all.

    A second interruption does not wait until all is closed: ``end`` is called.

    Raises
    ------
    BadRequest : the address cannot be listened on.
    """
    import uvicorn

    class Server(uvicorn.Server):
        """A server that closes at the first Ctrl+C and ends at the second."""

        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            """Told of a Ctrl+C."""
            if self.should_exit:
                end()
            super().handle_exit(sig, frame)

    listening = _listen(host, port)
    loopback_only = host in ("127.0.0.1", "localhost", "::1")
    token = secrets.token_urlsafe(24)
    shown = f"[{host}]" if ":" in host else host
    say(f"http://{shown}:{listening.getsockname()[1]}/#{token}")
    config = uvicorn.Config(
        make_app(desk, token, loopback_only),
        log_level="warning",
        server_header=False,
        timeout_graceful_shutdown=2,
    )
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(Server(config).serve([listening]))


def _listen(host: str, port: int | None) -> socket.socket:
    """A listening socket: on the port asked for, else the usual one, else any that is free."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    for number in (port,) if port is not None else (USUAL_PORT, 0):
        listening = socket.socket(family, socket.SOCK_STREAM)
        try:
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listening.bind((host, number))
            listening.listen(64)
            return listening
        except OSError as error:
            listening.close()
            fault = error
    raise BadRequest(f"{host}:{port} cannot be listened on ({fault.strerror}).", "Choose another --port.")
