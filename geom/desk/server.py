"""The desk on the network of this machine: a few addresses, answered by one process.

Only pages that it sent itself may speak with it, to the address it stands at.  A
browser on the same machine visits other people's pages too.  Such a page can send
requests here; it cannot choose their ``Origin``.  And it can give its own name the
address of this machine; but the browser then still says that name as ``Host``.

References
----------
RFC 9110, section 7.2 (Host); RFC 6454, section 7 (Origin).
"""

from __future__ import annotations

import ipaddress
import json
import socket
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from geom.desk.entries import Event, read_event
from geom.desk.page import DeskPage, make_page
from geom.desk.session import DeskSession
from geom.desk.state import state
from geom.errors import InputError, MissingExtra

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp, Receive, Scope, Send


#: Bytes of a body past which nothing more is read: a thousand readings and more.
LARGEST = 512 * 1024
#: Events that are taken at once.
MOST_AT_ONCE = 500
#: How long a page that knows the latest is kept waiting for news, and how often is
#: looked for it, seconds.
_PATIENCE, _LOOK = 15.0, 0.05

_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-cache",
}


@dataclass(frozen=True)
class RequestGuard:
    """What is asked of every request.

    Attributes
    ----------
    host : str
        The desk stands at, as it was named.
    port : int
    """

    host: str
    port: int

    @property
    def local(self) -> bool:
        """Whether only this machine can reach the desk."""
        return is_loopback(self.host)

    def refusal(
        self, method: str, headers: Mapping[str, str]
    ) -> tuple[int, str] | None:
        """Status and words of a request that is not answered; None of a good one.

        Parameters
        ----------
        method : str
        headers : mapping of str
            By their names in small letters.
        """
        host = headers.get("host", "")
        kind = headers.get("content-type", "").split(";")[0].strip()
        site = headers.get("sec-fetch-site", "same-origin")
        length = headers.get("content-length", "0")
        if not self._is_ours(host):
            return 421, "this desk has another name"
        if method in ("GET", "HEAD"):
            return None
        if headers.get("origin") != f"http://{host}" or site != "same-origin":
            return 403, "only a page that this desk sent may write into its sheet"
        if kind != "application/json":
            return 415, "readings are sent as JSON"
        if not (length.isascii() and length.isdigit()) or int(length[:12]) > LARGEST:
            return 413, "too much at once"
        return None

    def _is_ours(self, host: str) -> bool:
        """Whether a Host header says the address the desk stands at."""
        name, colon, port = host.rpartition(":")
        if not colon or not port.isdigit():
            name, port = host, "80"  # which a browser leaves out
        name = name.strip("[]").lower()
        if port != str(self.port):
            return False
        if self.local:
            return name == "localhost" or is_loopback(name)
        # No name but the one given can be somebody else's that was bent to here; an
        # address is nobody's name.
        return name == self.host.lower() or _is_address(name)


