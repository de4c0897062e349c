"""The desk on the network of this machine: a few addresses, answered by one process.

On a network whoever comes must bring the key of the address that the desk printed.
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
import secrets
import socket
import sys
import threading
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs

from geom.design import load_design
from geom.desk.entries import Event, read_event
from geom.desk.page import make_page, state
from geom.desk.session import DeskSession
from geom.errors import InputError, MissingExtra
from geom.parallel import second_process
from geom.readings.surveys import load_survey_before
from geom.surface import PastPrior

if TYPE_CHECKING:
    from asyncio import Protocol

    from starlette.applications import Starlette
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp, Message, Receive, Scope, Send


#: Bytes of a body past which nothing more is read: a thousand readings and more.
LARGEST = 512 * 1024
#: Events that are taken at once.
MOST_AT_ONCE = 500
#: Longest that a full fit, where this process has to do it, keeps the interpreter
#: from a reading that came, seconds: with the usual 5 ms each of the many steps to a
#: call waits so long.
_TURN = 0.0005
#: Connections at once, of all and of one address on a network; how long one may stay
#: without a whole request, seconds.
_MOST, _MOST_OF_ONE, _SILENCE = 256, 32, 5.0
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
    key : str
        Whoever comes must bring it, in the address or as the cookie that the first
        answer sets; empty where only this machine can reach the desk.
    """

    host: str
    port: int
    key: str = ""

    @classmethod
    def of(cls, listener: socket.socket, host: str) -> RequestGuard:
        """For a listener on a host as it was named; with a new key on a network."""
        key = "" if is_loopback(host) else secrets.token_urlsafe(12)
        return cls(host, int(listener.getsockname()[1]), key)

    @property
    def cookie(self) -> str:
        """Name of the cookie that holds the key; ports share one jar."""
        return f"daubline-{self.port}"

    def opens(self, text: str) -> bool:
        """Whether a text is the key."""
        return secrets.compare_digest(text.encode(), self.key.encode())

    @property
    def local(self) -> bool:
        """Whether only this machine can reach the desk."""
        return is_loopback(self.host)

    def refusal(
        self, method: str, headers: Mapping[str, str], key: str = ""
    ) -> tuple[int, str] | None:
        """Status and words of a request that is not answered; None of a good one.

        Parameters
        ----------
        headers : mapping of str
            By their names in small letters.
        key : str
            From the address.
        """
        host = headers.get("host", "")
        if not self._is_ours(host):
            return 421, "this desk has another name"
        cookie = self._cookie_of(headers.get("cookie", ""))
        if self.key and not (self.opens(key) or self.opens(cookie)):
            return 403, "open the address that the desk printed, with its key"
        return None if method in ("GET", "HEAD") else _refusal_of_message(host, headers)

    def _cookie_of(self, header: str) -> str:
        try:
            found = SimpleCookie(header).get(self.cookie)
        except CookieError:
            return ""
        return found.value if found else ""

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


def _refusal_of_message(
    host: str, headers: Mapping[str, str]
) -> tuple[int, str] | None:
    """Status and words of what no page of ours sent, or is no readings."""
    kind = headers.get("content-type", "").split(";")[0].strip()
    site = headers.get("sec-fetch-site", "same-origin")
    length = headers.get("content-length", "0")
    if headers.get("origin") != f"http://{host}" or site != "same-origin":
        return 403, "only a page that this desk sent may write into its sheet"
    if kind != "application/json":
        return 415, "readings are sent as JSON"
    if not (length.isascii() and length.isdigit()) or int(length[:12]) > LARGEST:
        return 413, "too much at once"
    return None


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


def address_of(listener: socket.socket, guard: RequestGuard) -> str:
    """Where a browser finds the desk; one on the network, where it is for that."""
    named = guard.host
    if named in ("0.0.0.0", "::", ""):
        named = _own_address(listener.family)
    named = f"[{named}]" if ":" in named else named
    query = f"?key={guard.key}" if guard.key else ""
    return f"http://{named}:{guard.port}/{query}"


