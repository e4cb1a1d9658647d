"""What a verdict is seen by, and its drawing: each number is one of what ``follow`` returns."""

import json
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from fresh_tables import idea, table_of
from matplotlib.patches import Rectangle

from miner import rulebook
from miner.core.results import PairRead, PairsTest, PlanResult, Wording, worded
from miner.core.results.follow import FollowPicture, KeptResult, NewUnits, PeriodSeen, UnitSeen
from miner.followup.picture import picture_of_new, picture_of_test
from miner.ledger import PlanEntry
from miner.render.drawn import follow_drawing
from miner.render.figures.paper import as_svg
from miner.words.amounts import Amounts
from miner.words.followed import Followed, marks

RULES = rulebook.load()
BEFORE = (
    UnitSeen("2026-01-12", 92.0, False),
    UnitSeen("2026-01-13", 117.0, True, high=True),
    UnitSeen("2026-01-14", 101.0, True),
    UnitSeen("2026-01-15", 110.0, False, high=True),
)
KNOWN = {
    "id": "4c28aa7c",
    "kept_on": "2026-02-24",
    "suggested_by_days_to": "2026-02-23",
    "read_on": "2026-03-28",
    "factors": ("short_sleep",),
    "lag_days": (0,),
    "outcome": "wake_glucose",
    "unit_of": "day",
    "unit": "mg/dL",
    "direction": "up",
    "expected": 9.0,
    "smallest_worth_it": 5.0,
}
PAIRS = (PairRead(1, 90.0, 104.0, 2, 2, True), PairRead(2, 97.0, None, 1, 0, True))


def period(pair, arm, first, mean, *values):
    days = [f"2026-03-{first + at:02d}" for at in range(3)]
    units = tuple(
        UnitSeen(day, value, arm == "change", counted=at > 0)
        for at, (day, value) in enumerate(zip(days, values, strict=False))
    )
    return PeriodSeen(pair, arm, days[0], days[-1], mean, units)


PERIODS = (
    period(1, "change", 2, 90.0, 99.0, 88.0, 92.0),
    period(1, "usual", 5, 104.0, 95.0, 103.0, 105.0),
    period(2, "usual", 8, None, 98.0),
    period(2, "change", 11, 97.0, 96.0, 97.0),
)


def of_test(**changes):
    test = PlanResult(
        plan="p1",
        status="changed",
        difference=-14.0,
        interval=(-20.0, -2.0),
        p=0.03,
        pairs_used=1,
        pairs_not_followed=0,
        as_followed=PairsTest(1, -14.0, None, 0.03),
        id="4c28aa7c",
        factor="short_sleep",
        outcome="wake_glucose",
        unit="mg/dL",
        unit_of="day",
        worth_having=5.0,
        read_on="2026-04-28",
        pairs=PAIRS,
        planned_pairs=2,
    )
    picture = FollowPicture(BEFORE, periods=PERIODS, sensors=("2026-01-14", "2026-03-08"))
    test = worded(replace(test, **changes), Wording(RULES))
    return KeptResult(as_="alternate", test=test, picture=picture, open=False, **KNOWN)


def watched(**changes):
    new = (UnitSeen("2026-02-24", 95.0, False), UnitSeen("2026-02-25", 109.0, True, high=True))
    own = {
        "status": "held_up",
        "difference": 10.0,
        "interval": (6.0, 15.0),
        "new_units": 2,
        "counts": NewUnits(2, 1, 1, 0),
        "picture": FollowPicture(BEFORE, new=new),
        "open": False,
    }
    item = KeptResult(as_="watch", **(KNOWN | own | changes))
    return worded(item, Wording(RULES))


def drawn(item, unit="mg/dL", *, wide=True):
    drawing = follow_drawing(Followed(item, RULES, Amounts(unit)))
    assert drawing is not None
    return drawing.draw(wide)


