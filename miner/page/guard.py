"""Who may ask, and from where: one machine, one browser that was let in, own forms only."""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from html import unescape

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE = ("GET", "HEAD")
METHODS = (*SAFE, "POST")
OPEN_PATH = "/open"
FROM_A_FILE = ("null", "file://")
"""What browsers say of where a form was sent from, where that is a file."""
OPEN_FOR_S = 120.0
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # none that looks like another
_LONG, _GROUP = 20, 5
NOT_LET_IN = "page.not_let_in"
NOT_KNOWN = "page.not_known"
POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src {styles}",
        "img-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": ", ".join(
        f"{sense}=()" for sense in ("camera", "microphone", "geolocation", "payment")
    ),
    "Cache-Control": "no-store",
}
# With "no-referrer" a form would no longer say which page sent it. No address holds a secret, and
# none is given to another site.
OWN_HEADERS = {
    "Referrer-Policy": "same-origin",
    "Content-Security-Policy": POLICY.format(styles="'self'"),
}


@dataclass(frozen=True)
class Keys:
    """The secrets of one run of the page; the session is in no address and no file.

    A cookie belongs to a host whatever its port, so a cookie of 127.0.0.1 goes to every program
    that listens there. The page has a host of its own, a random name. Browsers take it for this
    machine (RFC 6761, section 6.3: names below ``localhost`` are the loopback address). The page
    also answers at 127.0.0.1, for browsers that ask the system for names and find none.

    Attributes:
        port: on which it listens.
        name: the host, known only to who is let in.
        session: the value of the cookie.
    """

    port: int
    name: str = field(default_factory=lambda: f"miner-{secrets.token_hex(16)}.localhost")
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def address(self) -> str:
        """Where the page is."""
        return f"http://{self.name}:{self.port}/"

    @property
    def address_by_number(self) -> str:
        """Where the page is for a browser that does not know the name."""
        return f"http://127.0.0.1:{self.port}/"

    @property
    def hosts(self) -> tuple[str, ...]:
        """The names under which the page may be asked for."""
        return f"{self.name}:{self.port}", f"127.0.0.1:{self.port}"

    @property
    def cookie(self) -> str:
        """The cookie's name: by its number, pages on two ports share what cookies there are."""
        return f"miner_{self.port}"

    @property
    def form(self) -> str:
        """What every form of the page carries."""
        return hmac.new(self.session.encode(), b"form", "sha256").hexdigest()

    def knows(self, cookie: str | None) -> bool:
        """Say whether the cookie is right."""
        return hmac.compare_digest((cookie or "").encode(), self.session.encode())

    def own_form(self, value: object) -> bool:
        """Say whether a form is one of the page's."""
        return isinstance(value, str) and hmac.compare_digest(value.encode(), self.form.encode())


class Tokens:
    """The one token that works now, if any."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._guard = threading.Lock()
        self._token, self._until = "", 0.0

    def new(self) -> str:
        """Return a new token; an older one works no more."""
        letters = "".join(secrets.choice(_LETTERS) for _ in range(_LONG))
        with self._guard:
            self._token, self._until = letters, self._clock() + OPEN_FOR_S
        return "-".join(letters[k : k + _GROUP] for k in range(0, _LONG, _GROUP))

    def use(self, given: str) -> bool:
        """Say whether a token works, after which it does not."""
        letters = re.sub(r"[\s-]", "", given[:100]).casefold()
        with self._guard:
            right = self._open() and hmac.compare_digest(letters.encode(), self._token.encode())
            if right:
                self._token = ""
            return right

    def left(self) -> bool:
        """Say whether a token could still be used."""
        with self._guard:
            return self._open()

    def _open(self) -> bool:
        return bool(self._token) and self._clock() < self._until


def refusal(keys: Keys, request: Request) -> str | None:
    """Return the code of why a request is refused, or None; a token is looked at elsewhere.

    What is asked for makes no difference: a stranger does not learn which pages there are.
    """
    host = request.headers.get("host", "").casefold()
    if host not in keys.hosts:
        return "page.other_name"
    if request.method not in METHODS:
        return NOT_KNOWN
    if sends_token(request):
        return _not_by_hand(request.headers, f"http://{host}")
    origin = request.headers.get("origin")
    if origin is not None and origin.casefold() != f"http://{host}":
        return "page.other_page"
    if request.method not in SAFE and origin is None:
        return "page.no_origin"
    if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return "page.other_page"
    return None if keys.knows(request.cookies.get(keys.cookie)) else NOT_LET_IN


def sends_token(request: Request) -> bool:
    """Say whether a request is there to let a browser in."""
    return request.method == "POST" and request.scope["path"] == OPEN_PATH


def _not_by_hand(headers: Headers, own: str) -> str | None:
    """Refuse a token that comes from a page of another site, or not as a page to be shown."""
    whole = headers.get("sec-fetch-dest", "document") == "document"
    origin = headers.get("origin", own).casefold()
    return None if whole and origin in (own, *FROM_A_FILE) else "page.other_page"


class Protected:
    """Adds to every answer what it may load, who may show it, and that it is kept nowhere."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on and look at its answer."""

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                for name, value in OWN_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, guarded)


def declared_length(headers: Headers) -> int | None:
    """Return how many bytes a request says it has, or None."""
    told = headers.get("content-length", "")
    return int(told) if told.isdecimal() and len(told) < 16 else None


_OWN = re.compile(r'<meta http-equiv="Content-Security-Policy" content="([^"]*)">')
_LOOKS = re.compile(r"<style>(.*?)</style>", re.DOTALL)


def own_policy(text: str) -> str:
    """Return what a page of the brief allows itself, as a header.

    A page without a policy of its own is allowed its looks and nothing else.
    """
    found = _OWN.search(text)
    if found:
        return f"{unescape(found[1])}; frame-ancestors 'none'"
    looks = " ".join(f"'sha256-{sha(inner)}'" for inner in _LOOKS.findall(text)) or "'none'"
    allowed = ("default-src 'none'", f"style-src {looks}", "base-uri 'none'")
    return "; ".join((*allowed, "frame-ancestors 'none'"))


def sha(text: str) -> str:
    """Return the hash by which a policy names a text."""
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
