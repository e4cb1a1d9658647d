"""A caution is the headline until the client was told, and one line from then on."""

from miner.core.messages import Message
from miner.core.results import CautionKind, CautionText
from miner.render.terminal import render
from miner.words.cautions import CautionBlocks
from miner.words.door import at_door

ALL = ("sleep", "stress", "movement", "meals")


def waits(lift, topics=ALL):
    return tuple((topic, lift) for topic in topics)


def reading(kind, limit, days, **about):
    at = Message("tables.limit_in_mg", {"limit": limit})
    rests_on = Message(f"tables.{kind}", {"at": at, "days": Message("tables.days", {"n": days})})
    told = {"class_": "refer", "days": ("2026-03-02",), "waiting": waits("informed")} | about
    return CautionText(CautionKind.REFERRAL, "Refer.", rests_on, "See your doctor first.", **told)


def low(**about):
    agree = {"class_": "agree", "agreement": ("movement", "meals")}
    return reading("any_below", 54, 2, **agree, **about)


def answer(asked, **about):
    rests_on = Message("tables.answered_yes", {"asked": asked})
    return CautionText(CautionKind.INTAKE, f"Yes: {asked}.", rests_on, **about)


def text(*said):
    return " ".join(render(CautionBlocks(said).first()).split())


def test_readings_are_told_in_numbers_with_what_waits_and_what_opens_it():
    assert text(reading("any_at_least", 200, 1), low()) == (
        "REFER FIRST. ! Glucose was 200 mg/dL or more on 1 day and below 54 mg/dL for 15 minutes "
        "or longer on 2 days. Tell the client to see a clinician, at once with thirst, frequent "
        "urination, weight loss or vomiting. Pressure on the sensor can look like a low; think of "
        "it second. Waiting: all tests. Once informed, tests of sleep and stress open; movement "
        "and meals wait for agreement. Note the date on which you referred the client: miner note "
        "CLIENT --informed DATE"
    )


def test_what_is_only_to_be_referred_opens_all_once_told():
    said = text(reading("wake_at_least", 126, 8))
    assert "Waiting: all tests. Once informed, they open. Note the date" in said
    assert "at once" not in said
    assert "Pressure" not in said


def test_once_told_it_is_one_line_with_the_date():
    told = reading("wake_at_least", 126, 8, informed="2026-03-20", waiting=())
    assert text(told) == (
        "The client was asked to see a clinician on 20 March 2026: 126 mg/dL or more at waking on "
        "8 days."
    )
    assert CautionBlocks((told,)).for_you_only == []


def test_what_waits_for_agreement_is_told_with_where_it_is_noted():
    told = reading(
        "any_below",
        54,
        2,
        class_="agree",
        informed="2026-03-20",
        waiting=waits("agreed", ("meals",)),
        agreement=("meals",),
    )
    with at_door("page"):
        said = text(told)
    assert said.endswith(
        "Tests of meals wait for a clinician's agreement. When the clinician agrees, enter the "
        "date on the page Intake."
    )
    assert text(told).endswith("miner note CLIENT --agreed DATE --covers meals")


def test_with_insulin_the_doses_are_the_headline_even_once_told():
    insulin = answer("insulin", class_="agree", medicine="insulin", waiting=waits("informed"))
    high = reading("any_at_least", 200, 34)
    assert text(insulin, high).startswith(
        "INSULIN. ! Glucose was 200 mg/dL or more on 34 days. Work with the treating clinician, at "
        "once with thirst, frequent urination, weight loss or vomiting. Doses are not in these "
        "records and may be behind any pattern. Food eaten to treat a low is not a habit."
    )
    told = answer("insulin", class_="agree", medicine="insulin", informed="2026-03-20")
    assert text(told) == (
        "INSULIN. The client was asked to see a clinician on 20 March 2026: yes to insulin. Doses "
        "are not in these records and may be behind any pattern. Food eaten to treat a low is not "
        "a habit."
    )


def test_food_fear_never_opens_what_is_about_food():
    feared = answer(
        "food fear",
        class_="stop",
        agreement=("sleep", "movement"),
        waiting=(("sleep", "agreed"), ("stress", ""), ("movement", "agreed"), ("meals", "")),
    )
    said = text(feared)
    assert "Tests of sleep and movement wait for a clinician's agreement." in said
    assert "Nothing about stress or meals is tested here." in said


def test_a_rule_met_anew_leads_and_what_was_told_stands_below():
    old = reading("wake_at_least", 126, 8, informed="2026-03-20", waiting=())
    said = text(old, reading("any_at_least", 200, 1, waiting=waits("informed", ("meals",))))
    assert said.startswith("REFER FIRST. ! Glucose was 200 mg/dL or more on 1 day.")
    assert "Waiting: tests of meals." in said
    assert said.endswith("on 20 March 2026: 126 mg/dL or more at waking on 8 days.")


def test_a_laboratory_value_is_told_as_one():
    at = Message("tables.limit_of_a1c", {"limit": 6.5})
    a1c = CautionText(
        CautionKind.REFERRAL,
        "Refer.",
        Message("tables.a1c_at_least", {"at": at}),
        class_="refer",
        waiting=waits("informed"),
    )
    assert "! The laboratory: a reported A1c of 6.5 % or more. Tell the client" in text(a1c)
    assert "Glucose was" not in text(a1c)


def test_nothing_is_said_first_where_nothing_holds_anything_back():
    note = CautionText(CautionKind.MEDICINE, "A medicine tag was seen.")
    assert CautionBlocks((note,)).first() == []
    assert render(CautionBlocks((note,)).beside()).strip() == "A medicine tag was seen."
