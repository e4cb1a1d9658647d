"""What a mapping may say beyond columns: offsets, counts since 1970, levels, meals, wear."""

import numpy as np
import pytest

from miner.core.messages import MinerError
from miner.records import read_client
from miner.records.columns import NO_LEVEL

GLUCOSE = (
    '[[source]]\nfile = "g.csv"\nstream = "glucose"\n[source.columns]\n'
    'time = "t"\nglucose_mg_dl = "g"\n'
)


def mapped(folder, entry: str, text: str, *, client: str = ""):
    """Return the records of a folder with one mapped file beside a plain one of glucose."""
    folder.steady_glucose(start="2026-03-28", hours=72)
    folder.write("x.csv", text).write("client.toml", client)
    folder.write("sources.toml", f'[[source]]\nfile = "x.csv"\n{entry}')
    return read_client(folder.path)


def clocks(frame) -> list[str]:
    return [
        f"{a:%d %H:%M} to {b:%d %H:%M}"
        for a, b in zip(frame["start_clock"], frame["end_clock"], strict=True)
    ]


NIGHTS = (
    'stream = "sleep"\n[source.columns]\nstart = "from"\nutc_offset = "off"\nduration = "long"\n'
    '[source.units]\nduration = "h"\n'
)


@pytest.mark.parametrize(
    ("offset", "unit"),
    [("7200", 's"'), ("120", 'min"'), ("2", 'h"'), ("+02:00", None), ("+0200", None), ("+2", None)],
)
def test_an_offset_beside_a_time_in_utc(folder, offset, unit):
    entry = NIGHTS + (f'utc_offset = "{unit}\n' if unit else "")
    client = mapped(folder, entry, f"from,off,long\n2026-03-29 21:00,{offset},8\n")
    (night,) = client.streams["sleep"].to_dict("records")
    assert str(night["start"]) == "2026-03-29 23:00:00"  # no zone anywhere else: the clock
    assert clocks(client.streams["sleep"]) == ["29 23:00 to 30 07:00"]


def test_an_offset_beside_a_night_in_which_the_clock_is_set_forward(folder):
    # Lisbon, 29 March 2026: 01:00 becomes 02:00. Source: IANA time zone database.
    text = "from,off,long\n2026-03-28 23:00,+00:00,8\n2026-03-29 22:00,+01:00,8\n"
    client = mapped(folder, NIGHTS, text, client='time_zone = "Europe/Lisbon"')
    assert clocks(client.streams["sleep"]) == ["28 23:00 to 29 08:00", "29 23:00 to 30 07:00"]
    lengths = client.streams["sleep"]["end"] - client.streams["sleep"]["start"]
    assert (lengths == np.timedelta64(8, "h")).all()


def test_a_row_without_a_usable_offset_is_lost_without_a_zone(folder):
    text = "from,off,long\n2026-03-28 21:00,,8\n2026-03-29 21:00,+99,8\n2026-03-30 21:00,+01,8\n"
    client = mapped(folder, NIGHTS, text)
    assert clocks(client.streams["sleep"]) == ["30 22:00 to 31 06:00"]
    told = {item.what: item.row for item in client.findings if item.file == "x.csv"}
    assert told["2 times in UTC without an offset in 'off'"] == 2
    assert told["1 offset from UTC in 'off' that cannot be used ('+99')"] == 3
    assert not any("cannot be read" in what for what in told)


def test_with_a_zone_the_zone_stands_for_a_missing_offset(folder):
    text = "from,off,long\n2026-03-29 21:00,,8\n"
    client = mapped(folder, NIGHTS, text, client='time_zone = "Europe/Paris"')
    assert clocks(client.streams["sleep"]) == ["29 23:00 to 30 07:00"]


@pytest.mark.parametrize(("unit", "scale"), [("epoch_s", 1), ("epoch_ms", 1000)])
def test_times_counted_from_1970(folder, unit, scale):
    # 1774818000 s are 2026-03-29T21:00:00Z. Source: the command "date -u -d @1774818000".
    begin, end = 1774818000 * scale, (1774818000 + 8 * 3600) * scale
    entry = (
        'stream = "sleep"\n[source.columns]\nstart = "a"\nend = "b"\n'
        f'[source.units]\nstart = "{unit}"\nend = "{unit}"\n'
    )
    client = mapped(folder, entry, f"a,b\n{begin},{end}\n", client='time_zone = "Europe/Paris"')
    assert clocks(client.streams["sleep"]) == ["29 23:00 to 30 07:00"]
    assert str(client.streams["sleep"]["start"].iloc[0]) == "2026-03-29 21:00:00"


