"""Where a value came from: file and row, and the row that a correction stands in place of."""

from miner import rulebook, steps
from miner.core.results import Place
from miner.core.results.why import told
from miner.hypotheses.why import _places
from miner.records.write.entering import DiaryEntry


def test_a_correction_is_told_with_the_row_it_replaced():
    places = (
        Place("corrections.csv", 2, ("meals.csv", 12)), Place("corrections.csv", 3),
        Place("meals.csv", 4), Place("meals.csv", 5),
    )  # fmt: skip
    assert told(places) == "corrections.csv:2 (for meals.csv:12); corrections.csv:3; meals.csv:4-5"


def test_a_value_of_a_table_knows_the_row_its_correction_replaced(tmp_path):
    rows = (f"2026-03-0{day}T{hour:02d}:{minute:02d},100" for day in (2, 3, 4)
            for hour in range(24) for minute in range(0, 60, 5))  # fmt: skip
    (tmp_path / "glucose.csv").write_text("\n".join(["time,glucose_mg_dl", *rows]) + "\n")
    (tmp_path / "meals.csv").write_text("time,label,carbs_g\n2026-03-03T12:00,rice,700\n")
    steps.correct(tmp_path, DiaryEntry(values={"carbs_g": "70"}), which="meals.csv:2")
    rules = rulebook.load()
    client = steps.read_client(tmp_path)
    for table, unit in (
        (steps.days(client, rules), "2026-03-03"),
        (steps.meals(client, rules), "2026-03-03T12:00"),
    ):
        column = "high_carb_day" if table.unit == "day" else "high_carb"
        assert _places(table, unit, column) == (Place("corrections.csv", 2, ("meals.csv", 2)),)
    assert steps.meals(client, rules).measures.loc["2026-03-03T12:00", "high_carb"] == 70
