"""The page as a whole: which address leads where, and what is told when something is wrong."""

from __future__ import annotations

import sys
import traceback
from collections.abc import Awaitable, Callable
from pathlib import PurePath
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from miner.core.facts import HELD
from miner.core.messages import MinerError, message
from miner.page import render
from miner.page.bodies import TooLarge, form_of, token_of
from miner.page.guard import (
    METHODS,
    NOT_KNOWN,
    NOT_LET_IN,
    OPEN_PATH,
    Protected,
    own_policy,
    refusal,
    sends_token,
)
from miner.page.places import Missing, clients_of, require_own
from miner.page.request import PageRequest
from miner.page.state import AppState
from miner.page.views import (
    caseload,
    choosing,
    client,
    days,
    followup,
    handbook,
    intake,
    leaving,
    mapping,
    meals,
    patterns,
    plans,
    practice,
    questions,
    ranking,
    records,
    rules,
    settings,
    sharing,
    wearing,
    work,
)
from miner.steps.settings import display_unit, practice_file
from miner.words import cautions
from miner.words.amounts import MG_DL, in_unit
from miner.words.door import at_door
from miner.words.said import texts

View = Callable[[PageRequest], Response]
_ONE = "/clients/{code}"

ROUTES: tuple[tuple[str, str, View], ...] = (
    ("GET", "/", practice.morning),
    ("GET", "/clients", practice.clients),
    ("POST", "/clients", practice.new_client),
    ("GET", "/caseload", caseload.show),
    ("POST", "/caseload", caseload.look),
    ("GET", "/caseload/page", caseload.as_page),
    ("GET", "/rules", rules.show),
    ("GET", "/rules/{name}", rules.one),
    ("POST", "/rules/{name}", rules.change),
    ("GET", "/settings", settings.show),
    ("POST", "/settings", settings.save),
    ("GET", "/help", handbook.show),
    ("GET", "/help/{name}", handbook.show),
    ("GET", "/jobs/{job}", work.show),
    ("GET", "/jobs/{job}/progress", work.progress),
    ("POST", "/jobs/{job}/stop", work.stop),
    ("GET", _ONE, client.client),
    ("GET", f"{_ONE}/intake", intake.show),
    ("POST", f"{_ONE}/intake", intake.save),
    ("POST", f"{_ONE}/intake/clinician", intake.settle),
    ("POST", f"{_ONE}/left-out", intake.drop_day),
    ("POST", f"{_ONE}/left-out/back", intake.take_day),
    ("GET", f"{_ONE}/settings", wearing.show),
    ("POST", f"{_ONE}/settings", wearing.save),
    ("GET", f"{_ONE}/questions", questions.show),
    ("POST", f"{_ONE}/questions", questions.fix),
    ("POST", f"{_ONE}/questions/suggest", questions.suggest),
    ("GET", f"{_ONE}/records", records.show),
    ("POST", f"{_ONE}/records", records.drop),
    ("POST", f"{_ONE}/records/add", records.add),
    ("POST", f"{_ONE}/records/add-all", records.add_all),
    ("POST", f"{_ONE}/records/throw-away", records.throw_away),
    ("GET", f"{_ONE}/records/columns", mapping.show),
    ("POST", f"{_ONE}/records/columns", mapping.choose),
    ("GET", f"{_ONE}/days", days.pick),
    ("GET", f"{_ONE}/days/{{day}}", days.show),
    ("GET", f"{_ONE}/table", days.table),
    ("GET", f"{_ONE}/week", days.week),
    ("GET", f"{_ONE}/meals", meals.show),
    ("POST", f"{_ONE}/meals", meals.compare),
    ("GET", f"{_ONE}/ranking", ranking.show),
    ("POST", f"{_ONE}/ranking", ranking.begin),
    ("GET", f"{_ONE}/patterns/{{id}}", patterns.show),
    ("POST", f"{_ONE}/patterns/{{id}}/keep", patterns.keep),
    ("GET", f"{_ONE}/patterns/{{id}}/plan", patterns.show_plan),
    ("POST", f"{_ONE}/patterns/{{id}}/plan", patterns.plan),
    ("GET", f"{_ONE}/pages", sharing.show),
    ("POST", f"{_ONE}/pages", sharing.make),
    ("GET", f"{_ONE}/pages/{{kind}}", sharing.one),
    ("POST", f"{_ONE}/choices", choosing.choose),
    ("GET", f"{_ONE}/follow-up", followup.show),
    ("POST", f"{_ONE}/follow-up", followup.read),
    ("POST", f"{_ONE}/follow-up/drop", followup.drop),
    ("POST", f"{_ONE}/follow-up/leave", followup.leave),
    ("POST", f"{_ONE}/follow-up/take-up", followup.take_up),
    ("POST", f"{_ONE}/follow-up/result", followup.result),
    ("GET", f"{_ONE}/plans/{{plan}}", plans.show),
    ("POST", f"{_ONE}/plans/{{plan}}", plans.tick),
    ("GET", f"{_ONE}/plans/{{plan}}/sheet", plans.sheet),
    ("GET", f"{_ONE}/history", followup.history),
    ("GET", f"{_ONE}/folder", leaving.show),
    ("GET", f"{_ONE}/download", leaving.download),
    ("POST", f"{_ONE}/delete", leaving.delete),
)


NOT_GOOD = "page.code_not_good"
Endpoint = Callable[[Request], Awaitable[Response]]