def test_a_rounded_count_is_no_time(folder):
    entry = (
        'stream = "meals"\n[source.columns]\ntime = "a"\nlabel = "b"\n'
        '[source.units]\ntime = "epoch_ms"\n'
    )
    client = mapped(folder, entry, "a,b\n1.7748E+12,oats\n1774818000000,rice\n1774818000,soup\n")
    assert client.streams["meals"]["label"].tolist() == ["rice", "soup"][:1]


def test_a_night_ends_when_the_times_asleep_and_awake_have_passed(folder):
    entry = (
        'stream = "sleep"\n[source.columns]\nstart = "a"\nasleep_min = "b"\nawake_min = "c"\n'
        '[source.units]\nasleep_min = "h"\n'
    )
    text = "a,b,c\n2026-03-28 23:00,7,30\n2026-03-29 23:00,7,\n"
    client = mapped(folder, entry, text)
    assert clocks(client.streams["sleep"]) == ["28 23:00 to 29 06:30"]
    assert any("1 duration in 'c' that cannot be used" in item.what for item in client.findings)


def test_two_streams_side_by_side_each_take_their_own_rows(folder):
    folder.write(
        "g.csv",
        "t,g,when,food\n2026-03-28 08:00,100,2026-03-28 08:10,oats\n2026-03-28 08:05,101,,\n"
        "2026-03-28 08:10,102,,\n,,2026-03-28 12:00,rice\n",
    )
    folder.write(
        "sources.toml",
        GLUCOSE + '[[source]]\nfile = "g.csv"\nstream = "meals"\n[source.columns]\n'
        'time = "when"\nlabel = "food"\n',
    )
    client = read_client(folder.path)
    assert client.used("glucose")["row"].tolist() == [2, 3, 4]
    assert client.streams["meals"]["label"].tolist() == ["oats", "rice"]
    assert not [item for item in client.findings if item.file == "g.csv"]


def test_a_row_of_another_stream_at_the_same_time_is_no_meal(folder):
    folder.write("g.csv", "t,g,food,tag\n2026-03-28 08:00,100,,\n2026-03-28 08:05,,oats,\n")
    folder.write(
        "sources.toml",
        GLUCOSE + '[[source]]\nfile = "g.csv"\nstream = "meals"\n[source.columns]\n'
        'time = "t"\nlabel = "food"\n[[source]]\nfile = "g.csv"\nstream = "tags"\n'
        '[source.columns]\ntime = "t"\ntag = "tag"\n',
    )
    client = read_client(folder.path)
    assert client.streams["meals"]["label"].tolist() == ["oats"]
    assert client.streams["tags"].empty
    (told,) = [item for item in client.findings if item.file == "g.csv"]
    assert (told.severity, "no row holds tags" in told.what) == ("note", True)


STRESS = 'stream = "stress"\n[source.columns]\nstart = "a"\nend = "b"\n'
SPANS = (
    "a,b,how\n2026-03-28 10:00,2026-03-28 10:15,low\n2026-03-28 10:15,2026-03-28 10:30,High\n"
    "2026-03-28 10:30,2026-03-28 10:45,odd\n2026-03-28 10:45,2026-03-28 11:00,\n"
)


def test_levels_in_words_without_a_meaning_are_unknown(folder):
    client = mapped(folder, STRESS + 'level = "how"\n', SPANS)
    stress = client.streams["stress"]
    assert stress["level"].isna().all()
    assert stress["left_out"].tolist() == [NO_LEVEL, NO_LEVEL, NO_LEVEL, ""]
    (told,) = [item for item in client.findings if item.file == "x.csv"]
    assert (told.severity, told.count, "[source.levels]" in told.do) == ("question", 3, True)


def test_levels_in_words_with_a_meaning(folder):
    entry = STRESS + 'level = "how"\n[source.levels]\nLow = 1\nhigh = 3\n'
    client = mapped(folder, entry, SPANS)
    stress = client.streams["stress"]
    np.testing.assert_equal(stress["level"].to_numpy(), [1, 3, np.nan, np.nan])
    assert stress["left_out"].tolist() == ["", "", NO_LEVEL, ""]


