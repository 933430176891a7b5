"""Heavy work one thing at a time, in the order in which it was asked for: two cores serve one task best."""

from __future__ import annotations

import threading
from collections import deque


class Turns:
    """A line in which everybody has the same rights; taken and given by any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._line: deque[threading.Event] = deque()

    def ahead(self) -> int:
        """How many would come before one who asked now."""
        return len(self._line)

    def take(self, patience_s: float | None = None) -> bool:
        """Wait for one's turn; False when patience [s] ended before it came."""
        mine = threading.Event()
        with self._lock:
            self._line.append(mine)
            if self._line[0] is mine:
                mine.set()
        if mine.wait(patience_s):
            return True
        with self._lock:
            if mine.is_set():
                return True
            self._line.remove(mine)
            return False

    def give(self) -> None:
        """End one's turn; the next in line has it."""
        with self._lock:
            self._line.popleft()
            if self._line:
                self._line[0].set()
