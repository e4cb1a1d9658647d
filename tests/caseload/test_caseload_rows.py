"""A row a client, whatever is wrong with any of them."""

from __future__ import annotations

import hashlib
import json
import shutil
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from miner import steps
from miner.core.messages import MinerError
from miner.core.results import Evidence
from miner.core.results.caseload import Caseload
from miner.steps.caseload import pool
from miner.steps.who_is_pooled import remember_page


def every_file(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_every_folder_has_a_row_and_a_broken_one_stops_nothing(found: Caseload) -> None:
    assert [row.client for row in found.clients] == [f"client-{k:02d}" for k in range(1, 26)]
    status = {row.client: row.status for row in found.clients}
    assert set(status.values()) == {"ranked", "too_few", "error"}
    assert [name for name in status if status[name] == "error"] == ["client-24", "client-25"]
    assert status["client-21"] == "too_few"
    for row in found.clients:
        assert (row.error is not None) == (row.status == "error")
        assert row.error is None or "\n" not in str(row.error)


def test_consent_is_counted_and_only_those_who_agreed_are_pooled(found: Caseload) -> None:
    # pooled = true of 1 to 21 and 24, false of 22, absent in 23 and in the empty folder
    assert (found.agreed, found.declined, found.not_asked) == (22, 1, 2)
    pooled = {row.client for effect in found.pooled for row in effect.by_client}
    assert pooled <= {f"client-{k:02d}" for k in range(1, 22)}
    assert pooled >= {f"client-{k:02d}" for k in range(1, 21)}


def test_a_row_counts_what_a_ranking_of_that_client_finds(practice: Path, found: Caseload) -> None:
    for row in found.clients[:3]:
        client = steps.read_client(practice / row.folder)
        ranking = steps.rank(client, remember=False)
        levels = [item.evidence for item in ranking.hypotheses]
        assert row.usable_units == ranking.usable_units
        assert (row.clear, row.hints) == (
            levels.count(Evidence.CLEAR), levels.count(Evidence.HINT),
        )  # fmt: skip


def test_a_row_holds_the_state_of_the_client_and_goes_on_with_its_ledger(small: Path) -> None:
    first = {row.folder: row.state for row in pool(small).clients}
    assert tuple(first.values()) == tuple(
        replace(one, folder=Path(one.folder).name)
        for one in steps.practice_states(small, date.today())
    )
    name = next(name for name, state in first.items() if state and state.state == "not_ranked")
    steps.rank(steps.read_client(small / name), remember=True)
    again = pool(small)
    state = {row.folder: row.state for row in again.clients}[name]
    assert state != first[name]
    assert state == {row.folder: row.state for row in pool(small).clients}[name]
    assert again.to_dict()["clients"][0]["state"]["folder"] == again.clients[0].folder
    in_commands = steps.states_of_caseload(again, str(small))
    assert [one.folder for one in in_commands] == [str(small / row.folder) for row in again.clients]
    assert steps.states_of_caseload(again, "memory://practice") == ()


def test_nothing_is_written_to_a_client_folder(small: Path) -> None:
    before = every_file(small)
    pool(small)
    after = every_file(small)
    assert {name: after[name] for name in before} == before
    assert {name.split("/")[0] for name in set(after) - set(before)} == {".miner-caseload"}


def test_what_is_kept_of_one_who_did_not_agree_is_a_row_without_units(
    practice: Path, tmp_path: Path
) -> None:
    import pyarrow.parquet as pq

    from miner.caseload.store import Store

    lonely = tmp_path / "practice"
    shutil.copytree(practice / "client-22", lonely / "client-22")
    pool(lonely)
    path = Store(lonely / ".miner-caseload").path("client-22")
    assert pq.read_table(path).num_columns == 0


def test_a_deleted_folder_leaves_the_pool_and_its_traces_are_told(
    small: Path, seen: Caseload
) -> None:
    first = pool(small)
    page = small.parent / "overview.html"
    page.write_text("client-02", encoding="utf-8")
    remember_page(small, None, page, first)
    (small / "notes.txt").write_text("client-02 called", encoding="utf-8")
    assert tuple(map(str, first.traces)) == ()
    shutil.rmtree(small / "client-02")

    second = pool(small)

    assert [row.client for row in second.clients] == ["client-01", "client-03", "client-04"]
    for effect in second.pooled:
        assert effect.clients <= 3
        assert "client-02" not in {row.client for row in effect.by_client}
    told = "\n".join(tuple(map(str, second.traces)))
    assert "client-02: the folder is missing" in told
    assert "notes.txt" in told
    assert "overview.html" in told
    kept = b"".join(path.read_bytes() for path in (small / ".miner-caseload/clients").rglob("*.*"))
    assert b"client-02" not in kept
    assert not any("the folder is missing" in text for text in tuple(map(str, pool(small).traces)))


def test_one_who_no_longer_agrees_leaves_the_pool(small: Path, seen: Caseload) -> None:
    assert (seen.agreed, seen.declined) == (4, 0)
    path = small / "client-03" / "client.toml"
    path.write_text(path.read_text("utf-8").replace("pooled = true", "pooled = false"), "utf-8")
    second = pool(small)
    assert (second.agreed, second.declined) == (3, 1)
    assert any("client-03: no longer agreed" in text for text in tuple(map(str, second.traces)))
    assert all(row.client != "client-03" for item in second.pooled for row in item.by_client)


def test_only_what_changed_is_looked_at_again(small: Path, seen: Caseload) -> None:
    kept = {path: path.stat().st_mtime_ns for path in small.rglob("*.parquet")}
    assert len(kept) == 4
    (small / "client-04" / "tags.csv").write_text("time,tag\n2026-01-15T20:00,wine\n", "utf-8")
    pool(small)
    changed = [path for path in kept if path.stat().st_mtime_ns != kept[path]]
    assert len(changed) == 1


def test_a_damaged_result_is_made_again(small: Path, seen: Caseload) -> None:
    path = min(small.rglob("*.parquet"))
    path.write_bytes(path.read_bytes()[:100])
    assert pool(small).to_dict() == seen.to_dict()


def test_a_folder_without_clients_is_bad_input(tmp_path: Path) -> None:
    (tmp_path / "rules").mkdir()
    with pytest.raises(MinerError, match="no client folder"):
        pool(tmp_path)
    with pytest.raises(MinerError, match="no such folder"):
        pool(tmp_path / "nowhere")


def test_a_mistake_in_the_practice_is_told_at_once(small: Path) -> None:
    (small / "practice.toml").write_text('rank_unit = "week"\n', encoding="utf-8")
    with pytest.raises(MinerError, match="rank_unit"):
        pool(small)


def test_the_answer_is_plain_json(found: Caseload) -> None:
    text = json.dumps(found.to_dict(), allow_nan=False)
    back = json.loads(text)
    assert set(back["clients"][0]) >= {
        "client", "usable_units", "status", "clear", "hints", "pooled", "error",
    }  # fmt: skip
    assert set(back["pooled"][0]) >= {
        "factor", "outcome", "clients", "units", "difference", "interval", "df", "p_adjusted",
        "spread", "two_stage", "by_client",
    }  # fmt: skip
    assert set(back["pooled"][0]["by_client"][0]) >= {"client", "raw", "shrunken", "interval"}
