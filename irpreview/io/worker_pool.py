"""The same work over many items: on the cores of this machine, or on the machines of a Dask cluster.

Items are taken one by one as workers become free, so that an archive of any length needs the memory of a few items.
Answers come in any order. A worker that dies takes nothing with it but time: its items are given out again, and an
item that kills its worker a second time, alone, is answered with `Died`.
"""

from __future__ import annotations

import contextlib
import os
import signal
import warnings
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from irpreview.errors import BadCluster

Item = TypeVar("Item")
Answer = TypeVar("Answer")
_AHEAD = 2
"""Items given out per worker: one in work, one waiting."""


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


def over_cores(
    work: Callable[[Item], Answer], items: Iterable[Item], jobs: int
) -> Generator[Answer | Died[Item], None, None]:
    """`work(item)` for all items in `jobs` processes; with one job in this process, without any other.

    work: importable by name, gives every refusal as an answer. One thread per process; the processes ignore Ctrl-C.
    """
    if jobs == 1:
        for item in items:
            yield work(item)
        return
    given: dict[int, Item] = {}

    def numbered() -> Iterator[tuple[int, Item]]:
        for number, item in enumerate(items):
            given[number] = item
            yield number, item

    try:
        for number, answer in _parallel(work, numbered(), jobs):
            del given[number]
            yield answer
        return
    except _broken_pool():
        suspects = dict(given)
    # One of the items that were out killed its process. Each of them alone, then the rest as before.
    for number, item in suspects.items():
        try:
            yield from (answer for _, answer in _parallel(work, iter([(number, item)]), 2))
        except _broken_pool():
            yield Died(item)
    yield from over_cores(work, items, jobs)


def _parallel(
    work: Callable[[Item], Answer], numbered: Iterator[tuple[int, Item]], jobs: int
) -> Iterator[tuple[int, Answer]]:
    from joblib import Parallel, delayed, parallel_config

    with parallel_config(backend="loky", inner_max_num_threads=1):
        pool = Parallel(n_jobs=jobs, return_as="generator_unordered", batch_size=1, pre_dispatch=_AHEAD * jobs)
        with _children_ignore_interrupts():
            answers = pool(delayed(_numbered)(work, number, item) for number, item in numbered)
    with warnings.catch_warnings():
        # said when a worker is replaced or work is left undone after a stop; both are meant
        warnings.filterwarnings("ignore", module=r"joblib\.")
        try:
            yield from answers
        finally:
            answers.close()


def _numbered(work: Callable[[Item], Answer], number: int, item: Item) -> tuple[int, Answer]:
    return number, work(item)


def _broken_pool() -> type[BaseException]:
    from joblib.externals.loky.process_executor import BrokenProcessPool

    kind: type[BaseException] = BrokenProcessPool
    return kind


@contextlib.contextmanager
def _children_ignore_interrupts() -> Iterator[None]:
    """Processes started inside hold back Ctrl-C for good: the terminal sends it to all, and only we are to answer."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


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
            done = as_completed()
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
    import logging

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
