"""Work that goes on: how far it is, and the way to stop it."""

from __future__ import annotations

from starlette.responses import JSONResponse, RedirectResponse, Response

from miner.page.asked import Asked
from miner.page.jobs import Job
from miner.page.places import Missing
from miner.page.render import page


def _job(asked: Asked) -> Job:
    job = asked.desk.jobs.get(asked.path("job"))
    if job is None:
        raise Missing(
            "this work is not known any more; the page was started again meanwhile",
            "work of this run of the page", "Go back and begin it again. Nothing was lost.",
        )  # fmt: skip
    return job


def show(asked: Asked) -> Response:
    """Show how far it is; lead on once it is done."""
    job = _job(asked)
    if job.done is not None and job.ended.is_set():
        return RedirectResponse(job.done, status_code=303)
    if job.error is not None:
        raise job.error
    whose = None if job.owner == "." else job.owner
    return page(asked, "work.html", job=job, percent=round(100 * job.share), code=whose)


def progress(asked: Asked) -> Response:
    """Tell a script how far it is."""
    job = _job(asked)
    return JSONResponse(
        {"step": job.step, "percent": round(100 * job.share), "ended": job.ended.is_set()}
    )


def stop(asked: Asked) -> Response:
    """Ask it to stop; what is written already stays."""
    job = _job(asked)
    job.halt.set()
    job.ended.wait(2)
    if job.done is not None:
        return RedirectResponse(job.done, status_code=303)
    return asked.go(job.back, "It was stopped.")
