"""From files to verdicts: one client kept after six weeks and followed for seven more."""

import json
import os
import shutil
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import product
from pathlib import Path

import pytest
from click.testing import CliRunner

from miner import ledger, rulebook, steps
from miner.cli.group import miner as commands
from miner.core import resources
from miner.core.facts import TOPICS, CautionKind, CautionText
from miner.core.messages import MinerError
from miner.followup.choosing import require_possible
from miner.followup.keeping import power_on, reading_days
from miner.followup.refusals import HeldBack
from miner.ledger import KeptEntry
from miner.steps import following
from miner.steps.checking import ledger_told
from miner.words.amounts import Amounts
from miner.words.teller import HypothesisTeller
from miner.words.wording import dated

pytestmark = pytest.mark.usefixtures("derived_once")

START = date(2026, 1, 12)
MONTH = 42
ONE_DAY = timedelta(days=1)
AT = datetime(2026, 3, 1, 9, tzinfo=UTC)
STREAMS = ("glucose", "sleep", "stress", "activity", "meals", "tags")


@pytest.fixture(scope="module")
def rules():
    return rulebook.load()


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A client of 90 days whose short nights truly move the morning."""
    folder = tmp_path_factory.mktemp("whole") / "client"
    resources.invented().effect_client(folder, 3, "short_sleep", 14.0, days=90)
    return folder


def until(whole, folder, days, since=0):
    """Write the client's records from one day to another; other files stay."""
    folder.mkdir(exist_ok=True)
    first, last = ((START + timedelta(days=k)).isoformat() for k in (since, days))
    for name in STREAMS:
        path = whole / f"{name}.csv"
        if path.is_file():
            head, *rows = path.read_text("utf-8").splitlines(keepends=True)
            kept = [row for row in rows if first <= row[:10] < last]
            (folder / path.name).write_text(head + "".join(kept), encoding="utf-8")
    if (whole / "client.toml").is_file():
        shutil.copy(whole / "client.toml", folder)
    return folder


def short_nights(client, rules):
    ranking = steps.rank(client, rules, now=AT, remember=True)
    return next(
        item for item in ranking.hypotheses
        if item.factors == ("short_sleep",) and item.outcome == "wake_glucose"
    )  # fmt: skip


@pytest.fixture(scope="module")
def kept_folder(whole, tmp_path_factory, rules):
    """The client after six weeks, one idea kept."""
    folder = until(whole, tmp_path_factory.mktemp("kept") / "client", MONTH)
    client = steps.read_client(folder)
    found = short_nights(client, rules)
    kept = steps.keep(client, found.id, "watch", rules, now=AT, note="asked by her")
    return folder, found, kept


@pytest.fixture(scope="module")
def others(kept_folder, rules):
    """What a ranking of the client after six weeks offers beside the idea that is kept, by rank."""
    client = steps.read_client(kept_folder[0])
    found = steps.rank(client, rules, remember=False).hypotheses
    return [item.id for item in found if item.difference and item.id != kept_folder[2].id]


@pytest.fixture
def folder(kept_folder, tmp_path):
    shutil.copytree(kept_folder[0], tmp_path / "client")
    return tmp_path / "client"


@pytest.fixture(scope="module")
def settled(whole, kept_folder, tmp_path_factory, rules):
    """The same client with all of the records, followed."""
    folder = tmp_path_factory.mktemp("settled") / "client"
    shutil.copytree(kept_folder[0], folder)
    until(whole, folder, 95)
    return folder, steps.follow(
        steps.read_client(folder), rules, now=AT + timedelta(days=60), remember=True
    )


def events(folder, name):
    return ledger.named(ledger.read(folder), name)


def invoke(*words):
    return CliRunner().invoke(commands, [str(word) for word in words])


def test_what_is_kept(kept_folder, rules):
    folder, found, kept = kept_folder
    (entry,) = events(folder, "kept")
    written = entry.payload
    assert written["id"] == found.id == kept.id
    assert written["factors"] == ["short_sleep"]
    assert written["lag_days"] == [0]
    assert written["outcome"] == "wake_glucose"
    assert written["direction"] == "up"
    assert written["smallest_worth_it"] == rules.outcomes["wake_glucose"].smallest_worth_it
    assert written["definitions"]["factors"]["short_sleep"]["at"] == 6
    client = steps.read_client(folder)
    assert written["records_hash"] == client.records_hash
    last = str(steps.days(client, rules).frame["date"].iloc[-1])
    assert written["records_last_day"] == written["suggested_by_days_to"] == last
    days = (date.fromisoformat(written["read_on"]) - date.fromisoformat(last)).days
    assert 14 <= days <= 120
    assert days == reading_days(KeptEntry.read(written), 1)
    assert written["power"] == kept.power == power_on(KeptEntry.read(written), days, 1)
    assert written["sought"] == kept.sought >= written["smallest_worth_it"]


def test_before_the_date_there_are_counts_and_nothing_of_the_outcome(whole, folder, rules):
    until(whole, folder, MONTH + 10)
    found = steps.follow(steps.read_client(folder), rules, remember=True)
    (one,) = found.kept
    assert (one.status, one.difference, one.interval, one.p_adjusted) == ("waiting",) + (None,) * 3
    assert 7 <= one.new_units <= 10
    assert one.counts.with_ + one.counts.without + one.counts.unknown <= one.new_units
    assert "agree" not in one.sentence
    assert events(folder, "verdict") == ()


def test_days_that_suggested_it_do_not_count(kept_folder, rules):
    (one,) = steps.follow(steps.read_client(kept_folder[0]), rules, remember=True).kept
    assert (one.new_units, one.status) == (0, "waiting")


def test_a_true_effect_holds_up_at_its_date(settled, kept_folder):
    folder, found = settled
    (one,) = found.kept
    assert one.status == "held_up"
    assert one.difference > 0
    assert one.p_adjusted <= 0.05
    assert one.sentence == "It held up on new days."
    (entry,) = events(folder, "verdict")
    assert entry.payload["kept_entry"] == events(folder, "kept")[0].n
    first = date.fromisoformat(one.suggested_by_days_to)
    assert one.new_units <= (date.fromisoformat(one.read_on) - first).days