def _own_address(family: int) -> str:
    """The address that this machine has on its network; nothing is sent."""
    # documentation addresses (RFC 5737, RFC 3849): routed like any, nobody's
    far = "2001:db8::1" if family == socket.AF_INET6 else "192.0.2.1"
    with socket.socket(family, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect((far, 9))
            return str(asked.getsockname()[0])
        except OSError:
            return "::1" if family == socket.AF_INET6 else "127.0.0.1"


def run_desk(
    design_file: Path | str,
    sheet: Path | str,
    *,
    past: PastPrior | None = None,
    before: Path | str | None = None,
    host: str = "127.0.0.1",
    port: int = 0,
    opened: Callable[[DeskSession, str, RequestGuard], None],
) -> None:
    """Serve the page that readings are typed into, until interrupted.

    Parameters
    ----------
    sheet : path
        That the readings are kept in at once; it is begun if it is new.
    past : PastPrior, optional
        What earlier surveys of the lining taught.
    before : path, optional
        Output folder of the survey before a repair that the readings are to check.
    host, port : str, int
        Where to listen; port 0 is any that is free.
    opened : callable
        Called with desk, address and guard once it listens.
    """
    need_server()
    design = load_design(design_file)
    survey = None if before is None else load_survey_before(before, design)
    desk = DeskSession(design, Path(design_file), Path(sheet), past=past, before=survey)
    listener = open_listener(host, port)
    guard = RequestGuard.of(listener, host)
    try:
        opened(desk, address_of(listener, guard), guard)
        serve(desk, listener, guard)
    finally:
        listener.close()


def serve(desk: DeskSession, listener: socket.socket, guard: RequestGuard) -> None:
    """Answer until interrupted.

    Parameters
    ----------
    listener : socket
        From `open_listener`.
    """
    import uvicorn

    servers: list[uvicorn.Server] = []
    settings = uvicorn.Config(
        application(desk, guard, ending=lambda: any(s.should_exit for s in servers)),
        http=_impatient_protocol(None if guard.local else _MOST_OF_ONE),
        ws="none",
        loop="asyncio",
        lifespan="off",
        log_level="warning",
        access_log=False,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=_MOST,
        timeout_graceful_shutdown=1,
    )
    before = sys.getswitchinterval()
    sys.setswitchinterval(_TURN)
    with second_process() as second:
        desk.open(second)
        try:
            servers.append(uvicorn.Server(settings))
            servers[0].run(sockets=[listener])
        finally:
            sys.setswitchinterval(before)
            desk.close()


def _impatient_protocol(most_of_one: int | None) -> type[Protocol]:
    """HTTP/1.1 that hangs up on who asks nothing, and on too many of one address."""
    from uvicorn.protocols.http.h11_impl import H11Protocol

    callers: Counter[str] = Counter()

    class ImpatientProtocol(H11Protocol):
        """Of one connection."""

        def connection_made(self, transport: Any) -> None:
            """Begin to wait for a request."""
            super().connection_made(transport)
            self.caller = str((transport.get_extra_info("peername") or ("",))[0])
            callers[self.caller] += 1
            self.waiting = self.loop.call_later(_SILENCE, transport.abort)
            if most_of_one is not None and callers[self.caller] > most_of_one:
                transport.abort()

        def connection_lost(self, exc: Exception | None) -> None:
            """Forget it."""
            self.waiting.cancel()
            callers[self.caller] -= 1
            super().connection_lost(exc)

        def data_received(self, data: bytes) -> None:
            """Wait no longer once a whole request is there."""
            super().data_received(data)
            if self.cycle is not None:
                self.waiting.cancel()

    return ImpatientProtocol


def application(
    desk: DeskSession,
    guard: RequestGuard,
    *,
    ending: Callable[[], bool] = lambda: False,
) -> Starlette:
    """The desk as an ASGI application.

    Parameters
    ----------
    ending : callable
        Whether the server is being closed, so that nobody is kept waiting for news.
    """
    from starlette.applications import Starlette
    from starlette.middleware import Middleware
    from starlette.responses import Response
    from starlette.routing import Route

    page, cache = make_page(desk), _StateCache(desk)
    headed = {**_HEADERS, "content-security-policy": page.policy}

    async def document(_: Request) -> Response:
        return Response(page.document, media_type="text/html", headers=headed)

    async def worker(_: Request) -> Response:
        kind = "text/javascript; charset=utf-8"
        return Response(page.worker, media_type=kind, headers=_HEADERS)

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
        self.desk, self._lock = desk, threading.Lock()
        self._kept: tuple[int, dict[str, Any]] = (-1, {})

    def current(self) -> dict[str, Any]:
        """The desk as it is."""
        with self._lock:
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
        guard = self._guard
        query = parse_qs(scope["query_string"].decode("latin-1"))
        key = query.get("key", [""])[0]
        if refused := guard.refusal(scope["method"], headers, key):
            await _refusal_response(*refused)(scope, receive, send)
            return

        async def keep_key(message: Message) -> None:
            if message["type"] == "http.response.start" and guard.key and key:
                cookie = f"{guard.cookie}={key}; HttpOnly; SameSite=Strict; Path=/"
                message["headers"] = [
                    *message["headers"],
                    (b"set-cookie", cookie.encode("ascii")),
                ]
            await send(message)

        await self._app(scope, receive, keep_key)