def spots(place, shapes):
    """Return day and value of every mark of a panel that has one of these shapes."""
    return [
        tuple(float(side[0]) for side in line.get_data())
        for line in place.lines
        if line.get_marker() in shapes
    ]


@pytest.mark.parametrize("unit", ["mg/dL", "mmol/L"])
@pytest.mark.parametrize("wide", [True, False])
def test_every_unit_and_mean_of_the_json_is_drawn_at_its_value(unit, wide):
    item = of_test()
    told = json.loads(json.dumps(item.to_dict()))["picture"]
    scale = 1 / 18.0156 if unit == "mmol/L" else 1.0
    before, test, _ = drawn(item, unit, wide=wide).axes
    values = [value for _, value in spots(before, "oD")]
    assert values == pytest.approx([each["value"] * scale for each in told["before"]])
    assert len(spots(before, "D")) == sum(each["high"] for each in told["before"])
    filled = [line.get_markerfacecolor() for line in before.lines if line.get_marker() in "oD"]
    paper = {filled[at] for at, each in enumerate(told["before"]) if not each["with"]}
    assert len(paper) == 1
    assert not paper & {filled[at] for at, each in enumerate(told["before"]) if each["with"]}
    units = [each["value"] for one in told["periods"] for each in one["units"]]
    assert [value for _, value in spots(test, "o")] == pytest.approx(np.array(units) * scale)
    bars = [patch for patch in test.patches if isinstance(patch, Rectangle)]
    means = [one["mean"] * scale for one in told["periods"] if one["mean"] is not None]
    thick = min(bar.get_height() for bar in bars)
    middles = [b.get_y() + b.get_height() / 2 for b in bars if b.get_height() == thick]
    assert middles == pytest.approx(means)
    assert len(spots(test, "^")) == 1
    assert len(spots(before, "^")) == 1


@pytest.mark.parametrize("wide", [True, False])
def test_differences_hang_from_the_usual_periods_on_the_scale_of_all_panels(wide):
    item = of_test()
    figure = drawn(item, wide=wide)
    panels = figure.axes
    assert len({panel.get_ylim() for panel in panels}) == 1
    heights = [panel.get_position().height for panel in panels]
    assert heights == pytest.approx([heights[0]] * 3)
    usual = 104.0  # the usual period of the open pair has no partner and does not count
    # one pair was read, then the mean of all
    assert [value for _, value in spots(panels[2], "o")] == [usual - 14.0, usual - 14.0]
    levels = [line.get_ydata() for line in panels[2].lines if line.get_marker() == "None"]
    ends = {tuple(float(end) for end in line) for line in levels}
    assert (usual, usual) in ends
    assert (usual - 5.0, usual - 5.0) in ends
    assert (usual - 20.0, usual - 2.0) in ends


def test_new_units_stand_beside_those_that_suggested_it():
    item = watched()
    _, new, showed = drawn(item).axes
    assert [value for _, value in spots(new, "oD")] == [95.0, 109.0]
    assert [value for _, value in spots(showed, "o")] == [95.0 + 10.0]
    lines = [float(line.get_ydata()[0]) for line in showed.lines if line.get_marker() == "None"]
    assert 95.0 + 9.0 in lines


def test_what_was_not_expected_is_held_against_what_is_worth_it():
    told = Followed(watched(expected=None), RULES, Amounts())
    assert told.looked_for() == (5.0, "line_worth")
    down = Followed(watched(expected=None, direction="down"), RULES, Amounts())
    assert down.looked_for() == (-5.0, "line_worth")


def test_too_few_new_units_are_drawn_without_a_difference():
    item = watched(status="not_settled", difference=None, interval=None)
    assert spots(drawn(item).axes[2], "o") == []
    assert "\u2212" not in as_svg(drawn(item))


