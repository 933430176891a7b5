"""Heavy work one thing at a time, in the order in which it was asked for: two cores serve one task best."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

_LOOK_S = 0.5
UNCLAIMED_S = 10.0
"""A turn that nobody takes for so long (a page closed in the middle) goes to the next in line."""


@dataclass(slots=True, eq=False)
class Ticket:
    """A place in the line."""

    called: threading.Event = field(default_factory=threading.Event)
    called_at: float = 0.0
    claimed: bool = False


class Turns:
    """A line in which everybody has the same rights. A place is kept while its owner does something else."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self.clock = clock
        self._lock = threading.Lock()
        self._line: deque[Ticket] = deque()

    def join(self) -> Ticket:
        """A place at the end of the line."""
        ticket = Ticket()
        with self._lock:
            self._line.append(ticket)
            self._call_first()
        return ticket

    def ahead(self, ticket: Ticket | None = None) -> int:
        """How many come before a ticket, or before one who would ask now."""
        with self._lock:
            return self._line.index(ticket) if ticket is not None and ticket in self._line else len(self._line)

    def wait(
        self, ticket: Ticket, patience_s: float | None = None, given_up: Callable[[], bool] = lambda: False
    ) -> bool:
        """Wait for the ticket's turn; False when patience [s] ended before it came, the place in line is kept.

        given_up: asked at least once a second; once it says True the wait is over as well.
        """
        end = None if patience_s is None else self.clock() + patience_s
        while True:
            left = _LOOK_S if end is None else min(_LOOK_S, end - self.clock())
            if ticket.called.wait(max(left, 0.0)):
                with self._lock:
                    if ticket not in self._line:  # called, not claimed in time, and passed over
                        ticket.called.clear()
                        self._line.append(ticket)
                        self._call_first()
                        continue
                    ticket.claimed = True
                return True
            if given_up() or (end is not None and self.clock() >= end):
                return False
            with self._lock:
                first = self._line[0]
                if first.called.is_set() and not first.claimed and self.clock() - first.called_at > UNCLAIMED_S:
                    self._line.popleft()
                    self._call_first()

    def leave(self, ticket: Ticket) -> None:
        """End one's turn, or give up one's place; the next in line is called."""
        with self._lock:
            if ticket in self._line:
                self._line.remove(ticket)
                self._call_first()

    def _call_first(self) -> None:
        if self._line and not self._line[0].called.is_set():
            self._line[0].called_at = self.clock()
            self._line[0].called.set()
