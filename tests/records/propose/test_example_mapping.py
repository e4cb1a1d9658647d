"""The documented mapping of the open multi-signal records, on a few invented rows of that shape."""

import shutil

import numpy as np
import pytest

from miner.core import resources
from miner.records import read_client

FILES = {
    "glucose.csv": "bg_ts,value\n"
    + "".join(
        f"21/10/2023 0{h}:{m:02d},{5 + m / 100}\n" for h in range(9) for m in range(0, 60, 5)
    ),
    "sleep.csv": "calendar_date,duration_in_sec,start_date_ts,start_time_offset_s,"
    "unmeasurable_sleep_s,deep_sleep_s,light_sleep_s,rem_sleep_s,awake_s,validation\n"
    "21/10/2023,30960,20/10/2023 21:47,7200,0,0,30960,0,0,ENHANCED_FINAL\n"
    "21/10/2023,30540,20/10/2023 21:47,7200,0,3780,22680,4080,420,ENHANCED_FINAL\n",
    "meals.csv": "\ufeffmeal_ts,meal_type,meal_tag,carbs_g,prot_g,fat_g,fibre_g\n"
    "21/10/2023 07:30,Breakfast,Oats,42,,,\n21/10/2033 13:00,Lunch,Rice,60,,,\n"
    "21/10/2023,Dinner,Soup,,,,\n21/10/2023 19:00,Supper,,30,5,,\n",
    "activity.csv": "activity_ts,activity_type,active_Kcal,step_count,distance_m,duration_s,"
    "active_time_s,start_time_s,start_time_offset_s,met,intensity,motion_intensity_mean,"
    "motion_intensity_max\n"
    + "".join(
        f"21/10/2023 {h:02d}:{m:02d},SEDENTARY,0,0,0,900,900,0,0,1,SEDENTARY,0,1\n"
        + (
            f"21/10/2023 {h:02d}:{m:02d},WALKING,9,800,9,900,600,0,0,3,ACTIVE,3,4\n"
            if h == 8
            else ""
        )
        for h in range(12)
        for m in range(0, 60, 15)
    )
    + "21/10/2023 12:00,UNMONITORED,0,0,0,4500,0,0,0,1,SEDENTARY,0,0\n",
    "heart-and-stress.csv": "sleep_ts,step_count,heart_rate,current_activity_type_intensity,"
    "stress_level_value,sleep_level,resting_heart_rate\n"
    + "".join(
        f"21/10/2023 10:{m:02d},0,60,0,{level},0,0\n"
        for m, level in zip(
            range(0, 60, 5), [10, 60, 70, -1, 80, 60, 20, -2, -2, -1, 90, 9], strict=True
        )
    ),
}


@pytest.fixture
def client(folder):
    source = resources.folder("datasets") / "open-multisignal" / "sources.toml"
    shutil.copy(source, folder.path.parent / "sources.toml")
    for name, text in FILES.items():
        folder.write(name, text)
    folder.write("client.toml", 'time_zone = "Europe/Madrid"\n[intake]\ninsulin = "yes"\n')
    return read_client(folder.path)


def test_nothing_stops(client):
    assert not [item for item in client.findings if item.severity == "stop"]


def test_glucose(client):
    first = client.streams["glucose"].iloc[0]
    assert first["glucose"] == pytest.approx(5 * 18.0156)
    assert str(first["clock"]) == "2023-10-21 00:00:00"
    assert str(first["time"]) == "2023-10-20 22:00:00"


def test_the_revised_night_is_used(client):
    (night,) = client.used("sleep").to_dict("records")
    assert (night["row"], night["asleep_min"]) == (3, (3780 + 22680 + 4080) / 60)
    # 21:47 in UTC is 23:47 at +02:00; 30,540 s asleep and 420 s awake are 8 h 36 min.
    assert str(night["start_clock"]) == "2023-10-20 23:47:00"
    assert str(night["end_clock"]) == "2023-10-21 08:23:00"


def test_stress_that_was_not_measured_is_not_zero(client):
    stress = client.streams["stress"]
    spans = [
        f"{a:%H:%M}-{b:%H:%M}" for a, b in zip(stress.start_clock, stress.end_clock, strict=True)
    ]
    assert spans == ["10:05-10:30"]
    worn = client.worn["stress"]
    assert (worn["end"] - worn["start"]).sum().total_seconds() == 8 * 300


def test_steps_and_movement_come_from_one_file(client):
    activity = client.streams["activity"]
    assert activity["steps"].sum() == 4 * 800
    moved = activity[activity["kind"] == "walking"]
    assert moved["start_clock"].dt.strftime("%H:%M").tolist() == [
        "08:00",
        "08:15",
        "08:30",
        "08:45",
    ]
    assert moved["active_min"].tolist() == [10.0] * 4
    assert moved["intensity"].tolist() == ["moderate"] * 4
    (worn,) = client.worn["activity"].to_dict("records")
    assert worn["end_clock"] - worn["start_clock"] == np.timedelta64(12, "h")


def test_meals_with_impossible_dates_and_unknown_words(client):
    meals = client.streams["meals"]
    assert meals["label"].tolist() == ["Oats", ""]
    assert meals["meal"].tolist() == ["breakfast", "dinner"]
    words = [item.what for item in client.findings if item.file == "meals.csv"]
    assert len(words) == 2
