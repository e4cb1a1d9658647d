"""Serves the page on this machine until it is stopped, and opens it in a browser.

A file that only this account can read hands over a token. A token is never on a command line,
where every account of the machine can read it, nor in an address, which a browser remembers. The
browser is given a file, and the file sends the token as a form. Whoever may write in the folder of
that file may ask for another one. So a practice that is open is opened again without a secret that
lasts.
"""

from __future__ import annotations

import gc
import os
import shutil
import signal
import socket
import stat
import threading
import time
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

import uvicorn
from filelock import Timeout

from miner import steps
from miner.core import files
from miner.core.files import make_folder, write_whole
from miner.core.messages import MinerError, message
from miner.page.client_cache import ClientCache, ClientEntry
from miner.page.connections import Accounts, Connection
from miner.page.guard import OPEN_PATH, Keys, Tokens, sha
from miner.page.places import GOING, WAITING, clients_of
from miner.page.render import asset, environment, figure
from miner.page.state import AppState
from miner.render.figures.day_picture import day_picture
from miner.render.figures.inline import Styles
from miner.steps import is_practice

if TYPE_CHECKING:
    from starlette.types import ASGIApp


FOLDER, FILE, AGAIN, WHERE = ".miner-open", "open.html", "again", "where"
LOOK_S = 0.2
ASK_FOR_S = 10.0


@dataclass(frozen=True)
class Opening:
    """One way to open the page.

    Attributes:
        file: the file's address, for a browser of this account.
        page: where a token may be typed, for a browser that cannot read the file.
        token: works once and for two minutes; empty where another program made it.
    """

    file: str
    page: str
    token: str


class TokenFile:
    """The file that opens one practice: written when asked, removed when it is not needed.

    Args:
        practice: the practice's folder; this program is the only one that has it open.
        private: a folder of this account alone, for the file.
        keys: the secrets of this run.
        tokens: those the page takes.
    """

    def __init__(self, practice: Path, private: Path, keys: Keys, tokens: Tokens) -> None:
        self._folder, self._file = practice / FOLDER, private / FILE
        self._keys, self._tokens = keys, tokens

    def open(self) -> Opening:
        """Write the file with a new token.

        Raises:
            OSError: the file cannot be written.
        """
        token = self._tokens.new()
        write_whole(self._file, _page(self._keys, token), durable=False)
        opening = Opening(self._file.resolve().as_uri(), self._keys.address, token)
        write_whole(self._folder / WHERE, opening.file, durable=False)
        return opening

    def watch(self, ended: threading.Event, say: Callable[[Opening], None]) -> None:
        """Until the page ends, remove the file once used and write it again when asked."""
        while not ended.wait(LOOK_S):
            with suppress(OSError):
                if (self._folder / AGAIN).exists():
                    opening = self.open()
                    (self._folder / AGAIN).unlink()
                    say(opening)
                elif not self._tokens.left():
                    self._file.unlink(missing_ok=True)


@contextmanager
def token_file(practice: Path, keys: Keys, tokens: Tokens) -> Iterator[TokenFile]:
    """Give the file that opens a practice; afterwards it is removed.

    Raises:
        MinerError: a link is where its folder belongs.
        OSError: no folder can be made.
    """
    folder = practice / FOLDER
    shutil.rmtree(folder, ignore_errors=True)  # of a run that was killed
    make_folder(folder)
    try:
        with _private(folder) as private:
            yield TokenFile(practice, private, keys, tokens)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def ask_again(practice: Path, wait_s: float = ASK_FOR_S) -> Opening:
    """Have the program that has a practice open write the file again.

    Raises:
        MinerError: it does not answer, or belongs to another account.
    """
    folder, until = practice / FOLDER, time.monotonic() + wait_s
    try:
        write_whole(folder / AGAIN, b"", durable=False)
        while (folder / AGAIN).exists() and time.monotonic() < until:
            time.sleep(LOOK_S / 2)
        if not (folder / AGAIN).exists():
            return Opening((folder / WHERE).read_text("utf-8"), "", "")
        (folder / AGAIN).unlink()
    except OSError:
        pass
    raise MinerError("page.open_already", file=practice)


