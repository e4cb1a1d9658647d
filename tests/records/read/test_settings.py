"""client.toml and practice.toml: what they say, whose word counts, and mistakes told by key."""

from datetime import date

import pandas as pd
import pytest

from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.read.settings import read_settings

FULL = """\
code = "C-07"
time_zone = "Europe/Lisbon"
range = [70, 145]
call = [60, 250]
sensor_changes = [2026-03-15T09:00:00, "2026-03-01T08:00", 2026-03-29, 2026-04-12T08:00:00Z]
rest_days = ["Sunday", "mon", 2026-03-25]
calm = true
pooled = true
display_unit = "mmol/L"
[intake]
insulin = "no"
shift_work = "yes"
[[left_out]]
date = 2026-03-09
reason = "fever"
entered = 2026-03-10
[[pressure_lows]]
start = 2026-03-03T03:00:00
end = 2026-03-03T03:40:00
[synonyms]
"Late  Coffee" = "coffee"
"""


def test_everything_that_may_be_said(folder):
    folder.write("client.toml", FULL)
    settings = read_settings(folder.path, None)
    assert (settings.code, settings.time_zone, settings.range) == (
        "C-07",
        "Europe/Lisbon",
        (70, 145),
    )
    assert settings.sensor_changes == tuple(
        pd.Timestamp(text)
        for text in ("2026-03-01T08:00", "2026-03-15T09:00", "2026-03-29", "2026-04-12T09:00")
    )
    assert settings.rest_days == ("sun", "mon", "2026-03-25")
    assert settings.intake == {"insulin": "no", "shift_work": "yes"}
    (day,) = settings.left_out
    assert (day.day, day.reason, day.entered) == (date(2026, 3, 9), "fever", date(2026, 3, 10))
    assert settings.synonyms == {"late coffee": "coffee"}
    assert settings.calm is True
    assert settings.pooled is True
    assert settings.call == (60.0, 250.0)


def test_nothing_said_is_the_defaults(folder):
    settings = read_settings(folder.path, None)
    assert (settings.code, settings.time_zone, settings.range) == ("client-01", None, (70.0, 140.0))
    assert settings.rest_days == ("sat", "sun")
    assert settings.pooled is None
    assert (settings.display_unit, settings.rank_unit) == ("mg/dL", "day")


def test_the_clients_word_stands_before_the_practices(folder):
    practice = folder.path.parent
    (practice / "practice.toml").write_text(
        'display_unit = "mmol/L"\nrank_unit = "meal"\nprimary_outcome = "day_mean"\n'
        "sensor_days = 10\n"
        '[synonyms]\nvino = "wine"\nbeer = "alcohol"\n'
    )
    folder.write("client.toml", 'display_unit = "mg/dL"\n[synonyms]\nbeer = "beer"\n')
    settings = read_settings(folder.path, practice)
    assert (settings.display_unit, settings.rank_unit) == ("mg/dL", "meal")
    assert settings.primary_outcome == "day_mean"
    assert settings.sensor_days == 10
    assert settings.synonyms == {"vino": "wine"}  # beer stands for itself again


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("sensor_days = 3", "'sensor_days' is 3. Expected a number of 5 or more."),
        ("sensor_days = 90", "'sensor_days' is 90. Expected a number of at most 30."),
        ('time_zon = "Europe/Lisbon"', "Did you mean 'time_zone'?"),
        ('time_zone = "Lisbon"', "a time zone such as 'Europe/Lisbon'"),
        ("range = [3.9, 7.8]", "in mg/dL"),
        ("range = [140, 70]", "the lower first"),
        ("call = [3.3, 13.9]", "in mg/dL"),
        ("call = 60", "'call' is 60. Expected two numbers in mg/dL between square brackets"),
        ('call = "60 to 250"', "Expected two numbers in mg/dL between square brackets"),
        ("call = [60]", "'call' is [60]. Expected two numbers"),
        ("call = []", "Expected two numbers"),
        ("call = [60, 250, 300]", "Expected two numbers"),
        ("call = [true, 250]", "Expected two numbers"),
        ("range = 140", "Expected two numbers"),
        ('[intake]\ninsulin = "maybe"', "'insulin' in [intake] is 'maybe'"),
        ("[intake]\ninsulin = true", "'yes', 'no' or 'not_asked'"),
        ('sensor_changes = ["soon"]', "a date and time such as"),
        ('rest_days = ["Sonntag"]', "days of the week"),
        ('[[left_out]]\ndate = "2026-13-01"\nreason = "x"', "a date such as 2026-03-02"),
        ("[[left_out]]\ndate = 2026-03-01", "the key 'reason' in [left_out number 1] is missing"),
        ('[[left_out]]\ndate = 2026-03-01\nreson = "x"\nreason = "y"', "Did you mean 'reason'?"),
        (
            "[[pressure_lows]]\nstart = 2026-03-03T04:00:00\nend = 2026-03-03T03:00:00",
            "an end after the start",
        ),
        ('display_unit = "mmol"', "'mg/dL' or 'mmol/L'"),
        ("code = ", "not valid TOML"),
    ],
)
def test_a_mistake_is_told_by_file_table_and_key(folder, text, said):
    folder.write("client.toml", text)
    with pytest.raises(MinerError) as error:
        read_settings(folder.path, None)
    assert said in error.value.message
    assert error.value.message.startswith("client-01/client.toml: ")


