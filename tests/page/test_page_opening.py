"""The way in: another account, another port and a browser's memory hold nothing that opens it."""

from __future__ import annotations

import http.client
import json
import os
import re
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from playwright.sync_api import Browser
from visits import HOME, PORT, Served, Visitor, read_file

from miner.core.messages import MinerError
from miner.page import serving
from miner.page.app import ROUTES
from miner.page.guard import OPEN_FOR_S, Keys, Tokens
from miner.page.serving import FILE, FOLDER, ask_again, token_file

Open = Callable[[Path], Visitor]
as_another = pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root can be another account"
)

PROGRAM = [sys.executable, "-c", "from miner.cli import main; main()"]
# What another account tries. What it is to try comes on its standard input, not on its own command
# line, where it would be found.
STRANGER = """
import encodings.idna, glob, http.client, json, os, sys
os.setgroups([]), os.setgid(65534), os.setuid(65534)
asked = json.load(sys.stdin)
lines, read, answers = [], [], []
for path in glob.glob("/proc/[0-9]*/cmdline"):
    try:
        lines.append(open(path, "rb").read().replace(b"\\0", b" ").decode("utf-8", "replace"))
    except OSError:
        pass
for path in asked["places"]:
    for look in (os.listdir, lambda path: open(path).read()):
        try:
            read.append([path, str(look(path))])
        except OSError:
            pass
for method, path, headers, body in asked["requests"]:
    try:
        there = http.client.HTTPConnection("127.0.0.1", asked["port"], timeout=20)
        there.request(method, path, body=body, headers=headers)
        answer = there.getresponse()
        answers.append([path, answer.status, dict(answer.getheaders()), answer.read().decode()])
    except (OSError, http.client.HTTPException):
        answers.append([path, 0, {}, ""])
json.dump({"lines": lines, "read": read, "answers": answers}, sys.stdout)
"""


def stranger(port: int, places: list[Path], requests: list[list[Any]]) -> dict[str, Any]:
    """What another account finds."""
    done = subprocess.run(
        [sys.executable, "-I", "-c", STRANGER],
        input=json.dumps({"port": port, "places": list(map(str, places)), "requests": requests}),
        cwd="/", capture_output=True, text=True, check=True,
    )  # fmt: skip
    found: dict[str, Any] = json.loads(done.stdout)
    return found


@dataclass
class Running:
    """A page as a practitioner starts it: with a browser, which here only waits."""

    practice: Path
    process: subprocess.Popen[str]
    port: int
    printed: str


@pytest.fixture(scope="module")
def running() -> Iterator[Running]:
    """One program for all tests here, in a folder that every account may pass through.

    Not one of pytest's: a second run of pytest at the same time shuts those to other accounts.
    """
    with TemporaryDirectory() as folder:
        yield from started_in(Path(folder))


