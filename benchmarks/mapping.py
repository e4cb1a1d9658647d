"""From raw files to a table by ``miner map FILE --write`` alone, and whether it is read right.

    python -m benchmarks.mapping FOLDER

FOLDER holds the client folders that ``datasets/open-multisignal/sources.toml`` maps. Every file of
them, and of the strangers' folders of ``strangers.py``, is mapped with nothing answered. What is
read then is held against what is read by the mapping that was written by hand.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

from benchmarks.strangers import FOLDERS, weeks
from miner import steps
from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.client import Client
from miner.steps.mapping import map_file

BY_HAND = Path(__file__).resolve().parents[1] / "datasets" / "open-multisignal" / "sources.toml"


def mapped(folder: Path) -> list[str]:
    """Map every file of a folder; return what stayed open."""
    left = []
    for path in sorted(folder.iterdir()):
        try:
            map_file(path, write=True)
        except MinerError as error:
            left.append(f"{path.name}: {error.found}")
    return left


def usable(folder: Path) -> str:
    """Return how many days of a folder come to a table."""
    try:
        rules = steps.load_rules(None, folder)
        frame = steps.days(steps.read_client(folder), rules).frame
    except MinerError as error:
        return f"no table: {error.found}"
    return f"{int((frame['left_out'] == '').sum())} of {len(frame)} days"


def facts(client: Client) -> dict[str, object]:
    """Return what is compared of a client: counts, sums, and the times of waking."""
    streams = client.streams
    return {
        "readings": len(streams["glucose"]),
        "mean glucose": round(float(streams["glucose"]["glucose"].mean()), 3),
        "wakings": tuple(client.used("sleep")["end_clock"].astype(str)),
        "asleep, h": round(float(client.used("sleep")["asleep_min"].sum()) / 60, 1),
        "steps": int(streams["activity"]["steps"].sum()),
        "meals": tuple(streams["meals"]["meal"].value_counts().sort_index().items()),
        "carbohydrate, g": round(float(streams["meals"]["carbs_g"].sum()), 1),
    }


def main(folder: Path) -> None:
    tables = 0
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        people = sorted(path for path in folder.iterdir() if path.is_dir())
        for person in people:
            here, hand = home / person.name, home / "by-hand" / person.name
            for target in (here, hand):
                target.mkdir(parents=True)
                for path in person.iterdir():
                    shutil.copyfile(path, target / path.name)
            shutil.copyfile(BY_HAND, hand / "sources.toml")
            left = mapped(here)
            days = usable(here)
            tables += not left and not days.startswith("no")
            print(f"{person.name}: {days}; open: {'; '.join(left) or 'nothing'}")
            if not left:
                one, other = facts(read_client(here)), facts(read_client(hand))
                unlike = [
                    f"{key} {one[key]} / {other[key]}" for key in one if one[key] != other[key]
                ]
                print(
                    f"  as by hand: {len(one) - len(unlike)} of {len(one)}", *unlike, sep="\n    "
                )
        for name, write in FOLDERS.items():
            here = home / name
            here.mkdir()
            write(here, weeks())
            left = mapped(here)
            days = usable(here)
            tables += not left and not days.startswith("no")
            print(f"{name}: {days}; open: {'; '.join(left) or 'nothing'}")
    print(f"{tables} of {len(people) + len(FOLDERS)} folders come to a table with --write alone")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
