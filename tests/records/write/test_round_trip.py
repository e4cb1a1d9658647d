"""A random month written in a random dialect reads back as it was."""

from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pandas as pd
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from miner.records import read_client

FORMATS = [
    None,
    "%Y-%m-%d %H:%M:%S",
    "%d/%m/%Y %H:%M",
    "%m/%d/%Y %I:%M %p",
    "%d.%m.%y %H:%M",
    "%Y%m%dT%H%M",
    "%d %b %Y %H:%M:%S %z",
]
ZONES = ["Europe/Lisbon", "America/New_York", "Australia/Sydney", "Asia/Kolkata"]
TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1, max_size=9)

dialects = st.fixed_dictionaries(
    {
        "delimiter": st.sampled_from([",", ";", "\t", "|"]),
        "comma": st.booleans(),
        "encoding": st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
        "format": st.sampled_from(FORMATS),
        "zone": st.sampled_from(ZONES),
        "end": st.sampled_from(["\n", "\r\n"]),
        "skip": st.integers(0, 3),
        "molar": st.booleans(),
        "newest_first": st.booleans(),
    }
)


def spell(moment: pd.Timestamp, form: str | None) -> str:
    return moment.isoformat() if form is None else moment.strftime(form)


def quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'


def toml_text(text: str) -> str:
    return text.replace("\t", "\\t")


def write(folder: Path, d: dict, values: np.ndarray, start: str, labels: list[str]) -> list:
    comma = d["comma"] and d["delimiter"] != ","
    times = pd.date_range(start, periods=len(values), freq="15min", tz=d["zone"])
    shown = [f"{v / 18.0156:.4f}" if d["molar"] else f"{v:.1f}" for v in values]
    rows = [
        d["delimiter"].join([spell(t, d["format"]), v.replace(".", ",") if comma else v])
        for t, v in zip(times, shown, strict=True)
    ]
    meals = [
        d["delimiter"].join([spell(t, d["format"]), quoted(label)])
        for t, label in zip(times[:: len(times) // len(labels)], labels, strict=False)
    ]
    if d["newest_first"]:
        rows = rows[::-1]
    unit = "glucose_mmol_l" if d["molar"] else "glucose_mg_dl"
    head = ["made by nobody"] * d["skip"]
    for name, columns, body in (
        ("g.txt", ["When", "Value"], rows),
        ("m.txt", ["When", "What"], meals),
    ):
        text = d["end"].join([*head, d["delimiter"].join(columns), *body]) + d["end"]
        (folder / name).write_bytes(text.encode(d["encoding"]))
    common = (
        f'skip_rows = {d["skip"]}\ndelimiter = "{toml_text(d["delimiter"])}"\n'
        f'decimal = "{"," if comma else "."}"\n'
        + (f'time_format = "{d["format"]}"\n' if d["format"] else "")
        + (f'encoding = "{d["encoding"]}"\n' if d["encoding"] == "utf-16" else "")
        + "[source.columns]\ntime = 'When'\n"
    )
    (folder / "sources.toml").write_text(
        f'[[source]]\nfile = "g.txt"\nstream = "glucose"\n{common}{unit} = "Value"\n'
        f'[[source]]\nfile = "m.txt"\nstream = "meals"\n{common}label = "What"\n'
    )
    (folder / "client.toml").write_text(f'time_zone = "{d["zone"]}"\n')
    return [times, meals]


@settings(max_examples=60, derandomize=True, deadline=None, phases=[Phase.generate])
@given(
    dialect=dialects,
    seed=st.integers(0, 2**32 - 1),
    month=st.integers(1, 12),
    labels=st.lists(TEXTS, min_size=3, max_size=6),
)
def test_any_month_in_any_dialect(dialect, seed, month, labels):
    generator = np.random.default_rng(seed)
    turn = 2 * np.pi * np.arange(96 * 28) / 96 + generator.uniform(0, 6)
    values = np.round(170 + 125 * np.sin(turn) + generator.uniform(-5, 5, len(turn)), 1)
    with TemporaryDirectory() as place:
        times, meals = write(Path(place), dialect, values, f"2026-{month:02d}-01", labels)
        client = read_client(place)
    glucose = client.used("glucose")
    utc = times.tz_convert("UTC").tz_localize(None)
    assert len(glucose) == len(values)
    np.testing.assert_array_equal(glucose["time"].to_numpy(), utc.to_numpy())
    np.testing.assert_array_equal(glucose["clock"].to_numpy(), times.tz_localize(None).to_numpy())
    np.testing.assert_allclose(glucose["glucose"], values, atol=0.05 / 50)
    rows = np.arange(len(values)) + dialect["skip"] + 2
    assert glucose["row"].tolist() == (rows[::-1] if dialect["newest_first"] else rows).tolist()
    assert client.streams["meals"]["label"].tolist() == labels[: len(meals)]
    assert not [item for item in client.findings if item.severity in ("stop", "left_out")]
