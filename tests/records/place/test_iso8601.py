"""Times of ISO 8601 and the offsets that databases write, held against other readers."""

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pandas as pd
import pytest
from dateutil import parser as dateutil_parser
from hypothesis import given, settings
from hypothesis import strategies as st

from miner.records import read_client
from miner.records.place import times as reader
from miner.records.place.times import offsets, read_iso, read_times

# The worked examples of the standards, with the same instants in UTC.
# RFC 3339, 5.8; ISO 8601-1:2019, 5.4.2.1 (23:20:50 in its three forms); PostgreSQL manual, 8.5.1.2
# and 8.5.2 (output forms of timestamptz); RFC 9557, 4.1.
EXAMPLES = [
    ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52"),
    ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57"),
    ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87"),
    ("19850412T232050Z", "1985-04-12T23:20:50"),
    ("1985-04-12T23:20:50Z", "1985-04-12T23:20:50"),
    ("19850412T232050+04", "1985-04-12T19:20:50"),
    ("19850412T232050+0400", "1985-04-12T19:20:50"),
    ("1985-04-12T23:20:50+04:00", "1985-04-12T19:20:50"),
    ("1985-04-12T23:20:50+04", "1985-04-12T19:20:50"),
    ("1999-01-08 04:05:06 -8:00", "1999-01-08T12:05:06"),
    ("1997-12-17 07:37:16-08", "1997-12-17T15:37:16"),
    ("1890-01-01 00:00:00+00:19:32", None),  # before 1900: no year of these records
    ("1930-01-01 00:00:00+00:19:32", "1929-12-31T23:40:28"),
    ("2022-07-08T00:14:07+01:00[Europe/Paris]", "2022-07-07T23:14:07"),
    # the forms that were once taken for local time
    ("2026-03-01 08:05:00.123-05", "2026-03-01T13:05:00.123"),
    ("20260301T080500-05", "2026-03-01T13:05:00"),
    ("2026-03-01T08:05-5:00", "2026-03-01T13:05:00"),
    ("2026-03-01T08:05-5", "2026-03-01T13:05:00"),
    ("2026-03-01T08:05+0530", "2026-03-01T02:35:00"),
    ("2026-03-01 08:05 UTC", "2026-03-01T08:05:00"),
    ("2026-03-01T08:05 +02:00", "2026-03-01T06:05:00"),
    ("2026-03-01T08:05:00,5\u221202:00", "2026-03-01T10:05:00.5"),
    # a parser may see an offset here; it is none that any place has
    ("2026-03-01T08:05+053", None),
    ("2026-03-01T08:05+25:00", None),
    ("2026-03-01T08:05+01:75", None),
    ("2026-03-01T08:05 EST", None),
    ("2026-03-01T08:05 Europe/Paris", None),
    ("2026-03-01+01:00", None),
    # no times at all
    ("2026-03-01T08", None),
    ("2026-03-01T08:5", None),
    ("2026-03-01T08:60", None),
    ("2026-03-01T24:01", None),
    ("2026-02-29T08:00", None),
    ("2026-03", None),
    ("2026", None),
    ("08:05", None),
    ("now", None),
    ("", None),
]


@pytest.mark.parametrize(("written", "utc"), EXAMPLES)
def test_the_examples_of_the_standards(written, utc):
    """Each alone, and among plain times, so that every way through the reader is taken."""
    for others in ([], ["2026-03-01T09:00"], ["2026-03-01T09:00:00Z"], ["nothing"]):
        times = read_times(pd.Series([written, *others], dtype="str"), None, None)
        if utc is None:
            assert times.bad[0], times.instant[0]
        else:
            assert times.instant[0] == np.datetime64(utc)
            assert times.own_offset[0]


def test_a_date_alone_has_no_time_of_day():
    text = pd.Series(["2026-03-01", "20260301", "2026/3/1", "2026-03-01T00:00"], dtype="str")
    times = read_times(text, None, "Europe/Paris")
    assert times.date_only.tolist() == [True, True, True, False]
    assert (times.clock == np.datetime64("2026-03-01")).all()


