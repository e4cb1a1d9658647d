"""Work that goes on: how far it is, and the way to stop it."""

from __future__ import annotations

from starlette.responses import JSONResponse, RedirectResponse, Response

from miner.core.messages import message
from miner.page.jobs import BackgroundJob
from miner.page.places import Missing
from miner.page.render import page
from miner.page.request import PageRequest


def _job(request: PageRequest) -> BackgroundJob:
    job = request.state.jobs.get(request.path("job"))
    if job is None:
        raise Missing("page.work_not_known")
    return job


def show(request: PageRequest) -> Response:
    """Show how far it is; lead on once it is done."""
    job = _job(request)
    if job.done is not None and job.ended.is_set():
        return RedirectResponse(job.done, status_code=303)
    if job.error is not None:
        raise job.error
    whose = None if job.owner == "." else job.owner
    return page(request, "work.html", job=job, percent=round(100 * job.share), code=whose, first=())


def progress(request: PageRequest) -> Response:
    """Tell a script how far it is."""
    job = _job(request)
    return JSONResponse(
        {"step": str(job.step), "percent": round(100 * job.share), "ended": job.ended.is_set()}
    )


def stop(request: PageRequest) -> Response:
    """Ask it to stop; what is written already stays."""
    job = _job(request)
    job.halt.set()
    job.ended.wait(2)
    if job.done is not None:
        return RedirectResponse(job.done, status_code=303)
    return request.go(job.back, message("page.job_stopped"))