def test_a_verdict_is_written_once_and_never_read_again(settled, tmp_path, rules):
    folder = tmp_path / "client"
    shutil.copytree(settled[0], folder)
    before = (folder / "ledger.jsonl").read_bytes()
    # the records now say something else: every reading of the new days is the same
    path = folder / "glucose.csv"
    head, *rows = path.read_text("utf-8").splitlines()
    limit = (START + timedelta(days=MONTH)).isoformat()
    flat = [
        ",".join([*r.split(",")[:1], "100", *r.split(",")[2:]]) if r >= limit else r for r in rows
    ]
    path.write_text("\n".join([head, *flat]) + "\n", encoding="utf-8")
    again = steps.follow(steps.read_client(folder), rules, remember=True)
    # the days beside it are drawn as the records are now
    (now,), (then,) = again.kept, settled[1].kept
    assert replace(now, picture=None) == replace(then, picture=None)
    assert {unit.value for unit in now.picture.new} == {100.0}
    assert len(now.picture.new) == len(then.picture.new)
    assert (folder / "ledger.jsonl").read_bytes() == before


def test_a_changed_rule_book_does_not_change_what_was_kept(whole, folder, settled, rules):
    until(whole, folder, 95)
    moved = rules.factors["short_sleep"].model_copy(update={"at": 9.5})
    worth = rules.outcomes["wake_glucose"].model_copy(update={"smallest_worth_it": 80.0})
    later = rules.model_copy(
        update={
            "factors": dict(rules.factors) | {"short_sleep": moved},
            "outcomes": dict(rules.outcomes) | {"wake_glucose": worth},
        }
    )
    (one,) = steps.follow(steps.read_client(folder), later, now=AT, remember=True).kept
    (same,) = settled[1].kept
    assert (one.difference, one.p, one.status) == (same.difference, same.p, same.status)


def test_days_filled_in_later_are_not_new(whole, tmp_path, rules):
    folder = until(whole, tmp_path / "client", MONTH, since=10)
    found = short_nights(steps.read_client(folder), rules)
    steps.keep(steps.read_client(folder), found.id, "watch", rules, now=AT)
    until(whole, folder, MONTH)
    (one,) = steps.follow(steps.read_client(folder), rules, remember=True).kept
    assert (one.new_units, one.status) == (0, "waiting")


def test_a_renamed_folder_keeps_its_story(whole, folder, settled, rules):
    until(whole, folder, 95)
    other = folder.rename(folder.parent / "someone else")
    (one,) = steps.follow(steps.read_client(other), rules, now=AT, remember=True).kept
    assert one.status == settled[1].kept[0].status
    assert one.difference == settled[1].kept[0].difference


def test_a_copy_without_hidden_files_keeps_its_story(whole, folder, settled, rules):
    until(whole, folder, 95)
    hidden = shutil.ignore_patterns(".*")
    other = shutil.copytree(folder, folder.parent / "copy", ignore=hidden)
    found = steps.follow(steps.read_client(other), rules, now=AT, remember=True)
    assert found.kept == settled[1].kept
    assert ["the note of its last entry" in note for note in map(str, found.notes)] == [True]
    # the entry of the verdict is noted again: without it something is missing
    path = other / "ledger.jsonl"
    path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    found = steps.follow(steps.read_client(other), rules, remember=False)
    assert any("it ends before entry" in note for note in map(str, found.notes))
    told = invoke("history", other).stdout
    assert "Entries were found missing" not in told
    steps.follow(steps.read_client(other), rules, now=AT, remember=True)
    told = " ".join(invoke("history", other).stdout.split())
    assert "Entries were found missing from the end, and this was noted." in told
    assert "was not finished" not in told


def test_a_clock_set_back_does_not_matter(whole, folder, settled, rules):
    until(whole, folder, 95)
    (one,) = steps.follow(
        steps.read_client(folder), rules, now=datetime(2001, 1, 1, tzinfo=UTC), remember=True
    ).kept
    assert one.status == settled[1].kept[0].status
    assert events(folder, "verdict")[0].at.startswith("2001")


@contextmanager
def unwritable(monkeypatch, folder):
    """The folder as an account without the right to write sees it (tests may run as root)."""
    whole_open = os.open

    def refuse(path, flags, *rest, **more):
        if flags & (os.O_WRONLY | os.O_RDWR) and Path(path).parent == folder:
            raise PermissionError(13, "Permission denied")
        return whole_open(path, flags, *rest, **more)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", refuse)
        yield


def test_without_the_right_to_write_no_verdict_is_given(whole, folder, rules, monkeypatch):
    until(whole, folder, 95)
    before = (folder / "ledger.jsonl").read_bytes()
    with unwritable(monkeypatch, folder):
        found = steps.follow(steps.read_client(folder), rules, now=AT, remember=True)
        with pytest.raises(MinerError, match="cannot be written"):
            steps.drop(steps.read_client(folder), found.kept[0].id)
    (one,) = found.kept
    assert (one.status, one.difference, one.p) == ("waiting", None, None)
    assert any("No verdict could be saved" in note for note in map(str, found.notes))
    assert (folder / "ledger.jsonl").read_bytes() == before
    assert (
        steps.follow(steps.read_client(folder), rules, now=AT, remember=True).kept[0].status
        == "held_up"
    )


def test_a_fourth_idea_is_refused(folder, others, rules):
    client = steps.read_client(folder)
    steps.keep(client, others[0], "alternate", rules)
    steps.keep(client, others[1], "adopt", rules)
    with pytest.raises(MinerError, match="3 patterns are kept already"):
        steps.keep(client, others[2], "watch", rules)
    found = {item.id: item for item in steps.follow(client, rules, remember=True).kept}
    assert found[others[0]].status is None
    assert found[others[1]].status is None
    steps.drop(client, others[0])
    assert steps.keep(client, others[2], "watch", rules).status == "waiting"
    with pytest.raises(MinerError, match="not open"):
        steps.drop(client, others[0])