def test_without_a_unit_there_is_no_picture_and_no_table():
    told = Followed(watched(picture=FollowPicture(())), RULES, Amounts())
    assert follow_drawing(told) is None
    assert told.tables() == []
    only_before = watched(picture=FollowPicture(BEFORE))
    assert spots(drawn(only_before).axes[2], "o") == []


@pytest.mark.parametrize("wide", [True, False])
def test_no_word_of_the_picture_lies_on_another(wide):
    figure = drawn(of_test(), wide=wide)
    figure.canvas.draw()
    words = [text for place in figure.axes for text in place.texts if text.get_text()]
    boxes = sorted((t.get_window_extent() for t in words), key=lambda box: box.y0)
    for one, other in pairwise(boxes):
        apart = other.y0 >= one.y1 - 2 or other.x0 >= one.x1 - 2 or one.x0 >= other.x1 - 2
        assert apart, (one, other)


def test_the_pairs_as_a_table_hold_what_is_drawn():
    (name, (pairs,)), (other, (days,)) = Followed(of_test(), RULES, Amounts()).tables()
    assert (name, other) == ("The pairs as a table", "The days as a table")
    assert pairs.rows == (
        ("1", "2 March 2026", "90", "104", "-14.0"),
        ("2", "8 March 2026", "97", "-", "-"),
    )
    assert ("before", "13 January 2026", "short nights", "117", "high") in days.rows
    assert ("test", "2 March 2026", "change", "99", "not counted") in days.rows
    assert len(days.rows) == len(BEFORE) + sum(len(one.units) for one in PERIODS)


def test_only_a_test_says_that_something_changed():
    assert "changed" in Followed(of_test(), RULES, Amounts()).verdict()
    for status in ("held_up", "did_not_hold", "habit_stopped", "not_settled"):
        told = Followed(watched(status=status), RULES, Amounts()).told()
        assert told["verdict"]
        assert "changed" not in str(told)


def test_before_its_date_days_are_counted_and_no_value_is_there():
    item = watched(status="waiting", difference=None, interval=None, picture=None, open=True)
    followed = Followed(item, RULES, Amounts())
    told = followed.told()
    assert follow_drawing(followed) is None
    assert told["counted"].marks.count("▮") == 1  # two of 33 days, two days a mark
    assert told["counted"].told == "2 of 33 days counted."
    assert (told["lines"], told["tables"], told["verdict"], told["next"]) == ([], [], "", [])


def test_a_test_that_goes_on_counts_its_pairs():
    test = replace(of_test().test, status=None, difference=None, interval=None, p=None)
    item = replace(of_test(), test=worded(test, Wording(RULES, case="waiting")), picture=None)
    told = Followed(replace(item, open=True), RULES, Amounts()).told()
    assert told["counted"].marks == "▮▯"
    assert "So far 1 of 2 pairs" in told["state"]


@pytest.mark.parametrize(("have", "of", "said"), [(0, 3, "▯▯▯"), (5, 3, "▮▮▮"), (60, 120, 30)])
def test_marks_are_filled_for_what_is_counted(have, of, said):
    found = marks(have, of)
    assert found == said if isinstance(said, str) else (len(found), found.count("▮")) == (30, 15)


@pytest.mark.parametrize("item", [of_test(), watched()])
def test_calm_pages_have_words_and_no_number(item):
    followed = Followed(item, RULES, Amounts(), calm=True)
    told = followed.told()
    assert follow_drawing(followed) is None
    assert told["verdict"]
    shown = {name: value for name, value in told.items() if name not in ("id", "plan")}
    assert not any(letter.isdigit() for letter in str(shown))


def test_what_may_be_next_follows_the_verdict():
    def doing(item):
        return [one.do for one in Followed(item, RULES, Amounts()).next()]

    assert doing(of_test()) == ["keep", "test", "leave"]
    assert doing(watched()) == ["test", "keep", "leave"]
    assert doing(watched(status="did_not_hold")) == ["other", "keep", "leave"]