DAYS = st.dates(datetime(1901, 1, 2).date(), datetime(2199, 12, 30).date())


def columns(cells):
    """A column of one cell, or of as many as several short ones hold: each is read as a whole."""
    return st.lists(cells, min_size=1, max_size=1) | st.lists(cells, min_size=8, max_size=24)


@settings(max_examples=40)
@given(columns(DAYS), st.booleans())
def test_dates_by_week_and_by_day_of_the_year_are_those_of_the_standard_library(days, compact):
    """Python's directives %G, %V, %u and %j, with hyphens and without."""
    mark = "" if compact else "-"
    for cells in (
        [
            f"{x.isocalendar()[0]}{mark}W{x.isocalendar()[1]:02d}{mark}{x.isoweekday()}"
            for x in days
        ],
        [f"{x.year}{mark}{x:%j}" for x in days],
    ):
        clock = "T0830" if compact else "T08:30"
        text = pd.Series([f"{each}{clock}" for each in cells], dtype="str")
        times = read_times(text, None, None)
        expected = [np.datetime64(f"{x}T08:30", "ns") for x in days]
        assert times.clock.tolist() == np.array(expected).tolist()


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("2026-W10-1", "2026-03-02"),
        ("2026-W53-5", "2027-01-01"),
        ("2026-061", "2026-03-02"),
        ("2024-366T10:00", "2024-12-31T10:00"),
        ("2026-03-02T24:00", "2026-03-03T00:00"),
        ("20261231T240000", "2027-01-01T00:00"),
        ("2026-03-02T24:00:00+01:00", "2026-03-02T23:00"),
    ],
)
def test_weeks_days_of_the_year_and_the_end_of_a_day(written, read):
    """The last three: ISO 8601-1:2019/Amd 1:2022 has 24:00 for the end of a day again."""
    times = read_times(pd.Series([written], dtype="str"), None, None)
    assert times.instant[0] == np.datetime64(read)


@pytest.mark.parametrize(
    "written",
    ["2025-W53-1", "2026-W00-1", "2026-W10-8", "2026-W10", "2026-366", "2026-000", "2026061",
     "2026-03-02T24:01", "2026-03-02T24:00:01", "2026-03-02T25:00"],
)  # fmt: skip
def test_weeks_days_and_hours_that_do_not_exist(written):
    assert read_times(pd.Series([written], dtype="str"), None, None).bad[0]


def test_the_end_of_a_day_in_a_format_of_its_own():
    text = pd.Series(["24/03/2026 24:00", "24/03/2026 23:55", "25/03/2026 24:05"], dtype="str")
    times = read_times(text, "%d/%m/%Y %H:%M", None)
    assert (
        times.clock[:2].tolist()
        == np.array(["2026-03-25T00:00", "2026-03-24T23:55"], dtype="datetime64[ns]").tolist()
    )
    assert times.bad.tolist() == [False, False, True]


def test_minutes_and_dates_of_24_are_no_end_of_a_day():
    for time_format, written in (
        ("%d %b %Y %H:%M:%S", "12 Jan 2026 17:24:00"),
        ("%d.%m.%Y %H.%M.%S", "24.01.2026 17.24.00"),
    ):
        text = pd.Series([written, "12 Jan 2026 24:00:00"], dtype="str")
        times = read_times(text, time_format, None)
        expected = pd.to_datetime(written, format=time_format)
        assert pd.Timestamp(times.clock[0]) == expected
    assert read_times(text[1:], "%d %b %Y %H:%M:%S", None).clock[0] == np.datetime64("2026-01-13")


