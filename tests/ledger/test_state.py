"""The ledger replayed: its order decides, whoever wrote and whatever the clock said."""

import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

from fresh_tables import event, what

from miner import ledger
from miner.core.results import plain
from miner.ledger import MAX_OPEN, Ledger, replay

OLDER = Path(__file__).parents[2] / "benchmarks" / "same_facts_ledger.jsonl"
AT = datetime(2026, 3, 1, 8, tzinfo=UTC)


PLAN = {
    "factor": "late_dinner", "outcome": "minutes_above", "unit": "min", "change": "x", "pairs": 1,
    "offset_days": 0, "seed": 1, "worth_having": 20.0, "read_on": "2026-05-01",
    "periods": [
        {"number": n, "pair": 1, "from": "2026-04-01", "to": "2026-04-02", "arm": arm,
         "leave_out_days": 0} for n, arm in ((1, "change"), (2, "usual"))
    ],
}  # fmt: skip


def story(*events):
    return replay(Ledger(None, tuple(events), (), True))


def keep(n, id_, as_="watch", **more):
    return event(n, "kept", **(what(id=id_, **more) | {"as": as_}))


def verdict(n, entry, status="did_not_hold", **more):
    return event(n, "verdict", kept_entry=entry, status=status, **more)


def test_at_most_three_are_open():
    found = story(*(keep(n, f"id{n}") for n in range(1, 6)))
    assert MAX_OPEN == 3
    assert [item.id for item in found.kept] == ["id1", "id2", "id3"]
    assert found.refused == {4, 5}
    assert found.at(4) is None


def test_an_entry_that_lacks_something_is_not_kept():
    for name in ("factors", "definitions", "read_on", "suggested_by_days_to", "direction"):
        broken = {key: value for key, value in what().items() if key != name}
        assert story(event(1, "kept", **broken)).refused == {1}
    assert story(keep(1, "a", read_on="soon")).refused == {1}
    assert story(keep(1, "a", factors=[])).refused == {1}


def test_a_verdict_or_giving_up_makes_room():
    found = story(
        *(keep(n, f"id{n}") for n in (1, 2, 3)), verdict(4, 2), keep(5, "id5"),
        event(6, "dropped", kept_entry=1), keep(7, "id7"), keep(8, "id8"),
    )  # fmt: skip
    assert [item.id for item in found.open_on(None)] == ["id3", "id5", "id7"]
    assert found.refused == {8}


def test_what_is_adopted_is_open_until_its_date():
    first = keep(1, "a", "adopt", read_on="2026-03-20", suggested_by_days_to="2026-02-20")
    found = story(first)
    assert found.open_on("2026-03-20")
    assert not found.open_on("2026-03-21")
    later = [keep(n, f"id{n}", suggested_by_days_to="2026-03-25") for n in (2, 3, 4)]
    assert story(first, *later).refused == frozenset()
    sooner = [keep(n, f"id{n}", suggested_by_days_to="2026-03-10") for n in (2, 3, 4)]
    assert story(first, *sooner).refused == {4}


def test_one_idea_is_not_open_twice():
    found = story(keep(1, "a"), keep(2, "a"))
    assert found.refused == {2}
    again = story(keep(1, "a"), verdict(2, 1), keep(3, "a"))
    assert again.refused == frozenset()
    assert again.tried("a", before=3).entry.n == 1
    assert again.tried("a", before=1) is None


def test_the_first_verdict_stands():
    found = story(keep(1, "a"), verdict(2, 1, "did_not_hold"), verdict(3, 1, "held_up"))
    assert found.kept[0].verdict.payload["status"] == "did_not_hold"
    assert found.refused == {3}
    assert found.tried("a").verdict.n == 2


def test_no_verdict_after_giving_up():
    found = story(keep(1, "a"), event(2, "dropped", kept_entry=1), verdict(3, 1, "held_up"))
    assert found.kept[0].verdict is None
    assert found.refused == {3}
    assert story(event(1, "dropped", kept_entry=9)).refused == {1}


