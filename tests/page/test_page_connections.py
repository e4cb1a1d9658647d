"""Connections are few, ask within a time, and are of this account."""

from __future__ import annotations

import os
import socket
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import uvicorn

from miner.page.connections import Accounts, Connection, account_of


async def small(scope: Any, receive: Any, send: Any) -> None:
    """A page that reads what was sent and answers with its length."""
    length, more = 0, True
    while more:
        message = await receive()
        length, more = length + len(message.get("body", b"")), message.get("more_body", False)
    head = [(b"content-length", str(len(str(length))).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": head})
    await send({"type": "http.response.body", "body": str(length).encode()})


@pytest.fixture
def listen() -> Iterator[Callable[..., int]]:
    """Serve the small page under bounds of a test's own; return its port."""
    servers = []

    def begin(**bounds: Any) -> int:
        kind = type("Bounded", (Connection,), bounds)
        config = uvicorn.Config(
            small, port=0, http=kind, log_config=None, lifespan="off", ws="none"
        )
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run)
        thread.start()
        servers.append((server, thread))
        while not server.started:
            time.sleep(0.01)
        return int(server.servers[0].sockets[0].getsockname()[1])

    yield begin
    for server, thread in servers:
        server.should_exit = True
        thread.join(20)


def connected(port: int, *pieces: bytes) -> socket.socket:
    there = socket.create_connection(("127.0.0.1", port), timeout=30)
    for piece in pieces:
        there.sendall(piece)
    return there


def heard(there: socket.socket) -> str:
    """The body of an answer."""
    said = b""
    while not said.partition(b"\r\n\r\n")[2]:
        said += there.recv(1000) or pytest.fail("closed without an answer")
    return said.partition(b"\r\n\r\n")[2].decode()


def ended(there: socket.socket) -> bool:
    """Whether the other end closes; waits for that, or for anything it says."""
    try:
        return there.recv(1000) == b""
    except ConnectionResetError:
        return True


GET = b"GET / HTTP/1.1\r\nHost: x\r\n\r\n"
POST = b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 10\r\n\r\n"


@pytest.mark.parametrize("begun", [b"", b"GET /", GET[:-2], POST, POST + b"12345"])
def test_a_connection_that_stops_asking_is_closed(listen: Callable[..., int], begun: bytes) -> None:
    there = connected(listen(ask_s=0.2), begun)
    assert ended(there)
    there.close()


def test_a_request_that_comes_a_byte_at_a_time_gets_no_more_time(
    listen: Callable[..., int],
) -> None:
    there, over = connected(listen(ask_s=0.4)), False
    try:
        for byte in GET * 40:
            there.send(bytes([byte]) if byte not in b"\r\n" else b"x")
            time.sleep(0.02)
    except OSError:
        over = True
    assert over
    there.close()


def test_after_an_answer_the_next_request_has_its_own_time(listen: Callable[..., int]) -> None:
    there = connected(listen(ask_s=0.3), GET)
    assert heard(there) == "0"
    there.sendall(POST + b"0123456789")
    assert heard(there) == "10"
    there.sendall(GET[:10])
    assert ended(there)
    there.close()


def test_a_form_that_keeps_coming_is_read_to_its_end(listen: Callable[..., int]) -> None:
    there = connected(listen(ask_s=0.5), POST)
    for byte in b"0123456789":
        time.sleep(0.1)
        there.send(bytes([byte]))
    assert heard(there) == "10"
    there.close()


def test_one_more_than_there_may_be_takes_the_place_of_the_oldest_idle_one(
    listen: Callable[..., int],
) -> None:
    port = listen(most=3, ask_s=600.0)
    idle = [connected(port, b"GET") for _ in range(3)]
    more = connected(port, GET)
    assert heard(more) == "0"
    assert ended(idle[0])
    idle[1].sendall(GET[3:])
    assert heard(idle[1]) == "0"
    for one in (*idle, more):
        one.close()


@pytest.mark.skipif(not hasattr(socket, "AF_NETLINK"), reason="the system does not tell")
@pytest.mark.parametrize("family", [socket.AF_INET, socket.AF_INET6])
def test_the_system_tells_whose_a_connection_is(family: int) -> None:
    with socket.socket() as server, socket.socket(family) as client:
        server.bind(("127.0.0.1", 0))
        server.listen()
        port = server.getsockname()[1]
        client.connect(("::ffff:127.0.0.1" if family == socket.AF_INET6 else "127.0.0.1", port))
        ours, theirs = server.accept()
        with ours:
            ends = theirs, ours.getsockname()
            assert account_of(*ends) == os.geteuid()
            told: list[int] = []
            assert Accounts(os.geteuid(), told.append).welcome(*ends)
            if os.geteuid():  # root is let in everywhere
                assert not Accounts(os.geteuid() + 1, told.append).welcome(*ends)
            client.close()
            assert account_of(*ends) is None


@pytest.mark.parametrize("fault", ["no such thing", "refused", "something else"])
def test_a_system_that_does_not_tell_lets_the_token_decide(
    monkeypatch: pytest.MonkeyPatch, fault: str
) -> None:
    if fault == "no such thing":
        monkeypatch.delattr(socket, "AF_NETLINK")
    elif fault == "refused":
        monkeypatch.setattr("miner.page.connections.NETLINK_SOCK_DIAG", 9999)
    told: list[int] = []
    assert Accounts(1000, told.append).welcome(("127.0.0.1", 1), ("127.0.0.1", 2))
    assert told == []


def test_another_account_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("miner.page.connections.account_of", lambda *_: 1234)
    told: list[int] = []
    welcome = Accounts(1000, told.append).welcome
    assert [welcome(("127.0.0.1", 1), ("127.0.0.1", 2)) for _ in range(3)] == [False] * 3
    assert told == [1234]
    assert Accounts(1234, told.append).welcome(("127.0.0.1", 1), ("127.0.0.1", 2))
