"""Who is using the page: one session per browser, kept apart, bounded in number and in memory, forgotten in time."""

from __future__ import annotations

import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from irpreview.analysis import Analysis
from irpreview.core.field_log.entries import ToneDifference
from irpreview.core.motion.motion_stage import Stage
from irpreview.core.scene.strokes import Mask
from irpreview.records import Photo, SceneMap
from irpreview.request import Inputs
from irpreview.web.answer import Glance

MOST_SESSIONS = 16
MOST_SNAPS = 24
MOST_ANALYSES = 6
"""So many pages keep all their answers (about 95 MB each); older ones work them out again when they are used."""
IDLE_S = 3600.0

Correction = tuple[tuple[Mask, str], ...]
"""What one press of "Take" did: (mask, class name) in order."""


@dataclass(frozen=True, slots=True)
class Snap:
    """One snap of a session: small enough to keep many, with all corrections made to it."""

    photo: Photo
    thumb: bytes
    """JPEG."""
    infrared: bytes = b""
    """JPEG of the infrared picture, small; empty until it has been looked at."""
    glance: Glance = field(default_factory=Glance)
    trouble: str = ""
    """Why it cannot be looked at; empty where it can."""
    corrections: tuple[Correction, ...] = ()
    undone: tuple[Correction, ...] = ()
    """Corrections taken back, to be made again; the last one first."""
    scene: SceneMap | None = None
    """The network's answer, kept for the snap that was looked at last."""
    file: Path | None = None
    """The snap itself in the owner's own folder; None = not kept."""


@dataclass(slots=True)
class Session:
    """What one open page holds. Changed only with its lock held."""

    token: str = ""
    lock: threading.RLock = field(default_factory=threading.RLock)
    snaps: list[Snap] = field(default_factory=list)
    current: int = 0
    inputs: Inputs = field(default_factory=Inputs)
    analysis: Analysis | None = None
    stage: Stage | None = None
    """The layers of the infrared picture that answers the sliders; None = to be made."""
    version: int = 0
    """Counts the answers, so that the browser knows which pictures are of an older state."""
    unfinished: bool = False
    """Whether the snap looked at is still being worked on."""
    put_away: bool = False
    """Whether the answers were dropped to save memory; snaps, entries and corrections are kept."""
    newest_move: int = 0
    """Number of the last move of a slider that has arrived, worked on or not."""
    newest_entry: int = 0
    """Number of the last state of the entries that has arrived, worked on or not."""
    stops: int = 0
    """How often "Stop" was pressed; work that was asked for before the last time is not begun any more."""
    used_at: float = 0.0
    owner: bool = False
    """Whether the page was opened on the computer that shows it; only there is the log open."""
    compared: tuple[ToneDifference, ...] = ()
    """What the last comparison of a frame may leave in the log."""
    log_kit: str = ""
    log_wish: tuple[str, date | None, date | None] = ("", None, None)


class Sessions:
    """All sessions, by a token that cannot be guessed. `clock` counts seconds."""

    def __init__(
        self, most: int = MOST_SESSIONS, idle_s: float = IDLE_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.most, self.idle_s, self.clock = most, idle_s, clock
        self._lock = threading.Lock()
        self._all: OrderedDict[str, Session] = OrderedDict()

    def __len__(self) -> int:
        return len(self._all)

    def __contains__(self, token: object) -> bool:
        return token in self._all

    def open(self, owner: bool = False, token: str | None = None) -> str:
        """A fresh session; returns its token. `token`: one that this computer gave out before."""
        token = token or secrets.token_urlsafe(24)
        with self._lock:
            self._all[token] = Session(token=token, used_at=self.clock(), owner=owner)
            self._forget()
        return token

    def close(self, token: str | None) -> None:
        """Forget a session at once; an unknown one is fine."""
        with self._lock:
            self._all.pop(token or "", None)

    @contextmanager
    def at(self, token: str | None, move: int = 0) -> Iterator[Session]:
        """The session of a token, locked. Raises KeyError for an unknown one.

        move: number of a slider's move, noted before the wait for the lock. Nothing that is shown bit by bit may keep
        the lock meanwhile: its next bit may come from another thread.
        """
        session = self._find(token)
        session.newest_move = max(session.newest_move, move)
        with session.lock:
            yield session

    def entry_arrived(self, token: str | None, number: int) -> None:
        """Note the number of a state of the entries; nothing for an unknown session."""
        with suppress(KeyError):
            session = self._find(token)
            session.newest_entry = max(session.newest_entry, number)

    def stop(self, token: str | None) -> None:
        """Note that all that was asked for so far is not wanted any more; nothing for an unknown session."""
        with suppress(KeyError):
            self._find(token).stops += 1

    def stops(self, token: str | None) -> int:
        """How often an open page was stopped; 0 for an unknown one."""
        with self._lock:
            session = self._all.get(token or "")
        return session.stops if session is not None else 0

    def free(self, token: str | None, patience_s: float) -> bool:
        """Whether nobody works on the session, now or within `patience_s`; an unknown one is free."""
        try:
            session = self._find(token)
        except KeyError:
            return True
        if not session.lock.acquire(timeout=patience_s):
            return False
        session.lock.release()
        return True

    def _find(self, token: str | None) -> Session:
        with self._lock:
            session = self._all[token or ""]
            session.used_at = self.clock()
            self._all.move_to_end(token or "")
            self._forget()
        return session

    def _forget(self) -> None:
        now = self.clock()
        for token in [token for token, one in self._all.items() if now - one.used_at > self.idle_s]:
            del self._all[token]
        while len(self._all) > self.most:
            self._all.popitem(last=False)
        for one in list(self._all.values())[:-MOST_ANALYSES]:
            if one.analysis is not None and one.lock.acquire(blocking=False):
                try:
                    one.analysis, one.stage, one.put_away = None, None, True
                    one.snaps = [replace(snap, scene=None) for snap in one.snaps]
                finally:
                    one.lock.release()
