"""Results made by hand."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest

from miner import rulebook
from miner.rulebook import RuleBook

SAMPLES = Path(__file__).resolve().parents[1] / "brief" / "text_samples.py"


@pytest.fixture(scope="session")
def samples() -> ModuleType:
    """Builders of small results."""
    spec = importlib.util.spec_from_file_location("text_samples", SAMPLES)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def rules() -> RuleBook:
    """The rule books that ship."""
    return rulebook.load()
