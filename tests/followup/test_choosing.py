"""Short codes of choices: a slip of the pen is told, never guessed."""

from itertools import pairwise, product

import pytest

from miner.core.messages import MinerError
from miner.core.results.follow import KEPT_AS
from miner.followup.choosing import CHECKS, LETTERS, code_of, read_code

ID, OTHER = "4c28aa7c", "658ef86f"
CODES = [code_of(choice, ID, "client-01") for choice in KEPT_AS]


def read(text, client="client-01", ids=(ID, OTHER)):
    return read_code(text, client, ids)


@pytest.mark.parametrize(("choice", "code"), [*zip(KEPT_AS, CODES, strict=True)])
def test_a_code_is_read_however_it_is_written(choice, code):
    assert len(code) == 9
    assert not any(mark.isdigit() for mark in code)
    for text in (code, code.lower(), code.replace("-", ""), f" {code.replace('-', ' - ')} "):
        assert read(text) == (ID, choice)


@pytest.mark.parametrize("code", CODES)
def test_one_wrong_mark_is_told_whatever_it_is(code):
    plain = code.replace("-", "")
    marks = sorted({*LETTERS.values(), *CHECKS, *"0OIQ5?"})
    every = [*(ID[:at] + mark + ID[at + 1 :] for at in range(5) for mark in "0123456789abcdef")]
    for at, mark in product(range(len(plain)), marks):
        if mark != plain[at]:
            with pytest.raises(MinerError, match="code"):
                read(plain[:at] + mark + plain[at + 1 :], ids=every)


@pytest.mark.parametrize("code", CODES)
def test_two_marks_that_changed_places_are_told(code):
    plain = code.replace("-", "")
    for left, right in pairwise(range(len(plain))):
        swapped = [*plain]
        swapped[left], swapped[right] = plain[right], plain[left]
        if swapped != [*plain]:
            with pytest.raises(MinerError):
                read("".join(swapped))


def test_a_code_of_another_client_is_told():
    others = [f"client-{k:02d}" for k in range(2, 25)]
    refused = 0
    for client in others:
        try:
            read(CODES[0], client)
        except MinerError as error:
            refused += error.code == "followup.code_slip"
    assert refused >= len(others) - 3


def test_a_code_of_no_pattern_or_of_several_is_told():
    with pytest.raises(MinerError, match="No pattern of this client has the code"):
        read(CODES[0], ids=(OTHER,))
    with pytest.raises(MinerError, match="may be any of 4c28aa7c, 4c28affe"):
        read(CODES[0], ids=(ID, "4c28affe"))
    with pytest.raises(MinerError, match="is not the code of a choice"):
        read("W-EPCKL")
