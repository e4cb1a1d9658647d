import itertools
from dataclasses import asdict

import numpy as np
import pytest

from miner.tables.glucose.rises import find_rises, turning_points

DAY = np.arange(0, 600, 5.0)


def line(t, *corners):
    return np.interp(t, [c[0] for c in corners], [c[1] for c in corners])


def one(t, v, meals=(), **thresholds):
    (rise,) = find_rises(t, v, np.array(meals, float), **thresholds)
    return rise


@pytest.mark.parametrize("cadence", [1, 5, 15])
def test_a_triangle_is_read_exactly(cadence):
    # 60 to 120 up 60, down to 240: area = 60 * 60 / 2 + 60 * (60 + 30) / 2 to 120 minutes
    t = np.arange(0, 600, float(cadence))
    v = line(t, (60, 100), (120, 160), (240, 100))
    rise = one(t, v, smooth_min=0)
    assert (rise.start, rise.peak, rise.baseline, rise.height) == (60, 120, 100, 60)
    assert rise.time_to_peak == 60
    # back to within a tenth of the height: 6 above the baseline, at 0.5 a minute
    assert rise.back == pytest.approx(120 + 54 / 0.5)
    assert rise.back - rise.peak == pytest.approx(108)
    assert (rise.area, rise.area_min) == (pytest.approx(1800 + 2700), 120)
    longer = one(t, v, smooth_min=0, area_min=180)
    assert (longer.area, longer.area_min) == (pytest.approx(60 * 180 / 2), 180)
    assert (rise.hills, rise.start_seen, rise.peak_seen, rise.cut_by) == (1, True, True, "")


def test_the_median_takes_the_tip_by_the_gentler_slope():
    # The median of three readings about a tip is the tip less one step of the gentler slope.
    rise = one(DAY, line(DAY, (60, 100), (120, 160), (240, 100)))
    assert rise.height == pytest.approx(60 - 5 * 0.5)
    assert rise.start == 60


@pytest.mark.parametrize("cadence", [1, 5, 15])
def test_a_smooth_hill_is_found_at_any_cadence(cadence):
    # H (1 - cos(2 pi x / L)) / 2 over L minutes: peak H at L / 2, area H L / 2. After 4.9 minutes
    # and 0.8 it climbs by a third a minute, the most that is drift.
    t = np.arange(0, 480, float(cadence)) + 2
    x = np.clip(t - 120, 0, 120)
    v = 90 + 50 * (1 - np.cos(2 * np.pi * x / 120)) / 2
    rise = one(t, v)
    assert rise.start == pytest.approx(120 + 4.9, abs=7.5)
    assert rise.peak == pytest.approx(180, abs=7.5)  # half the window of the median
    assert rise.height == pytest.approx(50 - 0.8, abs=1.5)
    assert rise.area == pytest.approx(50 * 120 / 2 - 115 * (rise.baseline - 90), rel=0.03)


@pytest.mark.parametrize(("height", "found"), [(17.9, 0), (18, 1)])
def test_a_rise_is_18_or_more(height, found):
    v = line(DAY, (60, 100), (120, 100 + height), (180, 100))
    assert len(find_rises(DAY, v, smooth_min=0)) == found


def test_one_wild_reading_is_no_rise():
    v = np.full(DAY.size, 100.0)
    v[40] = 180
    assert find_rises(DAY, v) == ()
    assert len(find_rises(DAY, v, smooth_min=0)) == 1


@pytest.mark.parametrize(
    ("height", "dip", "apart", "meal", "hills"),
    [
        (60, 7, 60, 170, [1]),  # half an hour at 5 an hour: 9.5, and under 10 parts nothing
        (60, 8, 60, 170, [2]),
        (60, 14, 60, None, [2]),  # gives back 14 of 60: less than a quarter
        (60, 14, 60, 170, [2]),  # food between makes no other hill of it
        (60, 14, 240, None, [2]),  # nor does time
        (60, 15, 60, None, [1, 1]),  # gives back a quarter
        (60, 15, 60, 170, [1, 1]),
        (150, 19, 60, None, [2]),
        (150, 20, 60, None, [1, 1]),  # less than a quarter, but as deep as a rise is high
    ],
)
def test_two_hills_are_one_rise_by_the_dip_alone(height, dip, apart, meal, hills):
    second, top = 120 + apart, 100 + height
    v = line(
        DAY,
        (60, 100),
        (120, top),
        (120 + apart / 2, top - dip),
        (second, top + 10),
        (second + 90, 100),
    )
    meals = [60] if meal is None else [60, meal]
    found = find_rises(DAY, v, np.array(meals, float), smooth_min=0)
    assert [rise.hills for rise in found] == hills
    if len(hills) == 1:
        assert (found[0].start, found[0].peak, found[0].height) == (60, second, height + 10)
    else:
        assert [rise.start for rise in found] == [60, 120 + apart / 2]
        assert [rise.height for rise in found] == [height, 10 + dip]