def started_in(home: Path) -> Iterator[Running]:
    practice, browser, started = home / "practice", home / "browser", home / "started"
    (practice / "client-01").mkdir(parents=True)
    (practice / "client-01" / "tags.csv").write_text("time,tag\n2026-01-20T10:00,sauna\n")
    (practice / "practice.toml").write_text("")
    browser.write_text(f"#!/bin/sh\ntouch {started}\nwhile test -e {started}; do sleep 0.1; done\n")
    browser.chmod(0o755)
    for folder in (practice, home):
        folder.chmod(0o755)
    process = subprocess.Popen(
        ["sh", "-c", 'ulimit -n 1024; exec "$@"', "sh", *PROGRAM, "open", str(practice)],
        env=os.environ | {"BROWSER": f"{browser} %s", "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, umask=0,
    )  # fmt: skip
    assert process.stdout is not None
    printed = process.stdout.readline().strip()
    while not started.exists():
        time.sleep(0.05)
    yield Running(practice, process, int(read_file(printed)[1].rpartition(":")[2]), printed)
    started.unlink()
    process.terminate()
    process.wait(20)
    process.stdout.close()
    assert not (practice / FOLDER).exists()


@as_another
def test_another_account_gets_neither_token_nor_page_nor_file(running: Running) -> None:
    folder, host = running.practice / FOLDER, {"Host": f"127.0.0.1:{running.port}"}
    known = read_file(ask_again(running.practice).file)
    form = host | {"Origin": "null", "Content-Type": "application/x-www-form-urlencoded"}
    paths = ["/", "/clients", "/clients/client-01/download", "/assets/page.css", "/nowhere"]
    guesses = [["POST", "/open", form, f"token={guess}"] for guess in ("", "a" * 20, known[2][1:])]
    places = [folder, folder / FILE, folder / "where", folder / "again", running.practice]
    found = stranger(
        running.port, places, [["GET", path, host, None] for path in paths] + guesses
    )  # fmt: skip
    assert [path for path, _ in found["read"]] == [str(running.practice)]
    for line in found["lines"]:
        assert not re.search(rf"(?<!\d){running.port}(?!\d)", line)
        assert known[2] not in line
        assert "token" not in line.replace(STRANGER.strip(), "")
    started = [line for line in found["lines"] if str(running.practice) in line]
    assert any("browser" in line for line in started), "the browser's own line was not seen"
    for path, status, headers, text in found["answers"]:
        assert status in (0, 403), path
        assert "set-cookie" not in {name.lower() for name in headers}
        assert "client-01" not in text
        assert known[0].partition("//")[2] not in text


@as_another
def test_what_is_made_to_open_the_page_is_its_owner_s_alone(running: Running) -> None:
    ask_again(running.practice)
    made = [path for path in running.practice.rglob("*") if ".miner" in str(path)]
    assert {path.name for path in made} >= {FOLDER, FILE}
    for path in made:
        assert path.stat().st_mode & 0o777 == (0o700 if path.is_dir() else 0o600), path


@as_another
def test_whose_a_connection_is_is_known(running: Running) -> None:
    """Even the right token is of no use to another account, where the system tells accounts."""
    token = read_file(ask_again(running.practice).file)[2]
    form = {"Host": f"127.0.0.1:{running.port}", "Origin": "null"}
    form |= {"Content-Type": "application/x-www-form-urlencoded"}
    (answer,) = stranger(running.port, [], [["POST", "/open", form, f"token={token}"]])["answers"]
    assert answer[1] == 0


def ask(port: int, method: str, path: str, body: str = "", **headers: str) -> tuple[int, str]:
    """Ask as this account does, and return the status and the cookie."""
    there = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
    there.request(method, path, body=body or None, headers=headers)
    answer = there.getresponse()
    answer.read()
    there.close()
    return answer.status, answer.headers.get("set-cookie", "").partition(";")[0]


def let_in(running: Running) -> str:
    token = read_file(ask_again(running.practice).file)[2]
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    status, cookie = ask(running.port, "POST", "/open", f"token={token}", **kind)
    assert status == 200
    return cookie


def test_eleven_hundred_idle_connections_do_not_keep_the_owner_out(running: Running) -> None:
    few, most = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (max(few, min(most, 2000)), most))
    cookie, held = let_in(running), []
    try:
        for number in range(1100):
            held.append(socket.create_connection(("127.0.0.1", running.port), timeout=30))
            if number % 2:  # half of them have begun to ask
                held[-1].send(b"GET / HTTP/1.1\r\nHost: 127.0.0.1")
        assert ask(running.port, "GET", "/help", Cookie=cookie)[0] == 200
    finally:
        for one in held:
            one.close()


def test_the_file_is_gone_once_it_was_used(running: Running) -> None:
    cookie = let_in(running)
    assert ask(running.port, "GET", "/", Cookie=cookie)[0] == 200
    file = running.practice / FOLDER / FILE
    for _ in range(200):
        if not file.exists():
            break
        time.sleep(0.05)
    assert not file.exists()


def test_what_is_printed_and_kept_opens_nothing(running: Running) -> None:
    assert running.printed == (running.practice / FOLDER / FILE).as_uri()
    kept = [path for path in running.practice.rglob(".miner*/*") if path.name != FILE]
    for path in kept:
        assert "localhost" not in path.read_text()


