"""The use case from a folder of snaps to their ranking: what `irpreview scout` and a script of one's own call.

What was judged is kept in the folder of the results (`io.scout_store`), so that a stopped run goes on where it was and
another day's run judges only what is new. The work is spread over the cores or over a Dask cluster (`io.worker_pool`);
results do not depend on which.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import cv2

from irpreview import installation
from irpreview.core.light.planned_light import planned_light
from irpreview.core.scouting.ranking import Finding, Order, Scouting, Snap, arrange
from irpreview.errors import BadCluster, BadPhoto, BadValue, IrpreviewError
from irpreview.io.photos import MOST_FILE_MB
from irpreview.io.scout_folder import FolderListing, FoundPhoto, list_photos, stamp_of
from irpreview.io.scout_store import ScoutStore, place_of_text
from irpreview.io.scout_tables import printable
from irpreview.io.worker_pool import Cluster, Died, cores, over_cores
from irpreview.records import Light
from irpreview.request import planned_of
from irpreview.scout_judging import Judged, NotThere, Refused, Settings, Task, identity, judge_task, key_of, reader

__all__ = ["Progress", "ScoutRun", "Settings", "scout"]


@dataclass(slots=True)
class Progress:
    """Where a run stands."""

    files: int
    known: int = 0
    """Judged in an earlier run."""
    copies: int = 0
    """The very content of another file of this run."""
    done: int = 0
    """Judged or refused in this run."""

    @property
    def left(self) -> int:
        """Files still to be judged."""
        return self.files - self.known - self.copies - self.done


@dataclass(frozen=True, slots=True)
class ScoutRun:
    """What came of a run, and how far it got."""

    scouting: Scouting | None
    """None where the run was stopped before its end."""
    progress: Progress
    other_files: int
    """Files in the folder that are no photos."""


def scout(
    folder: Path,
    out: Path,
    settings: Settings | None = None,
    *,
    order: Order = "lead",
    jobs: int | None = None,
    cluster: str | None = None,
    store: ScoutStore | None = None,
    watch: Callable[[Progress], None] = lambda _progress: None,
    stop: Callable[[], bool] = lambda: False,
) -> ScoutRun:
    """Judge all snaps of a folder and below, and put them in order.

    out: folder for the store of what was judged, made if missing. jobs: processes, default one per core. cluster:
    address of a Dask scheduler instead. store: the open store of `out`, where the caller needs it after (for the small
    pictures); opened and closed here if None. watch: told after every photo. stop: asked before every photo; once it
    says True the photos in work are finished, kept, and the run ends.
    Raises BadValue (folder, settings), BadPhoto (no photo in it), CannotWrite (out), BadCluster, BadModel.
    """
    settings = settings or Settings()
    if jobs is not None and not 1 <= jobs <= 512:
        raise BadValue(f"{jobs} processes cannot be used: 1 to 512; leave --jobs out for one per core")
    _check_planned(settings)
    listing = list_photos(folder, leave_out=out)
    if not listing.photos:
        refused = f"; {listing.unreadable[0][0]}: {listing.unreadable[0][1]}" if listing.unreadable else ""
        raise BadPhoto(f"there is no photo in {folder} or below (JPEG, HEIC, PNG, WebP, TIFF){refused}")
    if store is None:
        with ScoutStore(out) as own:
            return _scout(listing, own, settings, order, jobs, cluster, watch, stop)
    return _scout(listing, store, settings, order, jobs, cluster, watch, stop)


def _check_planned(settings: Settings) -> None:
    """Refuse a planned light that is none, once and before any work. Raises BadValue."""
    inputs = settings.inputs
    somewhere = inputs.planned_place or inputs.place or ("0, 0" if inputs.planned_time else "")
    planned = planned_of(replace(inputs, place=somewhere))
    if planned is None or (planned.when is not None and not (inputs.planned_place or inputs.place)):
        return  # each snap has its own sun
    planned_light(
        Light(), sun_height_deg=planned.sun_height_deg, when=planned.when, place=planned.place, haze=planned.haze
    )


class _Desk:
    """Gives out what is left to judge and knows where everything stands."""

    def __init__(
        self,
        photos: tuple[FoundPhoto, ...],
        store: ScoutStore,
        settings: Settings,
        watch: Callable[[Progress], None],
        stop: Callable[[], bool],
    ) -> None:
        self.store, self.watch, self.stop = store, watch, stop
        self.key_of = partial(key_of, settings=settings, model_id=installation.scene_network().model_id)
        self.photos = photos
        self.file_of = {photo.path: photo.file for photo in photos}
        self.progress = Progress(len(photos))
        self.before = frozenset(store.keys())
        self.judged = set(self.before)
        self.hashes = store.hashes()
        self.content: dict[str, str] = {}
        """relative path -> sha256 of the content, as read in this run"""
        self.read_now: dict[str, tuple[str, str]] = {}
        """relative path -> (stamp, sha256) of files that the store does not know yet"""
        self.given: set[str] = set()
        self.refused: dict[str, str] = {}
        self.refused_content: dict[str, Refused] = {}
        self.send = False
        self.stopped = False

    def tasks(self) -> Iterator[Task]:
        """What is not judged yet, read and hashed one after the other."""
        for photo in self.photos:
            if self.stop():
                self.stopped = True
                return
            task = self._task(photo)
            if task is not None:
                yield task
            else:
                self.watch(self.progress)

    def _task(self, photo: FoundPhoto) -> Task | None:
        stamp = str(photo.stamp)
        known = self.hashes.get(photo.path)
        data: bytes | None = None
        sha = known[1] if known is not None and known[0] == stamp else ""
        if not sha or (self.send and self.key_of(sha) not in self.judged):
            try:
                _check_readable(photo)
                data = photo.file.read_bytes()
                stamp = str(stamp_of(photo.file.stat()))
            except IrpreviewError as error:
                self._refuse(photo.path, str(error))
                return None
            except OSError as error:
                self._refuse(photo.path, f"could not be read ({error.strerror or error})")
                return None
            sha = hashlib.sha256(data).hexdigest()
            self.read_now[photo.path] = (stamp, sha)
        self.content[photo.path] = sha
        key = self.key_of(sha)
        if key in self.before:
            self.progress.known += 1
            return None
        if sha in self.given:
            self.progress.copies += 1
            return None
        self.given.add(sha)
        return Task(photo.path, printable(photo.path), str(photo.file), sha, data if self.send else None)

    def _refuse(self, path: str, why: str) -> None:
        self.refused[path] = why
        self.progress.done += 1

    def again(self, task: Task) -> Task | None:
        """The task with the file's bytes, as they are now."""
        try:
            data = self.file_of[task.path].read_bytes()
        except OSError as error:
            self.refused[task.path] = f"was there a moment ago, now it could not be read ({error.strerror or error})"
            return None
        sha = hashlib.sha256(data).hexdigest()
        if sha != task.sha256:  # changed since it was read first
            self.content[task.path] = sha
            self.read_now.pop(task.path, None)
            if self.key_of(sha) in self.judged:
                return None
        return replace(task, sha256=sha, data=data)

    def take(self, answer: Judged | Refused | Died[Task]) -> None:
        """Keep an answer."""
        self.progress.done += 1
        if isinstance(answer, Died):
            why = "the worker process ended while reading it: too little memory, or a file that brings the decoder down"
            self.refused_content[answer.item.sha256] = Refused(answer.item, why)
        elif isinstance(answer, Refused):
            self.refused_content[answer.task.sha256] = answer
        else:
            if answer.kept.key != self.key_of(answer.task.sha256):
                raise BadCluster("a worker has another version of irpreview; install the same version on all")
            self.store.keep(answer.kept, self.new_hashes())
            self.judged.add(answer.kept.key)
        self.watch(self.progress)

    def new_hashes(self) -> list[tuple[str, str, str]]:
        """(path, stamp, sha256) of what was read and is not in the store yet; empties the list."""
        read, self.read_now = self.read_now, {}
        return [(path, stamp, sha) for path, (stamp, sha) in read.items()]


