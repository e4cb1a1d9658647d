"""Which sensor read it, its first day, and confirmed pressure lows."""

from miner.records import read_client


def two_sensors(folder, column):
    import pandas as pd

    times = pd.date_range("2026-03-02", periods=6 * 288, freq="5min")
    change = pd.Timestamp("2026-03-05T10:00")
    rows = [
        f"{time:%Y-%m-%dT%H:%M},{100 + at % 9}"
        + (f",{'AB'[int(time >= change)]}" if column else "")
        for at, time in enumerate(times)
    ]
    folder.glucose(*rows, header="time,glucose_mg_dl" + (",sensor" if column else ""))


def first_days(client):
    frame = client.streams["glucose"]
    young = frame[frame["left_out"] == "first_sensor_day"]["clock"]
    return (str(young.min()), str(young.max()), len(young)) if len(young) else None


def test_a_declared_change_leaves_out_24_hours_and_numbers_the_sensors(folder):
    two_sensors(folder, column=False)
    folder.write("client.toml", "sensor_changes = [2026-03-05T10:00:00]\n")
    client = read_client(folder.path)
    assert first_days(client) == ("2026-03-05 10:00:00", "2026-03-06 09:55:00", 288)
    frame = client.streams["glucose"]
    assert frame.groupby("sensor")["clock"].min().astype(str).to_dict() == {
        "1": "2026-03-02 00:00:00",
        "2": "2026-03-05 10:00:00",
    }


def test_a_new_name_in_the_sensor_column_begins_a_sensor_but_not_the_first_name(folder):
    two_sensors(folder, column=True)
    assert first_days(read_client(folder.path)) == (
        "2026-03-05 10:00:00",
        "2026-03-06 09:55:00",
        288,
    )


def test_a_declared_change_shortly_before_the_new_name_is_the_same_sensor(folder):
    two_sensors(folder, column=True)
    folder.write("client.toml", "sensor_changes = [2026-03-05T09:00:00]\n")
    assert first_days(read_client(folder.path)) == (
        "2026-03-05 09:00:00",
        "2026-03-06 08:55:00",
        288,
    )


def test_the_first_sensor_counts_only_where_it_is_declared(folder):
    two_sensors(folder, column=False)
    assert first_days(read_client(folder.path)) is None
    folder.write("client.toml", "sensor_changes = [2026-03-02T00:00:00]\n")
    client = read_client(folder.path)
    assert first_days(client) == ("2026-03-02 00:00:00", "2026-03-02 23:55:00", 288)
    assert set(client.streams["glucose"]["sensor"]) == {"1"}


def test_confirmed_pressure_low_is_masked_with_15_minutes_around(folder):
    two_sensors(folder, column=False)
    folder.write(
        "client.toml", "[[pressure_lows]]\nstart = 2026-03-03T03:00:00\nend = 2026-03-03T03:30:00\n"
    )
    client = read_client(folder.path)
    frame = client.streams["glucose"]
    masked = frame[frame["left_out"] == "pressure_low"]["clock"]
    assert (str(masked.min()), str(masked.max())) == ("2026-03-03 02:45:00", "2026-03-03 03:45:00")
    assert not masked.empty
    assert any("confirmed low from pressure" in item.what for item in client.findings)