def test_started_again_it_lets_another_browser_in(running: Running) -> None:
    run = subprocess.run(
        [*PROGRAM, "open", str(running.practice), "--no-browser"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0, run.stderr
    assert run.stdout.strip() == running.printed
    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    token = read_file(run.stdout.strip())[2]
    assert ask(running.port, "POST", "/open", f"token={token}", **kind)[0] == 200


def test_a_practice_whose_program_is_gone_is_told(practice: Path) -> None:
    with pytest.raises(MinerError, match="does not answer"):
        ask_again(practice)
    with (
        token_file(practice, Keys(PORT), Tokens()),
        pytest.raises(MinerError, match="does not answer"),
    ):
        ask_again(practice, wait_s=0.0)


def test_a_closed_terminal_takes_the_file_along(
    practice: Path, serve: Callable[[Path], Served]
) -> None:
    served = serve(practice)
    assert (practice / FOLDER / FILE).exists()
    served.process.send_signal(signal.SIGHUP)
    served.process.wait(30)
    assert not (practice / FOLDER).exists()


# The tokens.


class Clock:
    now = 1000.0

    def __call__(self) -> float:
        return self.now


def test_a_token_is_good_once() -> None:
    tokens = Tokens()
    token = tokens.new()
    assert tokens.left()
    assert tokens.use(token)
    assert not tokens.use(token)
    assert not tokens.left()


def test_a_token_is_good_for_two_minutes() -> None:
    clock = Clock()
    tokens = Tokens(clock)
    token = tokens.new()
    clock.now += OPEN_FOR_S - 1
    assert tokens.left()
    clock.now += 1
    assert not tokens.left()
    assert not tokens.use(token)


def test_a_newer_token_ends_an_older_one() -> None:
    tokens = Tokens()
    older, newer = tokens.new(), tokens.new()
    assert not tokens.use(older)
    assert tokens.use(newer)


def test_a_token_may_be_typed_with_or_without_its_hyphens() -> None:
    tokens = Tokens()
    assert tokens.use(f" {tokens.new().replace('-', ' ').upper()} ")


@pytest.mark.parametrize("given", ["", "-", "x", "ä" * 20, "a" * 1000])
def test_no_other_token_is_good(given: str) -> None:
    tokens = Tokens()
    assert not tokens.use(given)
    token = tokens.new()
    assert not tokens.use(given)
    assert not tokens.use(token[:-1])
    assert tokens.use(token)


def test_tokens_cannot_be_guessed() -> None:
    """Twenty of 31 letters are 99 bits; none comes twice."""
    made = [Tokens().new().replace("-", "") for _ in range(200)]
    assert len(set(made)) == 200
    assert {len(token) for token in made} == {20}
    assert len(set("".join(made))) == 31


# The files.


def test_it_leaves_nothing_behind(practice: Path) -> None:
    before, tokens = sorted(practice.rglob("*")), Tokens()
    (practice / FOLDER).mkdir(mode=0o755)
    (practice / FOLDER / "left over").write_bytes(b"")
    with token_file(practice, Keys(PORT), tokens) as one:
        made = one.open()
        assert made.token in (practice / FOLDER / FILE).read_text()
        assert not (practice / FOLDER / "left over").exists()
    assert sorted(practice.rglob("*")) == before


def test_a_token_that_ran_out_takes_its_file_along(practice: Path) -> None:
    clock, ended = Clock(), threading.Event()
    with token_file(practice, Keys(PORT), Tokens(clock)) as one:
        one.open()
        watching = threading.Thread(target=one.watch, args=(ended, print))
        watching.start()
        clock.now += OPEN_FOR_S
        for _ in range(200):
            if not (practice / FOLDER / FILE).exists():
                break
            time.sleep(0.05)
        ended.set()
        watching.join()
        assert not (practice / FOLDER / FILE).exists()


def test_where_the_disk_has_no_modes_the_file_lies_elsewhere(
    practice: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serving, "make_folder", lambda path: path.mkdir(mode=0o755))
    with token_file(practice, Keys(PORT), Tokens()) as one:
        made = one.open()
        file = Path(made.file.removeprefix("file://"))
        assert made.token in file.read_text()
        assert practice not in file.parents
        assert file.parent.stat().st_mode & 0o777 == 0o700
        assert not (practice / FOLDER / FILE).exists()
    assert not file.parent.exists()


def test_a_link_where_its_folder_belongs_is_refused(practice: Path, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (practice / FOLDER).symlink_to(tmp_path / "elsewhere")
    with (
        pytest.raises(MinerError, match="this is a link"),
        token_file(practice, Keys(PORT), Tokens()),
    ):
        pass
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_the_file_loads_nothing_and_sends_to_the_page_alone(practice: Path) -> None:
    keys = Keys(PORT)
    with token_file(practice, keys, Tokens()) as one:
        one.open()
        text = (practice / FOLDER / FILE).read_text()
    assert "default-src 'none'" in text
    assert f"form-action {keys.address}open {keys.address_by_number}open" in text
    assert 'name="referrer" content="no-referrer"' in text
    assert text.count('method="post"') == 2
    assert "src=" not in text.replace("-src", "")


# What is asked of the page.

PATHS = ["/", "/clients/", "/clients", "//", "/nowhere", "/open", "/assets/page.css",
         "/assets/", "/clients/client-01/download?as=x", "/open/"]  # fmt: skip
HOSTS = ["evil.example", f"evil.example:{PORT}", f"localhost:{PORT}", "127.0.0.1", "",
         f"miner-0.localhost:{PORT}", f"127.0.0.1:{PORT}.evil.example", "[::1]"]  # fmt: skip


@pytest.mark.parametrize("host", HOSTS)
def test_the_host_is_looked_at_before_anything_answers(
    practice: Path, visitor: Open, host: str
) -> None:
    one = visitor(practice)
    for method in ("GET", "POST", "HEAD", "OPTIONS", "PROPFIND"):
        for path in PATHS:
            answer = one.client.request(method, path, headers={"host": host})
            assert answer.status_code == 403, (method, path)
            assert "location" not in answer.headers
            assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "method", ["OPTIONS", "PUT", "DELETE", "PATCH", "TRACE", "PROPFIND", "MKCOL", "MOVE", "LOCK"]
)
def test_what_a_page_does_not_know_is_refused(practice: Path, visitor: Open, method: str) -> None:
    one = visitor(practice)
    for path in PATHS:
        answer = one.client.request(method, path, headers={"origin": HOME})
        assert answer.status_code == 405
        assert answer.headers["allow"] == "GET, HEAD, POST"


@pytest.mark.parametrize("path", ["/clients/", "/help/", "/assets/page.css/"])
def test_no_address_answers_with_another(practice: Path, visitor: Open, path: str) -> None:
    assert visitor(practice).client.get(path).status_code == 404
    assert Visitor(practice).client.get(path).status_code == 403


def test_a_token_in_an_address_opens_nothing(practice: Path) -> None:
    visitor = Visitor(practice)
    token = visitor.state.tokens.new()
    for method in ("GET", "HEAD"):
        answer = visitor.client.request(method, "/open", params={"token": token})
        assert answer.status_code == 403
    assert visitor.client.post("/open", params={"token": token}).status_code == 403
    assert "set-cookie" not in answer.headers
    assert visitor.client.post("/open", data={"token": token}).status_code == 200


def test_a_second_use_of_a_token_is_refused(practice: Path) -> None:
    one, other = Visitor(practice), None
    token = one.state.tokens.new()
    assert one.client.post("/open", data={"token": token}).status_code == 200
    other = one.client.post("/open", data={"token": token})
    assert other.status_code == 403
    assert "set-cookie" not in other.headers
    assert "was used before" in other.text


@pytest.mark.parametrize("origin", ["http://evil.example", f"http://127.0.0.1:{PORT + 1}"])
def test_a_token_that_another_site_sends_is_refused(practice: Path, origin: str) -> None:
    visitor = Visitor(practice)
    form = {"token": visitor.state.tokens.new()}
    for headers in ({"origin": origin}, {"origin": "null", "sec-fetch-dest": "iframe"},
                    {"origin": "null", "sec-fetch-dest": "empty"}):  # fmt: skip
        assert visitor.client.post("/open", data=form, headers=headers).status_code == 403
    headers = {"origin": "null", "sec-fetch-site": "cross-site", "sec-fetch-dest": "document"}
    assert visitor.client.post("/open", data=form, headers=headers).status_code == 200


def test_a_stranger_s_form_is_not_read_beyond_a_token(practice: Path) -> None:
    visitor = Visitor(practice)
    token = visitor.state.tokens.new()
    form = {"token": token, "more": "x" * 2000}
    assert visitor.client.post("/open", data=form).status_code == 403
    pieces = (b"token=" if k == 0 else b"x" for k in range(40))
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert visitor.client.post("/open", content=pieces, headers=kind).status_code == 403
    assert visitor.client.post("/open", data={"token": token}).status_code == 200


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_port_of_this_machine_is_another_site(
    practice: Path, visitor: Open, site: str
) -> None:
    one = visitor(practice)
    for path in ("/", "/assets/page.js", "/clients/client-01/download"):
        assert one.client.get(path, headers={"sec-fetch-site": site}).status_code == 403


def test_no_answer_is_kept_and_none_names_its_page_to_another_site(practice: Path) -> None:
    visitor = Visitor(practice)
    closed = visitor.client.get("/")
    opened = visitor.client.post("/open", data={"token": visitor.state.tokens.new()})
    for answer in (closed, opened):
        assert answer.headers["referrer-policy"] == "no-referrer"
        assert answer.headers["cache-control"] == "no-store"
    for _, path, _ in ROUTES[:4]:
        answer = visitor.client.get(path)
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["cache-control"] == "no-store"


def test_the_name_is_told_to_nobody_who_was_not_let_in(practice: Path) -> None:
    visitor = Visitor(practice)
    for path in PATHS:
        answer = visitor.client.get(path)
        assert visitor.keys.name not in answer.text + str(answer.headers)
    assert Keys(PORT).name != Keys(PORT).name


# A real browser.


class Listener(HTTPServer):
    """Another program of this machine, on another port."""

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Heard)
        self.cookies: list[str | None] = []
        threading.Thread(target=self.serve_forever, daemon=True).start()


class Heard(BaseHTTPRequestHandler):
    server: Listener

    def do_GET(self) -> None:
        self.server.cookies.append(self.headers.get("cookie"))
        self.send_response(200)
        self.end_headers()
        self.wfile.write(b"<!doctype html><title>another</title>")

    def log_message(self, *_: object) -> None:
        pass


def test_a_browser_keeps_no_way_in_and_sends_the_cookie_to_no_other_port(
    chromium: Browser, shared: Any
) -> None:
    served: Served = shared.served
    context, other = chromium.new_context(), Listener()
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    file = served.open_file()
    token = read_file(file)[2]
    page.goto(file)
    page.wait_for_url(f"{served.home}/")
    assert page.evaluate("document.referrer") == ""
    assert page.evaluate("performance.getEntriesByType('navigation')[0].type") == "navigate"
    assert page.evaluate("history.length") <= 2  # the empty tab, and the page
    assert all(token not in address for address in asked)
    page.go_back()
    assert "open" not in page.url

    page.goto(f"{served.home}/help")
    assert page.inner_text("h1")
    port = other.server_port
    for address in (f"http://127.0.0.1:{port}/", f"http://localhost:{port}/"):
        page.goto(address)
    assert other.cookies
    assert set(other.cookies) == {None}
    (cookie,) = context.cookies()
    assert cookie["domain"] == served.home.removeprefix("http://").partition(":")[0]
    assert cookie["httpOnly"]
    assert cookie["sameSite"] == "Strict"
    page.goto(f"{served.by_number}/")
    assert "this browser was not let in" in page.inner_text("main")
    context.close()
    other.shutdown()


def test_the_code_is_typed_where_the_file_cannot_be_read(chromium: Browser, shared: Any) -> None:
    served: Served = shared.served
    context = chromium.new_context()
    page = context.new_page()
    page.goto(f"{served.home}/")
    token = read_file(served.open_file())[2]
    page.fill("#token", token.upper())
    page.click("text=Open the page")
    page.wait_for_url(f"{served.home}/")
    page.wait_for_selector("nav")
    context.close()