def _check_readable(photo: FoundPhoto) -> None:
    if photo.stamp[0] > MOST_FILE_MB * 1e6:
        raise BadPhoto(
            f"has {photo.stamp[0] / 1e6:.0f} MB; at most {MOST_FILE_MB:.0f} MB can be opened: save it smaller"
        )


def _scout(
    listing: FolderListing,
    store: ScoutStore,
    settings: Settings,
    order: Order,
    jobs: int | None,
    cluster: str | None,
    watch: Callable[[Progress], None],
    stop: Callable[[], bool],
) -> ScoutRun:
    settings = settings.travelling()
    desk = _Desk(listing.photos, store, settings, watch, stop)
    work = partial(judge_task, settings=settings)
    if cluster is not None:
        with Cluster(cluster) as machines:
            machines.agree(identity, identity())
            _work_off(desk, lambda tasks: machines.run(work, tasks))
    else:
        count = min(jobs or cores(), len(listing.photos))
        with _threads_restored(), reader():
            _work_off(desk, lambda tasks: over_cores(work, tasks, count))
    store.keep_hashes(desk.new_hashes())
    if desk.stopped:
        return ScoutRun(None, desk.progress, listing.other_files)
    snaps, refused = _gather(desk, store)
    scouting = arrange(
        snaps,
        (*refused, *listing.unreadable),
        order,
        with_places=settings.with_places,
        settings=_settings_facts(settings),
    )
    return ScoutRun(scouting, desk.progress, listing.other_files)


