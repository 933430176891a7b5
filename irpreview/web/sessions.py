"""Who is using the page: one sitting per open page, kept apart, bounded in number and in memory, forgotten in time."""

from __future__ import annotations

import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date

from irpreview.core.field_log.entries import ToneDifference
from irpreview.inputs import Inputs
from irpreview.records import Photo, SceneMap
from irpreview.study import Repaints, Study

MOST_SITTINGS = 16
MOST_SNAPS = 24
MOST_STUDIES = 6
"""So many pages keep all their answers (about 95 MB each); older ones work them out again when they are used."""
IDLE_S = 3600.0


@dataclass(frozen=True, slots=True)
class Snap:
    """One snap of a sitting: small enough to keep many, with all corrections made to it."""

    photo: Photo
    thumb: str
    figure: str = ""
    sentence: str = ""
    repaints: Repaints = ()
    scene: SceneMap | None = None
    """The network's answer, kept for the snap that was looked at last."""


@dataclass(slots=True)
class Session:
    """What one open page holds. Changed only with its lock held."""

    lock: threading.RLock = field(default_factory=threading.RLock)
    snaps: list[Snap] = field(default_factory=list)
    current: int = 0
    inputs: Inputs = field(default_factory=Inputs)
    study: Study | None = None
    unfinished: bool = False
    """Whether the snap looked at is still being worked on."""
    put_away: bool = False
    """Whether the answers were dropped to save memory; snaps, entries and corrections are kept."""
    newest_move: int = 0
    """Number of the last move of a slider that has arrived, worked on or not."""
    newest_entry: int = 0
    """Number of the last state of the entries that has arrived, worked on or not."""
    used_at: float = 0.0
    owner: bool = False
    """Whether the page was opened on the computer that shows it; only there is the log open."""
    compared: tuple[ToneDifference, ...] = ()
    """What the last comparison of a frame may leave in the log."""
    log_kit: str = ""
    """The kit that what was learned is shown of."""
    log_wish: tuple[str, date | None, date | None] = ("", None, None)
    """What is looked up in the log: words, from day, to day."""


class Sessions:
    """All sittings by their secret token; the longest unused goes first when there are too many."""

    def __init__(self, most: int = MOST_SITTINGS, idle_s: float = IDLE_S, clock: Callable[[], float] = time.monotonic):
        self.most, self.idle_s, self.clock = most, idle_s, clock
        self._lock = threading.Lock()
        self._all: OrderedDict[str, Session] = OrderedDict()

    def __len__(self) -> int:
        return len(self._all)

    def open(self, owner: bool = False) -> str:
        """A new, empty sitting; returns its token."""
        token = secrets.token_urlsafe(24)
        with self._lock:
            self._all[token] = Session(used_at=self.clock(), owner=owner)
            self._forget()
        return token

    def close(self, token: str) -> None:
        with self._lock:
            self._all.pop(token, None)

    @contextmanager
    def at(self, token: str | None, move: int = 0) -> Iterator[Session]:
        """The sitting with its lock held. Raises KeyError for an unknown or forgotten token.

        move: number of a slider's move, noted before the wait for the lock. Nothing that is shown bit by bit may keep
        the lock meanwhile: its next bit may come from another thread.
        """
        sitting = self._find(token)
        sitting.newest_move = max(sitting.newest_move, move)
        with sitting.lock:
            yield sitting

    def entry_arrived(self, token: str | None, number: int) -> None:
        """Note the number of a state of the entries; nothing for an unknown sitting."""
        with suppress(KeyError):
            sitting = self._find(token)
            sitting.newest_entry = max(sitting.newest_entry, number)

    def free(self, token: str | None, patience_s: float) -> bool:
        """Whether nobody works on the sitting, now or within `patience_s`; an unknown one is free."""
        try:
            sitting = self._find(token)
        except KeyError:
            return True
        if not sitting.lock.acquire(timeout=patience_s):
            return False
        sitting.lock.release()
        return True

    def _find(self, token: str | None) -> Session:
        with self._lock:
            sitting = self._all[token or ""]
            sitting.used_at = self.clock()
            self._all.move_to_end(token or "")
            self._forget()
        return sitting

    def _forget(self) -> None:
        now = self.clock()
        for token in [token for token, one in self._all.items() if now - one.used_at > self.idle_s]:
            del self._all[token]
        while len(self._all) > self.most:
            self._all.popitem(last=False)
        for one in list(self._all.values())[:-MOST_STUDIES]:
            if one.study is not None and one.lock.acquire(blocking=False):
                try:
                    one.study, one.put_away = None, True
                    one.snaps = [replace(snap, scene=None) for snap in one.snaps]
                finally:
                    one.lock.release()
