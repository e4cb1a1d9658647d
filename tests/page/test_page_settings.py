"""Settings of a practice and of a client's sensor: checked first, written whole, seen at once."""

from __future__ import annotations

import threading
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
import tomlkit
from visits import Visitor, words

from miner import steps
from miner.records.read.files import read_toml
from miner.records.read.settings import ClientFile, PracticeFile
from miner.records.write.settings_file import change, set_key, stamp

pytestmark = pytest.mark.usefixtures("derived_once")

Open = Callable[[Path], Visitor]
CLIENT = "/clients/client-01"
FORM = {"display_unit": "mg/dL", "rank_unit": "day", "primary_outcome": "", "synonyms": ""}


def test_the_settings_of_a_practice_are_written_and_hold_for_its_clients(
    practice: Path, visitor: Open
) -> None:
    one, path = visitor(practice), practice / "practice.toml"
    path.write_text("# ours\n" + path.read_text())
    form = FORM | {"display_unit": "mmol/L", "rank_unit": "meal", "primary_outcome": "day_mean",
                   "synonyms": 'oat milk = milk\n\n Vino = "red wine" \n'}  # fmt: skip
    assert one.send("/settings", **form).status_code == 303
    held = read_toml(path, PracticeFile)
    assert (held.display_unit, held.rank_unit, held.primary_outcome) == (
        "mmol/L", "meal", "day_mean")  # fmt: skip
    assert held.synonyms == {"oat milk": "milk", "Vino": "red wine"}
    assert path.read_text().startswith("# ours\n")
    settings = steps.read_client(practice / "client-01").settings
    assert (settings.display_unit, settings.rank_unit) == ("mmol/L", "meal")
    assert settings.synonyms["vino"] == "red wine"
    page = one.get("/settings").text
    assert 'value="mmol/L" checked' in page
    assert "oat milk = milk" in page
    assert one.send("/settings", **FORM).status_code == 303
    held = read_toml(path, PracticeFile)
    assert (held.display_unit, held.primary_outcome, held.synonyms) == ("mg/dL", None, {})


@pytest.mark.parametrize(
    "wrong",
    [
        {"display_unit": "mg"}, {"rank_unit": "week"}, {"primary_outcome": "nothing"},
        {"synonyms": "oat milk"}, {"synonyms": "= milk"}, {"synonyms": "a = b\na = c"},
        {"synonyms": "x" * 61 + " = y"},
    ],
)  # fmt: skip
def test_a_setting_that_cannot_be_writes_nothing(
    practice: Path, visitor: Open, wrong: dict[str, str]
) -> None:
    before = (practice / "practice.toml").read_bytes()
    answer = visitor(practice).send("/settings", **(FORM | {"rank_unit": "meal"} | wrong))
    assert answer.status_code == 400
    assert (practice / "practice.toml").read_bytes() == before


def test_the_next_ranking_tells_that_another_outcome_comes_first(
    practice: Path, visitor: Open
) -> None:
    one = visitor(practice)
    one.post(f"{CLIENT}/ranking")
    one.post("/settings", **(FORM | {"primary_outcome": "wake_glucose"}))
    page = words(one.post(f"{CLIENT}/ranking"))
    assert "The main glucose measure was" in page
    assert "is waking glucose now" in page


def wearing(**more: Any) -> dict[str, Any]:
    return {"sensor_change": [""], "low_start": [""], "low_end": [""], "low": "70", "high": "140",
            "rest": ["sat", "sun"]} | more  # fmt: skip


def test_a_sensor_change_and_a_low_are_written_and_read(practice: Path, visitor: Open) -> None:
    one, path = visitor(practice), practice / "client-01" / "client.toml"
    before = read_toml(path, ClientFile)
    old = [item.isoformat() for item in before.sensor_changes]
    form = wearing(
        sensor_change=[*old, "2026-02-05T08:30", ""], low_start=["2026-02-10T03:00", ""],
        low_end=["2026-02-10T03:40", ""], rest=["mon", "sun"], high="150",
    )  # fmt: skip
    assert one.send(f"{CLIENT}/settings", **form).status_code == 303
    held = read_toml(path, ClientFile)
    assert set(held.sensor_changes) == {*before.sensor_changes, datetime(2026, 2, 5, 8, 30)}
    (low,) = held.pressure_lows
    assert (low.start, low.end) == (datetime(2026, 2, 10, 3), datetime(2026, 2, 10, 3, 40))
    assert (held.rest_days, held.range) == (("mon", "sun"), (70.0, 150.0))
    assert held.intake == before.intake
    assert [d.date for d in held.left_out] == [d.date for d in before.left_out]
    client = steps.read_client(practice / "client-01")
    assert len(client.settings.sensor_changes) == len(old) + 1
    assert "2026-02-05T08:30" in one.get(f"{CLIENT}/settings").text
    one.send(f"{CLIENT}/settings", **wearing(sensor_change=old))
    held = read_toml(path, ClientFile)
    assert (held.sensor_changes, held.pressure_lows) == (before.sensor_changes, ())


