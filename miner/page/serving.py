"""Serves the page on this machine until it is stopped."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from filelock import Timeout

from miner.core import files
from miner.core.messages import MinerError, message
from miner.page.places import GOING, WAITING, clients_of

if TYPE_CHECKING:
    from starlette.applications import Starlette
    from uvicorn import Server

    from miner.page.opening import Opening


LOCK = ".miner-open.lock"


class OpenAlready(Exception):  # noqa: N818 - it names what is so, not a fault
    """Another program has the practice open."""


@contextmanager
def held(practice: Path) -> Iterator[None]:
    """Hold a practice open; a process that ends in any way lets go of it.

    Raises:
        OpenAlready: another program holds it.
        MinerError: nothing can be written there.
    """
    lock = files.lock(practice / LOCK, 0)
    try:
        lock.acquire()
    except Timeout as error:
        raise OpenAlready from error
    except OSError as error:
        raise MinerError(
            "page.folder_not_writable", file=practice, why=error.strerror or error
        ) from error
    try:
        yield
    finally:
        lock.release()


MOST_FILES = 2048


def serve(
    practice: Path,
    port: int = 0,
    *,
    browser: bool = True,
    say: Callable[[Opening], None],
    warn: Callable[[str], None],
) -> None:
    """Open a practice's page and serve it until the program is stopped.

    Where the practice is open already, the program that has it open lets another browser in.

    Args:
        practice: the practice's folder, which may be empty.
        port: where to listen; 0 for any that is free.
        browser: open the page in the browser of this machine.
        say: called with each way to open the page.
        warn: called with what the practitioner should know.

    Raises:
        MinerError: the folder or the port cannot be used, or a library is missing.
    """
    _require_libraries()
    require_practice(practice)

    from miner.page.opening import ask_again

    try:
        with held(practice), _listening(port) as listener:
            _serve(practice, listener, say, warn, browser=browser)
    except OpenAlready:
        opening = ask_again(practice)
        say(opening)
        if browser:
            _show(opening.file)


def _require_libraries() -> None:
    try:
        for name in ("multipart", "starlette", "tomlkit", "uvicorn"):
            import_module(name)
    except ImportError as error:
        raise MinerError("page.library_missing", name=error.name) from error


def _serve(
    practice: Path,
    listener: socket.socket,
    say: Callable[[Opening], None],
    warn: Callable[[str], None],
    *,
    browser: bool,
) -> None:
    from miner.page.app import application
    from miner.page.client_cache import ClientCache
    from miner.page.guard import Keys
    from miner.page.opening import token_file
    from miner.page.state import AppState
    from miner.page.warming import warm

    tidy(practice)
    _make_room()
    state = AppState(practice, Keys(listener.getsockname()[1]), ClientCache(practice))
    server, ended = _server(application(state), warn), threading.Event()
    _end_in_order()
    with token_file(practice, state.keys, state.tokens) as opened:
        opening = opened.open()
        say(opening)
        if browser:
            threading.Thread(target=_show, args=(opening.file,), daemon=True).start()
        threading.Thread(target=opened.watch, args=(ended, say), daemon=True).start()
        threading.Thread(target=warm, args=(state,), daemon=True).start()
        try:
            server.run(sockets=[listener])
        finally:
            ended.set()


def _end_in_order() -> None:
    """Let every way to end the program remove the file, also a terminal that is closed."""

    def end(*_: object) -> None:
        raise KeyboardInterrupt

    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), end)


def _make_room() -> None:
    """Allow as many open files as all connections and their pages need; some systems give 256."""
    with suppress(ImportError, OSError, ValueError):
        import resource

        now, most = resource.getrlimit(resource.RLIMIT_NOFILE)
        if now < MOST_FILES:
            wanted = MOST_FILES if most == resource.RLIM_INFINITY else min(MOST_FILES, most)
            resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, most))


def _server(app: Starlette, warn: Callable[[str], None]) -> Server:
    import uvicorn

    from miner.page.connections import Accounts, Connection

    def stranger(account: int) -> None:
        warn(str(message("page.stranger", account=account)))

    class OfThisAccount(Connection):
        accounts = Accounts(getattr(os, "geteuid", int)(), stranger)

    return uvicorn.Server(
        uvicorn.Config(
            app,
            http=OfThisAccount,
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=False,
            lifespan="off",
            ws="none",
            backlog=256,
            timeout_graceful_shutdown=2,
        )
    )


def require_practice(practice: Path) -> None:
    """Refuse a folder that is neither empty nor a practice.

    Raises:
        MinerError: with what to do.
    """
    from miner.steps.practice_mornings import is_practice

    if not practice.is_dir():
        raise MinerError("page.no_such_folder", file=practice)
    empty = not any(path.name[0] != "." for path in practice.iterdir())
    if not empty and not is_practice(practice):
        raise MinerError("page.no_practice", file=practice)


def tidy(practice: Path) -> None:
    """Finish what a run that was killed left behind: half uploads, half deletions."""
    for path in practice.iterdir():
        if path.name.startswith(GOING):
            shutil.rmtree(path, ignore_errors=True)
    for name in clients_of(practice):
        for path in [*(practice / name).glob(".incoming-*"), *_half(practice / name / WAITING)]:
            with suppress(OSError):
                path.unlink()
        for path in (practice / name).glob(".miner-*"):
            shutil.rmtree(path, ignore_errors=True)


def _half(waiting: Path) -> list[Path]:
    return [] if waiting.is_symlink() else list(waiting.glob(".incoming-*"))


def _listening(port: int) -> socket.socket:
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(128)
    except OSError as error:
        listener.close()
        raise MinerError("page.port_not_usable", port=port, why=error.strerror or error) from error
    return listener


def _show(address: str) -> None:
    with suppress(webbrowser.Error):
        webbrowser.open(address)
