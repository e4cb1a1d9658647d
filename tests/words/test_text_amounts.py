from __future__ import annotations

import pytest

from miner.core.messages import MinerError
from miner.words.amounts import Amounts, chance, fixed, in_unit, level_typed
from miner.words.said import texts

MG, MMOL = Amounts("mg/dL"), Amounts("mmol/L")


# 1 mmol/L of glucose is 18.0156 mg/dL: molar mass 180.156 g/mol (IUPAC atomic weights, C6H12O6).
@pytest.mark.parametrize(
    ("mg_dl", "mmol_l"), [(18.0156, "+1.00"), (90.078, "+5.00"), (-9.0078, "-0.50")]
)
def test_differences_are_divided_by_the_molar_mass(mg_dl: float, mmol_l: str) -> None:
    assert MMOL.difference(mg_dl, "mg/dL") == mmol_l


def test_levels_and_spreads_follow_and_minutes_stay() -> None:
    assert MMOL.level(100.0, "mg/dL") == "5.6"
    assert MMOL.size(7.0, "mg/dL") == "0.39"
    assert MMOL.level(34.6, "min") == MG.level(34.6, "min") == "35"
    assert MMOL.unit("mg/dL min") == "mmol/L min"
    assert MMOL.unit("min") == "min"
    assert MMOL.difference(180.156, "mg/dL min") == "+10.0"


def test_an_interval_keeps_both_signs() -> None:
    assert MG.interval((-1.04, 16.0), "mg/dL") == "-1.0 to +16.0"
    assert MG.interval(None, "mg/dL") == "-"


@pytest.mark.parametrize(
    ("value", "digits", "shown"),
    [
        (0.04, 1, "+0.04"),
        (-0.004, 1, "-0.004"),
        (0.0, 1, "0.0"),
        (-0.0, 0, "0"),
        (None, 1, "-"),
        (float("nan"), 1, "-"),
        (float("inf"), 1, "-"),
        (12.25, 0, "+12"),
    ],
)
def test_a_number_other_than_nought_never_reads_nought(
    value: float | None, digits: int, shown: str
) -> None:
    assert fixed(value, digits, sign=True) == shown


@pytest.mark.parametrize(
    ("p", "shown"),
    [(0.00001, "<0.0001"), (0.0007, "0.0007"), (0.0214, "0.021"), (0.5, "0.50"), (None, "-")],
)
def test_chances_keep_two_digits(p: float | None, shown: str) -> None:
    assert chance(p) == shown


@pytest.mark.parametrize(
    ("typed", "unit", "taken"),
    [
        ("3.9", "mmol/L", 70.26),
        ("7,8", "mmol/L", 140.52),
        ("140", "mg/dL", 140.0),
        ("70 mg/dL", "mmol/L", 70.0),
        ("3.9 mmol/l", "mg/dL", 70.26),
        ("33.3", "mmol/L", 599.92),
    ],
)
def test_a_level_is_taken_in_the_unit_of_the_practice(typed: str, unit: str, taken: float) -> None:
    """7.8 mmol/L times 18.0156 are 140.52 mg/dL."""
    assert level_typed(typed, unit) == pytest.approx(taken, abs=0.005)


@pytest.mark.parametrize(
    ("typed", "unit", "meant"),
    [("70", "mmol/L", "write 3.9, or '70 mg/dL'"), ("7.8", "mg/dL", "write 141, or '7.8 mmol/L'")],
)
def test_a_level_of_the_other_unit_is_asked_about(typed: str, unit: str, meant: str) -> None:
    with in_unit(unit):
        with pytest.raises(MinerError) as raised:
            level_typed(typed, unit)
        assert meant in raised.value.do


@pytest.mark.parametrize("typed", ["", "nan", "inf", "7.8.1", "mmol/L"])
def test_what_is_no_level_is_refused(typed: str) -> None:
    with pytest.raises(MinerError, match="is not a number"):
        level_typed(typed, "mmol/L")


def test_an_amount_of_glucose_is_told_in_the_unit_of_the_practice() -> None:
    """18.0156 mg/dL are 1 mmol/L: levels to one decimal of it, differences to two."""
    small = {"worth": 3.6, "unit": "mg/dL", "need": 5.0}
    assert "3.6 mg/dL" in texts("followup.small_worth", small)["found"]
    assert texts("followup.small_worth", small)["expected"] == "at least 5 mg/dL"
    with in_unit("mmol/L"):
        assert "0.2 mmol/L" in texts("followup.small_worth", small)["found"]
        assert texts("followup.small_worth", small)["expected"] == "at least 0.28 mmol/L"
        assert texts("records.reading", {"value": 99.0})["text"] == "5.5 mmol/L"
        minutes = texts("followup.small_worth", small | {"unit": "min"})
        assert minutes["expected"] == "at least 5 min"
    assert texts("records.reading", {"value": 99.0})["text"] == "99 mg/dL"