def test_two_programs_that_keep_at_once_cannot_both_be_third(folder, others, rules, monkeypatch):
    client, ids = steps.read_client(folder), others
    steps.keep(client, ids[0], "watch", rules)
    whole_append = ledger.append

    def other_first(where, event, payload, at, **more):
        if event == "kept" and payload["id"] == ids[1]:
            whole_append(where, "kept", dict(payload) | {"id": ids[2]}, at)
        return whole_append(where, event, payload, at, **more)

    monkeypatch.setattr(following.ledger, "append", other_first)
    with pytest.raises(MinerError, match="3 patterns are kept already"):
        steps.keep(client, ids[1], "watch", rules)
    assert ids[2] in [item.id for item in steps.follow(client, rules, remember=True).kept]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("nothing1", "--as", "watch"), "There is no pattern 'nothing1'"),
        (("ID",), "--as is missing"),
        (("ID", "--as", "watch"), "kept already"),
        (("ID", "--as", "watching"), "Expected one of watch, alternate, adopt"),
        (("OTHER", "--as", "watch", "--read-on", "2026-02-24"), "not within reach"),
        (("OTHER", "--as", "watch", "--read-on", "tomorrow"), "Expected a date such as"),
        (("OTHER", "--drop"), "is not open"),
    ],
)
def test_bad_input_is_told_with_two(folder, others, words, told):
    known = {"ID": events(folder, "kept")[0].payload["id"], "OTHER": others[0]}
    result = invoke("keep", folder, *(known.get(word, word) for word in words))
    assert (result.exit_code, result.stdout) == (2, "")
    assert told in " ".join(result.stderr.split())


def test_follow_and_history_in_json(settled):
    folder, _ = settled
    found = json.loads(invoke("follow", folder, "--format", "json").stdout)
    assert set(found["kept"][0]) >= {
        "id", "as", "kept_on", "suggested_by_days_to", "read_on", "new_units", "status",
        "difference", "interval", "p_adjusted", "sentence",
    }  # fmt: skip
    told = json.loads(invoke("history", folder, "--format", "json").stdout)
    assert [item["event"] for item in told["entries"]] == [
        e.event for e in ledger.read(folder).events
    ]
    assert told["searches"] == len(events(folder, "ranked"))
    assert invoke("follow", folder).exit_code == invoke("history", folder).exit_code == 0
    assert "It held up on new days." in " ".join(invoke("history", folder).stdout.split())


def test_an_idea_tried_before_is_marked(settled, tmp_path, rules):
    folder = tmp_path / "client"
    shutil.copytree(settled[0], folder)
    client = steps.read_client(folder)
    id_ = settled[1].kept[0].id
    brief = steps.briefing(client, rules, now=AT, remember=True)
    assert brief.kept == settled[1].kept
    found = next(item for item in brief.ranking.hypotheses if item.id == id_)
    assert found.tried_before == found.to_dict()["tried_before"] == "held_up"
    others = [item for item in brief.ranking.hypotheses if item.id != id_]
    assert {item.tried_before for item in others} == {None}
    assert "It was followed before, with this result: It held up on new days." in " ".join(
        part.text for part in HypothesisTeller(rules, Amounts("mg/dL")).parts(found)
    )
    again = steps.keep(client, id_, "watch", rules, now=AT)
    assert again.tried_before == "held_up"
    assert "It was followed before" in again.sentence
    assert "It was followed before" in str(steps.history(client, rules).entries[-1].text)


def test_a_client_with_nothing_kept(whole, tmp_path):
    folder = until(whole, tmp_path / "client", 30)
    result = invoke("follow", folder, "--format", "json")
    assert (result.exit_code, json.loads(result.stdout)["kept"]) == (0, [])
    assert "Nothing is written down yet" in invoke("history", folder).stdout


def test_a_hypothesis_about_meals_is_followed_too(whole, tmp_path, rules):
    folder = until(whole, tmp_path / "client", MONTH)
    client = steps.read_client(folder)
    ranking = steps.rank(client, rules, unit="meal", remember=False)
    found = next(item for item in ranking.hypotheses if item.difference)
    kept = steps.keep(client, found.id, "watch", rules, now=AT, read_on=date(2026, 3, 20))
    assert (kept.unit_of, kept.new_units) == ("meal", 0)
    until(whole, folder, 95)
    # nothing is noted after a week: its date is reached all the same
    meals = (folder / "meals.csv").read_text("utf-8").splitlines(keepends=True)
    (folder / "meals.csv").write_text(
        "".join(row for row in meals if row[:10] < "2026-03-02" or row.startswith("time")), "utf-8"
    )
    (one,) = steps.follow(steps.read_client(folder), rules, now=AT, remember=True).kept
    assert one.new_units > 7
    assert one.status in ("held_up", "did_not_hold", "habit_stopped", "not_settled")
    assert len(events(folder, "verdict")) == 1


# -- alternating ------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def freed(kept_folder, tmp_path_factory):
    """The client who gave up the idea that was kept."""
    folder = tmp_path_factory.mktemp("freed") / "client"
    shutil.copytree(kept_folder[0], folder)
    steps.drop(steps.read_client(folder), kept_folder[2].id)
    return folder


@pytest.fixture
def free(freed, kept_folder, tmp_path):
    """The client with nothing open and nothing that calls for a clinician."""
    shutil.copytree(freed, tmp_path / "client")
    return tmp_path / "client", kept_folder[2].id


def calm(monkeypatch):
    """No caution, and a command that plans days long past as if they were ahead."""
    monkeypatch.setattr("miner.steps.checking.cautions", lambda *_: ())
    monkeypatch.setattr("miner.steps.keeping.drawn_in_time", lambda periods, _: periods)


def test_a_plan_whose_pairs_are_all_past_is_refused(free, rules, monkeypatch):
    monkeypatch.setattr("miner.steps.checking.cautions", lambda *_: ())
    folder, id_ = free
    before = events(folder, "kept")
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    at = datetime(2026, 11, 25, 9, tzinfo=UTC)
    with pytest.raises(MinerError, match="All pairs of this test are over"):
        steps.plan(steps.read_client(folder), id_, wish, rules, now=at)
    assert events(folder, "planned") == ()
    assert events(folder, "kept") == before