def test_settings_in_another_encoding(folder):
    folder.write("client.toml", 'code = "José"', "cp1252")
    with pytest.raises(MinerError, match="text in UTF-8"):
        read_settings(folder.path, None)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a = " + "[" * 5000, "not valid TOML"),
        ("a = " + "1" * 5000, "not valid TOML"),
        ("# " + "x" * 1_000_001, "the file has 1 MB"),
        (b"\xff\xfea\x00", "not UTF-8"),
    ],
)
def test_settings_that_cannot_be_parsed(folder, text, said):
    folder.steady_glucose().write("client.toml", text)
    with pytest.raises(MinerError, match=said):
        read_client(folder.path)


def test_settings_behind_a_broken_link_are_not_passed_over(folder):
    folder.steady_glucose()
    (folder.path / "client.toml").symlink_to("client.toml")
    with pytest.raises(MinerError, match=r"client.toml: the file cannot be read"):
        read_client(folder.path)


SETTLED = """\
[intake]
diabetes = "yes"
[clinician]
informed = 2026-03-01
agreed = "2026-03-05"
covers = ["sleep", "movement"]
treats_diabetes = true
[laboratory]
a1c_mmol_mol = 48
"""


def test_what_is_settled_with_a_clinician(folder):
    folder.write("client.toml", SETTLED)
    settings = read_settings(folder.path, None)
    settled = settings.clinician
    assert (settled.informed, settled.agreed) == (date(2026, 3, 1), date(2026, 3, 5))
    assert settled.told_on == date(2026, 3, 5)
    assert settled.covers == ("sleep", "movement")
    # ADA Standards of Care print 48 mmol/mol as 6.5 %, and a time in range of 70 to 180 mg/dL.
    assert round(settings.a1c_percent, 1) == 6.5
    assert settings.range == (70, 180)


def test_a_range_of_ones_own_and_an_undiagnosed_diabetes_keep_the_range(folder):
    folder.write("client.toml", "range = [70, 150]\n" + SETTLED)
    assert read_settings(folder.path, None).range == (70, 150)
    folder.write("client.toml", SETTLED.replace('"yes"', '"no"'))
    settings = read_settings(folder.path, None)
    assert settings.range == (70, 140)
    assert not settings.clinician.treats_diabetes


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[clinician]\ninformed = 2226-03-01", "not in the future"),
        ("[clinician]\nagreed = 2026-03-01", "agreed together with what it covers"),
        ('[clinician]\ncovers = ["sleep"]', "agreed together with what it covers"),
        ('[clinician]\nagreed = 2026-03-01\ncovers = ["food"]', "covers"),
        ("[laboratory]\na1c_percent = 65", "a1c_percent"),
        ("[laboratory]\na1c_percent = 6.5\na1c_mmol_mol = 48", "one of"),
    ],
)
def test_what_cannot_be_settled(folder, text, words):
    folder.write("client.toml", text)
    with pytest.raises(MinerError) as told:
        read_settings(folder.path, None)
    assert words in str(told.value)
