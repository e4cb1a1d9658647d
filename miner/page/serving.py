"""Serves the page on this machine until it is stopped."""

from __future__ import annotations

import shutil
import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from miner.errors import MinerError
from miner.page.locking import held
from miner.page.places import GOING, WAITING, clients_of


def serve(
    practice: Path, port: int = 0, *, browser: bool = True, say: Callable[[str], None]
) -> None:
    """Open a practice's page and serve it until the program is stopped.

    Args:
        practice: the practice's folder, which may be empty.
        port: where to listen; 0 for any that is free.
        browser: open the page in the browser of this machine.
        say: told the opening address.

    Raises:
        MinerError: the folder or the port cannot be used, or a library is missing.
    """
    try:
        import uvicorn

        from miner.page.app import application
        from miner.page.asked import Desk
        from miner.page.guard import Keys
        from miner.page.shelf import Shelf
        from miner.page.warming import warm
    except ImportError as error:
        raise MinerError(
            f"the page needs a library that is not installed ({error.name})",
            "miner installed with the extra 'page'", "Install it: pip install 'miner[page]'.",
        ) from error  # fmt: skip
    require_practice(practice)
    with _listening(port) as listener:
        keys = Keys(listener.getsockname()[1])
        with held(practice, keys.address):
            tidy(practice)
            desk = Desk(practice, keys, Shelf(practice))
            server = uvicorn.Server(
                uvicorn.Config(
                    application(desk),
                    log_config=None,
                    access_log=False,
                    server_header=False,
                    lifespan="off",
                    http="h11",
                    ws="none",
                    timeout_graceful_shutdown=2,
                )
            )
            say(keys.opening)
            threading.Thread(target=warm, args=(desk,), daemon=True).start()
            if browser:
                threading.Thread(target=_show, args=(keys.opening,), daemon=True).start()
            server.run(sockets=[listener])


def require_practice(practice: Path) -> None:
    """Refuse a folder that is neither empty nor a practice.

    Raises:
        MinerError: with what to do.
    """
    from miner.api.practice_mornings import is_practice

    if not practice.is_dir():
        raise MinerError(
            "there is no such folder", "the folder of a practice, or an empty one",
            "Make the folder first, or check the path.", file=practice,
        )  # fmt: skip
    empty = not any(path.name[0] != "." for path in practice.iterdir())
    if not empty and not is_practice(practice):
        raise MinerError(
            "this is neither a practice nor empty",
            "a folder of client folders with a practice.toml, or an empty folder",
            "Name the practice's folder. If this is it, put an empty file practice.toml in it.",
            file=practice,
        )


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
        raise MinerError(
            f"port {port} cannot be used ({error.strerror or error})", "a port that is free",
            "Leave out --port to take any that is free.",
        ) from error  # fmt: skip
    return listener


def _show(address: str) -> None:
    with suppress(webbrowser.Error):
        webbrowser.open(address)
