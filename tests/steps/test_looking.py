"""What is said of an entry of a mapping that cannot be used as it stands."""

from __future__ import annotations

import pytest

from miner.core.messages import MinerError
from miner.steps.mapping import source_of


@pytest.mark.parametrize(
    ("entry", "found", "expected"),
    [
        (
            {"columns": {"time": "t"}},
            "the entry",
            "glucose_mg_dl or glucose_mmol_l under [source.columns]",
        ),
        ({"columns": {}, "skip_rows": "two"}, "skip_rows", "a whole number"),
        ({"columns": {}, "time_format": "%H"}, "time_format", "a time_format with year, month"),
    ],
)
def test_an_entry_is_refused_in_words(entry, found, expected) -> None:
    with pytest.raises(MinerError) as error:
        source_of({"file": "x.csv", "stream": "glucose", **entry})
    assert error.value.found == f"{found} is not yet right"
    assert error.value.expected.startswith(expected)