def test_a_plan_belongs_to_what_is_kept_for_it():
    planned = event(2, "planned", kept_entry=1, **PLAN | {"plan": "p1"})
    assert story(keep(1, "a", "watch"), planned).refused == {2}
    found = story(
        keep(1, "a", "alternate"), planned,
        event(3, "planned", kept_entry=1, **PLAN | {"plan": "p2"}),
        verdict(4, 1, "changed", plan="other"), verdict(5, 1, "changed", plan="p1"),
    )  # fmt: skip
    assert found.refused == {3, 4}
    assert found.plan("p1").verdict.n == 5
    assert found.kept[0].verdict.n == 5
    assert found.plan("p2") is None


def test_a_clock_set_back_changes_nothing(tmp_path):
    for n, id_ in enumerate(("a", "b", "c", "d")):
        ledger.append(tmp_path, "kept", what(id=id_), AT - timedelta(days=100 * n))
    found = replay(ledger.read(tmp_path))
    assert [item.id for item in found.kept] == ["a", "b", "c"]
    assert found.refused == {4}


def test_entries_after_an_edit_are_told_as_not_proven(tmp_path):
    ledger.append(tmp_path, "kept", what(id="a", direction="up"), AT)
    ledger.append(tmp_path, "kept", what(id="b"), AT)
    path = tmp_path / "ledger.jsonl"
    path.write_text(path.read_text("utf-8").replace('"up"', '"down"', 1), encoding="utf-8")
    found = replay(ledger.read(tmp_path))
    assert [item.entry.trusted for item in found.kept] == [False, False]


def test_a_ledger_of_an_earlier_version_is_read(tmp_path):
    shutil.copy(OLDER, tmp_path / ledger.NAME)
    book = ledger.read(tmp_path)
    assert [(item.code, item.row) for item in book.problems] == [("ledger_note_gone", None)]
    found = replay(book)
    assert (len(found.kept), len(found.plans), found.refused) == (2, 1, frozenset())
    for item in found.kept:
        payload = plain(item.what.payload())
        assert payload.items() <= dict(item.entry.payload).items()
        assert list(payload) == [name for name in item.entry.payload if name in payload]


def leave(n, id_="a", **more):
    told = {"id": id_, "factors": ["late_dinner"], "outcome": "minutes_above", "unit_of": "day"}
    return event(n, "left", **told | more)


def test_what_was_left_can_be_taken_up_again():
    found = story(leave(1), leave(2, "b"), event(3, "taken_up", id="a"), leave(4))
    assert [item.entry.n for item in found.still_left] == [2, 4]
    assert found.left[0].taken_up.n == 3
    assert found.refused == frozenset()


def test_keeping_takes_up_what_was_left():
    found = story(leave(1), keep(2, "a"))
    assert found.still_left == ()
    assert [item.id for item in found.open_on(None)] == ["a"]


def test_what_is_open_or_left_already_is_not_left():
    found = story(keep(1, "a"), leave(2), leave(3, "b"), leave(4, "b"))
    assert found.refused == {2, 4}
    assert story(keep(1, "a"), event(2, "dropped", kept_entry=1), leave(3)).refused == frozenset()
    adopted = keep(1, "a", "adopt", read_on="2026-03-20", suggested_by_days_to="2026-02-20")
    assert story(adopted, leave(2, records_last_day="2026-03-21")).refused == frozenset()
    assert story(adopted, leave(2, records_last_day="2026-03-20")).refused == {2}


def test_an_entry_of_leaving_that_is_not_whole_does_not_count():
    assert story(leave(1, factors=[])).refused == {1}
    assert story(leave(1, unit_of="week")).refused == {1}
    assert story(event(1, "taken_up", id="a"), event(2, "taken_up")).refused == {1, 2}


def test_a_ledger_without_anything_left_comes_to_the_same(tmp_path):
    shutil.copy(OLDER, tmp_path / ledger.NAME)
    found = replay(ledger.read(tmp_path))
    assert found.left == found.still_left == ()