def test_of_two_hills_the_higher_gives_the_height_and_the_last_the_way_back():
    v = line(DAY, (60, 100), (120, 200), (150, 185), (180, 198), (280, 100))
    rise = one(DAY, v, smooth_min=0, back_share=0.87)  # down to 185 between: that alone is not back
    assert (rise.peak, rise.height, rise.hills) == (120, 100, 2)
    assert rise.back == pytest.approx(180 + (198 - 187) / 0.98)


@pytest.mark.parametrize(("top", "hills"), [(285, [2]), (286, [1, 1])])
def test_a_hill_that_climbs_more_than_the_rise_before_it_is_its_own(top, hills):
    v = line(DAY, (60, 100), (120, 200), (150, 185), (210, top), (300, 100))
    found = find_rises(DAY, v, smooth_min=0)
    assert [rise.hills for rise in found] == hills
    assert found[-1].start == (60 if len(hills) == 1 else 150)


@pytest.mark.parametrize("cadence", [1, 5, 15])
@pytest.mark.parametrize(
    ("drifted", "top", "start"),
    [
        (0, 60, 180),
        # The fastest half hour climbs half of what is left; four tenths of that rate over the 120
        # minutes of drift is 27.2 where 26 of 60 had drifted, and 26.4 where 27 had.
        (26, 60, 180),
        (27, 60, 60),
        # Twenty an hour is the most that is drift: 40 over the 120 minutes, of any height.
        (39, 240, 180),
        (41, 240, 60),
    ],
)
def test_a_rise_begins_where_the_climb_begins_not_where_a_slow_drift_does(
    drifted, top, start, cadence
):
    t = np.arange(0, 600, float(cadence))
    v = line(t, (0, 130), (60, 100), (180, 100 + drifted), (240, 100 + top), (400, 100))
    rise = one(t, v, smooth_min=0)
    assert (rise.start, rise.height) == (start, top - (drifted if start == 180 else 0))
    assert rise.baseline == 100 + top - rise.height
    assert one(t, v, smooth_min=0, drift=0).start == (180 if drifted == 0 else 60)


def test_a_slow_beginning_of_a_steep_climb_is_part_of_it():
    # Half a mg/dL a minute is a fifth of what follows, and still a climb of 30 an hour.
    v = line(DAY, (0, 130), (60, 100), (120, 130), (200, 330), (400, 100))
    assert one(DAY, v, smooth_min=0).start == 60
    assert one(DAY, v, smooth_min=0, drift_most=2).start == 120


def test_a_climb_after_a_small_step_begins_at_the_end_of_the_step():
    v = line(DAY, (0, 130), (60, 100), (70, 110), (110, 110), (170, 170), (400, 100))
    assert one(DAY, v, smooth_min=0).start == 110


def test_wobbles_along_the_floor_come_before_the_climb():
    floor = [(60, 100), (90, 109), (120, 101), (150, 109), (180, 102)]
    v = line(DAY, (0, 130), *floor, (240, 160), (400, 100))
    rise = one(DAY, v, smooth_min=0)
    assert (rise.start, rise.hills) == (180, 1)


@pytest.mark.parametrize("missing", [(), (185, 190, 195), (200, 205, 210), (225, 230, 235)])
def test_readings_that_are_missing_within_the_climb_do_not_move_its_foot(missing):
    v = line(DAY, (0, 130), (60, 100), (180, 105), (260, 185), (400, 100))
    keep = ~np.isin(DAY, missing)
    rise = one(DAY[keep], v[keep], smooth_min=0)
    assert (rise.start, rise.height) == (180, 80)