@pytest.fixture(scope="module")
def table():
    return table_of(RULES)


def plain(table, first, last):
    """Return day -> value, habit of the usable days on which both are known, by their rows."""
    frame = table.frame[(table.frame["date"] >= first) & (table.frame["date"] <= last)]
    frame = frame[frame["usable"].astype(bool)]
    frame = frame[frame["minutes_above"].notna() & frame["late_dinner"].notna()]
    return {
        str(row.date): (row.minutes_above, row.late_dinner == 1.0) for row in frame.itertuples()
    }


def test_the_units_before_and_the_new_ones_are_those_of_the_table(table):
    days = table.frame["date"].astype(str).tolist()
    kept = idea(suggested_by_days_to=days[39], read_on=days[69])
    found = picture_of_new(table, RULES, kept)
    for units, first, last in ((found.before, days[0], days[39]), (found.new, days[40], days[69])):
        assert {u.unit: (u.value, u.with_) for u in units} == plain(table, first, last)
        assert units
    assert found.periods == ()
    without = [unit.value for unit in found.new if not unit.with_]
    assert found.usual == pytest.approx(np.mean(without))


def test_what_comes_later_moves_no_high_day_of_before(table):
    days = table.frame["date"].astype(str).tolist()
    kept = idea(suggested_by_days_to=days[39], read_on=days[69])
    frame = table.frame.copy()
    frame.loc[frame["date"] > days[39], "minutes_above"] += 1000.0
    other = picture_of_new(replace(table, frame=frame), RULES, kept)
    assert other.before == picture_of_new(table, RULES, kept).before
    assert any(unit.high for unit in other.before)


def test_new_sensors_are_told_by_the_first_day_they_are_worn(table):
    days = table.frame["date"].astype(str).tolist()
    frame = table.frame.copy()
    frame["sensor"] = ["a" if day < days[30] else "b" for day in days]
    kept = idea(suggested_by_days_to=days[39], read_on=days[69])
    found = picture_of_new(replace(table, frame=frame), RULES, kept)
    usable = frame[frame["usable"].astype(bool)]["date"].astype(str)
    assert found.sensors == (min(day for day in usable if day >= days[30]),)


def test_periods_hold_the_rows_of_their_days_and_those_left_out(table):
    days = table.frame["date"].astype(str).tolist()
    whole = {"leave_out_days": 1}
    plan = PlanEntry.read(
        {
            "plan": "p1",
            "factor": "late_dinner",
            "outcome": "minutes_above",
            "unit": "min",
            "change": "x",
            "pairs": 2,
            "offset_days": 1,
            "seed": 1,
            "worth_having": 20.0,
            "read_on": days[60],
            "periods": [
                {"number": 1, "pair": 1, "from": days[50], "to": days[51], "arm": "usual"} | whole,
                {"number": 2, "pair": 1, "from": days[52], "to": days[53], "arm": "change"} | whole,
                {"number": 3, "pair": 2, "from": days[54], "to": days[55], "arm": "change"} | whole,
                {"number": 4, "pair": 2, "from": days[56], "to": days[57], "arm": "usual"} | whole,
            ],
        }
    )
    kept = idea(suggested_by_days_to=days[39], read_on=days[60])
    found = picture_of_test(table, RULES, kept, plan, [PairRead(1, 3.0, 5.0, 1, 1, True)])
    usual, change = found.periods  # the second pair was not read
    assert (usual.mean, change.mean) == (5.0, 3.0)
    assert (usual.first, usual.last) == (days[51], days[52])  # the habit's day is the day before
    known = {
        str(row.date): row.minutes_above
        for row in table.frame[table.frame["usable"].astype(bool)].itertuples()
    }
    for one in found.periods:
        assert one.units
        for unit in one.units:
            assert unit.value == known[unit.unit]
            assert unit.counted == (unit.unit != one.first)
    assert found.usual == 5.0
    assert found.new == ()
