from __future__ import annotations

import pytest

from miner.words.amounts import Amounts, chance, fixed

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
