"""The same work over many items: on the cores of this machine, or on the machines of a Dask cluster.

Items are taken one by one as workers become free, so that an archive of any length needs the memory of a few items.
Answers come in any order. A worker that dies takes nothing with it but time: its items are given out again, and an
item that kills its worker a second time, alone, is answered with `Died`.
"""

from __future__ import annotations

import contextlib
import logging
import os
import signal
import threading
import time
import warnings
from collections.abc import Callable, Generator, Iterable, Iterator
from concurrent.futures import FIRST_COMPLETED, wait
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from irpreview.errors import BadCluster

Item = TypeVar("Item")
Answer = TypeVar("Answer")
_AHEAD = 2
"""Items given out per worker: one in work, one waiting."""
_LOOK_SECONDS = 2.0


@dataclass(frozen=True, slots=True)
class Died(Generic[Item]):
    """The item on which a worker process ended without an answer."""

    item: Item


def cores() -> int:
    """Processor cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


def over_cores(work: Callable[[Item], Answer], items: Iterable[Item], jobs: int) -> Iterator[Answer | Died[Item]]:
    """`work(item)` for all items in `jobs` processes; with one job in this process, without any other.

    work: importable by name, gives every refusal as an answer. The processes use one thread each, ignore Ctrl-C, and
    end when this one does.
    """
    if jobs == 1:
        for item in items:
            yield work(item)
        return
    source = iter(items)
    while True:
        # joblib's own pool, of which one sees which items were out when a process died
        suspects = yield from _until_one_dies(work, source, jobs)
        if not suspects:
            return
        for item in suspects:  # each of them alone, then the rest as before
            if (yield from _until_one_dies(work, iter([item]), 1)):
                yield Died(item)


def _until_one_dies(
    work: Callable[[Item], Answer], source: Iterator[Item], jobs: int
) -> Generator[Answer, None, list[Item]]:
    """Answers until the items are at an end, or a process died: then the items that were out are returned."""
    from joblib.externals.loky.process_executor import BrokenProcessPool, ProcessPoolExecutor

    waiting: dict[Any, Item] = {}
    with _children_ignore_interrupts():
        pool = ProcessPoolExecutor(max_workers=jobs, initializer=_settle_in, env=_ONE_THREAD)
        while len(waiting) < _AHEAD * jobs and (item := next(source, _END)) is not _END:
            waiting[pool.submit(work, item)] = item
    broken = True  # until it has come to a good end: else nobody waits for what is still in work
    try:
        while waiting:
            done, _ = wait(waiting, return_when=FIRST_COMPLETED)
            for future in sorted(done, key=list(waiting).index):
                try:
                    answer = future.result()
                except BrokenProcessPool:
                    return list(waiting.values())
                del waiting[future]
                yield answer
            while len(waiting) < _AHEAD * jobs and (item := next(source, _END)) is not _END:
                try:
                    future = pool.submit(work, item)
                except BrokenProcessPool:
                    return [*waiting.values(), item]
                waiting[future] = item
        broken = False
        return []
    finally:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # said of a pool that is given up with work left in it, as is meant
            pool.shutdown(wait=not broken, kill_workers=broken)


_THREAD_LIMITS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
_ONE_THREAD = dict.fromkeys(_THREAD_LIMITS, "1")


def _settle_in() -> None:
    """First thing in each worker process: leave Ctrl-C to the first process, and leave when that one is gone.

    The pool's workers would outlive a killed parent by minutes, each with its share of memory.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = os.getppid()

    def watch() -> None:
        while os.getppid() == parent:
            time.sleep(_LOOK_SECONDS)
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