def test_plan_preview_writes_the_look_and_a_plan_is_written_once(
    free, rules, monkeypatch, tmp_path
):
    calm(monkeypatch)
    folder, id_ = free
    words = ("plan", folder, id_, "--start", "2026-03-02", "--worth-having", "12", "--pairs", "7")
    shown = invoke(*words, "--preview")
    assert shown.exit_code == 0
    assert [e.event for e in ledger.read(folder).events][-2:] == ["dropped", "looked"]
    before = (folder / "ledger.jsonl").read_bytes()
    assert "Nothing is saved." in shown.stdout
    assert "A, the change" not in shown.stdout
    assert (
        "the order of the days is not drawn yet"
        in invoke(*words, "--preview", "--page", "p.html").stderr
    )
    told = json.loads(invoke(*words, "--preview", "--format", "json").stdout)
    assert (told["plan"], told["seed"], told["written"]) == ("", None, False)
    assert {period["arm"] for period in told["periods"]} == {"undrawn"}
    assert "no option '--seed'" in invoke(*words, "--seed", "4").stderr
    assert (folder / "ledger.jsonl").read_bytes() == before
    ics, page = tmp_path / "plan.ics", tmp_path / "plan.html"
    made = invoke(*words, "--format", "json", "--calendar", ics, "--page", page)
    plan = json.loads(made.stdout)
    assert set(plan) >= {
        "plan", "periods", "seed", "smallest_p", "power_at_worth_having", "detectable",
        "worth_having", "weeks", "sensors", "read_on",
    }  # fmt: skip
    assert set(plan["periods"][0]) >= {"number", "pair", "from", "to", "arm", "leave_out_first_day"}
    assert ics.read_bytes().startswith(b"BEGIN:VCALENDAR")
    assert page.read_text("utf-8").startswith("<!doctype html>")
    assert [e.event for e in ledger.read(folder).events][-2:] == ["kept", "planned"]
    # the same plan again, from its name alone
    after = (folder / "ledger.jsonl").read_bytes()
    again = tmp_path / "again.html"
    shown = invoke("plan", folder, plan["plan"], "--format", "json", "--page", again)
    assert json.loads(shown.stdout) == plan
    assert again.read_bytes() == page.read_bytes()
    assert (folder / "ledger.jsonl").read_bytes() == after
    assert "--start is missing" in invoke("plan", folder, id_).stderr
    assert "already has a test" in invoke(*words).stderr
    lies = invoke("plan", folder, id_, "--start", "2026-02-01")
    assert "is within the records" in lies.stderr


def test_where_no_length_finds_it_nothing_is_written_and_that_is_no_error(free, monkeypatch):
    calm(monkeypatch)
    monkeypatch.setattr("miner.followup.lengths.ENOUGH", 1.1)
    folder, id_ = free
    shown = invoke("plan", folder, id_, "--start", "2026-03-02", "--calendar", folder / "p.ics")
    assert shown.exit_code == 0
    assert "No length finds that" in " ".join(shown.stdout.split())
    assert (events(folder, "planned"), (folder / "p.ics").exists()) == ((), False)
    made = invoke("plan", folder, id_, "--start", "2026-03-02", "--length", "middle")
    assert made.stdout.startswith("Test "), made.stderr
    (planned,) = events(folder, "planned")
    assert planned.payload["weeks"] <= 8


def test_the_help_of_a_plan_says_that_its_first_day_is_required():
    assert "Begin the test on this day" in " ".join(invoke("plan", "--help").stdout.split())


def test_what_is_watched_is_not_planned(folder, rules):
    id_ = events(folder, "kept")[0].payload["id"]
    result = invoke("plan", folder, id_, "--start", "2026-03-02")
    assert result.exit_code == 2
    assert "kept already, with --as watch" in result.stderr


def test_a_client_who_needs_a_clinician_is_not_planned_for(free, rules):
    folder, id_ = free
    with (folder / "client.toml").open("a", encoding="utf-8") as file:
        file.write('[intake]\ninsulin = "yes"\n')
    result = invoke("plan", folder, id_, "--start", "2026-03-02")
    assert result.exit_code == 2
    assert f"{folder.name}: no test about sleep can be planned yet." in result.stderr
    assert "Why: yes to insulin." in result.stderr
    assert "--informed DATE" in result.stderr


def met(since, **settled):
    """A caution that the readings meet on a day, waiting or lifted."""
    return CautionText(
        CautionKind.REFERRAL,
        "See a clinician.",
        class_="refer",
        since=since,
        reason="many high readings",
        **settled,
    )


def test_a_test_waits_for_a_caution_and_is_read_once_that_is_lifted(
    free, whole, rules, monkeypatch
):
    folder, id_ = free
    calm(monkeypatch)
    at, wish = datetime(2026, 2, 24, 9, tzinfo=UTC), steps.Wish(date(2026, 2, 25), pairs=8)
    plan = steps.plan(steps.read_client(folder), id_, wish, rules, now=at)
    until(whole, folder, 95)
    client, before = steps.read_client(folder), (folder / "ledger.jsonl").read_bytes()
    since, lifted = (plan.periods[k].first for k in (5, 10))

    waits = met(since, waiting=tuple((topic, "informed") for topic in TOPICS))
    monkeypatch.setattr("miner.steps.checking.cautions", lambda *_: (waits,))
    found = steps.result(client, plan.plan, rules)
    assert (found.status, found.difference, found.pairs) == (None, None, ())
    assert "Ticks and records are kept" in found.sentence
    assert "Not counted" not in found.sentence
    assert "many high readings. Tell the client" in str(found.pauses[0])
    told = next(one for one in steps.follow(client, rules).kept if one.test is not None)
    assert told.test.paused
    with pytest.raises(MinerError, match="is paused and is not read now"):
        steps.result(client, plan.plan, rules, stopped=True)
    assert (folder / "ledger.jsonl").read_bytes() == before

    over = met(since, opened=tuple((topic, lifted) for topic in TOPICS))
    monkeypatch.setattr("miner.steps.checking.cautions", lambda *_: (over,))
    read = steps.result(client, plan.plan, rules)
    assert read.status is not None
    # pairs 4 and 5 began while it waited: the third began before, the sixth on the day
    assert (read.paused_pairs, [one.pair for one in read.pairs]) == (2, [1, 2, 3, 6, 7, 8])
    assert "Not counted: 2 pairs that began while the test was paused." in read.sentence
    span = f"It was paused from {dated(since)} to {dated(lifted)}"
    assert span in invoke("result", folder, plan.plan).stdout
    assert len(events(folder, "verdict")) == 1


