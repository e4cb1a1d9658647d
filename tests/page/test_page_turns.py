"""Work in the background waits while a page is being made, and not for ever."""

from __future__ import annotations

import threading

import pytest

from miner.page.jobs import Turns


def test_nothing_waits_where_no_page_is_being_made() -> None:
    assert Turns().wait(0.0)


def test_work_waits_until_the_last_page_is_made_or_for_so_long() -> None:
    turns, done = Turns(), threading.Event()

    def work() -> None:
        if turns.wait(60):
            done.set()

    with turns.page():
        with turns.page():
            assert not turns.wait(0.01)
        worker = threading.Thread(target=work)
        worker.start()
        assert not done.wait(0.05)
    assert done.wait(30)
    worker.join()


def test_a_page_that_fails_is_in_nobody_s_way() -> None:
    turns = Turns()
    with pytest.raises(ValueError, match="fault"), turns.page():
        raise ValueError("fault")
    assert turns.wait(0.0)
