"""Work that takes longer than a page may: it runs beside, tells how far it is, can be stopped."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import partial

from miner.core.messages import Words, message

Progress = Callable[[Words, float], None]
MOST_KEPT = 100
AT_ONCE = 2


class Stopped(Exception):  # noqa: N818 - it names what happened, not a fault
    """The work was stopped where it told how far it was."""


@dataclass
class BackgroundJob:
    """One piece of work.

    Attributes:
        id: its name in an address.
        key: what tells it from other work on the same client.
        what: in words.
        back: where to go when it was stopped or failed.
        owner: the client's folder it works on, or the practice's.
        step, share: how far it has come.
        done: where to go, once it is done.
        error: what was raised.
    """

    id: str
    key: str
    what: str
    back: str
    owner: str
    step: Words = field(default_factory=partial(message, "page.job_waits"))
    share: float = 0.0
    done: str | None = None
    error: BaseException | None = None
    halt: threading.Event = field(default_factory=threading.Event)
    ended: threading.Event = field(default_factory=threading.Event)

    def tell(self, step: Words, share: float) -> None:
        """Note how far it is.

        Raises:
            Stopped: somebody asked for that.
        """
        self.step, self.share = step, min(max(share, 0.0), 1.0)
        if self.halt.is_set():
            raise Stopped

    @property
    def stopped(self) -> bool:
        """Whether it ended before it was done, without a fault."""
        return self.ended.is_set() and self.done is None and self.error is None


class Jobs:
    """The work going on; two pieces at once, never two on one client."""

    def __init__(self) -> None:
        self._jobs: dict[str, BackgroundJob] = {}
        self._guard = threading.Lock()
        self._turn = threading.Semaphore(AT_ONCE)
        self._owners: dict[str, threading.Lock] = {}

    def start(
        self, key: str, what: str, back: str, owner: str, work: Callable[[Progress], str]
    ) -> BackgroundJob:
        """Begin a piece of work, which returns where to go; one of the same key is joined."""
        with self._guard:
            for job in self._jobs.values():
                if (job.key, job.owner) == (key, owner) and not job.ended.is_set():
                    return job
            job = BackgroundJob(secrets.token_urlsafe(9), key, what, back, owner)
            self._jobs[job.id] = job
            for old in [one for one in self._jobs.values() if one.ended.is_set()][:-MOST_KEPT]:
                del self._jobs[old.id]
            own = self._owners.setdefault(owner, threading.Lock())
        threading.Thread(target=self._run, args=(job, own, work), daemon=True).start()
        return job

    def get(self, id_: str) -> BackgroundJob | None:
        """Return a piece of work, or None."""
        return self._jobs.get(id_)

    def _run(
        self, job: BackgroundJob, own: threading.Lock, work: Callable[[Progress], str]
    ) -> None:
        try:
            with own, self._turn:
                job.tell(message("page.job_reads"), 0.0)
                job.done = work(job.tell)
        except Stopped:
            job.done = None
        except BaseException as error:
            job.error = error
        finally:
            job.ended.set()


MOST_S = 1.0


class Turns:
    """Counts the pages that are being made, for work that can wait until none is."""

    def __init__(self) -> None:
        self._free = threading.Condition()
        self._pages = 0

    @contextmanager
    def page(self) -> Iterator[None]:
        """Be in the way of work in the background."""
        with self._free:
            self._pages += 1
        try:
            yield
        finally:
            with self._free:
                self._pages -= 1
                self._free.notify_all()

    def wait(self, most: float = MOST_S) -> bool:
        """Wait until no page is being made, ``most`` seconds at the longest; say whether none is.

        Without an end, a page that is asked for again and again would stop all other work.
        """
        with self._free:
            return self._free.wait_for(lambda: self._pages == 0, timeout=most)