def test_a_second_test_on_the_same_days_names_the_first(free, rules, monkeypatch):
    folder, id_ = free
    calm(monkeypatch)
    client, wish = steps.read_client(folder), steps.Wish(date(2026, 3, 1), pairs=6)
    first = steps.plan(client, id_, wish, rules, now=AT)
    with pytest.raises(MinerError, match=f"already has a test: {first.plan}, 2026-03-01 to"):
        steps.plan(client, id_, wish, rules, now=AT)
    other = next(one for one in may_be_tested(client, rules) if one != id_)
    with pytest.raises(MinerError, match=f"takes these days: {first.plan}, 2026-03-01 to") as told:
        steps.plan(client, other, wish, rules, now=AT)
    assert f"miner keep {folder} {id_} --drop" in told.value.message
    shown = steps.plan(client, other, wish, rules, preview=True, now=AT)
    assert any(first.plan in str(note) for note in shown.notes)
    assert len(events(folder, "planned")) == 1
    later = date.fromisoformat(first.read_on) + ONE_DAY
    assert steps.plan(client, other, replace(wish, start=later), rules, now=AT).written


def may_be_tested(client, rules):
    """Return the patterns of this client of which a test may be planned, by rank."""
    for item in steps.rank(client, rules, remember=False).hypotheses:
        try:
            require_possible("test", item, "day", rules, HeldBack())
        except MinerError:
            continue
        if item.difference:
            yield item.id


