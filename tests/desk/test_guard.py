"""Who is let in, and what a request may be.

RFC 9110, section 7.2, and RFC 6454, section 7: a page that is not the desk's own cannot
send the desk's Host and Origin.
"""

from __future__ import annotations

import asyncio
import json
import socket
import threading
import time
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from geom.desk.entries import Event
from geom.desk.server import (
    LARGEST,
    MOST_AT_ONCE,
    RequestGuard,
    address_of,
    application,
    open_listener,
    serve,
)
from geom.desk.session import DeskSession
from geom.errors import InputError
from tests.desk.events import event, message
from tests.walls import plain_design

HOME = "127.0.0.1:8417"
LOCAL = RequestGuard("127.0.0.1", 8417)
GOOD = {
    "host": HOME,
    "origin": f"http://{HOME}",
    "content-type": "application/json",
}


def asked(guard: RequestGuard, method: str, **headers: str) -> int | None:
    refused = guard.refusal(method, headers)
    return None if refused is None else refused[0]


@pytest.mark.parametrize(
    ("host", "status"),
    [
        (HOME, None),
        ("localhost:8417", None),
        ("[::1]:8417", None),
        ("attacker.example:8417", 421),
        ("127.0.0.1.attacker.example:8417", 421),
        ("127.0.0.1:80", 421),
        ("127.0.0.1", 421),
        ("10.0.0.5:8417", 421),
        ("", 421),
    ],
)
def test_only_its_own_name_is_answered(host, status):
    assert asked(RequestGuard("127.0.0.1", 8417), "GET", host=host) == status


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("furnace-pc:8417", None),
        ("192.168.1.7:8417", None),
        ("attacker.example:8417", 421),
        ("localhost:8417", 421),
    ],
)
def test_at_a_named_host_no_other_name_is_answered(host, status):
    assert asked(RequestGuard("furnace-pc", 8417), "GET", host=host) == status


@pytest.mark.parametrize(
    ("changed", "status"),
    [
        ({}, None),
        ({"origin": "http://attacker.example"}, 403),
        ({"origin": "http://127.0.0.1:9000"}, 403),
        ({"origin": f"https://{HOME}"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": ""}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-origin"}, None),
        ({"content-type": "text/plain"}, 415),
        ({"content-type": "application/x-www-form-urlencoded"}, 415),
        ({"content-type": "application/json; charset=utf-8"}, None),
        ({"content-length": str(LARGEST + 1)}, 413),
        ({"content-length": "-1"}, 413),
        ({"content-length": "12"}, None),
    ],
)
def test_only_its_own_page_may_write(changed, status):
    assert asked(RequestGuard("127.0.0.1", 8417), "POST", **(GOOD | changed)) == status


# --- the application itself ---------------------------------------------------------


@pytest.fixture
def desk(tmp_path: Path) -> DeskSession:
    return DeskSession(plain_design(), Path("x.toml"), tmp_path / "a.csv")


def answered(
    desk: DeskSession,
    method: str,
    path: str,
    body: bytes = b"",
    headers: dict[str, str] | None = None,
    *,
    guard: RequestGuard = LOCAL,
) -> tuple[int, dict[str, str], bytes]:
    """One request through the whole application; the body comes in pieces."""
    told: list[dict[str, Any]] = []
    pieces = [body[k : k + 4096] for k in range(0, len(body), 4096)] or [b""]

    async def receive() -> dict[str, Any]:
        piece = pieces.pop(0) if pieces else b""
        return {"type": "http.request", "body": piece, "more_body": bool(pieces)}

    async def send(message: Any) -> None:
        told.append(message)

    where, _, query = path.partition("?")
    scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": method,
        "path": where,
        "raw_path": where.encode(),
        "query_string": query.encode(),
        "headers": [
            (name.encode(), value.encode()) for name, value in (headers or GOOD).items()
        ],
        "client": ("127.0.0.1", 1),
        "server": ("127.0.0.1", 8417),
        "scheme": "http",
        "root_path": "",
    }
    with ThreadPoolExecutor(1) as apart:  # a browser may hold this thread's event loop
        apart.submit(
            lambda: asyncio.run(application(desk, guard)(scope, receive, send))
        ).result()
    start, *rest = told
    kept = {name.decode(): value.decode() for name, value in start["headers"]}
    return start["status"], kept, b"".join(part.get("body", b"") for part in rest)


def sent(desk: DeskSession, *events: Event, key: str | None = None) -> tuple[int, Any]:
    body = {"sheet": key or desk.key, "events": [message(each) for each in events]}
    status, _, answer = answered(desk, "POST", "/entries", json.dumps(body).encode())
    return status, json.loads(answer)


def test_a_reading_that_is_sent_is_on_disk_when_it_is_answered(desk, tmp_path):
    status, told = sent(desk, event(1, "30", "600", "455"))
    assert status == 200
    assert told["verdicts"] == [{"event": "deed-000001", "kept": True, "why": ""}]
    assert told["state"]["count"] == 1
    assert "\n30,600,455,\n" in (tmp_path / "a.csv").read_text("utf-8")


def test_a_page_of_another_sheet_writes_nothing(desk, tmp_path):
    status, told = sent(desk, event(1), key="0" * 20)
    assert (status, list(told)) == (409, ["why"])
    assert not (tmp_path / "a.csv").exists()


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"[]",
        b"{",
        b'{"sheet": "x"}',
        b'{"sheet": "x", "events": [1]}',
        b'{"sheet": "x", "events": {}}',
        b"\xff\xfe",
        b"[" * 100_000,
        json.dumps({"sheet": "x", "events": [{}] * (MOST_AT_ONCE + 1)}).encode(),
    ],
)
def test_nonsense_is_refused_and_writes_nothing(desk, tmp_path, body):
    status, _, answer = answered(desk, "POST", "/entries", body)
    assert status == 400
    assert "why" in json.loads(answer)
    assert not (tmp_path / "a.csv").exists()


