from __future__ import annotations

import csv
import json
from io import StringIO
from types import ModuleType

import pandas as pd

from miner.render.terminal import render
from miner.render.values import sheet, table_csv, table_dict
from miner.rulebook import RuleBook
from miner.words.days import STRIP, days_parts


def test_days_are_told_with_unknown_marked(samples: ModuleType, rules: RuleBook) -> None:
    assert (
        render(days_parts("client-07", samples.day_table(), rules))
        == """\
client-07: 2 of 3 days can be used.

Glucose measures
                    wake minutes
                 glucose   above
  day        out   mg/dL     min sensor
  2026-03-01          98       0 A
  2026-03-02         101      35 A
  2026-03-03 a         -       - B
  a: under 70 % of readings

Habits (x yes, . no, ? not known)
                           000
  2026-03-01 to 2026-03-03 123
  short_sleep              x?.
  tag:rain                 .x?
"""
    )


def test_mmol_changes_levels_and_not_minutes(samples: ModuleType, rules: RuleBook) -> None:
    text = render(days_parts("c", samples.day_table(), rules, display_unit="mmol/L"))
    # 98.25 and 101 mg/dL over 18.0156
    assert "  2026-03-01         5.5       0 A\n  2026-03-02         5.6      35 A\n" in text


def test_a_spreadsheet_gets_one_line_a_day_in_full(samples: ModuleType) -> None:
    assert (
        table_csv(samples.day_table())
        == """\
date,usable,left_out,sensor,wake_glucose,minutes_above,short_sleep,tag:rain
2026-03-01,1,,A,98.25,0.0,1,0
2026-03-02,1,,A,101.0,34.6,,1
2026-03-03,0,under 70 % of readings,B,,,0,
"""
    )


def test_numbers_in_the_sheet_come_back_unrounded(samples: ModuleType) -> None:
    table = samples.day_table()
    table.frame["wake_glucose"] = [1 / 3, 100 * 2**0.5, 98.0]
    rows = list(csv.DictReader(StringIO(table_csv(table))))
    assert [float(row["wake_glucose"]) for row in rows] == [1 / 3, 100 * 2**0.5, 98.0]


def test_a_meal_carries_its_name_and_its_date(samples: ModuleType) -> None:
    table = samples.day_table()
    table.unit = "meal"
    table.frame = table.frame.assign(meal="lunch", label="oats", carbs_g=40.0, baseline=None)
    first, row, *_ = table_csv(table).splitlines()
    assert first.startswith("meal,date,usable,left_out,sensor,kind,label,carbs_g,baseline,wake")
    assert row.startswith("2026-03-01,2026-03-01,1,,A,lunch,oats,40.0,,")


def test_json_holds_null_where_unknown(samples: ModuleType) -> None:
    found = json.loads(json.dumps(table_dict("client-07", samples.day_table()), allow_nan=False))
    assert found["usable_units"] == 2
    assert found["rows"][2] == {
        "date": "2026-03-03",
        "usable": False,
        "left_out": "under 70 % of readings",
        "sensor": "B",
        "wake_glucose": None,
        "minutes_above": None,
        "short_sleep": 0,
        "tag:rain": None,
    }


def test_a_long_record_is_cut_into_strips(samples: ModuleType, rules: RuleBook) -> None:
    table = samples.day_table()
    days = [str(day.date()) for day in pd.date_range("2026-03-01", periods=STRIP + 7)]
    table.frame = pd.concat([table.frame.iloc[[0]]] * len(days)).assign(date=days)
    table.frame.index = pd.Index(days)
    text = render(days_parts("c", table, rules))
    assert f"  short_sleep              {'x' * STRIP}\n" in text
    assert f"  short_sleep              {'x' * 7}\n" in text
    assert "  2026-04-20 to 2026-04-26 0123456\n" in text


def test_no_days_at_all_are_no_fault(samples: ModuleType, rules: RuleBook) -> None:
    table = samples.day_table()
    table.frame = table.frame.iloc[:0]
    assert render(days_parts("c", table, rules)) == "c: 0 of 0 days can be used.\n"
    assert len(table_csv(table).splitlines()) == 1
    assert table_dict("c", table)["rows"] == []


def test_many_reasons_get_letters_of_their_own(samples: ModuleType, rules: RuleBook) -> None:
    table = samples.day_table()
    table.frame = pd.concat([table.frame.iloc[[2]]] * 28)
    table.frame["left_out"] = [f"reason {n}" for n in range(28)]
    text = render(days_parts("c", table, rules))
    assert "  z: reason 25\n  aa: reason 26\n  bb: reason 27\n" in text


def test_hostile_words_are_inert(samples: ModuleType, rules: RuleBook) -> None:
    tag = "tag:[red]\x1b[31m\u202e" + "z" * 500
    table = samples.day_table(**{tag: [1.0, 0.0, 1.0]})
    table.frame["left_out"] = ["", "", "=cmd|x\x1b"]
    table.frame["sensor"] = ["\u202e[b]", "", ""]
    text = render(days_parts("[x]\x1b", table, rules))
    assert not set(text) & {"\x1b", "\u202e"}
    assert "  tag:[red]<U+001B>[31m... x.x\n" in text


def test_text_a_spreadsheet_would_run_is_quoted() -> None:
    rows = [["=1+1", "@x", "-2", -2.5, 3, True, None, float("nan"), ("a", "b"), 'q"']]
    assert sheet(["+h"] * 10, rows).splitlines()[1] == ('\'=1+1,\'@x,\'-2,-2.5,3,1,,,a + b,"q"""')