@contextmanager
def _private(folder: Path) -> Iterator[Path]:
    """Give the folder itself where nobody else may look into it, else one of the system's.

    The practice comes first: some browsers are kept from the system's place for such files.
    """
    if _is_private(folder):
        yield folder
    else:
        with TemporaryDirectory(prefix="miner-open-") as other:
            yield Path(other)


def _is_private(folder: Path) -> bool:
    """Say whether the disk has modes, and only this account may look in."""
    if os.name != "posix":
        return False
    found = folder.lstat()
    return found.st_uid == os.geteuid() and not stat.S_IMODE(found.st_mode) & 0o077


def _page(keys: Keys, token: str) -> str:
    script = asset("open-file.js")
    return (
        environment()
        .get_template("open-file.html")
        .render(
            by_name=f"{keys.address}{OPEN_PATH[1:]}",
            token=token,
            script=script,
            hash=sha(script),
            by_number=f"{keys.address_by_number}{OPEN_PATH[1:]}",
        )
    )


FEWEST_DRAWS = 100
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
    application: Callable[[AppState], ASGIApp],
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
        application: makes the page of a practice.
        practice: the practice's folder, which may be empty.
        port: where to listen; 0 for any that is free.
        browser: open the page in the browser of this machine.
        say: called with each way to open the page.
        warn: called with what the practitioner should know.

    Raises:
        MinerError: the folder or the port cannot be used.
    """
    require_practice(practice)
    try:
        with held(practice), _listening(port) as listener:
            state = AppState(practice, Keys(listener.getsockname()[1]), ClientCache(practice))
            tidy(practice)
            _make_room()
            server, ended = _server(application(state), warn), threading.Event()
            _end_in_order()
            with token_file(practice, state.keys, state.tokens) as opened:
                _begin(state, opened, say, ended, browser=browser)
                try:
                    server.run(sockets=[listener])
                finally:
                    ended.set()
    except OpenAlready:
        opening = ask_again(practice)
        say(opening)
        if browser:
            _show(opening.file)


def _begin(
    state: AppState,
    opened: TokenFile,
    say: Callable[[Opening], None],
    ended: threading.Event,
    *,
    browser: bool,
) -> None:
    """Tell how to open the page, and begin what goes on beside it."""
    opening = opened.open()
    say(opening)
    beside: list[tuple[Callable[..., object], tuple[object, ...]]] = [
        (opened.watch, (ended, say)),
        (warm, (state,)),
    ]
    if browser:
        beside.append((_show, (opening.file,)))
    for work, given in beside:
        threading.Thread(target=work, args=given, daemon=True).start()


def warm(state: AppState) -> None:
    """Read all clients, first what this morning needs; load what ranks and draws, once."""
    state.read_morning(date.today())
    for name in clients_of(state.practice):
        state.turns.wait()
        with suppress(MinerError, OSError):
            state.clients.entry(state.practice / name).report()
    for step in steps.__all__:  # loaded here, so that no page waits for one
        getattr(steps, step)
    # What stays in memory is looked through for garbage no more: with fifty clients each time
    # would stop every page for a second.
    gc.freeze()
    for name in clients_of(state.practice):
        with suppress(MinerError, OSError):
            _try_out(state.clients.entry(state.practice / name))
            return


def _try_out(entry: ClientEntry) -> None:
    """Rank and draw for nobody: the libraries are loaded then; nothing is written."""
    figure(lambda: day_picture(entry.review(None), entry.unit), "day", "", Styles())
    steps.rank(entry.client, entry.rules, draws=FEWEST_DRAWS)


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


def _server(app: ASGIApp, warn: Callable[[str], None]) -> uvicorn.Server:
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
