"""Pages before work in the background: both share the machine's cores."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager

MOST_S = 1.0


class Turns:
    """Counts the pages that are being made, for work that can wait until none is."""

    def __init__(self) -> None:
        self._free = threading.Condition()
        self._pages = 0

    @contextmanager
    def page(self) -> Iterator[None]:
        """Be in the way of work in the background."""
        with self._free:
            self._pages += 1
        try:
            yield
        finally:
            with self._free:
                self._pages -= 1
                self._free.notify_all()

    def wait(self, most: float = MOST_S) -> bool:
        """Wait until no page is being made, ``most`` seconds at the longest; say whether none is.

        Without an end, a page that is asked for again and again would stop all other work.
        """
        with self._free:
            return self._free.wait_for(lambda: self._pages == 0, timeout=most)
