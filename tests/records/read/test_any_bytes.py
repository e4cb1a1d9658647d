"""Whatever stands in the files: a client, or a message for a person; never another error."""

import os
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from miner.core.messages import MinerError
from miner.records import STREAMS, Client, read_client

FILES = {
    "glucose.csv": "time,glucose_mg_dl,sensor\n2026-03-02T08:00,101,A\n2026-03-02T08:05,LO,A\n"
    "2026-03-02T08:10,99,B\n2026-03-03T08:10,99,B\n",
    "sleep.csv": "start,end,asleep_min,deep_min,kind\n2026-03-01T23:00,2026-03-02T06:00,390,60,main"
    "\n2026-03-02T13:00,2026-03-02T13:20,20,,nap\n",
    "stress.csv": "start,end,level\n2026-03-02T09:00,2026-03-02T09:30,80\n",
    "activity.csv": "start,end,kind,intensity,steps\n"
    "2026-03-02T09:00,2026-03-02T09:30,walking,light,900\n",
    "meals.csv": 'time,label,carbs_g,carbs_level\n2026-03-02T08:00,"oats, milk",40,high\n',
    "tags.csv": "time,tag\n2026-03-02T22:00,wine\n",
    "level.csv": "t;l\n02/03/2026 08:00;1,5\n02/03/2026 08:05;4\n02/03/2026 08:10;-1\n",
    "client.toml": 'time_zone = "Europe/Lisbon"\nsensor_changes = [2026-03-02T08:00:00]\n'
    'rest_days = ["sat"]\n[intake]\ninsulin = "no"\n[synonyms]\nvino = "wine"\n',
    "sources.toml": '[[source]]\nfile = "level.csv"\nstream = "stress"\ndelimiter = ";"\n'
    'decimal = ","\ntime_format = "%d/%m/%Y %H:%M"\n[source.columns]\ntime = "t"\n'
    '[source.episodes]\ncolumn = "l"\nat_least = 1\n',
}
WORDS = (
    ', ; \n \r " \t \0 - 1e400 nan NaT inf LO 9999-12-31T23:59 0001-01-01T00:00 2026 \n\n\n time'
    " 2026-03-29T01:30 2026-10-25T01:30 24:00 +99:99 Z +01:00 [ ] = # \\ { true 1_000 0x1F 1,5"
    " \N{RED APPLE} \N{LATIN SMALL LETTER E WITH ACUTE}"
)
PIECES = [
    *(word.encode() for word in WORDS.split(" ")),
    *(b"", b"  ", b"\xff\xfe", b"\xef\xbb\xbf", b"\xe9", b"\xc2\xa0"),
]
edits = st.lists(
    st.tuples(
        st.sampled_from(sorted(FILES)),
        st.floats(0, 1),
        st.integers(0, 12),
        st.sampled_from(PIECES) | st.binary(max_size=4),
    ),
    min_size=1,
    max_size=4,
)


FUZZ_TIMES = int(os.environ.get("FUZZ_TIMES", "1"))


@pytest.mark.cases
@settings(max_examples=60 * FUZZ_TIMES, derandomize=True, deadline=None, phases=[Phase.generate])
@given(edits=edits)
def test_no_edit_of_any_file_is_a_traceback(edits):
    contents = {name: text.encode() for name, text in FILES.items()}
    for name, place, removed, put in edits:
        raw = contents[name]
        at = int(place * len(raw))
        contents[name] = raw[:at] + put + raw[at + removed :]
    with TemporaryDirectory() as folder:
        for name, raw in contents.items():
            (Path(folder) / name).write_bytes(raw)
        parts = ("", "", "")
        try:
            client: Client | None = read_client(folder)
        except MinerError as error:
            parts = (error.found, error.expected, error.do)
            client = None
    if client is None:
        assert all(parts)
        return
    assert set(client.streams) == set(STREAMS)
    for frame in client.streams.values():
        time = frame.columns[0]
        assert frame[time].notna().all()
        assert frame[time].is_monotonic_increasing
        assert (frame["row"] > 1).all()


def test_the_files_themselves_read_without_a_finding_that_stops(tmp_path):
    for name, text in FILES.items():
        (tmp_path / name).write_text(text)
    client = read_client(tmp_path)
    assert {name: len(frame) for name, frame in client.streams.items()} == {
        "glucose": 4,
        "sleep": 2,
        "stress": 2,
        "activity": 1,
        "meals": 1,
        "tags": 1,
    }
    assert not [item for item in client.findings if item.severity == "stop"]