def test_a_result_before_its_date_after_it_and_again(free, whole, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    client = steps.read_client(folder)
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    plan = steps.plan(client, id_, wish, rules, now=AT)
    waiting = steps.result(client, plan.plan, rules)
    assert (waiting.status, waiting.p, waiting.difference, waiting.pairs) == (None, None, None, ())
    assert events(folder, "verdict") == ()
    until(whole, folder, 60)
    change = next(p for p in plan.periods if p.arm == "change")
    (folder / "ticks-1.csv").write_text(
        f"date,plan,done\n{change.first},{plan.plan},no\nsoon,{plan.plan},yes\n", encoding="utf-8"
    )
    client = steps.read_client(folder)
    assert not any("ticks" in (f.file or "") for f in client.findings)
    early = steps.result(client, plan.plan, rules)
    assert early.status is None
    assert any("cannot be used" in note for note in map(str, early.notes))
    (told,) = [
        item for item in steps.follow(client, rules, remember=True).kept if item.as_ == "alternate"
    ]
    assert (told.status, told.test.plan, told.test.status) == (None, plan.plan, None)
    assert told.test.sentence == early.sentence
    stopped = steps.result(client, plan.plan, rules, stopped=True)
    assert stopped.status == "not_settled"
    assert 0 < stopped.pairs_used < 6
    assert stopped.stopped_early
    assert replace(steps.result(client, plan.plan, rules), wording=None) == replace(
        stopped, wording=None
    )
    assert len(events(folder, "verdict")) == 1
    (told,) = [
        item for item in steps.follow(client, rules, remember=True).kept if item.as_ == "alternate"
    ]
    assert (told.open, told.test) == (False, steps.result(client, plan.plan, rules))
    assert (told.status, told.sentence) == (None, told.test.sentence)
    shown = invoke("follow", folder).stdout
    assert "The test did not settle it." in shown
    assert "New days did not settle it." not in shown
    told = json.loads(invoke("result", folder, plan.plan, "--format", "json").stdout)
    assert set(told) >= {
        "plan", "status", "difference", "interval", "p", "pairs_used", "pairs_not_followed",
        "as_followed", "sentence",
    }  # fmt: skip
    assert invoke("result", folder, plan.plan).exit_code == 0
    assert "There is no test" in invoke("result", folder, "nothing").stderr


def test_a_plan_stopped_before_any_pair_spends_no_verdict(free, whole, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    client = steps.read_client(folder)
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    plan = steps.plan(client, id_, wish, rules, now=AT)
    found = steps.result(client, plan.plan, rules, stopped=True)
    assert (found.status, found.p, found.difference, found.pairs) == (None, None, None, ())
    assert found.stopped_early
    assert "no verdict" in found.sentence
    assert (len(events(folder, "verdict")), events(folder, "dropped")[-1].payload["plan"]) == (
        0, plan.plan,
    )  # fmt: skip
    before = (folder / "ledger.jsonl").read_bytes()
    assert steps.result(client, plan.plan, rules) == found
    assert steps.result(client, plan.plan, rules, stopped=True) == found
    assert (folder / "ledger.jsonl").read_bytes() == before
    (told,) = [
        item for item in steps.follow(client, rules, remember=True).kept if item.as_ == "alternate"
    ]
    assert (told.open, told.sentence) == (False, found.sentence)
    assert "stopped before any pair was complete" in invoke("history", folder).stdout
    again = steps.plan(client, id_, wish, rules, now=AT)
    assert again.plan != plan.plan
    until(whole, folder, 95)
    client = steps.read_client(folder)
    # what was complete by then is not read either: the plan has ended
    assert steps.result(client, plan.plan, rules).status is None
    assert steps.result(client, again.plan, rules, stopped=True).status == "not_settled"
    assert len(events(folder, "verdict")) == 1


def test_an_order_that_does_not_please_is_not_drawn_anew_for_nothing(free, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    client = steps.read_client(folder)
    orders, plans = set(), []
    for start in (date(2026, 2, 25), date(2026, 3, 2)):
        wish = steps.Wish(start, worth_having=30.0, pairs=8)
        plans.append(steps.plan(client, id_, wish, rules, now=AT))
        orders.add(tuple(period.arm for period in plans[-1].periods))
        # the copy of a folder throws the same coins, whatever day it begins on
        twin = shutil.copytree(folder, folder.parent / f"twin {start}")
        entries = (twin / "ledger.jsonl").read_bytes().splitlines(keepends=True)
        (twin / "ledger.jsonl").write_bytes(b"".join(entries[:-1]))
        (twin / ".ledger.last").unlink()
        later = replace(wish, start=start + timedelta(days=5))
        again = steps.plan(steps.read_client(twin), id_, later, rules, now=AT + timedelta(days=1))
        assert [p.arm for p in again.periods] == [p.arm for p in plans[-1].periods]
        if len(plans) == 1:
            steps.drop(client, id_, now=AT)
    assert len(orders) == 2
    assert [plan.put_aside for plan in plans] == [0, 1]
    assert not any("Put aside" in str(note) for note in plans[0].notes)
    said = "Put aside unread before this order: 1 earlier order."
    assert any(said in str(note) for note in plans[1].notes)
    assert steps.result(client, plans[1].plan, rules).put_aside == 1
    assert said in " ".join(invoke("result", folder, plans[1].plan).stdout.split())
    told = " ".join(invoke("history", folder).stdout.split())
    assert told.count("planned again") == 1
    assert "Put aside unread before it: 1." in told


def test_a_plan_past_its_date_without_a_pair_waits_for_its_records(free, whole, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    plan = steps.plan(steps.read_client(folder), id_, wish, rules, now=AT)
    until(whole, folder, 95)
    path = folder / "glucose.csv"
    head, *rows = path.read_text("utf-8").splitlines(keepends=True)
    # the sensor's file of the test is still missing; a day after it is there
    later = [
        row.replace(row[:10], (date.fromisoformat(row[:10]) + timedelta(days=40)).isoformat(), 1)
        for row in rows[-300:]
    ]
    gap = [row for row in rows if row[:10] < "2026-02-25"] + later
    path.write_text(head + "".join(gap), encoding="utf-8")
    before = (folder / "ledger.jsonl").read_bytes()
    client = steps.read_client(folder)
    found = steps.result(client, plan.plan, rules)
    assert (found.status, found.p, found.pairs_used) == (None, None, 0)
    assert "Nothing was read" in found.sentence
    assert (folder / "ledger.jsonl").read_bytes() == before
    (told,) = [
        item for item in steps.follow(client, rules, remember=True).kept if item.as_ == "alternate"
    ]
    assert (told.open, told.test.sentence) == (True, found.sentence)
    path.write_text(head + "".join([*rows, *later]), encoding="utf-8")
    found = steps.result(steps.read_client(folder), plan.plan, rules)
    assert found.status is not None
    assert found.pairs_used > 0
    assert len(events(folder, "verdict")) == 1


def test_a_plan_that_assumes_how_long_a_sensor_is_worn_says_so(free, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    wish = steps.Wish(date(2026, 3, 1), pairs=20)

    def notes(wish):
        shown = steps.plan(steps.read_client(folder), id_, wish, rules, preview=True, now=AT)
        return [str(note) for note in shown.notes if "a sensor is worn" in str(note)]

    (told,) = notes(wish)
    assert told.startswith("The plan assumes that a sensor is worn for 14 days.")
    assert notes(replace(wish, sensor_days=14)) == []
    assert notes(replace(wish, pairs=7)) == []  # all its new sensors are known
    settings = folder / "client.toml"
    text = settings.read_text(encoding="utf-8") if settings.exists() else ""
    settings.write_text(f"sensor_days = 10\n{text}", encoding="utf-8")
    assert notes(wish) == []


def test_an_order_drawn_after_its_first_day_is_told(free, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    client = steps.read_client(folder)
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    said = "The first day had passed when the order was drawn, on 1 Mar 2026."
    shown = steps.plan(client, id_, wish, rules, preview=True, now=AT)
    begun = "The first day of the test has passed: today is 1 Mar 2026."
    assert any(begun in str(n) for n in shown.notes)
    plan = steps.plan(client, id_, wish, rules, now=AT)
    assert any(said in str(note) for note in plan.notes)
    found = steps.result(client, plan.plan, rules)
    assert any(said in str(note) for note in found.notes)
    late = {p.pair for p in plan.periods if p.first < "2026-02-28"}
    assert found.late_pairs == len(late) > 0


@pytest.mark.parametrize("after", [0, 2])
def test_pairs_that_began_before_their_order_was_drawn_do_not_count(
    free, whole, rules, monkeypatch, after
):
    calm(monkeypatch)
    folder, id_ = free
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    shown = steps.plan(steps.read_client(folder), id_, wish, rules, preview=True, now=AT)
    at = datetime.fromisoformat(f"{shown.periods[after].first}T12:00:00Z") + timedelta(days=2)
    plan = steps.plan(steps.read_client(folder), id_, wish, rules, now=at)
    until(whole, folder, 95)
    found = steps.result(steps.read_client(folder), plan.plan, rules, stopped=True)
    begun = {p.pair for p in plan.periods if date.fromisoformat(p.first) < at.date() - ONE_DAY}
    assert found.late_pairs == len(begun)
    assert {pair.pair for pair in found.pairs} == {p.pair for p in plan.periods} - begun
    assert 0 < len(begun) < 6
    assert found.status is not None
    assert found.as_followed.pairs_used <= found.pairs_used <= 6 - len(begun)
    said = f"Not counted: {len(begun)} pair{'s' * (len(begun) > 1)} that had begun"
    assert said in found.sentence
    assert steps.result(steps.read_client(folder), plan.plan, rules) == found
    for command in (("follow", folder), ("result", folder, plan.plan)):
        assert said in " ".join(invoke(*command).stdout.split())


def test_a_plan_whose_days_were_over_when_it_was_drawn_gives_no_verdict(
    free, whole, rules, monkeypatch
):
    calm(monkeypatch)
    folder, id_ = free
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    at = datetime(2026, 11, 25, 9, tzinfo=UTC)
    plan = steps.plan(steps.read_client(folder), id_, wish, rules, now=at)
    until(whole, folder, 95)
    # read past its date: the date itself is beyond these records
    monkeypatch.setattr("miner.steps.following.reached", lambda *_: True)
    before = (folder / "ledger.jsonl").read_bytes()
    client = steps.read_client(folder)
    found = steps.result(client, plan.plan, rules)
    assert (found.status, found.p, found.pairs, found.pairs_used) == (None, None, (), 0)
    assert found.as_followed.pairs_used == 0
    assert found.sentence.startswith("Every pair had begun before its order was drawn")
    assert "Nothing was read" in found.sentence
    assert found.sentence in " ".join(invoke("follow", folder).stdout.split())
    assert (folder / "ledger.jsonl").read_bytes() == before
    assert steps.result(client, plan.plan, rules, stopped=True).stopped_early
    assert events(folder, "verdict") == ()


def test_days_and_numbers_without_sense_do_not_count(free, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    client = steps.read_client(folder)
    name = steps.plan(client, id_, wish, rules, now=AT).plan
    path = folder / "ledger.jsonl"
    whole_ledger = path.read_bytes()
    for event, key, junk in (
        ("kept", "read_on", 86400), ("kept", "read_on", "9999-12-31"),
        ("kept", "suggested_by_days_to", "20260222"), ("kept", "lag_days", [10**9]),
        ("planned", "offset_days", 10**9), ("planned", "seed", -1),
        ("planned", "read_on", "2026-W09-6"), ("planned", "worth_having", 0),
        ("planned", "sensor_changes", ["w"]), ("planned", "power_at_worth_having", "80"),
    ):  # fmt: skip
        path.write_bytes(whole_ledger)
        edited(folder, event, lambda row, key=key, junk=junk: row.update({key: junk}))
        assert len(steps.follow(client, rules, remember=True).kept) == (0 if event == "kept" else 2)
        with pytest.raises(MinerError, match="There is no test"):
            steps.result(client, name, rules)
        assert "does not count" in " ".join(invoke("history", folder).stdout.split())


def test_the_check_tells_of_the_ledger(folder, rules):
    path, client = folder / "ledger.jsonl", steps.read_client(folder)
    whole_ledger = path.read_bytes()
    assert ledger_told(client) == ()
    lines = whole_ledger.splitlines(keepends=True)
    newer = lines[-1].replace(b'"schema": 1', b'"schema": 9')
    for data, told in (
        (b"".join(lines[:-1]), "it ends before entry"),
        (b"".join(lines[1:]), "missing"),
        (whole_ledger.replace(b"asked by her", b"asked by him"), "changed after it was written"),
        (whole_ledger + lines[-1][:40], "the last line is not finished"),
        (whole_ledger + newer, "written by a newer miner"),
    ):
        path.write_bytes(data)
        found = ledger_told(client)
        assert any(told in item.what for item in found), told
        assert not any("nothing can be written" in item.what for item in found)
    result = invoke("check", folder, "--detail")
    block = " ".join(result.stdout.partition("What was fixed, kept and read")[2].split())
    assert (result.exit_code, "written by a newer miner" in block) == (0, True)
    path.unlink()
    path.mkdir()
    result = invoke("check", folder, "--detail")
    assert (result.exit_code, "this is a folder" in result.stdout) == (0, True)


def test_the_check_tells_where_nothing_can_be_written(folder, monkeypatch):
    monkeypatch.setattr("miner.ledger.reading._may_write", lambda _: False)
    told = " ".join(invoke("check", folder, "--detail").stdout.split())
    assert "nothing can be written here, so no question, look or result is kept" in told


def test_days_that_any_look_has_seen_are_not_new(whole, tmp_path, rules):
    folder = until(whole, tmp_path / "client", MONTH + 12)
    id_ = short_nights(steps.read_client(folder), rules).id
    (folder / "ledger.jsonl").unlink()
    (folder / ".ledger.last").unlink()
    steps.why(steps.read_client(folder), id_, rules, now=AT, remember=True)
    last = events(folder, "looked")[-1].payload["last_day"]
    until(whole, folder, MONTH)
    kept = steps.keep(steps.read_client(folder), id_, "watch", rules, now=AT)
    assert kept.suggested_by_days_to == last
    assert last > (START + timedelta(days=MONTH)).isoformat()


def quieter(folder, days, first, last):
    """Rewrite the readings of some days to a fifth of their distance from 100."""
    path = folder / "glucose.csv"
    head, *rows = path.read_text("utf-8").splitlines()
    value = head.split(",").index("glucose_mg_dl")
    out = []
    for row in rows:
        cells = row.split(",")
        if first <= row[:10] <= last and row[:10] in days:
            cells[value] = f"{100 + (float(cells[value]) - 100) / 5:.1f}"
        out.append(",".join(cells))
    path.write_text("\n".join([head, *out]) + "\n", encoding="utf-8")


class BeforeTheTest(datetime):
    @classmethod
    def now(cls, tz=None):
        return cls(2026, 2, 24, 9, tzinfo=tz)


def test_a_plan_by_meal_from_the_ranking_to_its_result(whole, tmp_path, monkeypatch):
    calm(monkeypatch)
    folder = until(whole, tmp_path / "client", MONTH)
    ranked = json.loads(
        invoke("rank", folder, "--unit", "meal", "--draws", "100", "--format", "json").stdout
    )
    by_name = {(h["factors"][0], h["outcome"]): h for h in ranked["hypotheses"]}
    for name, told in (("tag:wine", "names alcohol"), ("food:porridge", "does not let")):
        refused = invoke("plan", folder, by_name[name, "rise"]["id"], "--start", "2026-02-25")
        assert (refused.exit_code, told in refused.stderr) == (2, True), refused.output
    walk = by_name["walk_after", "rise"]
    assert walk["difference"] < 0
    monkeypatch.setattr("miner.steps.keeping.datetime", BeforeTheTest)
    wish = ("--start", "2026-02-25", "--worth-having", "25", "--pairs", "9")
    words = ("plan", folder, walk["id"], *wish)
    shown = json.loads(invoke(*words, "--preview", "--format", "json").stdout)
    table = steps.meal_table(steps.read_client(folder))
    walked = table[table["usable"].astype(bool) & (table["walk_after"] == 1)]
    assert shown["meal"] == walked["meal"].value_counts().idxmax()
    assert f"one {shown['meal']} each" in invoke(*words, "--preview").stdout
    words = (*words, "--meal", "lunch")
    plan = json.loads(invoke(*words, "--format", "json").stdout)
    assert (plan["unit_of"], plan["outcome"], plan["offset_days"]) == ("meal", "rise", 0)
    assert plan["change"] == "Walk for ten minutes within an hour of the meal."
    assert (plan["meal"], plan["pairs"], plan["period_days"]) == ("lunch", 9, 1)
    assert (len(plan["periods"]), plan["smallest_p"]) == (2 * plan["pairs"], 2 / 2 ** plan["pairs"])
    arms = {
        (date.fromisoformat(p["from"]) + timedelta(days=k)).isoformat(): (p["pair"], p["arm"])
        for p in plan["periods"]
        for k in range((date.fromisoformat(p["to"]) - date.fromisoformat(p["from"])).days + 1)
    }
    until(whole, folder, 75)
    change = {day for day, (_, arm) in arms.items() if arm == "change"}
    quieter(folder, change, "2026-02-25", plan["read_on"])
    ticked = "".join(f"{day},{plan['plan']},yes\n" for day in sorted(change))
    (folder / "ticks.csv").write_text(f"date,plan,done\n{ticked}", encoding="utf-8")
    found = json.loads(invoke("result", folder, plan["plan"], "--format", "json").stdout)
    # the same by hand: rise of the usable lunch of each day, then every order of the coins
    table = steps.meal_table(steps.read_client(folder))
    table = table[table["usable"].astype(bool) & table["rise"].notna()]
    table = table[table["meal"] == "lunch"]
    at = table["date"].map(lambda day: arms.get(day))
    means = table.groupby(at)["rise"].mean()
    pairs = [
        means[n, "change"] - means[n, "usual"]
        for n in range(1, plan["pairs"] + 1)
        if (n, "change") in means and (n, "usual") in means
    ]
    flips = [
        abs(sum(sign * d for sign, d in zip(signs, pairs, strict=True)))
        for signs in product((1, -1), repeat=len(pairs))
    ]
    as_extreme = sum(total >= abs(sum(pairs)) - 1e-9 for total in flips) / len(flips)
    assert found["difference"] == pytest.approx(sum(pairs) / len(pairs))
    assert found["p"] == pytest.approx(as_extreme)
    assert (found["status"], found["pairs_used"]) == ("changed", len(pairs))
    assert len(pairs) >= 6
    assert found["pairs_not_followed"] == 0
    assert found["sentence"] == "It changed when the client tested it."
    assert found["interval"][1] < 0


@pytest.mark.parametrize(
    ("option", "name", "told"),
    [
        ("--page", "client/glucose.csv", "not the name of a page"),
        ("--page", "mine.html", "did not write"),
        ("--page", "nowhere/plan.html", "no such folder"),
        ("--calendar", "client/glucose.csv", "not the name of a calendar"),
        ("--calendar", "mine.ics", "did not write"),
        ("--calendar", "nowhere/plan.ics", "no such folder"),
    ],
)
def test_nothing_is_agreed_where_its_files_cannot_be_written(free, option, name, told):
    folder, id_ = free
    mine = {folder.parent / name: name.encode() for name in ("mine.html", "mine.ics")}
    for path, text in mine.items():
        path.write_bytes(text)
    before = {path: path.read_bytes() for path in [*folder.iterdir(), *mine] if path.is_file()}
    place = folder.parent / name
    result = invoke("plan", folder, id_, "--start", "2026-03-02", option, place)
    assert result.exit_code == 2
    assert told in result.stderr
    assert {path: path.read_bytes() for path in before} == before


@pytest.mark.parametrize("start", ["2026-02-22", "2999-12-31"])
def test_a_start_in_the_records_or_far_beyond_them_is_refused(free, start):
    result = invoke("plan", free[0], free[1], "--start", start)
    assert result.exit_code == 2
    assert "a day from 2026-02-23 to 2026-08-25" in " ".join(result.stderr.split())


def edited(folder, event, change):
    """Change the payload of every entry of one kind by hand."""
    path = folder / "ledger.jsonl"
    rows = [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    for row in rows:
        if row["event"] == event:
            change(row)
    text = "".join(json.dumps(row, ensure_ascii=False) + "\n" for row in rows)
    path.write_text(text, encoding="utf-8")


@pytest.mark.parametrize(
    ("event", "name", "junk"),
    [
        ("kept", "definitions", {"outcome": {}}), ("kept", "factors", "short_sleep"),
        ("kept", "definitions", {"factors": {}, "outcome": {}, "range": [140, 70]}),
        ("kept", "as", "dream"), ("kept", "read_on", 5), ("kept", "wobble", "wide"),
        ("verdict", "status", "glorious"), ("verdict", "counts", [1, 2]),
        ("verdict", "interval", "wide"), ("verdict", "p", {}), ("verdict", "kept_entry", None),
        ("ranked", "shown", [5]), ("ranked", "left_out", 7), ("ranked", "last_day", []),
    ],
)  # fmt: skip
def test_a_ledger_edited_by_hand_is_told_and_no_fault(settled, tmp_path, event, name, junk):
    folder = tmp_path / "client"
    shutil.copytree(settled[0], folder)
    edited(folder, event, lambda row: row.update({name: junk}))
    for command in ("follow", "history"):
        result = invoke(command, folder)
        assert result.exit_code in (0, 2), result.output
        assert "ledger" in result.output


def test_a_plan_edited_by_hand_does_not_count(free, rules, monkeypatch):
    calm(monkeypatch)
    folder, id_ = free
    wish = steps.Wish(date(2026, 2, 25), worth_having=30.0, pairs=6)
    name = steps.plan(steps.read_client(folder), id_, wish, rules, now=AT).plan
    for change in (
        lambda row: row.update(periods=[5]), lambda row: row["periods"].pop(),
        lambda row: row.update(seed="x"), lambda row: row["periods"][0].update(arm="rest"),
    ):  # fmt: skip
        before = (folder / "ledger.jsonl").read_bytes()
        edited(folder, "planned", change)
        assert "There is no test" in invoke("result", folder, name).stderr
        assert "does not count" in " ".join(invoke("history", folder).stdout.split())
        assert invoke("follow", folder).exit_code == 0
        (folder / "ledger.jsonl").write_bytes(before)
