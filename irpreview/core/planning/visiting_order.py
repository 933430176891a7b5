"""The best order of at most twelve places, exactly: dynamic programming over all subsets of places and begins of stays.

Time is a grid of equal steps. A stay begins on a step; ways and stays are whole minutes and need not fit the grid, so a
stay begins on the first step at or after the arrival, or on a later one. What is best is one whole number, made of four
things, each weighing more than all that follow it:

1. how many places are visited in their right light;
2. the sum of their light's quality, in whole steps;
3. least travelling, which with the same places visited is also most time in hand;
4. of plans that agree in all this, the one that is over first.

`spread_out` then moves the stays of an order apart as far as this costs none of the first three.

A place whose light has no quality at a moment is not visited then. Without time it is the recursion of Held and Karp
(1962).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

MOST_PLACES = 12
SPARE_WANTED_MIN = 30
"""Time in hand beyond this before a stay is no better [choice]. [min]"""
_QUALITY_WEIGHT = 4096
"""More than the minutes of travelling that fit into a day and a night and the way back."""
_NEVER = np.int32(-(2**30))


@dataclass(frozen=True, slots=True, eq=False)
class OrderTask:
    """What the order depends on, in whole minutes and steps. Index of places 0..n-1."""

    step_min: int
    window_min: int
    """From the first moment of the day to the last. [min]"""
    stay_min: NDArray[np.int64]
    """(n,) [min]"""
    from_start_min: NDArray[np.int64]
    """(n,) way from the start to each place [min]"""
    to_start_min: NDArray[np.int64] | None
    """(n,) way back from each [min]; None = the day ends with the last stay."""
    way_min: NDArray[np.int64]
    """(n, n) way from the first index to the second [min]"""
    right: NDArray[np.bool_]
    """(n, t) whether a stay that begins on this step is in its right light throughout."""
    quality: NDArray[np.int64]
    """(n, t) quality of such a stay in whole steps; 0 = not to be visited then."""


@dataclass(frozen=True, slots=True)
class Visit:
    """A place and the step on which its stay begins."""

    place: int
    step: int


@dataclass(frozen=True, slots=True)
class Worth:
    """What an order is judged by; more is better, the first that differs decides."""

    in_right_light: int
    quality: int
    travel_min: int
    """Less is better. [min]"""

    def __lt__(self, other: Worth) -> bool:
        return self._key() < other._key()

    def _key(self) -> tuple[int, int, int]:
        return self.in_right_light, self.quality, -self.travel_min


def worth_of(task: OrderTask, order: tuple[Visit, ...]) -> Worth:
    """What an order is worth."""
    travel, before = 0, -1
    for visit in order:
        travel += int(task.from_start_min[visit.place] if before < 0 else task.way_min[before, visit.place])
        before = visit.place
    if order and task.to_start_min is not None:
        travel += int(task.to_start_min[before])
    return Worth(
        in_right_light=sum(bool(task.right[v.place, v.step]) for v in order),
        quality=sum(int(task.quality[v.place, v.step]) for v in order),
        travel_min=travel,
    )


def spread_out(task: OrderTask, order: tuple[Visit, ...]) -> tuple[Visit, ...]:
    """The same places in the same order, worth the same, with the most time in hand before the tightest stay.

    Time in hand is counted before each stay and before the end of the day, in whole steps up to `SPARE_WANTED_MIN`; of
    plans that agree in it, each stay begins as early as it can.
    """
    if not order:
        return order
    wanted = _light_of(task, order)
    for spare in range(SPARE_WANTED_MIN // task.step_min * task.step_min, 0, -task.step_min):
        found = _with_spare(task, order, spare)
        if found is not None and _light_of(task, found) == wanted:
            return found
    return _with_spare(task, order, 0) or order


def _light_of(task: OrderTask, order: tuple[Visit, ...]) -> tuple[int, int]:
    worth = worth_of(task, order)
    return worth.in_right_light, worth.quality


def _with_spare(task: OrderTask, order: tuple[Visit, ...], spare_min: int) -> tuple[Visit, ...] | None:
    """The best light of an order with so much time in hand before each stay and at the end; None where it cannot be."""
    places = [visit.place for visit in order]
    steps = task.quality.shape[1]
    begin = _begin_min(task)
    gain = task.right.astype(np.int64) * (int(task.quality.max()) * len(order) + 1) + task.quality
    value = np.full((len(order), steps), -1, np.int64)
    last_begin = np.full((len(order), steps), -1)
    for i, k in enumerate(places):
        if i == 0:
            before = np.where(begin >= task.from_start_min[k] + spare_min, 0, -1)
        else:
            j = places[i - 1]
            latest = (begin - spare_min - task.way_min[j, k] - task.stay_min[j]) // task.step_min
            top = np.maximum.accumulate(value[i - 1])
            before = np.where(latest >= 0, top[np.maximum(latest, 0)], -1)
            last_begin[i] = np.minimum(latest, steps - 1)
        home = 0 if task.to_start_min is None or i + 1 < len(order) else int(task.to_start_min[k])
        rest = spare_min if i + 1 == len(order) else 0
        fits = (before >= 0) & (task.quality[k] > 0) & (begin + task.stay_min[k] + home + rest <= task.window_min)
        value[i] = np.where(fits, before + gain[k], -1)
    if value[-1].max() < 0:
        return None
    step = int(value[-1].argmax())
    found = [Visit(places[-1], step)]
    for i in range(len(order) - 1, 0, -1):
        step = int(value[i - 1, : last_begin[i, step] + 1].argmax())
        found.append(Visit(places[i - 1], step))
    return tuple(reversed(found))


def feasible_steps(task: OrderTask) -> NDArray[np.bool_]:
    """(n, t) whether the stay that begins on this step could be the only one: lit, reached from the start, and over and
    back in time.
    """
    return _lit_and_over(task) & _reached_first(task) & _back_in_time(task)


def _begin_min(task: OrderTask) -> NDArray[np.int64]:
    return task.step_min * np.arange(task.quality.shape[1])


def _lit_and_over(task: OrderTask) -> NDArray[np.bool_]:
    ends = _begin_min(task)[None, :] + task.stay_min[:, None]
    return np.asarray((ends <= task.window_min) & (task.quality > 0))


def _reached_first(task: OrderTask) -> NDArray[np.bool_]:
    return np.asarray(_begin_min(task)[None, :] >= task.from_start_min[:, None])


def _back_in_time(task: OrderTask) -> NDArray[np.bool_]:
    back = 0 if task.to_start_min is None else task.to_start_min[:, None]
    return np.asarray(_begin_min(task)[None, :] + task.stay_min[:, None] + back <= task.window_min)


def best_order(task: OrderTask) -> tuple[Visit, ...]:
    """The best visits in their order; empty where no place can be visited in any light."""
    count, steps = task.quality.shape
    if count == 0 or steps == 0:
        return ()
    possible = _lit_and_over(task)
    as_first = possible & _reached_first(task)
    right_weight = _QUALITY_WEIGHT * (int(task.quality.max(initial=0)) * count + 1)
    gain = (right_weight * task.right.astype(np.int64) + _QUALITY_WEIGHT * task.quality).astype(np.int32)
    later = -(-(task.stay_min[:, None] + task.way_min) // task.step_min)
    way = task.way_min.astype(np.int32)
    # at[j, k, t]: the latest step at which the stay at j may have begun if that at k begins on step t; -1 = none
    at = np.maximum(np.arange(steps)[None, None, :] - later[:, :, None], -1)
    row = np.arange(count)
    best = np.full((1 << count, count, steps), _NEVER, np.int32)
    for k in range(count):
        best[1 << k, k, as_first[k]] = gain[k, as_first[k]] - np.int32(task.from_start_min[k])
    for visited in range(1, (1 << count) - 1):
        inside = row[(visited >> row) & 1 == 1]
        outside = row[(visited >> row) & 1 == 0]
        # best value with the last stay at j begun on step t or before; a step of "never" at the end for index -1
        so_far = np.maximum.accumulate(best[visited, inside], axis=1)
        so_far = np.concatenate([so_far, np.full((len(inside), 1), _NEVER, np.int32)], axis=1)
        if so_far[:, -2].max() <= _NEVER // 2:
            continue
        pair = np.ix_(inside, outside)
        before = so_far[np.arange(len(inside))[:, None, None], at[pair]] - way[pair][:, :, None]
        reached = before.max(axis=0)
        value = np.where(possible[outside] & (reached > _NEVER // 2), reached + gain[outside], _NEVER)
        best[visited | 1 << outside, outside] = value
    return _walked_back(task, best, gain, at)


def _walked_back(
    task: OrderTask, best: NDArray[np.int32], gain: NDArray[np.int32], at: NDArray[np.int64]
) -> tuple[Visit, ...]:
    """The visits that make the best value, from the last to the first; of equals the one that is over first."""
    count, steps = task.quality.shape
    back = np.zeros(count, np.int64) if task.to_start_min is None else task.to_start_min
    value = np.where(_back_in_time(task)[None], best, _NEVER) - back[None, :, None]
    top = value.max()
    if top <= _NEVER // 2:
        return ()
    ends = task.step_min * np.arange(steps)[None, :] + task.stay_min[:, None] + back[:, None]
    found = np.argwhere(value == top)
    visited, place, step = (int(i) for i in found[np.argmin(ends[found[:, 1], found[:, 2]])])
    order = [Visit(place, step)]
    while visited != 1 << place:
        wanted = int(best[visited, place, step]) - int(gain[place, step])
        visited ^= 1 << place
        place, step = next(
            (j, t)
            for j in range(count)
            if visited >> j & 1
            for t in range(int(at[j, place, step]) + 1)
            if int(best[visited, j, t]) - int(task.way_min[j, place]) == wanted
        )
        order.append(Visit(place, step))
    return tuple(reversed(order))
