"""Which address leads to which page."""

from __future__ import annotations

from collections.abc import Callable

from starlette.responses import Response

from miner.page.asked import Asked
from miner.page.views import (
    caseload,
    client,
    days,
    followup,
    intake,
    leaving,
    mapping,
    patterns,
    practice,
    questions,
    ranking,
    records,
    rules,
    sharing,
    work,
)

View = Callable[[Asked], Response]
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
    ("GET", "/help", caseload.help_),
    ("GET", "/jobs/{job}", work.show),
    ("GET", "/jobs/{job}/progress", work.progress),
    ("POST", "/jobs/{job}/stop", work.stop),
    ("GET", _ONE, client.client),
    ("GET", f"{_ONE}/intake", intake.show),
    ("POST", f"{_ONE}/intake", intake.save),
    ("POST", f"{_ONE}/left-out", intake.leave_out),
    ("GET", f"{_ONE}/questions", questions.show),
    ("POST", f"{_ONE}/questions", questions.fix),
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
    ("GET", f"{_ONE}/ranking", ranking.show),
    ("POST", f"{_ONE}/ranking", ranking.begin),
    ("GET", f"{_ONE}/patterns/{{id}}", patterns.show),
    ("POST", f"{_ONE}/patterns/{{id}}/keep", patterns.keep),
    ("GET", f"{_ONE}/patterns/{{id}}/plan", patterns.show_plan),
    ("POST", f"{_ONE}/patterns/{{id}}/plan", patterns.plan),
    ("GET", f"{_ONE}/pages", sharing.show),
    ("POST", f"{_ONE}/pages", sharing.make),
    ("GET", f"{_ONE}/pages/{{kind}}", sharing.one),
    ("GET", f"{_ONE}/follow-up", followup.show),
    ("POST", f"{_ONE}/follow-up", followup.read),
    ("POST", f"{_ONE}/follow-up/drop", followup.drop),
    ("POST", f"{_ONE}/follow-up/result", followup.result),
    ("GET", f"{_ONE}/plans/{{plan}}", followup.plan),
    ("GET", f"{_ONE}/history", followup.history),
    ("GET", f"{_ONE}/folder", leaving.show),
    ("GET", f"{_ONE}/download", leaving.download),
    ("POST", f"{_ONE}/delete", leaving.delete),
)
