from pathlib import Path

import pytest


class Folder:
    """A client folder that is written file by file."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def write(self, name: str, text: str | bytes, encoding: str = "utf-8") -> "Folder":
        raw = text if isinstance(text, bytes) else text.encode(encoding)
        (self.path / name).write_bytes(raw)
        return self

    def glucose(self, *rows: str, header: str = "time,glucose_mg_dl") -> "Folder":
        return self.write("glucose.csv", "\n".join([header, *rows]) + "\n")

    def steady_glucose(self, start: str = "2026-03-02", hours: int = 24) -> "Folder":
        import pandas as pd

        times = pd.date_range(start, periods=hours * 12, freq="5min")
        rows = [f"{time:%Y-%m-%dT%H:%M},{100 + at % 7}" for at, time in enumerate(times)]
        return self.glucose(*rows)


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    path = tmp_path / "practice" / "client-01"
    path.mkdir(parents=True)
    return Folder(path)
