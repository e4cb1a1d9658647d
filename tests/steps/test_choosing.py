"""Choices of a session: all are looked at before any is written, and each can be taken back."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from miner import ledger, rulebook, steps
from miner.core.messages import MinerError
from miner.core.results import Evidence
from miner.core.results.briefing import PageChoices
from miner.core.results.follow import Offer
from miner.followup.choosing import offered
from miner.records.client import Client
from miner.steps.pages import briefing

TOLD = "[clinician]\ninformed = 2026-03-01\n"
INSULIN = '[intake]\ninsulin = "yes"\n'


@pytest.fixture
def client(folder: Path) -> Client:
    return steps.read_client(folder)


@pytest.fixture
def shown(client: Client) -> list[str]:
    """The patterns of this client that a session may show, the strongest first."""
    found = steps.rank(client, remember=False)
    return [one.id for one in found.hypotheses if one.evidence in ("clear", "hint")]


def dinner(client: Client) -> str:
    """The pattern that is true of this client: a test of it can be planned."""
    found = steps.rank(client, remember=False).hypotheses
    return next(
        one.id
        for one in found
        if (one.factors, one.outcome) == (("late_dinner",), "overnight_mean")
    )


def entries(client: Client) -> list[str]:
    """Kinds of the ledger's entries, looks left out."""
    return [one.event for one in ledger.read(client.folder).events if one.event not in ledger.LOOKS]


def standing(client: Client) -> dict[str, str]:
    return {id_: one.choice for id_, one in steps.chosen_now(client).items()}


def test_each_choice_is_written_and_told_in_follow_up(client: Client, shown: list[str]) -> None:
    tested, left = dinner(client), next(id_ for id_ in shown if id_ != dinner(client))
    made = steps.choose(client, {tested: "test", left: "leave"})
    assert [(one.id, one.choice) for one in made.made] == [(tested, "test"), (left, "leave")]
    assert standing(client) == {tested: "test", left: "leave"}
    found = steps.follow(client)
    assert [(one.id, one.as_) for one in found.kept] == [(tested, "alternate")]
    assert [one.id for one in found.left] == [left]
    told = [str(one.text) for one in steps.history(client).entries]
    assert any(text.startswith("A pattern was left: ") for text in told)


def test_what_stands_is_not_written_again(client: Client, shown: list[str]) -> None:
    wishes = {shown[0]: "watch", shown[1]: "leave"}
    steps.choose(client, wishes)
    before = entries(client)
    assert steps.choose(client, wishes).made == ()
    assert entries(client) == before == ["kept", "left"]


def test_another_choice_gives_up_the_one_before(client: Client, shown: list[str]) -> None:
    for choice in ("watch", "leave", "watch"):
        steps.choose(client, {shown[0]: choice})
        assert standing(client) == {shown[0]: choice}
    assert entries(client) == ["kept", "dropped", "left", "kept"]


def test_undo_writes_what_takes_it_back(client: Client, shown: list[str]) -> None:
    steps.choose(client, {shown[0]: "watch", shown[1]: "leave"})
    for id_ in shown[:2]:
        assert steps.undo_choice(client, id_).choice == ""
    assert standing(client) == {}
    assert entries(client) == ["kept", "left", "dropped", "taken_up"]
    with pytest.raises(MinerError, match="Nothing is chosen"):
        steps.undo_choice(client, shown[0])


@pytest.mark.parametrize(
    ("wishes", "told"),
    [
        ({"12345678": "watch"}, "no pattern '12345678'"),
        ({"second": "perhaps"}, "The choice is 'perhaps'"),
        ({"second": "test"}, "cannot be tested"),
        ({"second": "anyway"}, "not done without a test"),
    ],
)
def test_nothing_is_written_where_one_choice_is_refused(
    client: Client, wishes: dict[str, str], told: str
) -> None:
    found = steps.rank(client, remember=False).hypotheses
    tag = next(one.id for one in found if one.factors[0].startswith("tag:") and one.difference)
    second = {tag if id_ == "second" else id_: choice for id_, choice in wishes.items()}
    with pytest.raises(MinerError, match=told):
        steps.choose(client, {dinner(client): "leave"} | second)
    assert entries(client) == []


