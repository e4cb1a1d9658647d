"""The work folder: a file a client as they finish, so that a run that was stopped goes on.

The record of one client is a Parquet file: its row, what its own ranking called each pattern,
its units.
"""

from __future__ import annotations

import hashlib
import json
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from miner.core.files import make_folder, whole_file, write_whole
from miner.core.messages import Message, MinerError
from miner.core.results import Evidence

if TYPE_CHECKING:
    import pandas as pd

    from miner.core.results.caseload import Caseload, ClientRow


KEY = b"miner"
Told = Mapping[tuple[str, str], Evidence]


@dataclass(frozen=True, slots=True)
class Head:
    """What is in a record next to its units.

    Attributes:
        fingerprint: of everything the record was made from.
        told: (factor, outcome) -> what the client's own ranking called it, "cannot tell" left out.
        code: the client's own, where the records were read.
        prints: a hash of the readings of each day, by day since 1970-01-01.
    """

    row: ClientRow
    fingerprint: str
    told: Told
    code: str = ""
    prints: Mapping[int, str] = field(default_factory=dict)


def to_parquet(head: Head, units: pd.DataFrame) -> bytes:
    """Return a record as the bytes of a Parquet file; the same record gives the same bytes."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = {name: units[name].to_numpy(dtype=float) for name in units.columns}
    table = pa.table(columns).replace_schema_metadata({KEY: _head_text(head)})
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd")
    return bytes(sink.getvalue())


def read_head(source: str | BinaryIO) -> Head:
    """Read what is next to the units.

    Raises:
        ValueError: it is no record of this program, or a damaged one.
    """
    import pyarrow.parquet as pq

    from miner.core.results.caseload import ClientRow
    from miner.core.results.morning import ClientState

    found = pq.read_schema(source).metadata or {}
    if KEY not in found:
        raise ValueError("no record")
    raw = json.loads(found[KEY])
    told = {(factor, outcome): Evidence(level) for factor, outcome, level in raw["told"]}
    row = raw["row"]
    known = {item.name: row[item.name] for item in fields(ClientRow)}
    for name in ("error", "cautions", "attention", "not_asked"):
        known[name] = restored(known[name])
    if (state := known["state"]) is not None:
        known["state"] = ClientState(**state | {"days": tuple(state["days"])})
    prints = {int(day): mark for day, mark in raw["prints"].items()}
    return Head(ClientRow(**known), raw["fingerprint"], told, raw["code"], prints)


def _head_text(head: Head) -> bytes:
    told = sorted([factor, outcome, str(level)] for (factor, outcome), level in head.told.items())
    state = head.row.state
    found: dict[str, Any] = {
        "row": head.row.to_dict()
        | {"state": state and state.to_dict() | {"typed": state.typed}}
        | {name: stored(getattr(head.row, name)) for name in ("error", "cautions", "attention")},
        "fingerprint": head.fingerprint,
        "told": told,
        "code": head.code,
        "prints": dict(head.prints),
    }
    return json.dumps(found, sort_keys=True).encode()


def stored(value: Any) -> Any:
    """Return a code with its values, which each door words; what rule books say, in their words."""
    if isinstance(value, Message):
        values = {name: stored(item) for name, item in value.values.items()}
        return {"code": value.code, "values": values} if value.rules is None else str(value)
    return [stored(item) for item in value] if isinstance(value, list | tuple) else value


def restored(value: Any) -> Any:
    """Return what was stored: messages, and tuples of them."""
    if isinstance(value, dict):
        return Message(value["code"], {k: restored(item) for k, item in value["values"].items()})
    return tuple(restored(item) for item in value) if isinstance(value, list) else value


NAME = ".miner-caseload"
CLIENTS, MEALS, POOLED = "clients", "meal", "pooled"
SPREADS, PAGES, POOL = "spreads.json", "pages.json", "pool.parquet"
HELD_BYTES = 4_000_000
CLIENT = "client"
CLIENTS_A_GROUP = 256


class Store:
    """The files of a work folder.

    Args:
        folder: made if need be.

    Raises:
        MinerError: it cannot be made.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            make_folder(folder)
            make_folder(folder / CLIENTS)
        except OSError as error:
            reason = error.strerror
            raise MinerError("caseload.no_work_folder", file=folder, reason=reason) from error

    def path(self, name: str) -> Path:
        """Return where the record of one client folder is."""
        return _record(self.folder, name)

    def head(self, name: str) -> Head | None:
        """Return what is known of a client from an earlier run; a damaged file is none."""
        try:
            return read_head(str(self.path(name)))
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def kept(self, name: str) -> Head:
        """Return what was found of a client in this run.

        Raises:
            MinerError: the file has been removed or damaged meanwhile.
        """
        head = self.head(name)
        if head is None:
            raise MinerError("caseload.result_gone", file=self.path(name))
        return head

    def save(self, name: str, content: bytes) -> None:
        """Write the record of one client, whole or not at all."""
        self.write(self.path(name).relative_to(self.folder).as_posix(), content)

    def write(self, name: str, content: bytes) -> None:
        """Write any file of the work folder, whole or not at all."""
        path = self.folder / name
        make_folder(path.parent)
        write_whole(path, content, durable=False)

    def forget_all_but(self, names: Sequence[str]) -> list[ClientRow]:
        """Remove the records of every other client; return their rows."""
        kept = {self.path(name) for name in names}
        gone = []
        for path in sorted((self.folder / CLIENTS).rglob("*")):
            if path.is_file() and path not in kept:
                with suppress(OSError, ValueError, KeyError, TypeError):
                    gone.append(read_head(str(path)).row)
                path.unlink()
        return sorted(gone, key=lambda row: (row.client, row.folder))

    def same_units(self, names: Sequence[str]) -> dict[str, str]:
        """Return which clients have the very units of one before them, and of whom."""
        first: dict[bytes, str] = {}
        found = {}
        for name in names:
            digest = _units_digest(self.path(name))
            if digest is not None and first.setdefault(digest, name) != name:
                found[name] = first[digest]
        return found

    def read_json(self, name: str) -> Any:
        """Return what a JSON file of the work folder holds, or None."""
        try:
            return json.loads((self.folder / name).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None

    @contextmanager
    def together(self, names: Sequence[str], fewest: int) -> Iterator[PooledUnits]:
        """Give the units of some clients in one columnar file, which is removed afterwards.

        Args:
            names: the client folders; their place in this order is their number.
            fewest: columns that fewer clients have are left out.
        """
        path = self.folder / POOL
        found = [self.path(name) for name in names]
        counted = _columns(found)
        kept = [name for name in counted if counted[name] >= fewest]
        try:
            _write_together(path, found, kept)
            yield PooledUnits(path, tuple(kept), len(set(counted) - set(kept)))
        finally:
            path.unlink(missing_ok=True)


def folder_of_unit(home: Path, unit: str) -> Path:
    """Return where, in a work folder, the results of one unit are."""
    return home / MEALS if unit == "meal" else home


def forget_in_other_unit(home: Path, unit: str, agreed: Sequence[str]) -> None:
    """Remove from the other unit's results what rests on clients who are not pooled any more."""
    folder = folder_of_unit(home, "day" if unit == "meal" else "meal")
    if not (folder / CLIENTS).is_dir():
        return
    if any(row.pooled for row in Store(folder).forget_all_but(agreed)):
        shutil.rmtree(folder / POOLED, ignore_errors=True)
        (folder / SPREADS).unlink(missing_ok=True)


def read_pages(home: Path) -> dict[str, list[str]]:
    """Return the pages that name clients, each with their names."""
    try:
        pages = json.loads((home / PAGES).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return pages if isinstance(pages, dict) else {}


def pooled_before(practice: Path, name: str) -> bool:
    """Say whether the last caseload of a practice holds what one client's own records gave."""
    for unit in ("day", "meal"):
        path = _record(folder_of_unit(practice / NAME, unit), name)
        with suppress(OSError, ValueError, KeyError, TypeError):
            if read_head(str(path)).row.pooled:
                return True
    return False


def _record(folder: Path, name: str) -> Path:
    key = hashlib.sha256(name.encode()).hexdigest()[:32]
    return folder / CLIENTS / key[:2] / f"{key}.parquet"


class PooledUnits:
    """The units of all clients who agreed, read a few columns at a time.

    Attributes:
        columns: what there is; ``left_out`` how many columns too few clients have.
    """

    def __init__(self, path: Path, columns: tuple[str, ...], left_out: int) -> None:
        self._path, self.columns, self.left_out = path, columns, left_out
        self._hold = path.stat().st_size <= HELD_BYTES
        self._held: Any = None

    def __getstate__(self) -> dict[str, Any]:
        """Return what another process needs; it reads the columns of its own questions."""
        return self.__dict__ | {"_hold": False, "_held": None}

    def read(self, columns: Iterable[str]) -> pd.DataFrame:
        """Return the columns asked for and ``client``, the number of the client."""
        import pyarrow.parquet as pq

        names = [CLIENT, *columns]
        if self._hold and self._held is None:
            self._held = pq.read_table(self._path)
        whole = self._held
        table = pq.read_table(self._path, columns=names) if whole is None else whole.select(names)
        found: pd.DataFrame = table.to_pandas()
        return found

    def digest(self) -> str:
        """Return a hash of all there is."""
        with self._path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()


def _units_digest(path: Path) -> bytes | None:
    """Return a hash of the units of one client; None where there are none."""
    import pyarrow.parquet as pq

    table = pq.read_table(path)
    if not table.num_rows:
        return None
    digest = hashlib.sha256(repr(table.column_names).encode())
    for name in table.column_names:
        digest.update(table[name].to_numpy().tobytes())
    return digest.digest()


def _columns(paths: Sequence[Path]) -> dict[str, int]:
    import pyarrow.parquet as pq

    counted: dict[str, int] = {}
    for path in paths:
        for name in pq.read_schema(path).names:
            counted[name] = counted.get(name, 0) + 1
    return dict(sorted(counted.items()))


def _write_together(path: Path, paths: Sequence[Path], columns: Sequence[str]) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    schema = pa.schema([(CLIENT, pa.int32()), *((name, pa.float64()) for name in columns)])
    with (
        whole_file(path, durable=False) as file,
        pq.ParquetWriter(file, schema, compression="zstd") as writer,
    ):
        for begin in range(0, len(paths), CLIENTS_A_GROUP):
            parts = []
            for at, own in enumerate(paths[begin : begin + CLIENTS_A_GROUP], start=begin):
                table = pq.read_table(own)
                values: Mapping[str, Any] = {
                    name: table[name] if name in table.column_names else pa.nulls(table.num_rows)
                    for name in columns
                }
                number = pa.array([at] * table.num_rows, pa.int32())
                parts.append(pa.table({CLIENT: number, **values}).cast(schema))
            writer.write_table(pa.concat_tables(parts))


def keep_spreads(store: Store, found: Caseload) -> None:
    """Write the spreads found from 20 clients on; without any, remove those kept before."""
    spreads = [[factor, outcome, value] for (factor, outcome), value in found.spreads().items()]
    if not spreads:
        (store.folder / SPREADS).unlink(missing_ok=True)
        return
    content = {"unit": found.unit, "clients": found.agreed, "spreads": sorted(spreads)}
    store.write(SPREADS, (json.dumps(content, indent=1) + "\n").encode())


def practice_spreads(client_folder: Path, unit: str) -> dict[tuple[str, str], float]:
    """Return (factor, outcome) -> spread found across the practice, empty where there is none.

    A file that cannot be read counts as none: it is made again by the next ``caseload``.
    """
    home = client_folder.resolve().parent / NAME
    path = folder_of_unit(home, unit) / SPREADS
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        spreads = found["spreads"] if found["unit"] == unit else []
        kept = ((str(factor), str(outcome), float(value)) for factor, outcome, value in spreads)
        return {(factor, outcome): value for factor, outcome, value in kept if value > 0}
    except (OSError, ValueError, KeyError, TypeError):
        return {}
