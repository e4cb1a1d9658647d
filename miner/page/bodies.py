"""Reads what a form sends, in memory and up to a limit; nothing of it touches the disk here."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import suppress
from urllib.parse import parse_qs

from starlette.datastructures import FormData
from starlette.formparsers import FormParser, MultiPartException, MultiPartParser
from starlette.requests import ClientDisconnect, Request

from miner.core.messages import MinerError
from miner.page.guard import declared_length

MEGABYTE = 1024 * 1024
MOST_SENT = 64 * MEGABYTE
MOST_IN_A_FORM = 2 * MEGABYTE
MOST_PASSED_OVER = 1024 * MEGABYTE
MOST_FILES = 40
MOST_IN_A_TOKEN = 1024


class TooLarge(MinerError):  # noqa: N818 - it names what is so, not a fault
    """More was sent than is read."""

    def __init__(self, limit: int) -> None:
        super().__init__("page.too_large", limit=limit // MEGABYTE)


class _InMemory(MultiPartParser):
    spool_max_size = 2 * MOST_SENT


async def form_of(request: Request) -> FormData:
    """Return the fields and files of a form.

    Raises:
        TooLarge: it is larger than the limit; the rest of it was passed over.
        MinerError: it is not a form, or ended too early.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    limit = MOST_SENT if kind == "multipart/form-data" else MOST_IN_A_FORM
    declared = declared_length(request.headers)
    if declared is not None and declared > limit:
        await _pass_over(request)
        raise TooLarge(limit)
    stream = _counted(request, limit)
    try:
        if kind == "multipart/form-data":
            parser = _InMemory(
                request.headers,
                stream,
                max_files=MOST_FILES,
                max_fields=2000,
                max_part_size=MOST_IN_A_FORM,
            )
            return await parser.parse()
        if kind == "application/x-www-form-urlencoded":
            return await FormParser(request.headers, stream).parse()
    except MultiPartException as error:
        await _pass_over(request)
        raise _too_many() if "Too many files" in error.message else _broken() from error
    except (ClientDisconnect, UnicodeDecodeError, ValueError) as error:
        raise _broken() from error
    await _pass_over(request)
    raise _broken()


async def token_of(request: Request) -> str:
    """Return the token that a form hands over; what a stranger may send is no more than that."""
    if (declared_length(request.headers) or MOST_IN_A_TOKEN + 1) > MOST_IN_A_TOKEN:
        return ""
    with suppress(ClientDisconnect):
        fields = parse_qs((await request.body()).decode("ascii", "replace"))
        return fields.get("token", [""])[0]
    return ""


def _too_many() -> MinerError:
    return MinerError("page.too_many_files", most=MOST_FILES)


def _broken() -> MinerError:
    return MinerError("page.form_not_whole")


async def _counted(request: Request, limit: int) -> AsyncGenerator[bytes, None]:
    seen = 0
    async for chunk in request.stream():
        seen += len(chunk)
        if seen > limit:
            await _pass_over(request)
            raise TooLarge(limit)
        yield chunk


async def _pass_over(request: Request) -> None:
    """Read what is still coming, so that the browser hears the answer; keep nothing."""
    seen = 0
    try:
        async for chunk in request.stream():
            seen += len(chunk)
            if seen > MOST_PASSED_OVER:
                return
    except (ClientDisconnect, RuntimeError):
        return