def test_a_fourth_open_idea_is_refused_and_told_before_any_is_written(client: Client) -> None:
    found = [one.id for one in steps.rank(client, remember=False).hypotheses if one.difference]
    four = dict.fromkeys(found[:4], "watch")
    with pytest.raises(MinerError, match=r"4 kept patterns would be open.*at most 3"):
        steps.choose(client, four)
    assert entries(client) == []
    steps.choose(client, four | {found[3]: "leave"})
    steps.choose(client, {found[3]: "watch", found[0]: "leave"})
    assert sorted(standing(client).values()) == ["leave", "watch", "watch", "watch"]


def test_codes_of_a_page_write_the_same(client: Client, shown: list[str]) -> None:
    offers = briefing(client, choices=PageChoices(include=shown[:2])).offers
    codes = [offers[shown[0]].codes["watch"], offers[shown[1]].codes["leave"].lower()]
    assert len(steps.choose_by_code(client, codes).made) == 2
    assert standing(client) == {shown[0]: "watch", shown[1]: "leave"}
    with pytest.raises(MinerError, match="Two of the codes"):
        steps.choose_by_code(client, [codes[0], offers[shown[0]].codes["leave"]])


def offer(folder: Path, settings: str) -> tuple[Client, Offer]:
    path = folder / "client.toml"
    path.write_text(path.read_text("utf-8") + settings if path.exists() else settings, "utf-8")
    client = steps.read_client(folder)
    id_ = dinner(client)
    return client, briefing(client, choices=PageChoices(include=[id_])).offers[id_]


@pytest.mark.parametrize(
    ("settings", "choices", "lift"),
    [
        ("", {"test", "watch", "leave"}, ""),
        (INSULIN, {"watch", "leave"}, "informed"),
        (INSULIN + TOLD, {"watch", "leave"}, "agreed"),
        (
            f'{INSULIN}{TOLD}agreed = 2026-03-01\ncovers = ["meals"]\n',
            {"test", "watch", "leave"},
            "",
        ),
        ('[intake]\neating_disorder = "yes"\n', {"watch", "leave"}, "never"),
    ],
)
def test_what_cautions_hold_back_is_not_offered_and_refused(
    folder: Path, settings: str, choices: set[str], lift: str
) -> None:
    client, found = offer(folder, settings)
    assert (set(found.codes), found.lift) == (choices, lift)
    if lift:
        with pytest.raises(MinerError, match=r"No test about \w+ (can|is) (be )?planned"):
            steps.choose(client, {dinner(client): "test"})
        assert entries(client) == []


def test_a_planned_test_is_not_chosen_away(client: Client, monkeypatch: Any) -> None:
    id_ = dinner(client)
    steps.choose(client, {id_: "test"})
    held = steps.chosen_now(client)[id_]
    planned = type(held)(
        held.id, held.choice, held.on, held.factors, held.outcome, held.unit_of, planned=True
    )
    monkeypatch.setattr("miner.steps.choosing.chosen_now", lambda *_, **__: {id_: planned})
    for change in (
        lambda: steps.choose(client, {id_: "leave"}),
        lambda: steps.undo_choice(client, id_),
    ):
        with pytest.raises(MinerError, match="is planned already"):
            change()
    assert steps.choose(client, {id_: "test"}).made == ()


def test_a_test_is_offered_only_where_the_difference_went_its_way(client: Client) -> None:
    rules = rulebook.load()
    item = next(
        one for one in steps.rank(client, remember=False).hypotheses if one.id == dinner(client)
    )
    assert item.difference is not None
    other = replace(item, difference=-item.difference)
    little = replace(item, evidence=Evidence.LITTLE_SIGN)
    for one, choices in ((item, "test watch leave"), (other, "watch leave"), (little, "leave")):
        assert " ".join(offered(one, "day", rules, (), "client-01").codes) == choices