def application(state: AppState) -> Starlette:
    """Return the page of one practice, ready to be served."""
    routes = [
        Route(path, _endpoint(state, view), methods=[method]) for method, path, view in ROUTES
    ]
    routes += [
        Route("/assets/page.css", _asset(render.looks, "text/css")),
        Route("/assets/page.js", _asset(lambda: render.asset("page.js"), "text/javascript")),
        Route("/assets/mark.svg", _asset(lambda: render.asset("mark.svg"), "image/svg+xml")),
        Route("/assets/marks.js", _asset(render.marks, "text/javascript")),
    ]
    made = Starlette(
        routes=routes,
        middleware=[Middleware(Protected), Middleware(Guarded, state=state)],
        exception_handlers={HTTPException: _no_such_page(state)},
    )
    made.router.redirect_slashes = False
    return made


def _endpoint(state: AppState, view: View) -> Endpoint:
    async def answer(request: Request) -> Response:
        page_request = PageRequest(request, state, FormData())
        with at_door("page"), in_unit(_unit_of(page_request)):
            try:
                require_own(state.practice)
                if request.method == "POST":
                    page_request = PageRequest(request, state, await form_of(request))
                    if not state.keys.own_form(page_request.form.get("form_key")):
                        return refused("page.form_not_own")
                with state.turns.page():
                    return await run_in_threadpool(view, page_request)
            except Exception as error:
                return fault_page(page_request, error)

    return answer


def _unit_of(page_request: PageRequest) -> str:
    """Return the unit of the address's client, else of the practice; mg/dL where none is told."""
    practice, code = page_request.state.practice, _whose(page_request)
    try:
        return (
            display_unit(practice / code) if code else practice_file(practice).display_unit or MG_DL
        )
    except MinerError:
        return MG_DL


def fault_page(page_request: PageRequest, error: Exception) -> HTMLResponse:
    """Return the page of a fault: what was found, what was expected, what to do, and no trace."""
    if isinstance(error, OSError) and error.errno is not None:
        why = error.strerror
        error = (
            MinerError("page.place_not_usable", why=why) if why else MinerError("page.place_failed")
        )
    if isinstance(error, MinerError):
        status = 404 if isinstance(error, Missing) else 413 if isinstance(error, TooLarge) else 400
        told: dict[str, Any] = {"row": error.row, "sentences": error.sentences, "held": ""}
        told["code"] = _whose(page_request)
        told["file"] = error.file and PurePath(error.file).name
        title = "page.not_found" if status == 404 else "page.not_as_it_stands"
        told["title"] = message(title)
        if error.code.startswith(HELD):
            told["title"], *told["sentences"] = (text for text, _ in cautions.refusal(error))
            told["code"] = told["held"] = PurePath(str(error.values["folder"])).name
    else:
        traceback.print_exception(error, file=sys.stderr)
        said, status = texts("page.program_fault", {}), 500
        told = {"title": said["text"], "sentences": (said["found"], said["do"])}
        told |= {"file": None, "row": None, "held": ""}
    return render.page(page_request, "fault.html", status=status, first=(), **told)


def _whose(page_request: PageRequest) -> str | None:
    """Return the client of the address, where there is one of that name."""
    code = page_request.http.path_params.get("code")
    return code if code in clients_of(page_request.state.practice) else None


class Guarded:
    """Looks at each request before anything else does, whatever it asks for."""

    def __init__(self, app: ASGIApp, state: AppState) -> None:
        self.app, self.state = app, state

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse a request, let a browser in, or pass the request on."""
        request = Request(scope, receive)
        why = refusal(self.state.keys, request)
        if why is not None:
            await refused(why)(scope, receive, send)
        elif sends_token(request):
            await (await self._opening(request))(scope, receive, send)
        else:
            await self.app(scope, receive, send)

    async def _opening(self, request: Request) -> Response:
        if not self.state.tokens.use(await token_of(request)):
            return refused(NOT_GOOD)
        text = render.environment().get_template("opening.html").render()
        response = HTMLResponse(text, headers={"Referrer-Policy": "no-referrer"})
        keys = self.state.keys
        response.set_cookie(keys.cookie, keys.session, httponly=True, samesite="strict", path="/")
        return response


def refused(why: str) -> Response:
    """Return the page that says why; where a token would help, it may be typed there.

    Args:
        why: its code.
    """
    text = (
        render.environment()
        .get_template("refused.html")
        .render(why=message(why), to=OPEN_PATH, may_try=why in (NOT_LET_IN, NOT_GOOD))
    )
    policy = f"{own_policy(text)}; form-action 'self'"
    headers = {"Content-Security-Policy": policy, "Referrer-Policy": "no-referrer"}
    if why == NOT_KNOWN:
        return HTMLResponse(text, status_code=405, headers=headers | {"Allow": ", ".join(METHODS)})
    return HTMLResponse(text, status_code=403, headers=headers)


def _asset(made: Callable[[], str], kind: str) -> Endpoint:
    async def answer(_: Request) -> Response:
        return PlainTextResponse(made(), media_type=kind)

    return answer


def _no_such_page(state: AppState) -> Callable[[Request, Exception], Response]:
    def answer(request: Request, error: Exception) -> Response:
        missing = Missing("page.no_such_page")
        response = fault_page(PageRequest(request, state, FormData()), missing)
        response.status_code = getattr(error, "status_code", 404)
        return response

    return answer
