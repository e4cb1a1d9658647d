"""What becomes of a ledger whose writers are killed, meet, or run out of room.

Killed: each round a child process keeps hypotheses and reads them, with writes in small slow pieces
so that a kill can tear a line, and reports each entry once it is on the disk. It is killed
(SIGKILL) after a random time. After every round the ledger must hold every entry that was
reported, in order, with the chain of checks unbroken, and no idea more than one verdict.

At once: two processes keep two ideas each at the same moment; all four entries must be there, and
the fourth must be the one that came too late.

Full, read-only: a small disk of its own (tmpfs; mounting needs the rights for it) is filled to the
last bytes, and then closed to writing; what was reported must stay, and the next entry be refused
in words.

    python -m benchmarks.ledger_torture --rounds 1000 --times 200 --seed 0
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np

from miner import ledger
from miner.ledger import replay

AT = datetime(2026, 3, 1, 8, tzinfo=UTC)
RESULTS = Path(__file__).parent / "results" / "ledger.md"
ROUNDS_A_LEDGER = 50
DISK_BYTES = 64 * 1024


def idea(name: str, **more: Any) -> dict[str, Any]:
    """What the ledger keeps of a hypothesis, as far as its story needs it."""
    return {
        "id": name, "as": "watch", "factors": ["short_sleep"], "lag_days": [0],
        "outcome": "wake_glucose", "unit_of": "day", "direction": "up", "definitions": {},
        "smallest_worth_it": 5.0, "suggested_by_days_to": "2026-02-28", "read_on": "2026-03-28",
    } | more  # fmt: skip


@dataclass(frozen=True)
class Tally:
    """What the rounds left: entries, torn lines, reported entries lost, broken places."""

    rounds: int
    reported: int
    kept: int
    verdicts: int
    torn: int
    lost: int
    out_of_order: int
    broken: int
    second_verdicts: int

    @property
    def held(self) -> bool:
        """Whether nothing was lost, broken, out of order or settled twice."""
        return not (self.lost or self.out_of_order or self.broken or self.second_verdicts)


def torture(folder: Path, rounds: int, seed: int, longest_s: float = 0.05) -> Tally:
    """Run the rounds on ledgers in folders of ``folder``, look after each, and count."""
    chance = np.random.default_rng(seed)
    sums = dict.fromkeys((field.name for field in fields(Tally)), 0)
    for first in range(0, rounds, ROUNDS_A_LEDGER):
        own = folder / f"from-{first}"
        own.mkdir()
        reported: list[str] = []
        for number in range(first, min(first + ROUNDS_A_LEDGER, rounds)):
            reported += _round(own, number, chance.uniform(0.001, longest_s))
            seen = _look(own, reported)
            for name in ("lost", "out_of_order", "broken", "second_verdicts"):
                sums[name] += seen[name]
        for name in ("reported", "kept", "verdicts", "torn"):
            sums[name] += seen[name]
    return Tally(**sums | {"rounds": rounds})


def _look(folder: Path, reported: list[str]) -> dict[str, int]:
    book = ledger.read(folder)
    events = [e for e in book.events if e.event in ("kept", "verdict")]
    written = [f"{e.event} {e.payload['id']}" for e in events]
    known = set(reported)
    story = replay(book)
    return {
        "reported": len(reported),
        "kept": len(story.kept),
        "verdicts": sum(item.verdict is not None for item in story.kept),
        "torn": sum(f.count for f in book.problems if "not finished" in f.what),
        "lost": len(known - set(written)),
        "out_of_order": int([name for name in written if name in known] != reported),
        "broken": sum("not finished" not in f.what for f in book.problems),
        "second_verdicts": len(story.refused),
    }


def _round(folder: Path, number: int, seconds: float) -> list[str]:
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        _write_until_killed(folder, number, into)
    os.close(into)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(out) as pipe:
        return [line.strip() for line in pipe if line.endswith("\n")]


def _write_until_killed(folder: Path, number: int, into: int) -> None:
    whole, chance = os.write, np.random.default_rng(number)

    def piece(target: int, data: bytes) -> int:
        time.sleep(chance.uniform(0, 0.0005))
        return whole(target, bytes(data[: chance.integers(1, 400)]))

    try:
        os.write = piece
        for count in range(1_000_000):
            for item in replay(ledger.read(folder)).open_on(None):
                payload = {"kept_entry": item.entry.n, "id": item.id, "status": "not_settled"}
                ledger.append(folder, "verdict", payload, AT)
                whole(into, f"verdict {item.id}\n".encode())
            name = f"{number}-{count}"
            note = "é" * int(chance.integers(0, 400))
            ledger.append(folder, "kept", idea(name, note=note), AT)
            whole(into, f"kept {name}\n".encode())
    finally:
        os._exit(1)


def together(folder: Path, times: int) -> int:
    """Let two processes keep two ideas each at one moment; return how often that went wrong."""
    context = multiprocessing.get_context("fork")
    wrong = 0
    for number in range(times):
        own = folder / str(number)
        own.mkdir()
        start = context.Event()
        both = [context.Process(target=_keep_two, args=(own, name, start)) for name in "ab"]
        for one in both:
            one.start()
        start.set()
        for one in both:
            one.join(30)
        book = ledger.read(own)
        story = replay(book)
        names = sorted(e.payload["id"] for e in ledger.named(book, "kept"))
        held = names == ["a0", "a1", "b0", "b1"] and len(story.kept) == 3
        wrong += not (held and story.refused == {4} and not book.problems)
    return wrong


def _keep_two(folder: Path, name: str, start: Any) -> None:
    start.wait()
    for at in range(2):
        ledger.append(folder, "kept", idea(f"{name}{at}"), AT)


@contextmanager
def small_disk(place: Path, size: int = DISK_BYTES) -> Iterator[Path]:
    """Mount a disk of a few bytes on a folder.

    Raises:
        OSError: that is not allowed here.
    """
    words = ["mount", "-t", "tmpfs", "-o", f"size={size},mode=755", "tmpfs", str(place)]
    if subprocess.run(words, capture_output=True, check=False).returncode:
        raise OSError("mounting is not allowed here")
    try:
        yield place
    finally:
        subprocess.run(["umount", str(place)], check=True)


def full_disk(place: Path) -> tuple[int, str]:
    """Keep until the disk is full, make room, keep again.

    Returns:
        How many entries there are in the end, and what was said in between.
    """
    client = place / "client"
    client.mkdir()
    written, told = 0, ""
    while not told:
        try:
            ledger.append(client, "kept", idea(str(written), note="x" * 1500), AT)
            written += 1
        except ledger.LedgerUnwritable as error:
            told = error.message
    left = [e.payload["id"] for e in ledger.named(ledger.read(client), "kept")]
    assert left == [str(at) for at in range(written)]
    subprocess.run(["mount", "-o", f"remount,size={2 * DISK_BYTES}", str(place)], check=True)
    ledger.append(client, "kept", idea("after"), AT)
    book = ledger.read(client)
    assert book.trusted
    assert [e.payload["id"] for e in ledger.named(book, "kept")] == [*left, "after"]
    return written + 1, told


def read_only(place: Path) -> str:
    """Close a disk with a ledger to writing and return what is said; what stood there stands."""
    client = place / "client"
    client.mkdir(exist_ok=True)
    ledger.append(client, "kept", idea("before"), AT)
    before = (client / ledger.NAME).read_bytes()
    subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
    told = ""
    try:
        ledger.append(client, "kept", idea("never"), AT)
    except ledger.LedgerUnwritable as error:
        told = error.message
    assert (client / ledger.NAME).read_bytes() == before
    assert not ledger.read(client).writable
    return told


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=1000)
    parser.add_argument("--times", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        tally = torture(Path(folder), chosen.rounds, chosen.seed)
    with tempfile.TemporaryDirectory() as folder:
        wrong = together(Path(folder), chosen.times)
    lines = [
        "# The ledger under torture", "",
        f"`python -m benchmarks.ledger_torture --rounds {chosen.rounds} --times {chosen.times}"
        f" --seed {chosen.seed}`", "",
        "| what | how often | what was found |", "|---|---|---|",
        f"| killed while keeping and reading | {tally.rounds} | {tally.reported} entries reported,"
        f" {tally.lost} lost, {tally.out_of_order} out of order, {tally.torn} torn lines set aside,"
        f" {tally.broken} broken, {tally.second_verdicts} second verdicts |",
        f"| two processes keeping at once | {chosen.times} | {wrong} times anything lost |",
    ]  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        try:
            with small_disk(Path(folder)) as place:
                entries, full = full_disk(place)
            with small_disk(Path(folder)) as place:
                closed = read_only(place)
        except OSError as error:
            lines.append(f"| a full and a read-only disk | 0 | not tried: {error} |")
        else:
            said = [text.replace(folder, "DISK").replace("\n", " ") for text in (full, closed)]
            lines += [
                f"| a disk that fills up, then has room | 1 | all {entries} entries there;"
                f" {said[0]} |",
                f"| a disk that is read-only | 1 | what stood there stands; {said[1]} |",
            ]
    print("\n".join(lines))
    if not tally.held or wrong:
        raise SystemExit("the ledger did not hold")
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
