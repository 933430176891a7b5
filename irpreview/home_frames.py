"""The use case from a folder of frames brought home to the field log: what `irpreview log match` calls.

Nothing is written to the log here. What was found goes into a proposal (`io.home_proposal`) beside the sheet, and only
from there into the log, so that nothing is taken in that was not shown first.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import cv2

from irpreview.core.field_log.entries import HomeFrame, LogEntry, SearchWish, check_entry, kit_key
from irpreview.core.field_log.homecoming import (
    Homecoming,
    RealFrame,
    batch_name,
    expected_came_out,
    in_same_light,
)
from irpreview.core.field_log.learning import Learned, learned_of
from irpreview.core.field_log.matching import Clocks, FrameMatch, match_frames, plans_for
from irpreview.core.light.daylight import sun_position
from irpreview.errors import BadPair, BadPhoto, BadValue
from irpreview.home_laying import (
    FrameSeen,
    FrameTask,
    Laid,
    SnapTask,
    SnapView,
    Unusable,
    keep_ready,
    lay,
    place_frame,
    ready_snap,
    view_of,
)
from irpreview.io.field_log import FieldLog
from irpreview.io.home_folder import frames_in, snaps_in
from irpreview.io.home_sheet import SheetPictures
from irpreview.io.log_entry_files import read_frame
from irpreview.io.log_exchange import LogLessons
from irpreview.io.tables import load_tables
from irpreview.io.worker_pool import Died, cores, over_cores
from irpreview.records import Kit

SAME_EXPOSURE_STOPS = 0.25
"""A frame and what was noted of it differ by rounding only."""
PLANNED = ("planned_iso", "planned_f_number", "planned_shutter_s")


@dataclass(frozen=True, slots=True)
class Brought:
    """A homecoming and the pictures of its sheet, one per frame."""

    homecoming: Homecoming
    pictures: tuple[SheetPictures, ...]


def bring_home(
    frames: Path,
    snaps: Sequence[Path],
    kit: Kit,
    log: FieldLog | None,
    *,
    zone: str | None = None,
    lessons: LogLessons | None = None,
    leave_out: Path | None = None,
    jobs: int | None = None,
    watch: Callable[[str, int, int], None] = lambda *_: None,
) -> Brought:
    """Match the infrared frames of a folder with their snaps and plans, and compare each with its prediction.

    snaps: files and folders. log: read only, for plans and for what it taught; None = there is none yet. lessons: what
    the plan was made with. leave_out: a folder inside that is not looked into. watch: told what is done, how many, of
    how many. Raises BadValue (folder), BadPhoto (nothing in it that can be used), BadLog.
    """
    if jobs is not None and not 1 <= jobs <= 512:
        raise BadValue(f"{jobs} processes cannot be used: 1 to 512; leave --jobs out for one per core")
    snap_files = snaps_in(snaps)
    frame_files = [path for path in frames_in(frames, leave_out) if path.resolve() not in set(snap_files)]
    if not frame_files:
        raise BadPhoto(f"there is no frame in {frames} or below besides the snaps (JPEG, HEIC, PNG, WebP, TIFF or raw)")
    travelling = replace(kit, class_correction_stops=dict(kit.class_correction_stops))
    with tempfile.TemporaryDirectory(prefix="irpreview-home-") as name, _threads_restored():
        folder = Path(name)
        tasks = [SnapTask(str(path), travelling, zone, lessons) for path in snap_files]
        views, bad_snaps = _all(ready_snap, tasks, jobs, lambda done: watch("snaps", done, len(tasks)))
        if not views:
            raise BadPhoto(f"none of the {len(tasks)} snaps can be used; the first: {bad_snaps[0][1]}")
        views = _each_once(sorted(views, key=lambda v: snap_files.index(Path(v.file))))
        keep_ready(folder, views)
        todo = [FrameTask(str(path), zone, name) for path in frame_files]
        seen, bad_frames = _all(place_frame, todo, jobs, lambda done: watch("frames", done, len(todo)))
        seen = _same_once(sorted(seen, key=lambda s: frame_files.index(Path(s.file))))
        matches, clocks = match_frames([s.sightings for s in seen], [s.clock for s in seen], [v.clock for v in views])
        rows = [_Row(i, s, m, views, _laid(folder, s, m)) for i, (s, m) in enumerate(zip(seen, matches, strict=True))]
        home = _homecoming(rows, views, kit, log, clocks, (*bad_snaps, *bad_frames))
        view_of.cache_clear()
    return Brought(home, tuple(_pictures(row) for row in rows))


def _all(
    work: Callable[[Any], Any], tasks: Sequence[Any], jobs: int | None, watch: Callable[[int], None]
) -> tuple[list[Any], list[tuple[str, str]]]:
    """Everything done, over the cores; what could not be used apart."""
    good, bad = [], []
    for done, answer in enumerate(over_cores(work, tasks, min(jobs or cores(), max(len(tasks), 1))), 1):
        if isinstance(answer, Died):
            bad.append(
                (Path(answer.item.file).name, "the process that read it ended: too little memory, or a bad file")
            )
        elif isinstance(answer, Unusable):
            bad.append((Path(answer.file).name, answer.why))
        else:
            good.append(answer)
        watch(done)
    return good, bad


@contextmanager
def _threads_restored() -> Any:
    """Workers in this process set the number of threads."""
    before = cv2.getNumThreads()
    try:
        yield
    finally:
        cv2.setNumThreads(before)


def _each_once(views: Sequence[SnapView]) -> list[SnapView]:
    """Copies of one snap are one snap."""
    return list({v.facts["snap_sha256"]: v for v in reversed(views)}.values())[::-1]


def _same_once(seen: Sequence[FrameSeen]) -> list[FrameSeen]:
    """Copies of one frame are one frame."""
    return list({s.facts["frame_sha256"]: s for s in reversed(seen)}.values())[::-1]


# --- one frame ------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class _Row:
    at: int
    seen: FrameSeen
    match: FrameMatch
    views: Sequence[SnapView]
    laid: Laid | None
    plan: LogEntry | None = None

    @property
    def view(self) -> SnapView | None:
        return None if self.match.snap is None else self.views[self.match.snap]

    @property
    def name(self) -> str:
        return Path(self.seen.file).name


def _laid(folder: Path, seen: FrameSeen, match: FrameMatch) -> Laid | None:
    """The frame on its snap; the clocks may have chosen another one than that on which it lies best."""
    if match.snap is None:
        return None
    if match.snap == seen.best:
        return seen.laid
    at = [s.snap for s in seen.sightings].index(match.snap)
    try:
        frame = read_frame(Path(seen.file))
        return lay(view_of(str(folder), match.snap), frame.linear, seen.placements[at], Path(seen.file).name)
    except (BadPair, BadPhoto):
        return None


def _entry(row: _Row, kit: Kit) -> LogEntry | None:
    """What the log would hold of a frame; None where it belongs to no snap."""
    view = row.view
    if view is None:
        return None
    facts = {name: value for name, value in row.seen.facts.items() if name != "place"}
    value: dict[str, Any] = {"snap_path": view.facts["snap_path"], "snap_sha256": view.facts["snap_sha256"]}
    value["place"] = view.place or row.seen.facts.get("place")
    value |= facts
    if row.match.after is not None and view.taken_at is not None:
        # the snap's clock knows its zone; the frame's may be off by an hour
        value |= {"taken_at": view.taken_at + row.match.after, "taken_on": None}
    if in_same_light(row.match.after) and view.metered_ev100 is not None:
        value["metered_ev100"] = round(view.metered_ev100.likely, 3)
    if row.laid is not None and "came_out_stops" in facts:
        value["came_out_stops"] = round(min(max(row.laid.came_out_stops, -12.0), 12.0), 2)
        value.pop("outcome", None)  # what was blown out or black was left out of the comparison
    elif value.get("outcome") not in ("clipped", "blocked"):
        value.pop("came_out_stops", None)  # the mean of the frame alone says it a stop too bright where leaves glow
    place, taken_at = value["place"], value.get("taken_at")
    if place is not None and isinstance(taken_at, datetime):
        value["sun_height_deg"] = round(sun_position(place, taken_at)[0], 1)
    if row.plan is not None:
        kept = ("notes", "place_name", "subject", "in_shade", "lens", *PLANNED)
        value |= {name: getattr(row.plan, name) for name in kept}
        if row.plan.outcome != "unknown":  # judged in the field
            value["outcome"] = row.plan.outcome
        if value.get("metered_ev100") is None:
            value["metered_ev100"] = row.plan.metered_ev100
    if kit.lens is not None and not value.get("lens"):
        value["lens"] = kit.lens
    return check_entry(LogEntry(kit_name=kit.name, kit_key=kit_key(kit), **value))


def _real(row: _Row, kit: Kit, known: frozenset[str], plan: int | None) -> RealFrame:
    view, match, laid = row.view, row.match, row.laid
    entry = _entry(row, kit)
    expected = None
    ev100 = None if entry is None else entry.frame_ev100
    if view is not None and view.metered_ev100 is not None and view.factor_stops is not None and ev100 is not None:
        expected = expected_came_out(view.metered_ev100, view.factor_stops, ev100)
    if not in_same_light(match.after):
        expected = None
    return RealFrame(
        row.at + 1,
        row.name,
        match.found,
        None if view is None else view.name,
        None if match.nearest is None else row.views[match.nearest].name,
        tuple(row.views[r].name for r in match.rivals),
        match.bite,
        match.after,
        None if entry is None or laid is None else entry.came_out_stops,
        expected,
        {} if laid is None else laid.result.classes,
        None if laid is None else laid.result.mean_error_zones,
        None if entry is None else HomeFrame(entry, plan, () if laid is None else laid.differences),
        row.seen.facts["frame_sha256"] in known,
        row.seen.why_not if view is not None and laid is None else "",
    )


# --- all of them ----------------------------------------------------------------------------------------------------


def _homecoming(
    rows: Sequence[_Row],
    views: Sequence[SnapView],
    kit: Kit,
    log: FieldLog | None,
    clocks: Clocks | None,
    unusable: tuple[tuple[str, str], ...],
) -> Homecoming:
    entries = () if log is None else log.search(SearchWish(kit_name=kit.name, newest_first=False))
    known = frozenset[str]() if log is None else log.knows_frames(row.seen.facts["frame_sha256"] for row in rows)
    plan_of = _plans(rows, [e for e in entries if not e.frame_path and e.snap_path], known)
    for row in rows:
        row.plan = plan_of.get(row.at)
    beside = _beside(rows, plan_of)
    real = tuple(_real(row, kit, known, beside.get(row.at)) for row in rows)
    new = [one.home.entry for one in real if one.home is not None and not one.known]
    pairs = [
        (str(row.seen.facts["frame_sha256"]), None if row.view is None else str(row.view.facts["snap_sha256"]))
        for row in rows
    ]
    return Homecoming(
        batch_name(kit_key(kit), pairs),
        kit.name,
        real,
        clocks,
        _learned(kit, entries),
        _learned(kit, (*entries, *new)),
        len(views),
        unusable,
    )


def _plans(rows: Sequence[_Row], plans: Sequence[LogEntry], known: frozenset[str]) -> dict[int, LogEntry]:
    """Row -> what was planned for it, or noted in the field: of its snap, and of the exposure that lies nearest.

    What was noted with its exposure is the frame itself: it belongs to one of that exposure alone.
    """
    out: dict[int, LogEntry] = {}
    for row in rows:
        if row.view is None or row.seen.facts["frame_sha256"] in known:
            continue
        sha, name = row.view.facts["snap_sha256"], row.view.name
        mine = [p for p in plans if (p.snap_sha256 == sha if p.snap_sha256 else Path(p.snap_path or "").name == name)]
        taken = _ev100(row.seen.facts)
        mine = [
            p
            for p in mine
            if p.frame_ev100 is None or (taken is not None and abs(p.frame_ev100 - taken) <= SAME_EXPOSURE_STOPS)
        ]
        if mine:
            out[row.at] = min(mine, key=lambda p: abs((_planned_ev100(p) or 99.0) - (taken or 0.0)))
    return out


def _beside(rows: Sequence[_Row], plan_of: Mapping[int, LogEntry]) -> dict[int, int]:
    """Row -> number of the plan it is written beside: one frame for each plan, the one exposed nearest to it."""
    out: dict[int, int] = {}
    by_snap: dict[int, list[_Row]] = {}
    for row in rows:
        if row.at in plan_of and row.match.snap is not None:
            by_snap.setdefault(row.match.snap, []).append(row)
    for mine in by_snap.values():
        plans = {plan_of[row.at].id: plan_of[row.at] for row in mine}
        chosen = plans_for(
            {row.at: _ev100(row.seen.facts) for row in mine}, {n: _planned_ev100(p) for n, p in plans.items()}
        )
        out |= chosen
    return out


def _ev100(facts: Mapping[str, Any]) -> float | None:
    return LogEntry(
        "any", iso=facts.get("iso"), f_number=facts.get("f_number"), shutter_s=facts.get("shutter_s")
    ).frame_ev100


def _planned_ev100(plan: LogEntry) -> float | None:
    if plan.frame_ev100 is not None:
        return plan.frame_ev100
    return replace(
        plan, iso=plan.planned_iso, f_number=plan.planned_f_number, shutter_s=plan.planned_shutter_s
    ).frame_ev100


def _learned(kit: Kit, entries: Sequence[LogEntry]) -> Learned:
    return learned_of(kit, entries, load_tables())


def _pictures(row: _Row) -> SheetPictures:
    view, laid = row.view, row.laid
    if view is None or laid is None:
        near = None if row.match.nearest is None else row.views[row.match.nearest]
        like = view or near
        return SheetPictures(None if like is None else like.shown, row.seen.small, None)
    return SheetPictures(view.shown, laid.frame_shown, laid.difference_shown)