@pytest.mark.parametrize(
    "wrong",
    [
        {"sensor_change": ["soon"]}, {"sensor_change": ["1850-01-01T00:00"]},
        {"low_start": ["2026-02-10T03:00"], "low_end": ["2026-02-10T02:00"]},
        {"low_start": ["2026-02-10T03:00"], "low_end": [""]}, {"low": "a"}, {"low": "150"},
        {"high": "9999"}, {"low": "nan"}, {"high": "inf"},
    ],
)  # fmt: skip
def test_what_no_sensor_can_have_done_writes_nothing(
    practice: Path, visitor: Open, wrong: dict[str, Any]
) -> None:
    path = practice / "client-01" / "client.toml"
    before = path.read_bytes()
    answer = visitor(practice).send(f"{CLIENT}/settings", **wearing(rest=["mon"], **wrong))
    assert answer.status_code == 400
    assert "Traceback" not in answer.text
    assert path.read_bytes() == before


def test_a_range_in_the_other_unit_is_the_same_range(practice: Path, visitor: Open) -> None:
    """70 and 140 mg/dL are 3.9 and 7.8 mmol/L (18.0156 mg/dL each, IUPAC weights)."""
    one, path = visitor(practice), practice / "client-01" / "client.toml"
    one.send("/settings", **(FORM | {"display_unit": "mmol/L"}))
    page = one.get(f"{CLIENT}/settings").text
    assert 'name="low" value="3.9"' in page
    assert 'name="high" value="7.8"' in page
    old = [item.isoformat() for item in read_toml(path, ClientFile).sensor_changes]
    one.send(f"{CLIENT}/settings", **wearing(sensor_change=old, low="3.9", high="7.8"))
    assert read_toml(path, ClientFile).range_used() == (70.0, 140.0)
    one.send(f"{CLIENT}/settings", **wearing(sensor_change=old, low="3.9", high="8,0"))
    low, high = read_toml(path, ClientFile).range
    assert low == pytest.approx(3.9 * 18.0156, abs=0.05)
    assert high == pytest.approx(8.0 * 18.0156, abs=0.05)


def test_a_day_left_out_is_counted_again(practice: Path, visitor: Open) -> None:
    one, path = visitor(practice), practice / "client-01" / "client.toml"
    before = [item.date for item in read_toml(path, ClientFile).left_out]
    one.post(f"{CLIENT}/left-out", day="2026-02-03", reason="ill")
    assert len(read_toml(path, ClientFile).left_out) == len(before) + 1
    assert "You left this day out." in words(one.get(f"{CLIENT}/days/2026-02-03"))
    one.post(f"{CLIENT}/left-out/back", day="2026-02-03")
    assert [item.date for item in read_toml(path, ClientFile).left_out] == before
    assert "You left this day out." not in words(one.get(f"{CLIENT}/days/2026-02-03"))


@pytest.mark.parametrize("path", ["/settings", f"{CLIENT}/settings", f"{CLIENT}/intake"])
def test_a_form_that_is_out_of_date_writes_nothing(
    practice: Path, visitor: Open, path: str
) -> None:
    one = visitor(practice)
    file = practice / ("practice.toml" if path == "/settings" else "client-01/client.toml")
    seen = one.get(path).text.partition('name="seen" value="')[2][:24]
    assert seen == stamp(file)
    file.write_text(file.read_text() + "\n# by hand\n")
    before = file.read_bytes()
    form = FORM if path == "/settings" else wearing(rest=["mon"])
    answer = one.send(path, **(form | {"seen": seen, "calm": "1", "rank_unit": "meal"}))
    assert answer.status_code == 400
    assert "was changed in another window" in words(answer)
    assert file.read_bytes() == before


def test_two_changes_at_once_are_both_there(tmp_path: Path) -> None:
    path = tmp_path / "client.toml"

    def leave_out(day: int) -> None:
        def edit(document: Any) -> None:
            table = tomlkit.table()
            table["date"], table["reason"] = f"2026-02-{day:02d}", "ill"
            document.setdefault("left_out", tomlkit.aot()).append(table)

        change(path, ClientFile, edit)

    threads = [threading.Thread(target=leave_out, args=(day,)) for day in range(1, 13)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(item.date.day for item in read_toml(path, ClientFile).left_out) == [*range(1, 13)]


@pytest.mark.parametrize(
    "text",
    [
        "", 'code = "c"\n', '[intake]\ninsulin = "no"\n', 'intake = {insulin = "no"}\n',
        '# a\ncode = "c"\n\n[intake]\n# b\ninsulin = "no"\n\n[[left_out]]\ndate = 2026-01-01\n'
        'reason = "ill"\n\n[synonyms]\na = "b"\n',
    ],
)  # fmt: skip
def test_a_key_that_is_added_belongs_to_no_table(text: str) -> None:
    """Beside the plain parser: every other key as it was, the new one at the top level."""
    import tomllib

    document = tomlkit.parse(text)
    set_key(document, "calm", True)
    made = tomllib.loads(tomlkit.dumps(document))
    assert made == tomllib.loads(text) | {"calm": True}
    set_key(document, "calm", None)
    assert tomllib.loads(tomlkit.dumps(document)) == tomllib.loads(text)