def test_of_readings_on_the_line_the_last_is_the_start():
    # 2 a minute at the fastest, an eighth of it is 0.25: what every reading up to 40 has climbed.
    t = np.arange(0, 200, 4.0)
    v = line(t, (0, 100), (40, 110), (80, 190), (160, 100))
    assert one(t, v, smooth_min=0, drift=0.125, fastest_min=32).start == 40


def test_a_climb_shorter_than_half_an_hour_begins_at_its_foot():
    v = line(DAY, (0, 130), (60, 100), (120, 101), (140, 150), (300, 100))
    assert one(DAY, v, smooth_min=0).start == 120


@pytest.mark.parametrize(("after", "peak"), [(194, 60), (196, 480)])
def test_a_slow_drift_after_the_climb_moves_no_start_and_no_peak(after, peak):
    # Seven hours at 5 an hour are 35.
    v = line(DAY, (30, 100), (60, 160), (480, after), (540, 100))
    rise = one(DAY, v, smooth_min=0)
    assert (rise.start, rise.peak, rise.height) == (30, peak, 60 if peak == 60 else after - 100)


@pytest.mark.parametrize(
    ("first", "level", "second", "starts", "heights"),
    [
        (25, 125, 80, [60, 215], [25, 80]),  # two hours at 5 an hour are 10: level that long parts
        (25, 115, 80, [205], [80]),  # for less long it is a slow beginning
        (80, 125, 25, [60], [105]),  # what is no larger than the rise before it belongs to it
        (25, 5, 80, [60], [105]),
    ],
)
def test_a_long_level_stretch_ends_a_climb(first, level, second, starts, heights):
    top, leaves = 100 + first, 90 + level
    v = line(DAY, (60, 100), (90, top), (leaves, top), (leaves + 60, top + second), (590, 100))
    found = find_rises(DAY, v, smooth_min=0)
    assert [rise.start for rise in found] == starts
    assert [rise.height for rise in found] == heights


def test_a_peak_is_seen_where_glucose_stays_level_after_it():
    v = line(DAY, (60, 100), (120, 160))
    assert one(DAY[DAY <= 240], v[DAY <= 240], smooth_min=0).peak_seen
    assert not one(DAY[DAY < 240], v[DAY < 240], smooth_min=0).peak_seen


def test_a_rise_of_two_hills_begins_at_the_foot_of_the_first():
    drifting = line(DAY, (0, 130), (60, 100), (150, 104), (210, 204), (240, 188), (300, 210))
    rise = one(DAY, drifting, smooth_min=0)
    assert (rise.start, rise.peak, rise.hills) == (150, 300, 2)


def test_a_low_point_after_a_slight_hump_is_the_start():
    v = line(DAY, (0, 130), (60, 100), (150, 105), (210, 103), (300, 160), (400, 100))
    assert one(DAY, v, smooth_min=0).start == 210


def between(t, v, at):
    """The value at one time by the straight line between two readings, the last one's after it."""
    for i in range(1, len(t)):
        if at <= t[i]:
            return v[i - 1] + (v[i] - v[i - 1]) * (at - t[i - 1]) / (t[i] - t[i - 1])
    return v[-1]


def foot(t, v):
    """The one reading reached no faster than the limit from any before it, and left faster.

    From low point to peak; the limit is four tenths of the rate of the fastest half hour, at most
    20 an hour, and only what comes before the end of that half hour is looked at.
    """
    climbs = [between(t, v, at + 30) - value for at, value in zip(t, v, strict=True)]
    limit = min(0.4 * max(climbs) / 30, 20 / 60)
    within = [i for i, at in enumerate(t) if at <= t[climbs.index(max(climbs))] + 30]
    (only,) = (
        i
        for i in within
        if all((v[i] - v[j]) / (t[i] - t[j]) <= limit for j in within if j < i)
        and all((v[j] - v[i]) / (t[j] - t[i]) > limit for j in within if j > i)
    )
    return only


