"""One request as the pages see it, and what they share."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from miner import steps
from miner.core.facts import YEARS
from miner.core.messages import MinerError, Words
from miner.page.places import address, client_folder, one_line, require_inside, why_not

if TYPE_CHECKING:
    from miner.page.client_cache import ClientEntry
    from miner.page.jobs import Progress
    from miner.page.state import AppState, ClientResults
    from miner.words.document import Parts

SOON_S = 0.7
MOST_NOTES = 200


@dataclass(frozen=True)
class PageRequest:
    """A request with its form."""

    http: Request
    state: AppState
    form: FormData

    @property
    def code(self) -> str:
        """The client's folder in the address."""
        return str(self.http.path_params["code"])

    @property
    def client_name(self) -> str:
        """What the client calls itself, as far as its records were read; else its folder."""
        held = self.state.clients.known(self.code)
        return self.code if held is None else held.client.settings.code

    @property
    def folder(self) -> Path:
        """The client's folder.

        Raises:
            Missing: there is none of that name.
            MinerError: a link in it leads out of the practice.
        """
        found = client_folder(self.state.practice, self.code)
        require_inside(found, self.state.practice)
        return found

    def entry(self) -> ClientEntry:
        """Return the client as read.

        Raises:
            MinerError: it cannot be read as it stands.
        """
        return self.state.clients.entry(self.folder)

    def read_or_fault(self, name: str | None = None) -> tuple[ClientEntry | None, str]:
        """Return the client, or another of the practice, as read, or why it cannot be."""
        folder = client_folder(self.state.practice, name or self.code)
        try:
            require_inside(folder, self.state.practice)
            return self.state.clients.entry(folder), ""
        except MinerError as error:
            return None, why_not(folder, one_line(error))

    @property
    def before(self) -> Parts:
        """What comes before anything else on each page of a client; nothing without records."""
        entry, _ = self.read_or_fault()
        return [] if entry is None else entry.before

    def shown(self, entry: ClientEntry, unit: str, days: list[str]) -> None:
        """Write to the ledger that somebody sees outcomes and habits of these days.

        The one thing that a GET writes. The same look is written once.
        """
        if not days:
            return
        look, shown = (unit, days[0], days[-1], len(days)), self.results.shown
        if shown.get(look) != entry.key:
            steps.remember_shown(entry.client, unit, days)
            shown[look] = entry.key

    @property
    def results(self) -> ClientResults:
        """What was asked for of this client in this run of the page."""
        return self.state.results_of(self.code)

    def path(self, name: str) -> str:
        """Return a part of the address."""
        return str(self.http.path_params[name])

    def text(self, name: str, default: str = "") -> str:
        """Return a field of the form, or of the address where there is no form."""
        value = self.form.get(name, self.http.query_params.get(name, default))
        return value.strip() if isinstance(value, str) else default

    def texts(self, name: str) -> list[str]:
        """Return every value of a field of the form."""
        return [value for value in self.form.getlist(name) if isinstance(value, str)]

    @property
    def seen(self) -> str | None:
        """The stamp of the file that the form showed, or None where it showed none."""
        return self.text("seen") or None

    def files(self, name: str) -> list[UploadFile]:
        """Return the files of a field that was filled in."""
        found = self.form.getlist(name)
        return [item for item in found if isinstance(item, UploadFile) and item.filename]

    def day(self, name: str) -> date | None:
        """Return a date of the form, or None where it was left empty.

        Raises:
            MinerError: it is not a date, or of no year that records have.
        """
        text = self.text(name)
        if not text:
            return None
        try:
            found = date.fromisoformat(text)
        except ValueError as error:
            raise MinerError("page.not_a_date", text=text[:40]) from error
        if not YEARS[0] <= found.year <= YEARS[1]:
            raise MinerError("page.year_out_of_reach", day=found, first=YEARS[0], last=YEARS[1])
        return found

    def at(self, *parts: str) -> str:
        """Return the address of one of this client's pages."""
        return address("clients", self.code, *parts)

    def go(self, to: str, *notes: Words, place: str = "") -> Response:
        """Send the browser to another page, or a place on it, which says something once."""
        said, held = tuple(str(note) for note in notes if note), self.state.notes
        if said:
            name = secrets.token_urlsafe(6)
            held[name] = said
            to += f"{'&' if '?' in to else '?'}said={name}"
        while len(held) > MOST_NOTES:
            held.popitem(last=False)
        return RedirectResponse(f"{to}#{place}" if place else to, status_code=303)

    def later(
        self, key: str, what: Words, work: Callable[[Progress], object], to: str, back: str = ""
    ) -> Response:
        """Begin a piece of work; go to its end where it is quick, else to how far it is.

        Args:
            key: what tells it from other work on the same client.
            what: in words.
            work: does it, and tells how far it is.
            to: where to go once it is done.
            back: where to go if it was stopped or failed, where that is another page.
        """

        def run(progress: Progress) -> str:
            work(progress)
            return to

        owner = str(self.http.path_params.get("code", "."))
        job = self.state.jobs.start(key, str(what), back or to, owner, run)
        job.ended.wait(SOON_S)
        return RedirectResponse(job.done or address("jobs", job.id), status_code=303)


def attached(name: str) -> dict[str, str]:
    """Return the header that gives a file its name, whatever the name is made of."""
    plain = re.sub(r"[^A-Za-z0-9._-]", "_", name)
    return {"Content-Disposition": f'attachment; filename="{plain}"'}