def is_loopback(host: str) -> bool:
    """Whether a host is this machine and nothing else.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host.lower() == "localhost":
        return True
    return _is_address(host) and ipaddress.ip_address(host).is_loopback


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def need_server() -> None:
    """Ask for the libraries that serve the page.

    Raises
    ------
    MissingExtra
        If they are not installed.
    """
    for library in ("starlette", "uvicorn"):
        try:
            __import__(library)
        except ImportError as fault:
            raise MissingExtra(library, "desk") from fault


def open_listener(host: str, port: int) -> socket.socket:
    """Take an address of this machine.

    Parameters
    ----------
    host : str
    port : int
        0 takes any that is free.

    Raises
    ------
    InputError
        If it cannot be had.
    """
    try:
        family, kind, _, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        listener = socket.socket(family, kind)
    except OSError as fault:
        raise _cannot_listen(host, port, fault) from fault
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(address)
        listener.listen(64)
    except OSError as fault:
        listener.close()
        raise _cannot_listen(host, port, fault) from fault
    return listener


def _cannot_listen(host: str, port: int, fault: OSError) -> InputError:
    why = fault.strerror or str(fault)
    return InputError(
        f"the desk cannot stand at {host}, port {port} ({why})",
        cure="Is a desk open there already? Else name another with --port",
    )


def address_of(listener: socket.socket, host: str) -> str:
    """Where a browser on this machine finds the desk."""
    named = "127.0.0.1" if host in ("0.0.0.0", "") else host
    named = "[::1]" if named == "::" else f"[{named}]" if ":" in named else named
    return f"http://{named}:{listener.getsockname()[1]}/"


def serve(desk: DeskSession, listener: socket.socket, host: str) -> None:
    """Answer until interrupted.

    Parameters
    ----------
    desk : Desk
    listener : socket
        From `open_listener`.
    host : str
        As it was named.
    """
    import uvicorn

    guard = RequestGuard(host, int(listener.getsockname()[1]))
    servers: list[uvicorn.Server] = []
    settings = uvicorn.Config(
        application(desk, guard, ending=lambda: any(s.should_exit for s in servers)),
        http="h11",
        ws="none",
        loop="asyncio",
        lifespan="off",
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=64,
        timeout_graceful_shutdown=1,
    )
    desk.open()
    try:
        servers.append(uvicorn.Server(settings))
        servers[0].run(sockets=[listener])
    finally:
        desk.close()


def application(
    desk: DeskSession,
    guard: RequestGuard,
    *,
    ending: Callable[[], bool] = lambda: False,
) -> Starlette:
    """The desk as an ASGI application.

    Parameters
    ----------
    desk : Desk
    guard : Guard
    ending : callable
        Whether the server is being closed, so that nobody is kept waiting for news.
    """
    from starlette.applications import Starlette
    from starlette.middleware import Middleware
    from starlette.routing import Route

    page, cache = make_page(desk), _StateCache(desk)

    async def document(_: Request) -> Response:
        return _page_response(page, "document")

    async def worker(_: Request) -> Response:
        return _page_response(page, "worker")

    async def now(request: Request) -> Response:
        return await _state_response(cache, request, ending)

    async def entries(request: Request) -> Response:
        return await _entries_response(cache, request)

    routes = [
        Route("/", document),
        Route("/worker.js", worker),
        Route("/state", now),
        Route("/entries", entries, methods=["POST"]),
    ]
    return Starlette(
        routes=routes, middleware=[Middleware(_GuardMiddleware, guard=guard)]
    )


def _page_response(page: DeskPage, what: str) -> Response:
    from starlette.responses import Response

    if what == "worker":
        kind, content = "text/javascript; charset=utf-8", page.worker
        return Response(content, media_type=kind, headers=_HEADERS)
    headers = {**_HEADERS, "content-security-policy": page.policy}
    return Response(page.document, media_type="text/html", headers=headers)


async def _state_response(
    cache: _StateCache, request: Request, ending: Callable[[], bool]
) -> Response:
    """The desk as it is, or when it is other than the page has it."""
    import asyncio

    from starlette.concurrency import run_in_threadpool

    since_text = request.query_params.get("since", "")
    since = (
        int(since_text[:18]) if since_text.isascii() and since_text.isdigit() else -1
    )
    for _ in range(int(_PATIENCE / _LOOK)):
        if cache.desk.now.version != since or ending():
            break
        await asyncio.sleep(_LOOK)
    return _json_response({"state": await run_in_threadpool(cache.current)})


async def _entries_response(cache: _StateCache, request: Request) -> Response:
    """Take events; answer which are kept, and the desk with them."""
    from starlette.concurrency import run_in_threadpool

    body = bytearray()
    async for piece in request.stream():
        body += piece
        if len(body) > LARGEST:
            return _refusal_response(413, "too much at once")
    try:
        key, events = _parse_request(bytes(body))
    except InputError as fault:
        return _refusal_response(400, str(fault))
    if key != cache.desk.key:
        return _refusal_response(409, "another sheet is open here now")
    try:
        verdicts = await run_in_threadpool(cache.desk.take, events)
    except InputError as fault:
        return _refusal_response(503, str(fault))
    desk_state = await run_in_threadpool(cache.current)
    answer = {"verdicts": [vars(each) for each in verdicts], "state": desk_state}
    return _json_response(answer)


def _parse_request(body: bytes) -> tuple[str, list[Event]]:
    try:
        request = json.loads(body)
    except (ValueError, RecursionError) as fault:
        raise InputError("this is not JSON") from fault
    if not isinstance(request, dict) or set(request) != {"sheet", "events"}:
        raise InputError("a sheet and its events are asked for")
    if not isinstance(request["events"], list) or len(request["events"]) > MOST_AT_ONCE:
        raise InputError(f"at most {MOST_AT_ONCE} events are taken at once")
    return str(request["sheet"]), [read_event(event) for event in request["events"]]


class _StateCache:
    """The state of the desk, worked out once for everybody who asks."""

    def __init__(self, desk: DeskSession) -> None:
        self.desk = desk
        self._kept: tuple[int, dict[str, Any]] = (-1, {})

    def current(self) -> dict[str, Any]:
        """The desk as it is."""
        version, latest = self._kept
        if version != self.desk.now.version:
            latest = state(self.desk)
            self._kept = int(latest["version"]), latest
        return latest


def _json_response(answer: dict[str, Any]) -> Response:
    from starlette.responses import Response

    content = json.dumps(answer, allow_nan=False, ensure_ascii=True).encode("ascii")
    return Response(content, media_type="application/json", headers=_HEADERS)


def _refusal_response(status: int, why: str) -> Response:
    from starlette.responses import JSONResponse

    return JSONResponse({"why": why}, status_code=status, headers=_HEADERS)


class _GuardMiddleware:
    """Lets nothing in that the guard refuses."""

    def __init__(self, app: ASGIApp, *, guard: RequestGuard) -> None:
        self._app, self._guard = app, guard

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or hand on."""
        if scope["type"] != "http":
            return
        headers = {
            name.decode("latin-1").lower(): value.decode("latin-1")
            for name, value in scope["headers"]
        }
        refused = self._guard.refusal(scope["method"], headers)
        if refused is None:
            await self._app(scope, receive, send)
            return
        await _refusal_response(*refused)(scope, receive, send)
