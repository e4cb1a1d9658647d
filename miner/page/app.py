"""The page as a whole: which address leads where, and what is told when something is wrong."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Awaitable, Callable
from pathlib import PurePath

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from miner.errors import MinerError
from miner.page import render
from miner.page.asked import Asked, Desk
from miner.page.bodies import TooLarge, form_of
from miner.page.guard import OPEN_PATH, Protected, let_in, refusal
from miner.page.places import Missing, clients_of, require_own
from miner.page.policy import own_policy
from miner.page.routes import ROUTES, View
from miner.page.words import for_page

Endpoint = Callable[[Request], Awaitable[Response]]


def application(desk: Desk) -> Starlette:
    """Return the page of one practice, ready to be served."""
    routes = [Route(path, _endpoint(desk, view), methods=[method]) for method, path, view in ROUTES]
    routes += [
        Route(OPEN_PATH, _opening(desk)),
        Route("/assets/page.css", _asset(desk, render.looks, "text/css")),
        Route("/assets/page.js", _asset(desk, lambda: render.asset("page.js"), "text/javascript")),
        Route("/assets/mark.svg", _asset(desk, lambda: render.asset("mark.svg"), "image/svg+xml")),
        Route("/assets/marks.js", _asset(desk, render.marks, "text/javascript")),
    ]
    return Starlette(
        routes=routes,
        middleware=[Middleware(Protected)],
        exception_handlers={HTTPException: _no_such_page(desk)},
    )


def _endpoint(desk: Desk, view: View) -> Endpoint:
    async def answer(request: Request) -> Response:
        asked = Asked(request, desk, FormData())
        why = refusal(desk.keys, request)
        if why is not None:
            return _refused(why)
        try:
            require_own(desk.practice)
            if request.method == "POST":
                asked = Asked(request, desk, await form_of(request))
                if not desk.keys.own_form(asked.form.get("form_key")):
                    return _refused("the form is not one of this run of the page")
            with desk.turns.page():
                return await run_in_threadpool(view, asked)
        except MinerError as error:
            return told(asked, error)
        except Exception as error:
            return told(asked, error)

    return answer


def told(asked: Asked, error: BaseException) -> HTMLResponse:
    """Return the page of a fault: what was found, what was expected, what to do, and no trace."""
    if isinstance(error, OSError) and error.errno is not None:
        error = MinerError(
            error.strerror or "it cannot be used", "a place this program may read and write",
            "Check the folder, its rights and the space left, and try again.",
        )  # fmt: skip
    if isinstance(error, MinerError):
        status = 404 if isinstance(error, Missing) else 413 if isinstance(error, TooLarge) else 400
        return render.page(
            asked, "fault.html", status=status, title="This cannot be done as it stands",
            file=error.file and PurePath(error.file).name, row=error.row,
            found=for_page(error.found), expected=for_page(error.expected), do=for_page(error.do),
            code=_whose(asked),
        )  # fmt: skip
    traceback.print_exception(error, file=sys.stderr)
    return render.page(
        asked, "fault.html", status=500, title="A fault of the program, not of your records",
        file=None, row=None, found="This page could not be made.", expected="",
        do="Nothing was lost. Go back and try again; if it happens again, report what stands in "
        "the window where the page was started.",
    )  # fmt: skip


def _whose(asked: Asked) -> str | None:
    """Return the client of the address, where there is one of that name."""
    code = asked.request.path_params.get("code")
    return code if code in clients_of(asked.desk.practice) else None


def _refused(why: str) -> Response:
    text = render.environment().get_template("refused.html").render(why=why)
    return HTMLResponse(
        text, status_code=403, headers={"Content-Security-Policy": own_policy(text)}
    )


def _opening(desk: Desk) -> Endpoint:
    async def answer(request: Request) -> Response:
        why = refusal(desk.keys, request)
        if why is None and not desk.keys.opened_by(request.query_params.get("token", "")):
            why = "the opening address is not the one of this run of the page"
        if why is not None:
            return _refused(why)
        text = render.environment().get_template("opening.html").render()
        return let_in(desk.keys, HTMLResponse(text))

    return answer


def _asset(desk: Desk, made: Callable[[], str], kind: str) -> Endpoint:
    async def answer(request: Request) -> Response:
        why = refusal(desk.keys, request)
        return _refused(why) if why else PlainTextResponse(made(), media_type=kind)

    return answer


def _no_such_page(desk: Desk) -> Callable[[Request, Exception], Response]:
    def answer(request: Request, error: Exception) -> Response:
        why = refusal(desk.keys, request)
        if why is not None:
            return _refused(why)
        missing = Missing("there is no such page here", "a page of the list above", "Choose one.")
        response = told(Asked(request, desk, FormData()), missing)
        response.status_code = getattr(error, "status_code", 404)
        return response

    return answer
