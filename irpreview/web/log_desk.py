"""What the page does with frames brought home, as plain functions: the log, the comparison, what was learned.

The log belongs to the owner of the computer: a session that was not opened there gets one sentence and nothing else.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from irpreview.core.exposure.metering import parse_exposure
from irpreview.core.field_log.comparison import check_correction, personal_correction
from irpreview.core.field_log.difference_picture import with_scale
from irpreview.core.field_log.entries import OUTCOME_WORDS, OUTCOMES, SearchWish
from irpreview.errors import BadLog, BadValue
from irpreview.io.field_log import FieldLog, default_path
from irpreview.io.kits import load_kit
from irpreview.io.log_exchange import learned_from, learned_kit
from irpreview.log_frames import compare_frame, note_frame, plan_of
from irpreview.records import CLASS_NAMES, CLASS_WORDS, Kit
from irpreview.request import kit_of
from irpreview.web import log_facts, pictures
from irpreview.web.handlers import Desk
from irpreview.web.responses import Shown, apology
from irpreview.web.sessions import Session
from irpreview.web.templating import filled
from irpreview.web.values import number_of

LONGEST_NOTE = 1000
MOST_LESSONS = 32
"""What the log taught is remembered for so many kits and heights of the sun, until the log changes."""


class LogDesk:
    """The log's handlers, beside those of a `Desk`. `path`: the log's file, None = the usual one."""

    def __init__(self, desk: Desk, path: Path | None = None) -> None:
        self.desk, self.path = desk, path
        desk.taught = self.taught
        self._stamp: tuple[tuple[int, int], ...] = ()
        self._lessons: dict[tuple[str, float | None], dict[str, Any]] = {}

    @property
    def file(self) -> Path:
        """Where the log lies."""
        return self.path if self.path is not None else default_path()

    def taught(self, kit: Kit, sun_height_deg: float | None = None) -> Kit:
        """The kit as the log taught it; a log that cannot be read is no reason to stop (it is told in its part)."""
        with contextlib.suppress(BadLog):
            if self.file.exists():
                stamp = tuple(map(_stamp, (self.file, Path(f"{self.file}-wal"))))
                if stamp != self._stamp or len(self._lessons) > MOST_LESSONS:
                    self._stamp, self._lessons = stamp, {}
                height = None if sun_height_deg is None else float(round(sun_height_deg))
                key = (kit.name, height)
                if key not in self._lessons:  # with thousands of frames learning takes a second
                    plain = load_kit(kit.name)
                    with_log = learned_kit(plain, self.file, sun_height_deg=height)
                    changed = {f.name: getattr(with_log, f.name) for f in fields(Kit)}
                    self._lessons[key] = {n: v for n, v in changed.items() if v is not getattr(plain, n)}
                return replace(kit, **self._lessons[key])
        return kit

    # ---- handlers ---------------------------------------------------------------------------------------------------

    def open(self, token: str | None) -> Shown:
        """Entries and what was learned, when the page is opened or the kit has changed."""
        return self._run(token, self._all)

    def follow_kit(self, token: str | None) -> Shown:
        """What was learned, once another kit has been chosen."""

        def do(session: Session) -> Shown:
            if session.inputs.kit == session.log_kit:
                return Shown()
            return Shown(parts={"log-learned": self._learned(session)})

        return self._run(token, do)

    def plan(self, token: str | None, typed: Mapping[str, Any]) -> Shown:
        """Write the recommended setting down as a plan."""

        def do(session: Session) -> Shown:
            analysis = self.desk.analysis_of(session)
            with FieldLog(self.file) as log:
                place, notes = (_text(typed, name) for name in ("place_name", "notes"))
                number = log.add(plan_of(analysis, place or "", notes or "", analysis.setting))
            words = f"Written down as number {number}. Note the frame there when you are back."
            return self._all(session, words)

        return self._run(token, do)

    def note(self, token: str | None, data: Mapping[str, Any]) -> Shown:
        """Put a frame in the log, or change an entry. data: number, given (an upload's number), at_snap, fields."""
        path = self.desk.uploads.take(data.get("given"))

        def do(session: Session) -> Shown:
            number = _number(data)
            typed = typed_fields(data.get("fields"))
            if number is not None and path is None and not typed:
                raise BadValue("nothing was changed; fill in what is to change")
            kit = kit_of(session.inputs)
            at_snap = data.get("at_snap") is True and session.snaps
            analysis = self.desk.analysis_of(session) if at_snap else None
            with FieldLog(self.file) as log:
                entry = note_frame(
                    log, kit, typed, frame=path, number=number, analysis=analysis, zone=session.inputs.zone or None
                )
            done = "Changed" if number is not None else "Put in the log"
            return self._all(session, f"{done}: number {entry.id}.", noted=True)

        try:
            return self._run(token, do)
        finally:
            if path is not None:
                self.desk.uploads.discard(path)

    def remove(self, token: str | None, data: Mapping[str, Any]) -> Shown:
        """Take an entry out. data: number."""

        def do(session: Session) -> Shown:
            number = _number(data) or 0
            with FieldLog(self.file) as log:
                log.remove(number)
            return self._all(session, f"Number {number} is taken out; undo brings it back.")

        return self._run(token, do)

    def undo(self, token: str | None) -> Shown:
        """Take back the last change of the log."""

        def do(session: Session) -> Shown:
            with FieldLog(self.file) as log:
                words = log.undo()
            return self._all(session, f"Taken back: {words}.")

        return self._run(token, do)

    def search(self, token: str | None, given: Mapping[str, Any]) -> Shown:
        """Entries by place or notes (words) and day (since, until)."""

        def do(session: Session) -> Shown:
            session.log_wish = (_text(given, "words") or "", _day(given, "since"), _day(given, "until"))
            return Shown(parts={"log-entries": self._entries(session)}, values=news("Looked up."))

        return self._run(token, do)

    def use(self, token: str | None, data: Mapping[str, Any]) -> Iterator[Shown]:
        """Switch the learned factor or the correction of the kit on or off; the answers follow. data: what, on."""

        def do(session: Session) -> Shown:
            what, on = data.get("what"), data.get("on")
            if what not in ("learned", "correction") or not isinstance(on, bool):
                raise BadValue("this switch is not known")
            with FieldLog(self.file) as log:
                log.use(session.inputs.kit, **{str(what): on})
            name = "learned factor" if what == "learned" else "correction"
            return self._all(session, f"The {name} is {'used' if on else 'not used'} now.")

        shown = self._run(token, do)
        yield shown
        if "log-learned" in shown.parts:
            yield from self.desk.told(lambda: self.desk.again(token, "Worked out again with what the log says."))

    def compare(self, token: str | None, data: Mapping[str, Any]) -> Iterator[Shown]:
        """Lay an infrared frame on the snap and compare it with the prediction. data: given, an upload's number."""
        path = self.desk.uploads.take(data.get("given"))
        yield Shown(values=news("Laying the frame on the snap; this takes some seconds."))
        try:
            if path is None:
                raise BadValue("the frame is not here any more; give it again")
            yield (yield from self.desk.in_turn(partial(self._run, token, partial(self._compare, path))))
        except Exception as error:
            yield failed(error)
        finally:
            if path is not None:
                self.desk.uploads.discard(path)

    def _compare(self, path: Path, session: Session) -> Shown:
        analysis = self.desk.analysis_of(session)
        result, differences = compare_frame(analysis, path)
        session.compared = differences
        address = pictures.data_address(with_scale(result.picture))
        text = filled("log_compared.html", **log_facts.compared(result, path.name), picture=address)
        return Shown(parts={"log-compared": text}, values=news(f"{path.name} is compared; see below."))

    def keep(self, token: str | None) -> Shown:
        """Keep the last comparison for the correction of its kit."""

        def do(session: Session) -> Shown:
            if not session.compared:
                raise BadValue("there is no comparison to keep; compare a frame first")
            with FieldLog(self.file) as log:
                log.keep_differences(session.compared)
            return self._all(session, "Kept. Undo takes it back.")

        return self._run(token, do)

    # ---- within -----------------------------------------------------------------------------------------------------

    def _run(self, token: str | None, do: Callable[[Session], Shown]) -> Shown:
        try:
            with self.desk.sessions.at(token) as session:
                if not session.owner:
                    return Shown(parts={"log-entries": filled("log_closed.html")}, values={"log_closed": True})
                return do(session)
        except Exception as error:
            return failed(error)

    def _all(self, session: Session, words: str = "", noted: bool = False) -> Shown:
        parts = {"log-entries": self._entries(session), "log-learned": self._learned(session)}
        return Shown(parts=parts, values=news(words, noted=noted) if words else {})

    def _entries(self, session: Session) -> str:
        if not self.file.exists():
            return filled("log_entries.html", **log_facts.entries((), 0, False))
        words, since, until = session.log_wish
        wish = SearchWish(since=since, until=until)
        with FieldLog(self.file, read_only=True) as log:
            total = len(log)
            if words:
                both = {one.id: one for one in log.search(replace(wish, place=words))}
                both |= {one.id: one for one in log.search(replace(wish, text=words))}
                found = tuple(sorted(both.values(), key=lambda one: (one.day or date.min, one.id), reverse=True))
            else:
                asked = since is not None or until is not None
                found = log.search(wish if asked else replace(wish, most=log_facts.MOST_SHOWN))
        return filled("log_entries.html", **log_facts.entries(found, total, bool(words or since or until)))

    def _learned(self, session: Session) -> str:
        session.log_kit = session.inputs.kit
        kit = kit_of(replace(session.inputs, factor_stops=None))
        if not self.file.exists():
            return ""
        with FieldLog(self.file, read_only=True) as log:
            differences = log.differences(kit.name)
            own, check = personal_correction(differences), check_correction(differences)
            facts = log_facts.learned(kit, learned_from(kit, log), own, check, log.uses(kit.name))
            return filled("log_learned.html", **facts)


def news(text: str, bad: bool = False, noted: bool = False) -> dict[str, Any]:
    """The log's own line of news; `noted` lets the form be emptied."""
    return {"log_news": {"text": text, "sorry": bad, "noted": noted}}


def failed(error: Exception) -> Shown:
    """The log's line of news for an error."""
    text = apology(error).replace("`log list` shows what is", "the list shows what is")
    return Shown(values=news(text, True))


def form_choices() -> dict[str, list[tuple[str, str]]]:
    """What the form's lists offer: value and words."""
    return {
        "subjects": [("", "neutral grey"), *((name, CLASS_WORDS[name]) for name in CLASS_NAMES)],
        "outcomes": [(name, OUTCOME_WORDS[name]) for name in OUTCOMES],
    }


def _stamp(path: Path) -> tuple[int, int]:
    """What changes when a file does."""
    try:
        facts = path.stat()
    except OSError:
        return (0, 0)
    return (facts.st_mtime_ns, facts.st_size)


# ---- plain values ---------------------------------------------------------------------------------------------------


def _number(data: Mapping[str, Any]) -> int | None:
    value = data.get("number")
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise BadValue("there is no entry of that number; choose one from the list")
    return value


def _text(fields: Mapping[str, Any], name: str) -> str | None:
    value = fields.get(name)
    return (" ".join(str(value).split())[:LONGEST_NOTE] or None) if value is not None else None


def _day(fields: Mapping[str, Any], name: str) -> date | None:
    text = _text(fields, name)
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise BadValue(f"the day {text[:20]!r} cannot be read; write it as 2026-06-21") from None


def typed_fields(given: object) -> dict[str, Any]:
    """The form's fields as fields of a log entry; a field that is not there stays, an empty one is emptied."""
    fields = given if isinstance(given, Mapping) else {}
    out: dict[str, Any] = {}
    exposure = _text(fields, "taken")
    if exposure is not None:
        typed = parse_exposure(exposure)
        for name in ("iso", "f_number", "shutter_s"):
            if getattr(typed, name) is not None:
                out[name] = getattr(typed, name)
    if "outcome" in fields:
        out["outcome"] = fields["outcome"] if fields["outcome"] in OUTCOMES else "unknown"
    if "came_out_stops" in fields:
        out["came_out_stops"] = number_of(fields["came_out_stops"], "brighter or darker")
    if "subject" in fields:
        out["subject"] = fields["subject"] if fields["subject"] in CLASS_NAMES else None
    if "in_shade" in fields:
        out["in_shade"] = fields["in_shade"] is True
    if "place_name" in fields:
        out["place_name"] = _text(fields, "place_name")
        if out["place_name"] is None:
            out["place"] = None
    if "notes" in fields:
        out["notes"] = _text(fields, "notes") or ""
    if "taken_on" in fields:
        out["taken_on"], out["taken_at"] = _day(fields, "taken_on"), None
    return out
