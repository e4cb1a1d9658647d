"""Ways to visit the page: without a network, and as the program it is."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from httpx import Response
from starlette.testclient import TestClient

from miner.page.app import application
from miner.page.asked import Desk
from miner.page.guard import Keys
from miner.page.shelf import Shelf

PORT = 8123
HOME = f"http://127.0.0.1:{PORT}"


class Visitor:
    """One browser without a screen: keeps its cookie, sends its origin and the key of the form."""

    def __init__(self, practice: Path) -> None:
        self.keys = Keys(PORT)
        self.desk = Desk(practice, self.keys, Shelf(practice))
        self.client = TestClient(
            application(self.desk), base_url=HOME, follow_redirects=False,
            raise_server_exceptions=False,
        )  # fmt: skip

    def open(self) -> Visitor:
        """Open the page with its opening address."""
        assert self.client.get("/open", params={"token": self.keys.token}).status_code == 200
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


class Served:
    """The page as a program of its own, which can be killed."""

    def __init__(self, practice: Path) -> None:
        command = [sys.executable, "-c", "from miner.cli import main; main()", "open"]
        self.process = subprocess.Popen(
            [*command, str(practice), "--no-browser"], stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True, env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )  # fmt: skip
        assert self.process.stdout is not None
        self.opening = self.process.stdout.readline().strip()
        self.home = self.opening.partition("/open")[0]

    def kill(self) -> None:
        """End it at once, as a power cut does."""
        self.process.kill()
        self.process.wait(10)
        if self.process.stdout is not None:
            self.process.stdout.close()
