"""One thing at a time: who waits is told, who stops is heard, and what goes wrong becomes a sentence."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import Concatenate, ParamSpec, TypeVar

from irpreview.errors import Stopped
from irpreview.io.photo_reader import PhotoReader
from irpreview.records import Kit
from irpreview.web.keeping import Keeping
from irpreview.web.responses import Shown, sorry
from irpreview.web.sessions import Sessions
from irpreview.web.uploads import Uploads
from irpreview.web.work_queue import Turns

D = TypeVar("D")
P = ParamSpec("P")
T = TypeVar("T")
PATIENCE_S = 0.4
"""So long one waits for one's turn without a word."""
STOPPED = "Stopped."


def answered(
    handler: Callable[Concatenate[D, str | None, P], Shown],
) -> Callable[Concatenate[D, str | None, P], Shown]:
    """Turn what goes wrong into a sentence in the status line."""

    @wraps(handler)
    def run(desk: D, token: str | None, /, *args: P.args, **named: P.kwargs) -> Shown:
        try:
            return handler(desk, token, *args, **named)
        except Exception as error:
            return sorry(error)

    return run


def answered_in_steps(
    handler: Callable[Concatenate[D, P], Iterator[Shown]],
) -> Callable[Concatenate[D, P], Iterator[Shown]]:
    """`answered` for what is shown bit by bit; what was stopped says so."""

    @wraps(handler)
    def run(desk: D, /, *args: P.args, **named: P.kwargs) -> Iterator[Shown]:
        try:
            yield from handler(desk, *args, **named)
        except Stopped:
            yield Shown(status=STOPPED)
        except Exception as error:
            yield sorry(error)

    return run


class WaitingDesk:
    """Sessions, what stays on the disk, and the line in which heavy work waits.

    `folder` is for files on their way; `keeping` for what stays.
    """

    def __init__(
        self,
        folder: Path,
        sessions: Sessions | None = None,
        keeping: Keeping | None = None,
        reader: PhotoReader | None = None,
    ) -> None:
        self.folder = folder
        self.sessions = sessions if sessions is not None else Sessions()  # an empty one counts as false
        self.keeping = keeping if keeping is not None else Keeping()
        self.reader = reader
        """Reads the snaps that are given, and can be ended; None = they are read here, and cannot."""
        self.uploads = Uploads(folder)
        self.turns = Turns()
        self.taught: Callable[[Kit, float | None], Kit] = lambda kit, _sun_height_deg: kit
        """What the owner's log adds to a kit; guests go without."""

    def in_turn(
        self, work: Callable[[], T], token: str | None = None, since: int | None = None
    ) -> Generator[Shown, None, T]:
        """Do heavy work when its turn comes; who has to wait is told. No lock is held while something is shown.

        token: whose "Stop" keeps it from being begun; None = nobody's. since: how many stops do not count, because
        they came before it was asked for; None = those until now. Raises Stopped.
        """
        heard = self.sessions.stops(token) if since is None else since

        def stopped() -> bool:
            return token is not None and self.sessions.stops(token) > heard

        ticket = self.turns.join()
        try:
            if not self.turns.wait(ticket, PATIENCE_S, stopped) and not stopped():
                others = self.turns.ahead(ticket)
                tasks = "another task comes" if others <= 1 else f"{others} other tasks come"
                yield Shown(status=f"One moment: {tasks} first on this computer; yours follows by itself.")
                self.turns.wait(ticket, given_up=stopped)
            if stopped():
                raise Stopped("stopped, as asked")
            return work()
        finally:
            self.turns.leave(ticket)

    @answered_in_steps
    def told(self, work: Callable[[], Shown], token: str | None = None, *, quietly: bool = False) -> Iterator[Shown]:
        """A heavy handler, in its turn; that one had to wait is said no longer than it is true.

        quietly: nobody asked for it by hand, so it waits without a word.
        """
        turn, said = self.in_turn(work, token), False
        while True:
            try:
                waiting = next(turn)
            except StopIteration as end:
                shown: Shown = end.value
                break
            if not quietly:
                said = True
                yield waiting
        yield replace(shown, values={**shown.values, "rested": True}) if said else shown

    def stop(self, token: str | None) -> Shown:
        """Give up what this page has asked for and not got: the snap being read, and all that waits its turn."""
        self.sessions.stop(token)
        if self.reader is not None:
            self.reader.stop(token)
        return Shown()  # what was given up says so itself

    def at_once(self, token: str | None, work: Callable[[], Shown]) -> Iterator[Shown]:
        """A quick handler: it waits for nobody else, only for what the same page is being worked on."""
        if not self.sessions.free(token, PATIENCE_S):
            yield Shown(status="Still at work on what came before; the picture follows.")
        yield work()
