"""Tags that name a medicine are never habits, however they are written."""

from __future__ import annotations

import pytest

from miner import rulebook
from miner.tables.columns import fold, whole_words

RULES = rulebook.load()


# Names of medicines and of what is none: common knowledge, no source.
@pytest.mark.parametrize(
    "tag",
    ["meds", "Thyroid med", "blood thinner", "statin", "Atorvastatin 20", "semaglutide",
     "gliclazide", "levothyroxine", "GLP-1 shot", "insulina", "metform\u00edn", "metformina 500mg",
     "2 tablets", "pill", "antibi\u00f3tico", "hydrocortisone", "evening medication"],
)  # fmt: skip
def test_a_medicine_is_known_by_its_words(tag: str) -> None:
    assert whole_words(RULES.cautions.medicine_words).search(fold(tag))


@pytest.mark.parametrize(
    "tag",
    ["late coffee", "red wine", "med diet", "pilates", "drugstore run", "static bike", "espresso",
     "stress", "nap", "sauna", "cinema", "meditation", "statue walk", "insult"],
)  # fmt: skip
def test_an_ordinary_tag_is_none(tag: str) -> None:
    assert not whole_words(RULES.cautions.medicine_words).search(fold(tag))
