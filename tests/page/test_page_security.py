"""Who is let in, what a page may load, and which paths can be reached."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
import zipfile
from collections.abc import Callable
from html import unescape
from pathlib import Path
from urllib.parse import quote

import pytest
from visits import HOME, PORT, Visitor, words

from miner.core.messages import MinerError
from miner.page import bodies
from miner.page.app import ROUTES
from miner.page.guard import Keys
from miner.page.jobs import BackgroundJob
from miner.page.serving import OpenAlready, held, require_practice

Open = Callable[[Path], Visitor]
CLIENT = "/clients/client-01"
LINK_OUT = "a link to a place outside the practice"


def filled(path: str) -> str:
    known = {"code": "client-01", "day": "2026-02-01", "id": "4c28aa7c", "kind": "session"}
    return re.sub(r"\{(\w+)\}", lambda found: known.get(found[1], "short_sleep"), path)


@pytest.mark.parametrize(("method", "path"), [(method, path) for method, path, _ in ROUTES])
def test_nothing_is_reached_without_the_cookie(practice: Path, method: str, path: str) -> None:
    visitor = Visitor(practice)
    answer = visitor.client.request(method, filled(path), headers={"origin": HOME})
    assert answer.status_code == 403
    assert "client-01" not in answer.text


@pytest.mark.parametrize("asset", ["page.css", "page.js", "marks.js", "mark.svg"])
def test_not_even_the_looks_are_given_to_strangers(practice: Path, asset: str) -> None:
    assert Visitor(practice).client.get(f"/assets/{asset}").status_code == 403
    assert Visitor(practice).open().client.get(f"/assets/{asset}").status_code == 200


def test_the_cookie_is_strict_and_no_token(practice: Path) -> None:
    visitor = Visitor(practice)
    token = visitor.state.tokens.new()
    cookie = visitor.client.post("/open", data={"token": token}).headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert "Domain" not in cookie
    assert token.replace("-", "") not in cookie
    assert len(visitor.keys.session) >= 40
    assert Keys(PORT).session != Keys(PORT).session


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "https://127.0.0.1:8123", None])
def test_a_form_of_another_page_is_refused(
    practice: Path, visitor: Open, origin: str | None
) -> None:
    one = visitor(practice)
    headers = {} if origin is None else {"origin": origin}
    fields = {"form_key": one.keys.form, "code": "client-77"}
    answer = one.client.post("/clients", data=fields, headers=headers)
    assert answer.status_code == 403
    assert not (practice / "client-77").exists()
    assert one.send("/clients", code="client-77").status_code == 303


@pytest.mark.parametrize("key", ["", "x", "0" * 64])
def test_a_form_without_its_key_is_refused(practice: Path, visitor: Open, key: str) -> None:
    assert visitor(practice).send("/clients", code="c-77", form_key=key).status_code == 403
    assert not (practice / "c-77").exists()


def test_a_page_of_another_site_cannot_send_a_browser_here(practice: Path, visitor: Open) -> None:
    one = visitor(practice)
    assert one.client.get("/", headers={"sec-fetch-site": "cross-site"}).status_code == 403


@pytest.mark.parametrize("path", ["/", "/clients", "/rules", "/help", CLIENT, "/nowhere"])
def test_every_page_says_what_it_may_load_and_has_no_script_inside(
    practice: Path, visitor: Open, path: str
) -> None:
    answer = visitor(practice).get(path)
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert not re.search(r"<script(?![^>]*\bsrc=)[^>]*>|\son\w+=|javascript:", answer.text)
    assert not re.search(r"(src|href|action)=\"(https?:)?//", answer.text)


@pytest.mark.parametrize(
    "path",
    [
        "/clients/..%2f..", "/clients/%2e%2e/records", "/clients/.waiting",
        "/clients/rules", "/clients/client-01%2f..%2f..", "/clients/%00", "/clients/client-01%00",
        "/clients/client-99", f"{CLIENT}/records/columns?file=..%2f..%2fclient.toml",
        f"{CLIENT}/records/columns?file=%2fetc%2fpasswd", f"{CLIENT}/pages/..%2fsession",
        "/assets/..%2fpage.css",
    ],
)  # fmt: skip
def test_no_address_leads_out_of_the_practice(practice: Path, visitor: Open, path: str) -> None:
    answer = visitor(practice).get(path)
    assert answer.status_code in (400, 404) or answer.url.path in ("/clients", f"{CLIENT}/pages")
    assert "root:" not in answer.text


@pytest.mark.parametrize("form", ["add", "throw-away"])
@pytest.mark.parametrize("name", ["../client.toml", "/etc/passwd", "..", "", "client.toml"])
def test_no_form_reaches_a_file_outside_those_that_wait(
    practice: Path, visitor: Open, form: str, name: str
) -> None:
    before = (practice / "client-01" / "client.toml").read_bytes()
    answer = visitor(practice).send(f"{CLIENT}/records/{form}", file=name, as_name="glucose-9.csv")
    assert answer.status_code == 404
    assert (practice / "client-01" / "client.toml").read_bytes() == before
    assert not (practice / "client-01" / "glucose-9.csv").exists()


def test_a_link_out_of_the_practice_is_told_and_never_read(
    practice: Path, visitor: Open, tmp_path: Path
) -> None:
    secret = tmp_path / "secret.csv"
    secret.write_text("time,tag\n2026-01-14T10:00,do not read\n")
    (practice / "client-01" / "tags-2.csv").symlink_to(secret)
    one = visitor(practice)
    for part in ("", "/records", "/days", "/folder", "/download", "/ranking"):
        answer = one.get(CLIENT + part)
        assert answer.status_code == (200 if part == "/ranking" else 400)
        assert LINK_OUT in words(answer)
        assert "do not read" not in answer.text


@pytest.mark.parametrize("name", ["practice.toml", "sources.toml", "rules", ".miner-caseload"])
def test_a_link_out_in_the_practice_s_own_place_is_told_and_never_read_or_written(
    practice: Path, visitor: Open, tmp_path: Path, name: str
) -> None:
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "secret.toml").write_text('display_unit = "do not read"\n')
    (practice / name).unlink(missing_ok=True)
    target = outside if name in ("rules", ".miner-caseload") else outside / "secret.toml"
    (practice / name).symlink_to(target)
    one = visitor(practice)
    for path in ("/", "/settings", "/rules", "/caseload", CLIENT):
        answer = one.get(path)
        assert answer.status_code == 400
        assert LINK_OUT in words(answer)
        assert "do not read" not in answer.text
    form = {"display_unit": "mmol/L", "rank_unit": "day"}
    assert one.send("/settings", **form).status_code == 400
    assert one.send("/rules/short_sleep", at="6.5", action="write").status_code == 400
    assert [path.name for path in outside.iterdir()] == ["secret.toml"]
    assert "do not read" in (outside / "secret.toml").read_text()


def test_a_rule_book_that_is_a_link_out_is_refused(
    practice: Path, visitor: Open, tmp_path: Path
) -> None:
    (tmp_path / "factors.toml").write_text("secret = 1\n")
    (practice / "rules").mkdir()
    (practice / "rules" / "factors.toml").symlink_to(tmp_path / "factors.toml")
    answer = visitor(practice).get("/rules")
    assert answer.status_code == 400
    assert LINK_OUT in words(answer)


def test_too_many_files_at_once_are_told(practice: Path, visitor: Open) -> None:
    files = [("files", (f"tags-{k}.csv", b"time,tag\n")) for k in range(bodies.MOST_FILES + 1)]
    answer = visitor(practice).send(f"{CLIENT}/records", files=files)
    assert answer.status_code == 400
    assert f"at most {bodies.MOST_FILES}" in words(answer)
    assert not (practice / "client-01" / ".waiting").exists()


def test_a_folder_s_odd_name_cannot_break_an_answer(practice: Path, visitor: Open) -> None:
    """Folders are made by hand too: quotes, blanks and other alphabets."""
    odd = 'x"; filename="evil.exe'
    (practice / "client-01").rename(practice / odd)
    answer = visitor(practice).get(f"/clients/{quote(odd, safe='')}/download")
    assert answer.status_code == 200
    told = answer.headers["content-disposition"]
    assert told == 'attachment; filename="x___filename__evil.exe-everything.zip"'


@pytest.mark.parametrize("kind", ["x", "FHIR", "json", "../../evil", "csv/", "everything,csv"])
def test_what_may_be_taken_away_is_a_closed_list(practice: Path, visitor: Open, kind: str) -> None:
    one = visitor(practice)
    answer = one.client.get(f"{CLIENT}/download", params={"as": kind})
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    assert "content-disposition" not in answer.headers


@pytest.mark.parametrize("kind", ["", "everything", "csv", "fhir"])
def test_what_is_taken_away_leaves_nothing_in_the_folder(
    practice: Path, visitor: Open, kind: str
) -> None:
    before = sorted(practice.rglob("*"))
    answer = visitor(practice).client.get(f"{CLIENT}/download", params={"as": kind} if kind else {})
    assert answer.status_code == 200
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        names = archive.namelist()
    head = {"": "client-01/", "everything": "client-01/"}.get(kind, f"client-01-{kind}/")
    assert len(names) >= 2
    assert all(name.startswith(head) for name in names)
    assert sorted(practice.rglob("*")) == before


def test_what_the_page_makes_is_its_owner_s_alone(practice: Path, visitor: Open) -> None:
    one, before = visitor(practice), set(practice.rglob("*"))
    mask = os.umask(0)
    try:
        one.send("/clients", code="client-77")
        one.send(f"{CLIENT}/records", files={"files": ("tags-2.csv", b"time,tag\n")})
        one.send("/settings", display_unit="mmol/L", rank_unit="day")
        one.send("/rules/short_sleep", at="6.5", action="write")
    finally:
        os.umask(mask)
    made = {path for path in practice.rglob("*") if path not in before}
    assert {path.name for path in made} == {
        "client-77", "client.toml", ".waiting", "tags-2.csv", "rules", "factors.toml"}  # fmt: skip
    for path in (*made, practice / "practice.toml"):
        assert path.stat().st_mode & 0o777 == (0o700 if path.is_dir() else 0o600), path


def test_a_link_to_another_client_is_not_taken_away_with_the_folder(
    practice: Path, visitor: Open
) -> None:
    other = practice / "client-02"
    other.mkdir()
    (other / "glucose.csv").write_text("time,glucose_mg_dl\n2026-01-14T10:00,123.456\n")
    (practice / "client-01" / "glucose-2.csv").symlink_to(other / "glucose.csv")
    answer = visitor(practice).get(f"{CLIENT}/download")
    assert answer.status_code == 400
    assert "a link to a place outside the client's folder" in unescape(words(answer))


def test_a_client_folder_that_is_a_link_is_no_client(
    practice: Path, visitor: Open, tmp_path: Path
) -> None:
    (tmp_path / "other").mkdir()
    (practice / "client-88").symlink_to(tmp_path / "other")
    assert visitor(practice).get("/clients/client-88").status_code == 404


def test_more_than_the_limit_is_told_with_its_size(
    practice: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bodies, "MOST_SENT", 2 * bodies.MEGABYTE)
    big = b"x" * (3 * bodies.MEGABYTE)
    answer = visitor(practice).send(f"{CLIENT}/records", files={"files": ("glucose-2.csv", big)})
    assert answer.status_code == 413
    assert "at most 2 MB" in answer.text
    assert not (practice / "client-01" / ".waiting").exists()


def test_a_length_that_is_not_told_is_counted(
    practice: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(bodies, "MOST_IN_A_FORM", 1000)
    one = visitor(practice)
    pieces = (b"code=" if k == 0 else b"x" * 100 for k in range(40))
    kind = {"content-type": "application/x-www-form-urlencoded", "origin": HOME}
    answer = one.client.post("/clients", content=pieces, headers=kind)
    assert answer.status_code == 413


CUT_OFF = b'--a\r\nContent-Disposition: form-data; name="files"; filename="glucose-2.csv"\r\n\r\nti'


@pytest.mark.parametrize(
    ("kind", "body"),
    [
        ("multipart/form-data", b"x"), ("multipart/form-data; boundary=a", b"--a\r\nbroken"),
        ("application/json", b"{}"), ("", b"x"),
        ("multipart/form-data; boundary=a", CUT_OFF),
    ],
)  # fmt: skip
def test_a_broken_form_is_told_and_leaves_nothing(
    practice: Path, visitor: Open, kind: str, body: bytes
) -> None:
    headers = {"content-type": kind, "origin": HOME}
    answer = visitor(practice).client.post(f"{CLIENT}/records", content=body, headers=headers)
    assert answer.status_code in (400, 403)
    assert not (practice / "client-01" / ".waiting").exists()


HOSTILE = "<img src=x onerror=alert(1)>\u202e\"'&{{7*7}}{% raw %}"


def test_what_somebody_typed_is_inert_everywhere(practice: Path, visitor: Open) -> None:
    folder = practice / "client-01"
    text = (folder / "client.toml").read_text().replace(
        'code = "client-01"', f"code = '''{HOSTILE.replace(chr(0x202e), '')}'''")  # fmt: skip
    (folder / "client.toml").write_text(text)
    (folder / "tags-2.csv").write_text(
        'time,tag\n2026-02-01T10:00,"<script>alert(2)</script>"\n', encoding="utf-8"
    )
    one = visitor(practice)
    one.send(f"{CLIENT}/records", files={"files": ("<b>x</b>.csv", b"a,b\n1,<i>2</i>\n")})
    one.post(f"{CLIENT}/ranking")
    one.send(f"{CLIENT}/left-out", day="2026-02-03", reason=HOSTILE)
    form = {
        "display_unit": "mg/dL",
        "rank_unit": "day",
        "synonyms": f"{HOSTILE[:30]} = </textarea>",
    }
    assert one.send("/settings", **form).status_code == 303
    assert one.get("/settings").text.count("</textarea>") == 1
    for path in ("/", "/clients", *(f"{CLIENT}/{part}" for part in (
        "", "intake", "records", "days/2026-02-01", "table", "ranking", "pages", "history",
        "folder", "follow-up", "meals", "settings")), "/settings"):  # fmt: skip
        page = one.get(path).text
        assert "<img" not in page
        assert "<script>alert" not in page
        assert "<b>x</b>" not in page
        assert "49" not in words(page) or "{{7*7}}" in page
        assert "\u202e" not in page


def test_a_fault_of_the_program_shows_no_trace(
    practice: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("secret detail")

    monkeypatch.setattr("miner.page.views.practice._row", broken)
    answer = visitor(practice).get("/clients")
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert "Traceback" not in answer.text
    assert str(practice) not in answer.text
    assert "Nothing was lost" in answer.text


def test_a_practice_is_open_once(practice: Path) -> None:
    with held(practice), pytest.raises(OpenAlready), held(practice):
        pass
    with held(practice):
        assert (practice / ".miner-open.lock").read_bytes() == b""


def test_a_folder_that_is_no_practice_is_not_opened(tmp_path: Path, practice: Path) -> None:
    for folder in (tmp_path / "none", practice / "client-01", Path(__file__).parent):
        with pytest.raises(MinerError):
            require_practice(folder)
    require_practice(practice)
    (tmp_path / "new").mkdir()
    require_practice(tmp_path / "new")


def test_the_command_tells_a_port_in_use_and_ends_with_two(practice: Path) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        run = subprocess.run(
            [sys.executable, "-c", "from miner.cli import main; main()", "open", str(practice),
             "--no-browser", "--port", str(port)], capture_output=True, text=True, check=False,
        )  # fmt: skip
    assert run.returncode == 2
    assert f"Port {port} cannot be used" in run.stderr
    assert "Traceback" not in run.stderr


@pytest.mark.parametrize("day", ["0001-01-01", "1900-01-01", "2200-12-31", "9999-12-31", "x", "0"])
def test_no_date_is_too_far_to_be_answered(practice: Path, visitor: Open, day: str) -> None:
    one = visitor(practice)
    for path in (f"/?on={day}", f"{CLIENT}/days?day={day}", f"{CLIENT}/days/{day}",
                 f"{CLIENT}/week?last={day}", f"{CLIENT}/ranking?first={day}"):  # fmt: skip
        assert one.get(path).status_code in (200, 400, 404), path


JUNK = ("x" * 5000, "../../etc/passwd", "a\x00b", "<script>", "-1", "nan", "9" * 30, "2026-99-99")
GIVEN = {
    "start": "2026-03-09", "pairs": "6", "sensor_days": "14", "worth_having": "20", "at": "6.5",
    "factor": "short_sleep", "outcome": "wake_glucose", "guess": "up", "fixed_on": "2026-01-01",
    "file": "x.csv", "as_name": "x.csv", "stream": "tags", "action": "preview", "day": "2026-02-01",
    "reason": "ill", "as": "watch", "read_on": "2026-04-01", "note": "n", "include": "4c28aa7c",
    "kind": "session", "plan": "x", "id": "x", "unit": "day", "first": "2026-01-20",
    "last": "2026-02-10", "display_unit": "mg/dL", "rank_unit": "day", "primary_outcome": "",
    "synonyms": "a = b", "sensor_change": "2026-02-01T08:00", "low_start": "2026-02-01T03:00",
    "low_end": "2026-02-01T04:00", "low": "70", "high": "140", "code": "client-55",
    "time_zone": "Europe/Paris", "words": "tea", "skip_rows": "1", "time_format": "%Y",
    "column-time": "When", "intake-insulin": "yes", "pooled": "yes", "seen": "",
}  # fmt: skip


@pytest.mark.prove
def test_no_field_of_any_form_makes_a_fault_of_the_program(
    practice: Path, visitor: Open, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Every form with one field after the other turned into rubbish; work itself is not begun."""
    one, folder = visitor(practice), practice / "client-01"
    monkeypatch.setattr("miner.page.jobs.Jobs.start", _ended)
    beside = {path.name for path in tmp_path.iterdir()}
    forms = [path for method, path, _ in ROUTES if method == "POST" and path[:5] != "/jobs"]
    for number, path in enumerate(forms):
        for place, name in enumerate(GIVEN):
            junk = JUNK[(number + place) % len(JUNK)]
            (folder / ".waiting").mkdir(exist_ok=True)
            (folder / ".waiting" / "x.csv").write_text("When,What\n2026-01-20 10:00,tea\n")
            answer = one.send(filled(path), **(GIVEN | {name: junk}))
            assert answer.status_code in (200, 303, 400, 403, 404, 413), (path, name, junk[:20])
    assert {path.name for path in practice.iterdir()} <= {
        "client-01", "client-55", "practice.toml", "rules", "sources.toml"}  # fmt: skip
    assert {path.name for path in tmp_path.iterdir()} == beside


def _ended(*_: object, **__: object) -> BackgroundJob:
    job = BackgroundJob("x", "k", "what", "/", ".", done="/help")
    job.ended.set()
    return job
