"""Connections that are few, ask within a time, and come from this account.

Without bounds, whoever may connect to this machine's own address keeps everybody else out: by
connections that never ask for anything, or ask for it a byte at a time.
"""

from __future__ import annotations

import asyncio
import socket
import struct
from collections.abc import Callable
from typing import Any, ClassVar

from uvicorn.protocols.http.h11_impl import H11Protocol

MOST = 256
"""Connections at once; a browser opens six."""
ASK_S = 10.0
"""How long a connection may take to ask for something, and how long a form may pause."""
End = tuple[str, int]
"""Address and port of one end of a connection."""
NETLINK_SOCK_DIAG, SOCK_DIAG_BY_FAMILY, NLM_F_REQUEST, ANY = 4, 20, 1, 0xFFFFFFFF
_HEAD = struct.Struct("=IHHII")  # length, kind, flags, sequence, port
_REQUEST = struct.Struct("=BBxxIHH4s12x4s12xIII")  # family, protocol, states, ends, cookie
_ANSWER = struct.Struct("=64xII")  # what comes before, account, inode


class Connection(H11Protocol):
    """One connection of a browser.

    Attributes:
        most: how many there may be; for another one the idle one that asked longest ago is closed.
        ask_s: seconds after which one that asks for nothing is closed, or whose form pauses.
        accounts: who may connect; None for everybody.
    """

    most: ClassVar[int] = MOST
    ask_s: ClassVar[float] = ASK_S
    accounts: ClassVar[Accounts | None] = None

    def __init__(self, *words: Any, **named: Any) -> None:
        super().__init__(*words, **named)
        self._since = self.loop.time()
        self._timer: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, or end it at once."""
        super().connection_made(transport)
        if self._is_welcome():
            self._look()
            self._make_room()
        else:
            transport.abort()

    def data_received(self, data: bytes) -> None:
        """Read what came; half a request buys no time, a piece of a form does."""
        super().data_received(data)
        self._look()

    def on_response_complete(self) -> None:
        """Wait for the next request, unless it is there already."""
        super().on_response_complete()
        self._look()

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget it."""
        self._stop()
        super().connection_lost(exc)

    @property
    def idle(self) -> bool:
        """Whether nothing is being done for it."""
        return self._timer is not None

    def _is_welcome(self) -> bool:
        if self.accounts is None or self.client is None or self.server is None:
            return True
        (host, port), theirs = self.server, self.client
        return port is None or self.accounts.welcome(theirs, (host, port))

    def _look(self) -> None:
        request = self.cycle is not None and not self.cycle.response_complete
        if request and not self.cycle.more_body:
            self._stop()
        elif request or self._timer is None:
            self._wait()

    def _wait(self) -> None:
        self._stop()
        self._since = self.loop.time()
        self._timer = self.loop.call_later(self.ask_s, self._give_up)

    def _stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _give_up(self) -> None:
        if self.flow.read_paused:  # what came is more than was read yet
            self._wait()
        else:
            self.transport.abort()

    def _make_room(self) -> None:
        if len(self.connections) <= self.most:
            return
        others = [one for one in self.connections if isinstance(one, Connection) and one.idle]
        oldest = min(others, key=lambda one: one._since)
        oldest._stop()
        oldest.connections.discard(oldest)
        oldest.transport.abort()


class Accounts:
    """Says whose connections may be used: this account's, root's, and those nobody can tell.

    Args:
        account: this account's number.
        stranger: called with the number of another account, once for each.
    """

    def __init__(self, account: int, stranger: Callable[[int], None]) -> None:
        self._known, self._stranger = {account, 0}, stranger
        self._seen: set[int] = set()

    def welcome(self, theirs: End, ours: End) -> bool:
        """Say whether a connection between two ends may be used."""
        account = account_of(theirs, ours)
        if account is None or account in self._known:
            return True
        if account not in self._seen:
            self._seen.add(account)
            self._stranger(account)
        return False


def account_of(theirs: End, ours: End) -> int | None:
    """Return the number of the account at the other end of a connection within this machine.

    None where the system does not tell, or the other end is closed already. Linux tells whose any
    socket is, in some 50 microseconds.

    Args:
        theirs: the other end.
        ours: this end.

    Source: sock_diag(7); struct inet_diag_req_v2 and inet_diag_msg in linux/inet_diag.h.
    """
    if not hasattr(socket, "AF_NETLINK"):
        return None
    ends = (
        *(socket.htons(port) for _, port in (theirs, ours)),
        *(socket.inet_aton(host) for host, _ in (theirs, ours)),
    )
    request = _REQUEST.pack(socket.AF_INET, socket.IPPROTO_TCP, ANY, *ends, 0, ANY, ANY)
    head = _HEAD.pack(_HEAD.size + len(request), SOCK_DIAG_BY_FAMILY, NLM_F_REQUEST, 0, 0)
    try:
        with socket.socket(socket.AF_NETLINK, socket.SOCK_DGRAM, NETLINK_SOCK_DIAG) as kernel:
            kernel.settimeout(1)
            kernel.send(head + request)
            told = kernel.recv(4096)
        if _HEAD.unpack_from(told)[1] != SOCK_DIAG_BY_FAMILY:
            return None
        account, inode = _ANSWER.unpack_from(told, _HEAD.size)
    except (OSError, struct.error):
        return None
    return int(account) if inode else None  # a socket without an inode is nobody's any more