def _work_off(desk: _Desk, run: Callable[[Iterator[Task]], Iterator[Any]]) -> None:
    """Everything once; what a worker could not see, or what changed meanwhile, a second time with its bytes."""
    unseen: list[Task] = []
    for answer in run(desk.tasks()):
        if isinstance(answer, NotThere):
            unseen.append(answer.task)
            desk.send = True
        else:
            desk.take(answer)

    def second() -> Iterator[Task]:
        for task in unseen:
            if desk.stop():
                desk.stopped = True
                return
            again = desk.again(task)
            if again is not None:
                yield again
            else:
                desk.progress.done += 1

    if unseen and not desk.stopped:
        for answer in run(second()):
            desk.take(answer)


def _gather(desk: _Desk, store: ScoutStore) -> tuple[list[Snap], list[tuple[str, str]]]:
    """Every file of the listing as a snap or as a refusal."""
    snaps: list[Snap] = []
    refused = list(desk.refused.items())
    for photo in desk.photos:
        if photo.path in desk.refused:
            continue
        sha = desk.content[photo.path]
        key = desk.key_of(sha)
        if key in desk.judged:
            kept, fingerprint, place = store.finding(key)
            snaps.append(Snap(photo.path, key, Finding.of_dict(kept), fingerprint, place_of_text(place)))
        else:
            answer = desk.refused_content.get(sha)
            if answer is None:  # the very content of a file that vanished before it was judged
                refused.append((photo.path, "the folder changed while it was looked through; run the same again"))
            else:  # the very content of another file is refused under its own name
                refused.append((photo.path, answer.why.replace(answer.task.name, printable(photo.path))))
    return snaps, refused


def _settings_facts(settings: Settings) -> dict[str, Any]:
    inputs = settings.inputs
    return {
        "kit": settings.kit.name,
        "log_used": settings.lessons is not None,
        "model": installation.scene_network().model_id,
        "wind_m_s": inputs.wind_m_s,
        "shutter_s": inputs.shutter_s,
        "grade": inputs.grade,
        "planned_sun_deg": inputs.planned_sun_deg,
        "planned_time": inputs.planned_time or None,
        "haze": inputs.planned_haze or None,
    }


class _threads_restored:
    """Work done in this process changes OpenCV's number of threads; it is put back."""

    def __enter__(self) -> None:
        self._before = cv2.getNumThreads()

    def __exit__(self, *_: object) -> None:
        cv2.setNumThreads(self._before)
