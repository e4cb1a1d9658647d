"""The papers in ``docs/`` show what is there, lead where they say, and build into a site.

``make readme`` runs this file to write the options of the commands into ``docs/commands.md`` again.
"""

from __future__ import annotations

import io
import re
import shlex
import subprocess
import sys
import tempfile
import tomllib
from contextlib import chdir, redirect_stdout
from datetime import date
from pathlib import Path

import click
import pytest
from test_plain_words import UNLEARNED, found_in
from test_sentence_lengths import long_sentences

from miner.cli.group import miner
from miner.core import resources
from miner.page.views.handbook import names, paper

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAPERS = {path.name: path.read_text("utf-8") for path in sorted(DOCS.glob("*.md"))}
TOP = {
    name: (ROOT / name).read_text("utf-8")
    for name in ("README.md", "DEVELOPERS.md", "CHANGELOG.md")
}
FOR_STATISTICIANS = {"how-it-decides.md"}
"""A paper that calls a glucose measure an outcome, as its readers do."""
COMMANDS = click.Context(miner, info_name="miner")
BLOCK = re.compile(r"(?<=<!-- options of miner )(\S+) -->\n(.*?)(?=<!-- end -->)", re.DOTALL)
SESSION = re.compile(r"```python\n(.*?)```\n(?:\n```text\n(.*?)```\n)?", re.DOTALL)
TODAY = date(2026, 2, 24)
EXAMPLE = re.compile(r"^miner [a-z].*", re.MULTILINE)


def command_named(name: str) -> click.Command:
    found = miner.get_command(COMMANDS, name)
    assert found is not None, name
    return found


def options_of(name: str) -> str:
    """Return what a command may be given, as its paper shows it."""
    command = command_named(name)
    here = click.Context(command, info_name=name, parent=COMMANDS)
    usage = command.get_usage(here).removeprefix("Usage: ")
    lines = ["", f"Usage: `{' '.join(usage.split())}`", "", "| option | meaning |", "|---|---|"]
    for row in filter(None, (each.get_help_record(here) for each in command.get_params(here))):
        option, meaning = (" ".join(cell.split()).replace("|", r"\|") for cell in row)
        if meaning and option not in ("--help", "--debug", "--rules PATH"):
            lines.append(f"| `{option}` | {meaning} |")
    return "\n".join(lines) + "\n\n"


def with_options(text: str) -> str:
    """Return the paper of the commands with the options that they have."""
    return BLOCK.sub(lambda found: f"{found[1]} -->\n{options_of(found[1])}", text)


def with_what_is_printed(text: str) -> str:
    """Return the paper on Python with what its code prints, run from top to bottom."""
    names: dict[str, object] = {}

    def ran(found: re.Match[str]) -> str:
        out = io.StringIO()
        with redirect_stdout(out):
            exec(compile(found[1], "docs/python.md", "exec"), names)  # noqa: S102 - our own paper
        printed = re.sub(r" +$", "", out.getvalue(), flags=re.MULTILINE)
        shown = f"\n```text\n{printed}```\n" if printed else ""
        return f"```python\n{found[1]}```\n{shown}"

    with tempfile.TemporaryDirectory() as home, chdir(home):
        invented = resources.invented()
        ready = invented.living_scenarios(TODAY)["ready"]
        invented.write_practice(Path("demo-practice"), (ready,))
        return SESSION.sub(ran, text)


def test_the_session_in_python_prints_what_it_shows() -> None:
    text = PAPERS["python.md"]
    assert len(SESSION.findall(text)) > 5
    assert text == with_what_is_printed(text), "run 'make readme' and read what has changed"


def test_every_command_has_its_section_with_an_example() -> None:
    text = PAPERS["commands.md"]
    sections = re.split(r"^## ", text, flags=re.MULTILINE)[1:]
    known = miner.list_commands(COMMANDS)
    assert [part.split("\n")[0] for part in sections][: len(known)] == [f"miner {n}" for n in known]
    assert BLOCK.findall(text) != []
    assert [name for name, _ in BLOCK.findall(text)] == known
    for name, section in zip(known, sections, strict=False):
        assert f"```\nminer {name} " in section, name


def test_every_option_is_in_the_paper_of_the_commands() -> None:
    text = PAPERS["commands.md"]
    assert text == with_options(text), "run 'make readme' and read what has changed"


def examples() -> list[str]:
    """Return each command that a paper shows with its client, in a block or in a line."""
    texts = "\n".join((*PAPERS.values(), *TOP.values()))
    blocks = "\n".join(re.findall(r"^```\n(.*?)^```", texts, re.DOTALL | re.MULTILINE))
    lines = re.findall(r"`(miner [a-z-]+ my-practice[^`]*)`", texts)
    return sorted({*EXAMPLE.findall(blocks), *lines})


