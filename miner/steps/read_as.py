"""How one meal or tag of a client is read: its day, its meal, what it counts as."""

from __future__ import annotations

from miner.core.results import ReadAs
from miner.records.client import Client
from miner.records.write.correcting import described
from miner.records.write.corrections import Place
from miner.rulebook import RuleBook
from miner.tables.clockwork import seconds
from miner.tables.columns import origins, whole_words
from miner.tables.food.meals import meal_records
from miner.tables.measures import records_of
from miner.tables.tag_days import FEWEST_DAYS, names_any


def read_as(client: Client, rules: RuleBook, stream: str, place: Place) -> ReadAs:
    """Return how the record of a file and row is read.

    Args:
        client: as read.
        rules: the rule books.
        stream: meals or tags.
        place: the file and row of the record.
    """
    if stream == "meals":
        return _meal(client, rules, place)
    records, frame = records_of(client, rules), client.used("tags")
    at = origins(frame).index(place)
    day = int(records.days.of(seconds(frame["start"])[at : at + 1])[0])
    name = str(frame["tag"].iloc[at])
    cautions = rules.cautions
    words = {
        "medicine": cautions.medicine_words,
        "pregnancy": cautions.pregnancy_words,
        "illness": cautions.illness_words,
    }
    named = (kind for kind, own in words.items() if names_any(whole_words(own), name, client))
    kind = next(named, "habit" if name in records.tags.habits else "few")
    return ReadAs(
        day=records.days.names[day] if day >= 0 else None,
        kind=kind,
        name=name,
        days=len(records.tags.rows.get(name, ())),
        needed=FEWEST_DAYS,
    )


def _meal(client: Client, rules: RuleBook, place: Place) -> ReadAs:
    records, frame = meal_records(client, rules), client.used("meals")
    meal = next((item for item in records.meals if place in item.rows), None)
    if meal is None:
        return ReadAs(None, "not_food")
    rows = dict(zip(origins(frame), frame.to_dict("records"), strict=True))
    others = (described("meals", rows[own]) for own in meal.rows if own != place)
    names = records.days.days.names
    return ReadAs(
        day=names[meal.day] if meal.day >= 0 else None,
        kind=meal.kind,
        beside=tuple(f"{told['time'][11:16]} {told.get('label', 'a meal')}" for told in others),
    )
