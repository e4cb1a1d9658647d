"""A name that no rule book knows is told, with the nearest that one does."""

import pytest

from miner import steps


@pytest.mark.parametrize(
    ("toml", "what", "do"),
    [
        ('[intake]\npregnansy = "yes"\n', "'pregnansy' in [intake]", "Did you mean 'pregnancy'?"),
        ('primary_outcome = "wake_glucse"\n', "'wake_glucse'", "Did you mean 'wake_glucose'?"),
        ('[intake]\npregnancy = "yes"\n', None, None),
    ],
)
def test_a_name_that_is_not_known(tmp_path, toml, what, do):
    rows = [f"2026-03-02T08:{m:02d},100" for m in range(0, 60, 5)]
    (tmp_path / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]))
    (tmp_path / "client.toml").write_text(toml)
    found = steps.check(steps.read_client(tmp_path)).findings
    told = [item for item in found if "and is not used" in item.what]
    assert len(told) == (what is not None)
    if what is not None:
        assert what in told[0].what
        assert told[0].do == do