def test_a_body_without_a_length_is_cut_off_too(desk):
    assert answered(desk, "POST", "/entries", b" " * (LARGEST + 1))[0] == 413


def test_a_foreign_page_is_refused_by_the_application(desk, tmp_path):
    body = json.dumps({"sheet": desk.key, "events": [message(event(1))]}).encode()
    foreign = GOOD | {"origin": "http://attacker.example"}
    assert answered(desk, "POST", "/entries", body, foreign)[0] == 403
    bent = {"host": "attacker.example:8417"}
    assert answered(desk, "GET", "/", headers=bent)[0] == 421
    assert not (tmp_path / "a.csv").exists()


def test_the_page_may_run_its_own_script_and_speak_with_its_desk_alone(desk):
    status, headers, page = answered(desk, "GET", "/")
    policy = headers["content-security-policy"]
    assert status == 200
    assert "default-src 'none'" in policy
    assert "connect-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert b"http://" not in page.replace(b"http://www.w3.org/2000/svg", b"")
    assert b"https://" not in page
    assert "access-control-allow-origin" not in headers


def test_who_knows_the_latest_waits_and_who_does_not_is_told(desk):
    status, _, answer = answered(desk, "GET", "/state?since=5")
    told = json.loads(answer)["state"]
    assert (status, told["sheet"], told["file"]) == (200, desk.key, "a.csv")
    assert answered(desk, "GET", "/state?since=nonsense")[0] == 200
    assert answered(desk, "GET", "/nothing")[0] == 404
    assert answered(desk, "DELETE", "/entries")[0] == 405


def test_a_taken_port_is_said_and_a_free_one_found():
    listener = open_listener("127.0.0.1", 0)
    try:
        port = listener.getsockname()[1]
        guard = RequestGuard.of(listener, "127.0.0.1")
        assert address_of(listener, guard) == f"http://127.0.0.1:{port}/"
        with pytest.raises(InputError, match="--port"):
            open_listener("127.0.0.1", port)
    finally:
        listener.close()


def test_on_a_network_nobody_reads_or_writes_without_the_key(desk, tmp_path):
    """RFC 6265: the cookie of the first answer comes with all later requests."""
    guard = RequestGuard("furnace-pc", 8417, "the-key")
    home = {"host": "furnace-pc:8417"}
    body = json.dumps({"sheet": desk.key, "events": [message(event(1))]}).encode()
    write = GOOD | home | {"origin": "http://furnace-pc:8417"}
    for path in ("/", "/state", "/worker.js", "/?key=", "/?key=the-ke", "/?key=%FF"):
        assert answered(desk, "GET", path, headers=home, guard=guard)[0] == 403
    assert answered(desk, "POST", "/entries", body, write, guard=guard)[0] == 403
    wrong = write | {"cookie": "daubline-8417=other; daubline-1=the-key; b\x00d"}
    assert answered(desk, "POST", "/entries", body, wrong, guard=guard)[0] == 403
    assert not (tmp_path / "a.csv").exists()
    status, said, _ = answered(desk, "GET", "/?key=the-key", headers=home, guard=guard)
    cookie, *rules = said["set-cookie"].split("; ")
    assert (status, rules) == (200, ["HttpOnly", "SameSite=Strict", "Path=/"])
    let_in = write | {"cookie": f"theme=dark; {cookie}"}
    assert answered(desk, "POST", "/entries", body, let_in, guard=guard)[0] == 200
    assert (tmp_path / "a.csv").exists()


def test_who_opens_connections_and_asks_nothing_shuts_nobody_out(desk, monkeypatch):
    """Eighty of them did: each counted as one who is being served."""
    monkeypatch.setattr("geom.desk.server._MOST", 20)
    monkeypatch.setattr("geom.desk.server._SILENCE", 0.3)
    listener = open_listener("127.0.0.1", 0)
    guard = RequestGuard.of(listener, "127.0.0.1")
    threading.Thread(target=serve, args=(desk, listener, guard), daemon=True).start()
    there = ("127.0.0.1", guard.port)
    with ExitStack() as silent:
        for k in range(80):
            one = silent.enter_context(socket.create_connection(there, timeout=5))
            if k % 2:
                one.sendall(b"GET / HTTP/1.1\r\nHost: ")
        ends = time.monotonic() + 20.0
        while time.monotonic() < ends:
            time.sleep(0.2)
            try:
                with urllib.request.urlopen(
                    address_of(listener, guard), timeout=5
                ) as a:
                    assert a.status == 200
                    break
            except OSError:
                continue
        else:
            pytest.fail("nobody was let in for 20 s")


def test_on_a_network_one_address_has_so_many_connections(desk, monkeypatch):
    monkeypatch.setattr("geom.desk.server._MOST_OF_ONE", 4)
    listener = open_listener("0.0.0.0", 0)
    guard = RequestGuard.of(listener, "0.0.0.0")
    threading.Thread(target=serve, args=(desk, listener, guard), daemon=True).start()
    with ExitStack() as silent:
        ones = [
            silent.enter_context(
                socket.create_connection(("127.0.0.1", guard.port), timeout=5)
            )
            for _ in range(6)
        ]
        time.sleep(0.5)
        closed = []
        for one in ones:
            one.setblocking(False)
            try:
                closed.append(one.recv(1) == b"")
            except BlockingIOError:
                closed.append(False)
            except ConnectionResetError:
                closed.append(True)
    assert closed == [False] * 4 + [True] * 2
