"""What the verbs accept from Python, and what they say of the rest."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import miner
from miner.core.messages import MinerError
from miner.records.client import Client

SHORT = {"draws": 99, "together": False}


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Client:
    from miner.core import resources

    home = tmp_path_factory.mktemp("practice") / "client-01"
    resources.invented().effect_client(home, 3, "late_dinner", 25.0)
    return miner.read_client(home)


@pytest.mark.parametrize(
    ("choice", "told"),
    [
        ({"unit": "meals"}, "There is no unit 'meals'. Expected 'day' or 'meal'. Did you mean"),
        ({"outcome": "dya_mean"}, "no glucose measure 'dya_mean'.*Did you mean 'day_mean'"),
        ({"unit": "meal", "outcome": "day_mean"}, "A meal has no glucose measure 'day_mean'"),
        ({"first": "1 March"}, "'1 March' is not a date"),
        ({"first": "2026-05-01", "last": "2026-04-01"}, "comes after the last"),
        ({"draws": 0}, "The value given for draws is 0. Expected a whole number from 99"),
        ({"draws": 200.5}, "The value given for draws is 200.5"),
        ({"draws": True}, "The value given for draws is True"),
        ({"seed": -1}, "The value given for seed is -1"),
        ({"rules": 3}, "A value of the type int is not a rule book"),
    ],
)
def test_a_ranking_says_what_it_cannot_use(
    client: Client, choice: dict[str, object], told: str
) -> None:
    with pytest.raises(MinerError, match=told):
        miner.rank(client, **choice)


@pytest.mark.parametrize(
    ("asked", "told"),
    [
        (("short_slep", "wake_glucose"), "Did you mean 'short_sleep'"),
        (("short_sleep", "wake_glucos"), "Did you mean 'wake_glucose'"),
        ((3, "wake_glucose"), "The value given for factor is 3"),
        (("short_sleep", None), "The value given for outcome is None"),
    ],
)
def test_a_question_says_what_it_cannot_use(
    client: Client, asked: tuple[str, str], told: str
) -> None:
    with pytest.raises(MinerError, match=told):
        miner.ask(client, *asked)


def test_other_verbs_say_what_they_cannot_use(client: Client, tmp_path: Path) -> None:
    for wrong, told in [
        (lambda: miner.ask(client, "short_sleep", "wake_glucose", shape="line"), "no shape 'line'"),
        (lambda: miner.why(client, 7), "The value given for the ID is 7"),
        (lambda: miner.error_rate(client, worlds=0), "worlds is 0"),
        (lambda: miner.error_rate(client, workers=0), "workers is 0"),
        (lambda: miner.pool(client.folder.parent, unit="days"), "Did you mean 'day'"),
        (lambda: miner.pool(client.folder.parent, workers=-2), "workers is -2"),
        (lambda: miner.rank(None), "type NoneType is not a client"),
        (lambda: miner.check(tmp_path / "nobody"), "there is no such folder"),
        (lambda: miner.day_table(3), "type int is not a client"),
    ]:
        with pytest.raises(MinerError, match=told):
            wrong()


def test_a_folder_serves_as_the_client_does_and_days_of_every_type(client: Client) -> None:
    first, last = "2026-01-10", "2026-02-08"
    found = miner.rank(client, first=first, last=last, **SHORT).to_dict()
    for begin, end in [
        (date(2026, 1, 10), date(2026, 2, 8)),
        (pd.Timestamp(first), np.datetime64(last)),
    ]:
        again = miner.rank(str(client.folder), first=begin, last=end, **SHORT)
        assert again.to_dict() == found
    assert miner.day_table(client.folder).equals(miner.day_table(client))


def test_nothing_is_written_unless_asked(client: Client) -> None:
    before = sorted(path.name for path in client.folder.iterdir())
    ranking = miner.rank(client, **SHORT)
    miner.ask(client, "late_dinner", "overnight_mean")
    miner.why(client, ranking.hypotheses[0].id)
    miner.check(client)
    assert sorted(path.name for path in client.folder.iterdir()) == before
    miner.rank(client, remember=True, **SHORT)
    assert sorted(path.name for path in client.folder.iterdir()) != before


def test_the_verbs_are_listed_and_what_they_return_is_short(client: Client) -> None:
    assert set(miner.__all__) <= set(dir(miner))
    ranking = miner.rank(client, **SHORT)
    for result in (ranking, ranking.hypotheses[0], ranking.outcomes[0], miner.check(client)):
        assert len(repr(result).splitlines()) <= 20
        assert max(map(len, repr(result).splitlines())) <= 120
    assert "<table" in ranking._repr_html_()
