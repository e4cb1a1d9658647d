"""Ways to visit the page: without a network, and as the program it is."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit
from urllib.request import url2pathname

from httpx import Client, Response
from starlette.testclient import TestClient

from miner.page.app import application
from miner.page.client_cache import ClientCache
from miner.page.guard import Keys
from miner.page.serving import ask_again
from miner.page.state import AppState

PORT = 8123
HOME = f"http://127.0.0.1:{PORT}"


class Visitor:
    """One browser without a screen: keeps its cookie, sends its origin and the key of the form."""

    def __init__(self, practice: Path) -> None:
        self.keys = Keys(PORT)
        self.state = AppState(practice, self.keys, ClientCache(practice))
        self.client = TestClient(
            application(self.state), base_url=HOME, follow_redirects=False,
            raise_server_exceptions=False,
        )  # fmt: skip

    def open(self) -> Visitor:
        """Let the browser in."""
        token = self.state.tokens.new()
        assert self.client.post("/open", data={"token": token}).status_code == 200
        return self

    def get(self, path: str, **options: Any) -> Response:
        """Ask for a page and follow where it leads."""
        answer = self.client.get(path, **options)
        while answer.status_code == 303:
            answer = self.client.get(answer.headers["location"])
        return answer

    def send(self, path: str, files: Any = None, **fields: Any) -> Response:
        """Send a form of the page and return the first answer."""
        fields.setdefault("form_key", self.keys.form)
        return self.client.post(path, data=fields, files=files, headers={"origin": HOME})

    def post(self, path: str, files: Any = None, **fields: Any) -> Response:
        """Send a form, wait for what it begins, and return the page it leads to."""
        answer = self.send(path, files, **fields)
        if answer.status_code != 303:
            return answer
        page = self.get(answer.headers["location"])
        for _ in range(300):
            if "data-work" not in page.text:
                break
            time.sleep(0.1)
            page = self.get(page.url.path)
        return page


def words(page: Response | str) -> str:
    """The words of a page, on one line."""
    text = page if isinstance(page, str) else page.text
    body = text.partition("<main")[2]
    return " ".join(re.sub(r"<[^>]+>", " ", body).split())


def read_file(file: str) -> tuple[str, str, str]:
    """What the file holds that lets a browser in: both addresses of the page, and the token."""
    text = Path(url2pathname(urlsplit(file).path)).read_text("utf-8")
    by_name, by_number = re.findall(r'action="(http:[^"]*)/open"', text)
    token = re.search(r'name="token" value="([^"]*)"', text)
    assert token is not None
    return by_name, by_number, token[1]


class Served:
    """The page as a program of its own, which can be killed.

    Attributes:
        home: its address, by the name that is its own.
        by_number: its address, for those who ask the system for names.
    """

    def __init__(self, practice: Path) -> None:
        self.practice = practice
        command = [sys.executable, "-c", "from miner.cli import main; main()", "open"]
        self.process = subprocess.Popen(
            [*command, str(practice), "--no-browser"], stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        assert self.process.stdout is not None
        self.file = self.process.stdout.readline().strip()
        self.home, self.by_number, _ = read_file(self.file)

    def open_file(self) -> str:
        """The address of a file that lets one more browser in."""
        self.file = ask_again(self.practice).file
        return self.file

    def browser(self, **options: Any) -> Client:
        """A browser without a screen that was let in."""
        headers = {"origin": self.by_number}
        made = Client(base_url=self.by_number, headers=headers, **({"timeout": 60} | options))
        token = read_file(self.open_file())[2]
        assert made.post("/open", data={"token": token}).status_code == 200
        return made

    def kill(self) -> None:
        """End it at once, as a power cut does."""
        self.process.kill()
        self.process.wait(10)
        if self.process.stdout is not None:
            self.process.stdout.close()