@contextlib.contextmanager
def _children_ignore_interrupts() -> Iterator[None]:
    """Processes started inside ignore Ctrl-C from their first moment: the terminal sends it to all of them, and only
    the first process is to answer.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)  # unlike a handler, "ignored" is inherited
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


# --- Dask -----------------------------------------------------------------------------------------------------------

CONNECT_SECONDS = 10


class Cluster:
    """A Dask scheduler and its workers; a context manager.

    Raises BadCluster with one line: extra not installed, nobody at the address, no workers, other versions there.
    """

    def __init__(self, address: str, connect_seconds: float = CONNECT_SECONDS) -> None:
        self.address = address
        try:
            from distributed import Client
        except ImportError:
            raise BadCluster(
                "--cluster needs Dask, which is not installed; run `pip install 'irpreview[cluster]'`"
            ) from None
        try:
            with _quiet_dask():
                self._client = Client(address, timeout=connect_seconds, set_as_default=False)
        except Exception as error:  # addresses can be wrong in many ways, each with an error of its own
            raise BadCluster(
                f"no Dask scheduler answers at {address!r} ({_first_line(error)}); "
                "start one with `dask scheduler` and give its address, such as tcp://192.168.1.5:8786"
            ) from None

    def __enter__(self) -> Cluster:
        return self

    def __exit__(self, *_: object) -> None:
        with _quiet_dask(), contextlib.suppress(Exception):
            self._client.close(timeout=2)

    def agree(self, question: Callable[[], Answer], expected: Answer) -> None:
        """Ask every worker there is the same question; raises BadCluster unless all answer `expected`."""
        try:
            with _quiet_dask():
                self._client.wait_for_workers(1, timeout=CONNECT_SECONDS)
                answers = self._client.run(question, on_error="return")
        except Exception:
            raise BadCluster(
                f"the scheduler at {self.address} has no workers; start some with `dask worker {self.address}`"
            ) from None
        for worker, answer in sorted(answers.items()):
            if isinstance(answer, BaseException):
                raise BadCluster(
                    f"the worker {worker} cannot run irpreview ({_first_line(answer)}); install the same version there"
                )
            if answer != expected:
                raise BadCluster(f"the worker {worker} has {answer}, here it is {expected}; install the same version")

    def run(self, work: Callable[[Item], Answer], items: Iterable[Item]) -> Iterator[Answer | Died[Item]]:
        """`work(item)` for all items on the cluster's workers; raises BadCluster if the scheduler goes away."""
        from distributed import as_completed

        source = iter(items)
        waiting: dict[Any, Item] = {}
        with _quiet_dask():
            done = as_completed(loop=self._client.loop)
            try:
                room = self._room()
                while True:
                    while len(waiting) < room and (item := next(source, _END)) is not _END:
                        future = self._client.submit(work, item, pure=False)
                        waiting[future] = item
                        done.add(future)
                    if not waiting:
                        return
                    future = next(done)
                    yield self._answer(future, waiting.pop(future))
                    future.release()
                    room = self._room()  # workers may join
            finally:
                for future in waiting:
                    with contextlib.suppress(Exception):
                        future.cancel()

    def _room(self) -> int:
        threads = sum(self._client.nthreads().values()) if self._client.status == "running" else 1
        return max(2, _AHEAD * threads)

    def _answer(self, future: Any, item: Item) -> Any:
        from distributed import KilledWorker

        try:
            return future.result()
        except KilledWorker:
            return Died(item)
        except Exception as error:
            if future.status == "error":
                raise BadCluster(
                    f"a worker of {self.address} failed ({_first_line(error)}); what was judged so far is kept"
                ) from None
            raise BadCluster(
                f"the scheduler at {self.address} went away; what was judged so far is kept, run the same again"
            ) from None


_END: Any = object()


@contextlib.contextmanager
def _quiet_dask() -> Iterator[None]:
    """Dask tells of lost connections on its own log, by pages; here they become one line or no matter."""
    log = logging.getLogger("distributed")
    before = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        log.setLevel(before)


def _first_line(error: BaseException) -> str:
    lines = str(error).strip().splitlines()
    return (lines[0] if lines else type(error).__name__)[:160]