def test_episodes_of_rows_with_a_start_and_an_end(folder):
    entry = STRESS + (
        '[source.levels]\nlow = 1\nhigh = 3\n[source.episodes]\ncolumn = "how"\nat_least = 2\n'
    )
    client = mapped(folder, entry, SPANS)
    assert clocks(client.streams["stress"]) == ["28 10:15 to 28 10:30"]
    assert clocks(client.worn["stress"]) == ["28 10:00 to 28 10:30"]
    assert any("'odd'" in item.what for item in client.findings)


def test_meal_words_of_the_file(folder):
    entry = (
        'stream = "meals"\n[source.columns]\ntime = "a"\nlabel = "b"\nmeal = "c"\n'
        '[source.meals]\nBrunch = "breakfast"\ncorrection = "not_food"\n'
    )
    text = (
        "a,b,c\n2026-03-28 10:00,eggs,brunch\n2026-03-28 12:00,tablets,Correction\n"
        "2026-03-28 13:00,rice,Lunch\n2026-03-28 15:00,tea,Vesper\n"
    )
    meals = mapped(folder, entry, text).streams["meals"]
    assert meals["meal"].tolist() == ["breakfast", "not_food", "lunch", ""]
    assert meals["left_out"].tolist() == [""] * 4


@pytest.mark.parametrize("word", ["Still", "sedentary", "RESTING"])
def test_still_rows_tell_of_wear(folder, word):
    folder.steady_glucose(start="2026-03-28", hours=24)
    folder.write(
        "activity.csv",
        f"start,end,kind\n2026-03-28T08:00,2026-03-28T11:00,{word}\n"
        "2026-03-28T11:00,2026-03-28T11:20,walking\n",
    )
    client = read_client(folder.path)
    assert client.streams["activity"]["kind"].tolist() == ["still", "walking"]
    assert clocks(client.worn["activity"]) == ["28 08:00 to 28 11:20"]


def test_blocks_that_where_leaves_out_were_worn(folder):
    entry = (
        'stream = "activity"\nwhere = { what = ["walk"] }\nnot_measured = ["off"]\n'
        '[source.columns]\nstart = "a"\nduration = "d"\nkind = "what"\nactive_min = "s"\n'
        '[source.units]\nduration = "min"\nactive_min = "s"\n'
    )
    kinds = {10: "walk", 20: "off"}
    rows = [
        f"2026-03-28 {at // 4:02d}:{at % 4 * 15:02d},15,{kinds.get(at, 'sit')},{120 * (at == 10)}\n"
        for at in range(40)
    ]
    client = mapped(folder, entry, "a,d,what,s\n" + "".join(rows))
    (walk,) = client.streams["activity"].to_dict("records")
    assert walk["active_min"] == 2
    assert clocks(client.worn["activity"]) == ["28 00:00 to 28 05:00", "28 05:15 to 28 10:00"]


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ('[source.levels]\nhigh = "3x"\n', "a number of 0 or more for the word 'high'"),
        ('[source.meals]\nx = "lunch"\n', "[source.meals] only with a column 'meal'"),
        ('[source.units]\nstart = "min"\n', "epoch_s or epoch_ms as the unit of start"),
        ('[source.units]\nutc_offset = "epoch_s"\n', "s or min or h as the unit of utc_offset"),
        ('[source.constants]\nutc_offset = "+01:00"\n', "utc_offset under [source.columns]"),
    ],
)
def test_a_mistake_in_the_keys_is_one_message(folder, entry, said):
    with pytest.raises(MinerError) as error:
        mapped(folder, STRESS + entry, SPANS)
    assert said in error.value.message


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("mixed", "year, month and day"),
        ("ISO8601", "year, month and day"),
        ("%d/%m/%Y %H:%M %H", '"%H" only once'),
        ("%Y-%m-%d %Q", 'not "%Q"'),
        ("%H:%M", "year, month and day"),
        ("%d/%m/%Y %I:%M", "both %I and %p"),
        ("%z %d/%m/%Y", "ends in %z"),
    ],
)
def test_a_time_format_that_cannot_be_used_is_one_message(folder, written, said):
    entry = (
        f'stream = "meals"\ntime_format = "{written}"\n[source.columns]\ntime = "a"\nlabel = "b"\n'
    )
    with pytest.raises(MinerError) as error:
        mapped(folder, entry, "a,b\n")
    assert said in error.value.message
    assert "sources.toml" in error.value.message
