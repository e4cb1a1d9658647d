from __future__ import annotations

import errno
from typing import Any

import click
import pytest

from miner.cli.group import COMMANDS, miner
from miner.core.messages import MinerError
from miner.words.help import HELP

VERBS = {
    "Add",
    "Answer",
    "Ask",
    "Begin",
    "Change",
    "Choose",
    "Compare",
    "Draw",
    "End",
    "Enter",
    "Give",
    "Invent",
    "Let",
    "Look",
    "Make",
    "Print",
    "Put",
    "Rank",
    "Read",
    "Replace",
    "Save",
    "Say",
    "Separate",
    "Show",
    "Shuffle",
    "Suggest",
    "Take",
    "Use",
    "Write",
}


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ["rnak"],
            f"There is no command 'rnak'. Expected one of {', '.join(COMMANDS)}. "
            "Did you mean 'rank'?",
        ),
        (["xyz"], f"There is no command 'xyz'. Expected one of {', '.join(COMMANDS)}. "
         "See 'miner --help'."),
        (["rank"], "CLIENT is missing. Expected the form 'miner rank [OPTIONS] CLIENT'. "
         "See 'miner rank --help'."),
        (["rank", "x", "--formt", "json"], "This command has no option '--formt'. "
         "Expected the form 'miner rank [OPTIONS] CLIENT'. Did you mean '--format'?"),
        (["ask", "x", "--outcome", "y"], "--factor is missing. "
         "Expected the form 'miner ask [OPTIONS] CLIENT'. See 'miner ask --help'."),
        (["why", "x"], "PATTERN is missing. "
         "Expected the form 'miner why [OPTIONS] CLIENT PATTERN'. See 'miner why --help'."),
        (["ask", "x", "--factor", "f", "--outcome", "y", "--guess", "up"],
         "--guess needs --fix. Expected both options, or neither. "
         "Add --fix, or leave out --guess."),
        (["ask", "x", "--factor", "f", "--outcome", "y", "--fixed-on", "2026-03-01"],
         "--fixed-on needs --fix. Expected both options, or neither. "
         "Add --fix, or leave out --fixed-on."),
        (["ask", "x", "--factor", "f", "--outcome", "y", "--fix", "--guess", "left"],
         "--guess is 'left'. Expected one of up, down. "
         "See 'miner ask --help'."),
        (["--zzz"], "This command has no option '--zzz'. "
         "Expected the form 'miner [OPTIONS] [COMMAND] [ARGS]...'. See 'miner --help'."),
        (["rank", "x", "--draws", "5"], "--draws is '5'. "
         "Expected a whole number from 100 to 1000000. See 'miner rank --help'."),
        (["rank", "x", "--seed", "one"], "--seed is 'one'. "
         "Expected a whole number from 0 to 4294967295. See 'miner rank --help'."),
        (["rank", "x", "--from", "1.3.2026"], "--from is '1.3.2026'. "
         "Expected a date such as 2026-03-01. See 'miner rank --help'."),
        (["check", "x", "--format", "csv"], "--format is 'csv'. "
         "Expected one of text, json. See 'miner check --help'."),
    ],
)  # fmt: skip
def test_wrong_usage_is_told_in_four_parts(
    steps: Any, run: Any, words: list[str], message: str
) -> None:
    result = run(*words)
    assert (result.exit_code, result.stdout, result.stderr) == (2, "", f"{message}\n")


def test_other_usage_errors_exit_with_two(steps: Any, run: Any) -> None:
    for words in (["rank", "x", "y"], ["rank", "x", "--draws"]):
        result = run(*words)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr.count("\n") == 1
        assert "Expected " in result.stderr


@pytest.mark.parametrize("command", ["check", "days", "rank"])
def test_bad_input_is_one_message(steps: Any, run: Any, command: str) -> None:
    steps.fault = MinerError("core.no_day", day="25:10", file="sleep.csv", row=41)
    result = run(command, "client-07")
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == (
        "sleep.csv, row 41: '25:10' is not a date. Expected a date such as 2026-03-01. "
        "Write the date in this way and try again.\n"
    )


def test_hostile_words_in_a_message_are_inert(steps: Any, run: Any) -> None:
    steps.fault = MinerError("ledger.unreadable", reason="[red]\x1b[31m\u202e\nsecond")
    told = "The ledger cannot be read ([red]<U+001B>[31m<U+202E> second). Expected a file"
    assert run("rank", "x").stderr.startswith(told)
    assert run("\x1b[31mx").stderr.startswith("There is no command '<U+001B>[31mx'.")


def test_a_fault_of_the_program_is_one_line(steps: Any, run: Any) -> None:
    steps.fault = KeyError("glucose")
    result = run("rank", "client-07")
    assert (result.exit_code, result.stdout) == (1, "")
    assert result.stderr == (
        "This is a fault of the program, not of your records ('glucose'). "
        "Please run the command again with --debug and report what it prints.\n"
    )


@pytest.mark.parametrize("words", [["--debug", "rank", "x"], ["rank", "x", "--debug"]])
def test_debug_adds_the_traceback(steps: Any, run: Any, words: list[str]) -> None:
    steps.fault = KeyError("glucose")
    result = run(*words)
    assert result.exit_code == 1
    assert "Traceback (most recent call last)" in result.stderr
    assert "KeyError: 'glucose'" in result.stderr


def test_a_file_that_may_not_be_used_is_bad_input(steps: Any, run: Any) -> None:
    steps.fault = PermissionError(errno.EACCES, "Permission denied", "client-07/glucose.csv")
    result = run("rank", "client-07")
    assert result.exit_code == 2
    assert result.stderr.startswith("client-07/glucose.csv: Permission denied. Expected a place")


def test_stopping_by_keyboard_is_one_line_and_130(steps: Any, run: Any) -> None:
    steps.fault = KeyboardInterrupt()
    result = run("rank", "client-07")
    assert (result.exit_code, result.stdout) == (130, "")
    assert result.stderr.strip() == "Stopped before it was finished."


def test_every_command_has_help_that_begins_as_in_the_list(run: Any) -> None:
    lines = [line.split() for line in HELP.splitlines() if line.startswith("  ")]
    listed = {name: " ".join(words) for name, *words in lines}
    for name in COMMANDS:
        result = run(name, "--help")
        assert result.exit_code == 0
        usage, first, *_ = result.stdout.split("\n\n")
        assert usage.startswith(f"Usage: miner {name} [OPTIONS]")
        assert first.strip() == listed[name]


def test_the_help_of_an_option_is_a_sentence_that_begins_with_a_verb() -> None:
    verbs = set()
    for name in COMMANDS:
        command = miner.get_command(click.Context(miner), name)
        assert command is not None
        for option in command.params:
            if isinstance(option, click.Option):
                told = " ".join((option.help or "").split())
                assert told[:1].isupper(), (name, option.name)
                assert told.endswith("."), (name, option.name)
                verbs.add(told.split()[0])
    assert verbs <= VERBS
