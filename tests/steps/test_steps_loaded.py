"""Each step of the whole job is there by its name, and loads no more than it needs."""

import subprocess
import sys
from pathlib import Path
from types import FunctionType

import pytest

from miner import steps


def test_every_step_is_there_and_no_module_has_its_name() -> None:
    modules = {path.stem for path in Path(steps.__file__).parent.glob("*.py")}
    assert not modules & set(steps.__all__)
    for name in steps.__all__:
        step = getattr(steps, name)
        assert isinstance(step, FunctionType | type)
        assert step.__name__ == name
    assert set(steps.__all__) == {*steps._HOME}
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        _ = steps.nothing


def test_ranking_does_not_wait_for_pages_plans_or_a_caseload() -> None:
    code = (
        "import sys; from miner import steps; steps.rank; "
        "print(*[name for name in sys.modules if name.startswith('miner.')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    loaded = set(done.stdout.split())
    assert "miner.hypotheses.rank" in loaded
    later = (
        "miner.render.pages",
        "miner.render.figures",
        "miner.steps.keeping",
        "miner.page",
    )
    assert not {name for name in loaded if name.startswith(later)}
