"""One kind of work on several maps at the same time."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import cv2

T = TypeVar("T")
R = TypeVar("R")


def side_by_side(work: Callable[[T], R], items: Iterable[T]) -> list[R]:
    """What `work` makes of each item, in order, on as many threads as OpenCV may use here.

    For work that is mostly OpenCV's and NumPy's on arrays, which run beside each other.
    """
    count = cv2.getNumThreads()
    if count < 2:
        return [work(item) for item in items]
    with ThreadPoolExecutor(count) as threads:
        return list(threads.map(work, items))


def both(first: Callable[[], T], second: Callable[[], R]) -> tuple[T, R]:
    """What two pieces of work make, at the same time where OpenCV may use more than one thread."""
    if cv2.getNumThreads() < 2:
        return first(), second()
    with ThreadPoolExecutor(1) as beside:
        other = beside.submit(second)
        return first(), other.result()