def naive_rises(t, v):
    """Start, peak, height and hills of each rise, from the written rule alone."""
    groups = []
    for low, peak in turning_points(v - (t - t[0]) * 5 / 60, 10):
        if groups:
            bottom, top = groups[-1][0][0], max(v[p] for _, p in groups[-1])
            whole, dip = top - v[bottom], top - v[low]
            if v[peak] - v[low] <= whole and 4 * dip < whole and dip < 20:
                groups[-1].append((low, peak))
                continue
        groups.append([(low, peak)])
    for group in groups:
        low, peak = group[0][0], max((p for _, p in group), key=lambda p: v[p])
        start = low + foot(t[low : peak + 1].tolist(), v[low : peak + 1].tolist())
        if v[peak] - v[start] >= 18:
            yield t[start], t[peak], v[peak] - v[start], len(group)


def wandering(seed, cadence):
    """Climbs, falls and drifts of any size, one after the other, read now and then."""
    chance = np.random.default_rng([seed, len(cadence)])
    steps = chance.integers(1, 20, 240) if cadence == "uneven" else np.full(240, int(cadence))
    t = np.cumsum(steps).astype(float)
    turns = np.append(0, np.cumsum(chance.uniform(15, 90, 300)))
    climbs, falls = chance.uniform(15, 150, 300), -chance.uniform(5, 30, 300)
    changes = [climbs, falls, chance.uniform(-5, 9, 300)]
    v = np.append(0, np.cumsum(np.choose(chance.integers(0, 3, 300), changes)))
    return t, np.interp(t, turns, v) + chance.normal(0, 0.5, t.size)


CURVES = list(itertools.product(range(20), ["5", "15", "uneven"]))


@pytest.mark.parametrize(("seed", "cadence"), CURVES)
def test_starts_and_hills_are_those_of_the_written_rule(seed, cadence):
    t, v = wandering(seed, cadence)
    found = [(r.start, r.peak, r.height, r.hills) for r in find_rises(t, v, smooth_min=0)]
    assert found == list(naive_rises(t, v))


def test_the_curves_of_that_comparison_hold_hills_and_drifts():
    hills = drifts = 0
    for curve in CURVES:
        t, v = wandering(*curve)
        found = find_rises(t, v, smooth_min=0)
        low_points = {rise.start for rise in find_rises(t, v, smooth_min=0, drift=0)}
        hills += sum(rise.hills > 1 for rise in found)
        drifts += sum(rise.start not in low_points for rise in found)
    assert min(hills, drifts) > 20


def test_a_climb_that_is_too_low_from_its_start_is_no_rise():
    v = line(DAY, (0, 130), (60, 100), (180, 112), (240, 129), (400, 100))
    assert find_rises(DAY, v, smooth_min=0) == ()
    assert len(find_rises(DAY, v, smooth_min=0, drift=0)) == 1


def test_a_small_hump_before_is_not_the_first_of_two_hills():
    v = line(DAY, (60, 100), (90, 115), (120, 100), (180, 160), (300, 100))
    rise = one(DAY, v, smooth_min=0)
    assert (rise.start, rise.hills) == (120, 1)


def test_the_next_meal_cuts():
    v = line(DAY, (60, 100), (120, 160), (240, 100))
    rise = one(DAY, v, [50, 150], smooth_min=0)
    assert (rise.cut_by, rise.meal) == ("meal", 50)
    assert np.isnan(rise.back)
    # 1800 to the peak, then 30 minutes from 60 down to 45
    assert (rise.area_min, rise.area) == (90, pytest.approx(1800 + 30 * 52.5))
    assert one(DAY, v, [50, 80], smooth_min=0).cut_by == ""  # two entries of one meal
    assert one(DAY, v, [50, 300], smooth_min=0).cut_by == ""  # it was back by then


def test_the_next_rise_cuts():
    v = line(DAY, (60, 100), (120, 160), (240, 120), (300, 180), (400, 100))
    first, second = find_rises(DAY, v, smooth_min=0)
    assert (first.cut_by, second.cut_by) == ("rise", "")
    assert np.isnan(first.back)