MOMENTS = st.datetimes(datetime(1901, 1, 2), datetime(2199, 12, 30)).map(
    lambda moment: moment.replace(microsecond=moment.microsecond // 1000 * 1000)
)
OFFSETS = st.integers(-14 * 60, 14 * 60)
FORMS = st.sampled_from(["{h:02d}:{m:02d}", "{h:02d}{m:02d}", "{h}:{m:02d}", " {h:02d}:{m:02d}"])


def _written(moment: datetime, minutes: int, form: str, date: str, seconds: str) -> str:
    sign = "-" if minutes < 0 else "+"
    tail = form.format(h=abs(minutes) // 60, m=abs(minutes) % 60)
    gap = " " if tail.startswith(" ") else ""
    return moment.strftime(date + seconds) + gap + sign + tail.strip()


@settings(max_examples=60, deadline=None)
@given(
    columns(st.tuples(MOMENTS, OFFSETS, FORMS)),
    st.sampled_from(["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M"]),
    st.sampled_from(["", ":%S", ":%S.%f"]),
)
def test_offsets_are_read_as_python_reads_them(rows, date, seconds):
    text = [_written(moment, minutes, form, date, seconds) for moment, minutes, form in rows]
    times = read_times(pd.Series(text, dtype="str"), None, None)
    for at, (moment, minutes, _) in enumerate(rows):
        local = datetime.strptime(moment.strftime(date + seconds), date + seconds)
        aware = local.replace(tzinfo=timezone(timedelta(minutes=minutes)))
        assert times.instant[at] == np.datetime64(aware.astimezone(UTC).replace(tzinfo=None))
        assert times.clock[at] == np.datetime64(local)


@settings(max_examples=60, deadline=None)
@given(columns(st.tuples(MOMENTS, OFFSETS)))
def test_a_second_reader_agrees(rows):
    # dateutil reads the same texts; pandas too, where all of them have an offset.
    text = [_written(m, o, "{h:02d}:{m:02d}", "%Y-%m-%d %H:%M", ":%S") for m, o in rows]
    ours = read_times(pd.Series(text, dtype="str"), None, None).instant
    theirs = [dateutil_parser.isoparse(each).astimezone(UTC).replace(tzinfo=None) for each in text]
    assert ours.tolist() == np.array(theirs, dtype="datetime64[ns]").tolist()
    pandas = pd.to_datetime(pd.Series(text), utc=True).dt.tz_localize(None)
    assert (pandas.to_numpy() == ours).all()


@settings(max_examples=60, deadline=None)
@given(columns(MOMENTS), st.sampled_from("T "), st.booleans())
def test_wall_clock_times_are_read_as_pandas_reads_them(moments, mark, seconds):
    form = f"%Y-%m-%d{mark}%H:%M" + ":%S" * seconds
    text = pd.Series([moment.strftime(form) for moment in moments], dtype="str")
    ours = read_iso(text)
    assert (ours.clock == pd.to_datetime(text, format="ISO8601").to_numpy()).all()
    assert np.isnat(ours.offset).all()


@settings(deadline=None)
@given(st.text(alphabet="0123456789-:+ TZ./", max_size=24))
def test_what_another_reader_finds_aware_is_never_taken_as_local(written):
    """Where pandas sees an offset we see the same instant, or the cell is unreadable."""
    times = read_times(pd.Series([written, "2026-03-01"], dtype="str"), None, None)
    try:
        seen = pd.to_datetime(pd.Series([written]), format="ISO8601").iloc[0]
    except ValueError:
        return
    if seen is pd.NaT or seen.tzinfo is None or times.bad[0]:
        return
    assert times.own_offset[0]
    assert times.instant[0] == seen.tz_convert("UTC").tz_localize(None).to_datetime64()


@pytest.mark.parametrize(
    ("written", "minutes"),
    [
        *[("+02:00", 120), ("-5", -300), ("-05", -300), ("+0530", 330), ("Z", 0), ("UTC", 0)],
        *[("UTC+2", 120), ("GMT-03:30", -210), ("2", None), ("+99", None), ("", None), ("x", None)],
    ],
)
def test_offsets_by_themselves(written, minutes):
    found, _ = offsets(pd.Series([written], dtype="str"))
    expected = np.timedelta64("NaT") if minutes is None else np.timedelta64(minutes, "m")
    np.testing.assert_array_equal(found, np.array([expected], dtype="timedelta64[ns]"))


def test_utc_all_through_is_shown_on_the_clock_of_the_zone():
    """Paris is one hour ahead in winter and two in summer. Source: IANA time zone database."""
    text = pd.Series(["2026-03-01T08:00+00:00", "2026-07-01T08:00+00:00"], dtype="str")
    times = read_times(text, None, "Europe/Paris")
    assert times.clock.astype("datetime64[m]").astype(str).tolist() == [
        "2026-03-01T09:00",
        "2026-07-01T10:00",
    ]
    mixed = read_times(pd.Series([text[0], "2026-07-01T08:00+02:00"]), None, "Europe/Paris")
    assert mixed.clock[0] == np.datetime64("2026-03-01T08:00")


@pytest.mark.parametrize("tail", ["+02:00", "+0200", "+2", " +02:00", "Z", " UTC", "+02:00:00"])
def test_offsets_behind_a_format(tail):
    text = pd.Series([f"01/03/2026 08:05{tail}", "01/03/2026 08:05", "01/03/2026 08:05+99"])
    times = read_times(text.astype("str"), "%d/%m/%Y %H:%M%z", None)
    hours = 0 if tail in ("Z", " UTC") else 2
    assert times.instant[0] == np.datetime64("2026-03-01T08:05") - np.timedelta64(hours, "h")
    assert times.bad.tolist() == [False, True, True]


def test_a_column_read_piece_by_piece_is_read_the_same(monkeypatch):
    cells = [written for written, _ in EXAMPLES] + ["2026-03-01", "", "2026-03-01T08:00", "nothing"]
    text = pd.Series(cells * 3, dtype="str")
    whole = read_iso(text)
    monkeypatch.setattr(reader, "PIECE", 4)
    pieces = read_iso(text)
    for name in ("clock", "offset", "zulu", "date_only"):
        np.testing.assert_array_equal(getattr(pieces, name), getattr(whole, name))


def test_a_file_in_weeks_and_days_of_the_year_is_read_or_each_row_is_reported(folder):
    """ISO 8601-1:2019, 5.2.2.2 and 5.2.3.2: 2026-W48-1 is 23 November, 2026-334 is the 30th."""
    right = ["2026-W48-1T08:00", "2026-W48-1T24:00", "2026-334T08:00", "2026W481T0915"]
    dates = ["2026-W48-1", "2026-334"]
    wrong = ["2026-W54-1T08:00", "2026-366T08:00", "2026-W48-1T24:15", "2026-W48", "2026334"]
    client = read_client(folder.glucose(*(f"{time},100" for time in (*right, *dates, *wrong))).path)
    assert client.streams["glucose"]["clock"].astype(str).tolist() == [
        "2026-11-23 08:00:00", "2026-11-23 09:15:00", "2026-11-24 00:00:00", "2026-11-30 08:00:00",
    ]  # fmt: skip
    by_row = {item.row: item for item in client.findings if item.file == "glucose.csv"}
    assert {row: item.count for row, item in by_row.items()} == {6: len(dates), 8: len(wrong)}
    assert all(item.what and item.expected and item.do for item in by_row.values())
    assert "'2026-W48-1'" in by_row[6].what
    assert "'2026-W54-1T08:00'" in by_row[8].what


def test_weeks_and_days_of_the_year_in_the_other_streams(folder):
    folder.steady_glucose("2026-11-25", hours=96)
    folder.write("tags.csv", "time,tag\n2026-W48-4,headache\n2026-W48-8,cold\n")
    folder.write(
        "sleep.csv", "start,end\n2026-W48-4T24:00,2026-331T07:00\n2026-331T23:00,2026-332T24:00\n"
    )
    client = read_client(folder.path)
    assert client.streams["tags"]["date_only"].tolist() == [True]
    # the 26th ends as the 27th begins; the second night ends 25 hours after it began
    night = client.used("sleep").iloc[0]
    spans = [f"{night[name]:%Y-%m-%d %H:%M}" for name in ("start_clock", "end_clock")]
    assert spans == ["2026-11-27 00:00", "2026-11-27 07:00"]
    assert client.streams["sleep"]["left_out"].tolist() == ["", "over_24_hours"]
    told = {(item.file, item.row) for item in client.findings if item.severity != "note"}
    assert {("tags.csv", 3), ("sleep.csv", 3)} <= told
