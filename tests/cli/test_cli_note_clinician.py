"""What was settled with a clinician: noted in one command, told what it opens, taken back."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from miner import steps
from miner.records import read_client

AT = datetime(2026, 3, 9, 10, tzinfo=UTC)
SETTINGS = """# A client of mine.
code = "c-1"  # not her name

[intake]
insulin = "yes"  # since 2019
diabetes = "no"
"""


@pytest.fixture
def client(tmp_path: Path) -> Path:
    """Three days of readings; insulin, and 205 mg/dL for a while on the second day."""
    folder = tmp_path / "practice" / "client-01"
    folder.mkdir(parents=True)
    rows = [
        f"2026-03-{day:02d}T{hour:02d}:{minute:02d},{205 if (day, hour) == (3, 13) else 100 + hour}"
        for day in (2, 3, 4)
        for hour in range(24)
        for minute in range(0, 60, 5)
    ]
    (folder / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]) + "\n")
    (folder / "client.toml").write_text(SETTINGS)
    return folder


def noted(run: Any, client: Path, *words: str) -> str:
    result = run("note", str(client), *words)
    assert result.exit_code == 0, result.output
    return " ".join(result.stdout.split())


def refused(run: Any, client: Path, *words: str) -> str:
    before = (client / "client.toml").read_text()
    result = run("note", str(client), *words)
    assert result.exit_code == 2, result.output
    assert (client / "client.toml").read_text() == before
    return " ".join(result.stderr.split())


def test_each_note_tells_what_opens_what_waits_and_what_lifts_it(run: Any, client: Path) -> None:
    said = noted(run, client, "--informed", "2026-03-05")
    assert "The client was asked to see a clinician on 5 March 2026." in said
    assert "Tests of sleep and stress can be planned now." in said
    assert "Tests of movement and meals wait. Yes to insulin." in said
    assert "200 mg/dL" not in said
    assert f"miner note {client} --agreed DATE --covers movement,meals" in said
    said = noted(run, client, "--agreed", "2026-03-06", "--covers", "Movement, sleep")
    assert "agreed to on 6 March 2026 covers sleep and movement." in said
    assert "Tests of movement can be planned now. Tests of meals wait." in said
    assert f"miner note {client} --agreed DATE --covers sleep,movement,meals" in said
    said = noted(run, client, "--agreed", "2026-03-07", "--covers", "meals")
    assert "Until now it covered sleep and movement too." in said
    assert "Tests of meals can be planned now. Tests of movement wait." in said
    said = noted(run, client, "--agreed", "2026-03-07", "--covers", "meals,movement")
    assert said.startswith("Noted in client.toml.")
    assert "No caution holds a test back now." in said


def test_readings_that_came_after_the_date_need_a_new_one(run: Any, client: Path) -> None:
    said = noted(run, client, "--informed", "2026-03-02")
    assert "can be planned now" not in said
    assert "200 mg/dL or more on 1 day (3 Mar). The readings met this after that date." in said
    assert f"miner note {client} --informed DATE" in said


def test_comments_stay_and_everything_is_taken_back(run: Any, client: Path) -> None:
    steps.note_clinician(client, informed=date(2026, 3, 5), now=AT)
    steps.write_note(client, "session", date(2026, 3, 6), "We talked.", now=AT + timedelta(hours=1))
    agreed = {"agreed": date(2026, 3, 7), "covers": ["sleep"]}
    steps.note_clinician(client, **agreed, now=AT + timedelta(hours=2))
    held = (client / "client.toml").read_text()
    assert held.startswith(SETTINGS)
    settled = read_client(client).settings.clinician
    assert (settled.agreed, settled.covers) == (date(2026, 3, 7), ("sleep",))
    assert [each.informed for each in settled.before] == [date(2026, 3, 5)]
    said = noted(run, client, "--undo")
    assert "Taken back in client.toml. The client was asked to see a clinician on 5 March" in said
    assert "The note is taken back" in noted(run, client, "--undo")
    said = noted(run, client, "--undo")
    assert "Nothing is noted about a clinician now." in said
    assert "Tests of sleep, stress, movement and meals wait." in said
    assert (client / "client.toml").read_text().strip() == SETTINGS.strip()
    assert "nothing to take back" in refused(run, client, "--undo")


def test_what_was_written_by_hand_comes_back(run: Any, client: Path) -> None:
    by_hand = SETTINGS + "\n[clinician]  # of the letter\ninformed = 2026-03-04\n"
    (client / "client.toml").write_text(by_hand)
    noted(run, client, "--agreed", "2026-03-07", "--covers", "sleep")
    assert "# of the letter" in (client / "client.toml").read_text()
    noted(run, client, "--undo")
    assert (client / "client.toml").read_text().strip() == by_hand.strip()


def test_the_json_names_what_is_open_and_what_is_held(run: Any, client: Path) -> None:
    told = json.loads(
        run("note", str(client), "--informed", "2026-03-05", "--format", "json").stdout
    )
    assert told["open"] == told["opened"] == ["sleep", "stress"]
    assert [(one["topic"], one["lift"]) for one in told["held"]] == [
        ("movement", "agreed"),
        ("meals", "agreed"),
    ]


def test_a_client_without_records_can_be_noted(run: Any, tmp_path: Path) -> None:
    said = noted(run, tmp_path, "--informed", "2026-03-05")
    assert "What this opens will be shown once the records can be read." in said


TOMORROW = (date.today() + timedelta(days=1)).isoformat()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--informed", TOMORROW], f"{TOMORROW} is still to come"),
        (["--agreed", TOMORROW, "--covers", "sleep"], f"{TOMORROW} is still to come"),
        (["--informed", "1926-03-05"], "1926-03-05 is too long ago"),
        (["--informed", "March"], "--informed is 'March'"),
        (["--agreed", "2026-03-05"], "The agreement of 2026-03-05 covers nothing yet"),
        (
            ["--agreed", "2026-03-05", "--covers", " , "],
            "The agreement of 2026-03-05 covers nothing yet",
        ),
        (["--covers", "sleep,meals"], "which the clinician agreed to sleep and meals"),
        (["--informed", "2026-03-05", "--covers", "sleep"], "which the clinician agreed to sleep"),
        (["--agreed", "2026-03-05", "--covers", "sleap"], "Did you mean 'sleep'?"),
        (["--agreed", "2026-03-05", "--covers", "sleep;meals"], "cannot cover 'sleep;meals'"),
        (["--informed", "2026-03-05", "--undo"], "--undo and --informed cannot be given together"),
        (["--covers", "sleep", "--meal", "pasta"], "--covers and --meal cannot be given together"),
        (["--informed", "2026-03-05", "words"], "words"),
    ],
)
def test_bad_input_gets_one_message_and_changes_nothing(
    run: Any, client: Path, words: list[str], said: str
) -> None:
    assert said in refused(run, client, *words)


def test_a_broken_settings_file_is_not_written_over(run: Any, client: Path) -> None:
    (client / "client.toml").write_text("code = \n")
    assert "client.toml" in refused(run, client, "--informed", "2026-03-05")
