"""Who may ask, and from where: one machine, one browser that opened the address, own forms only."""

from __future__ import annotations

import hmac
import secrets
from dataclasses import dataclass, field

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE = ("GET", "HEAD")
OPEN_PATH = "/open"
POLICY = (
    "default-src 'none'; script-src 'self'; style-src {styles}; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=(), payment=()",
    "Cache-Control": "no-store",
}


@dataclass(frozen=True)
class Keys:
    """The secrets of one run of the page; they are never written anywhere.

    Attributes:
        port: on which it listens.
        token: stands in the opening address.
        session: stands in the cookie.
    """

    port: int
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))
    session: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    @property
    def hosts(self) -> tuple[str, ...]:
        """The names under which this machine may be asked."""
        return f"127.0.0.1:{self.port}", f"localhost:{self.port}"

    @property
    def address(self) -> str:
        """Where the page is, without the token."""
        return f"http://127.0.0.1:{self.port}/"

    @property
    def opening(self) -> str:
        """Where the page is opened."""
        return f"http://127.0.0.1:{self.port}{OPEN_PATH}?token={self.token}"

    @property
    def cookie(self) -> str:
        """The cookie's name: cookies of one machine do not know ports."""
        return f"miner_{self.port}"

    @property
    def form(self) -> str:
        """What every form of the page carries."""
        return hmac.new(self.session.encode(), b"form", "sha256").hexdigest()

    def opened_by(self, token: str) -> bool:
        """Say whether the opening token is right."""
        return hmac.compare_digest(token.encode(), self.token.encode())

    def knows(self, cookie: str | None) -> bool:
        """Say whether the cookie is right."""
        return hmac.compare_digest((cookie or "").encode(), self.session.encode())

    def own_form(self, value: object) -> bool:
        """Say whether a form is one of the page's."""
        return isinstance(value, str) and hmac.compare_digest(value.encode(), self.form.encode())


def refusal(keys: Keys, request: Request) -> str | None:
    """Return why a request is refused, or None."""
    headers = request.headers
    host = headers.get("host", "").casefold()
    if host not in keys.hosts:
        return "it was asked for under another name than this machine's own"
    origin = headers.get("origin")
    if origin is not None and origin.casefold() not in {f"http://{host}"}:
        return "another page asked for it"
    if request.method not in SAFE and origin is None:
        return "it does not say which page sent it"
    if request.url.path == OPEN_PATH:
        return None
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return "another page asked for it"
    if not keys.knows(request.cookies.get(keys.cookie)):
        return "this browser has not opened the page with its opening address"
    return None


def let_in(keys: Keys, response: Response) -> Response:
    """Give a browser the cookie that every other address asks for."""
    response.set_cookie(keys.cookie, keys.session, httponly=True, samesite="strict", path="/")
    return response


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
                headers.setdefault("Content-Security-Policy", POLICY.format(styles="'self'"))
            await send(message)

        await self.app(scope, receive, guarded)


def declared_length(headers: Headers) -> int | None:
    """Return how many bytes a request says it has, or None."""
    told = headers.get("content-length", "")
    return int(told) if told.isdecimal() and len(told) < 16 else None
