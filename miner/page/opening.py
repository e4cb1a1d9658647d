"""Opens the page in a browser: a file that only this account can read hands over a token.

A token is never on a command line, where every account of the machine can read it, nor in an
address, which a browser remembers. The browser is given a file, and the file sends the token as a
form. Whoever may write in the folder of that file may ask for another one. So a practice that is
open is opened again without a secret that lasts.
"""

from __future__ import annotations

import os
import shutil
import stat
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from miner.core.files import make_folder, write_whole
from miner.core.messages import MinerError
from miner.page.guard import OPEN_PATH, Keys, Tokens, sha
from miner.page.render import asset, environment

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
    """The file that opens one practice: written anew when asked, removed when of no more use.

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