@pytest.mark.parametrize("line", examples())
def test_an_example_can_be_given_as_it_is(line: str, tmp_path: Path) -> None:
    _, name, *given = shlex.split(line)
    command = command_named(name)
    places = [place for place in given if place.startswith("my-practice/")]
    for place in places:
        (tmp_path / place).parent.mkdir(parents=True, exist_ok=True)
    command.make_context(name, given, parent=COMMANDS)


def test_an_example_that_is_wrong_would_be_found(tmp_path: Path) -> None:
    with pytest.raises(click.ClickException):
        test_an_example_can_be_given_as_it_is("miner rank c --no-such-option", tmp_path)


@pytest.mark.parametrize(
    ("book", "table"), [("factors", "short_sleep"), ("outcomes", "wake_glucose")]
)
def test_every_key_of_a_rule_book_is_explained(book: str, table: str) -> None:
    text = (ROOT / "rules" / f"{book}.toml").read_text("utf-8")
    head = text.partition(f"[{table}]")[0]
    keys = {key for rule in tomllib.loads(text).values() for key in rule}
    assert {key for key in keys if not re.search(rf"^#.*\b{key}\b", head, re.MULTILINE)} == set()
    assert {key for key in keys if f"`{key}`" not in PAPERS["rule-books.md"]} == set()


def test_every_link_and_anchor_leads_somewhere() -> None:
    """Between papers, from the top folder to them, and within the help of the page."""
    found, broken = 0, []
    for name, text in (PAPERS | TOP).items():
        for to in re.findall(r"\]\(([^)]+)\)", text):
            target, _, anchor = to.partition("#")
            place = (ROOT if name in TOP else DOCS) / target if target else None
            known = place is None or place.is_file()
            of = place.stem if place is not None else Path(name).stem
            if known and anchor:
                known = f'id="{anchor}"' in paper(of).text
            found, broken = found + 1, broken + ([] if known else [(name, to)])
    assert found > 10
    assert broken == []


def test_every_file_that_a_paper_names_is_there() -> None:
    named = {
        path
        for text in (*PAPERS.values(), *TOP.values())
        for path in re.findall(r"`((?:[\w.-]+/)+[\w.-]+\.(?:py|toml|md))`", text)
        if not path.startswith(("my-practice/", "demo-practice/"))
    }
    assert len(named) > 40
    homes = (ROOT, ROOT / "miner")
    assert {path for path in named if not any((home / path).is_file() for home in homes)} == {
        "tests/stats/test_x.py",
        "miner/stats/x.py",
    }


def sentences_of(text: str) -> str:
    """Return what a paper says, each item, cell and heading a sentence of its own, without code."""
    text = re.sub(r"```.*?```|<!--.*?-->", "", text, flags=re.DOTALL)
    text = re.sub(r"`[^`]*`|\]\([^)]*\)", "X", text)
    return re.sub(r"\n\s*\n|\n(?=\s*(?:[-|]|\d+\.))|\||:\s", ". ", text)


@pytest.mark.parametrize("name", [*PAPERS, *TOP])
def test_a_paper_is_in_plain_words(name: str) -> None:
    text = sentences_of((PAPERS | TOP)[name])
    if name in FOR_STATISTICIANS:
        text = re.sub(r"\([^()]*\)", "", text)  # sources
    own = {"a word of the code"} if name in FOR_STATISTICIANS else set()
    assert own <= set(UNLEARNED)
    assert [hit for hit in found_in(text) if hit[0] not in own] == []
    if name != "definitions.md":  # it lists words
        assert long_sentences(text) == []


def test_every_paper_is_reached_from_the_first() -> None:
    first = set(re.findall(r"\]\(([\w-]+\.md)", PAPERS["index.md"]))
    assert first == set(PAPERS) - {"index.md"}
    assert set(names()) == {Path(name).stem for name in PAPERS}


@pytest.mark.parametrize("name", PAPERS)
def test_the_help_shows_a_paper_without_html_of_its_own(name: str) -> None:
    shown = paper(Path(name).stem)
    assert shown.text.startswith("<h1 id=")
    assert "<!--" not in shown.text
    assert "&lt;!--" not in shown.text
    assert "://" not in re.sub(r"<(pre|code)\b.*?</\1>", "", shown.text, flags=re.DOTALL)


def test_the_papers_build_strictly_and_need_no_network(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", tmp_path / "site"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    fetched = [
        (page.name, tag)
        for page in (tmp_path / "site").rglob("*.html")
        for tag in re.findall(
            r"<(?:script|link|img)\b[^>]*(?:src|href)=\"(?:https?:)?//[^>]*>",
            page.read_text("utf-8"),
        )
    ]
    assert fetched == []


if __name__ == "__main__":
    for name, made in (
        ("commands.md", with_options(PAPERS["commands.md"])),
        ("python.md", with_what_is_printed(PAPERS["python.md"])),
    ):
        (DOCS / name).write_text(made, encoding="utf-8")