def test_a_gap_and_the_end_cut():
    v = line(DAY, (60, 100), (120, 160), (240, 100))
    before = DAY <= 150
    gap = one(DAY[before | (DAY > 200)], v[before | (DAY > 200)], smooth_min=0)
    assert (gap.cut_by, gap.peak_seen, gap.area_min) == ("gap", True, 90)
    end = one(DAY[before], v[before], smooth_min=0)
    assert (end.cut_by, end.peak_seen) == ("end", True)
    climbing = one(DAY[DAY <= 110], v[DAY <= 110], smooth_min=0)
    assert (climbing.cut_by, climbing.peak, climbing.peak_seen) == ("end", 110, False)
    begun = one(DAY[DAY >= 80], v[DAY >= 80], smooth_min=0)
    assert (begun.start, begun.start_seen) == (80, False)


def test_a_short_stretch_without_readings_does_not_cut():
    v = line(DAY, (60, 100), (120, 160), (240, 100))
    keep = (DAY <= 85) | (DAY >= 105)
    assert one(DAY[keep], v[keep], smooth_min=0).cut_by == ""
    cut = one(DAY[keep], v[keep], smooth_min=0, longest_gap_min=19)
    assert (cut.cut_by, cut.peak, cut.peak_seen) == ("gap", 85, False)


@pytest.mark.parametrize(
    ("height", "meal", "unlogged"),
    [(40, None, True), (29, None, False), (40, 0, False), (40, -5, True), (40, 120, False)],
)
def test_unlogged_is_high_with_no_meal_around(height, meal, unlogged):
    v = line(DAY, (60, 100), (120, 100 + height), (240, 100))
    rise = one(DAY, v, [] if meal is None else [meal], smooth_min=0)
    assert rise.unlogged is unlogged
    assert np.isnan(rise.meal) == (meal is None or unlogged)


def test_its_meal_is_the_last_before_the_start_else_the_first_before_the_peak():
    v = line(DAY, (60, 100), (120, 160), (240, 100))
    assert one(DAY, v, [5, 40, 75]).meal == 40
    assert one(DAY, v, [75, 90]).meal == 75


def noisy(days=3):
    chance = np.random.default_rng(5)
    t = np.arange(0, days * 1440, 5.0)
    v = np.full(t.size, 95.0)
    meals = np.sort(chance.choice(np.arange(300, days * 1440 - 300, 30), 4 * days, replace=False))
    for meal in meals:
        x = np.clip(t - meal, 0, None)
        v += chance.uniform(25, 80) * (x / 45) * np.exp(1 - x / 45)
    return t, v + chance.normal(0, 2, t.size), meals.astype(float)


def same(first, second):
    assert len(first) == len(second)
    for a, b in zip(first, second, strict=True):
        one_side, other = asdict(a), asdict(b)
        assert one_side.pop("cut_by") == other.pop("cut_by")
        assert other == pytest.approx(one_side, nan_ok=True, rel=1e-9)


def test_order_unknown_readings_and_the_clock_do_not_matter():
    t, v, meals = noisy()
    found = find_rises(t, v, meals)
    assert len(found) > 5
    order = np.random.default_rng(6).permutation(t.size)
    same(found, find_rises(t[order], v[order], meals[::-1]))
    more_t, more_v = np.append(t, t + 1), np.append(v, np.full(t.size, np.nan))
    same(found, find_rises(more_t, more_v, np.append(meals, np.nan)))
    later = find_rises(t + 10_000, v + 7, meals + 10_000)
    assert [r.start - 10_000 for r in later] == [r.start for r in found]
    assert [r.height for r in later] == pytest.approx([r.height for r in found])
    assert [r.cut_by for r in later] == [r.cut_by for r in found]


def test_rises_do_not_overlap_and_keep_their_order():
    t, v, meals = noisy(10)
    found = find_rises(t, v, meals)
    assert all(r.start < r.peak for r in found)
    assert all(a.peak < b.start for a, b in itertools.pairwise(found))
    assert all(r.height >= 18 for r in found)
    assert all(np.isfinite(r.back) == (r.cut_by == "") for r in found)


def test_nothing_in_nothing_out():
    assert find_rises(np.array([]), np.array([])) == ()
    assert find_rises(np.array([1.0]), np.array([100.0])) == ()
    assert find_rises(DAY, np.full(DAY.size, np.nan)) == ()
    assert find_rises(DAY, np.full(DAY.size, 100.0)) == ()
    with pytest.raises(ValueError, match="lengths differ"):
        find_rises(DAY, DAY[:3])
    with pytest.raises(TypeError):
        find_rises(DAY, DAY, heigth=3)
