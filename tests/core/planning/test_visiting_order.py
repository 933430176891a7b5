"""The order is the best there is: held against every order of every choice of places at every moment."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.planning.visiting_order import (
    MOST_PLACES,
    SPARE_WANTED_MIN,
    OrderTask,
    Visit,
    best_order,
    feasible_steps,
    spread_out,
    worth_of,
)


def is_feasible(task: OrderTask, order: tuple[Visit, ...]) -> bool:
    """Whether an order can be walked, said again from the meaning of the task and not from its recursion."""
    minute, before = 0, None
    if len({visit.place for visit in order}) != len(order):
        return False
    for visit in order:
        way = task.from_start_min[visit.place] if before is None else task.way_min[before, visit.place]
        begin = visit.step * task.step_min
        if begin < minute + way or task.quality[visit.place, visit.step] <= 0:
            return False
        minute, before = begin + task.stay_min[visit.place], visit.place
    if before is not None and task.to_start_min is not None:
        minute += task.to_start_min[before]
    return bool(minute <= task.window_min)


def every_order(task: OrderTask):
    """Every feasible order at all."""
    count, steps = task.quality.shape
    for size in range(1, count + 1):
        for places in itertools.permutations(range(count), size):
            for times in itertools.combinations_with_replacement(range(steps), size):
                order = tuple(Visit(k, t) for k, t in zip(places, times, strict=True))
                if is_feasible(task, order):
                    yield order


def drawn(rng: np.random.Generator, count: int, steps: int, back: bool, symmetric: bool = True) -> OrderTask:
    """A task drawn at random: stays and ways of 1 to 20 minutes on a grid of five."""
    way = rng.integers(0, 21, (count, count))
    if symmetric:
        way = np.triu(way) + np.triu(way, 1).T
    np.fill_diagonal(way, 0)
    quality = rng.integers(0, 5, (count, steps)) * (rng.random((count, steps)) < 0.8)
    start = rng.integers(0, 16, count)
    return OrderTask(
        step_min=5,
        window_min=5 * (steps - 1) - int(rng.integers(0, 5)),
        stay_min=rng.integers(1, 16, count),
        from_start_min=start,
        to_start_min=start if back else None,
        way_min=way,
        right=(quality >= 3) & (rng.random((count, steps)) < 0.9),
        quality=quality,
    )


@pytest.mark.parametrize("seed", range(120))
def test_no_order_at_all_is_better(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 5))
    steps = int(rng.integers(4, {1: 14, 2: 14, 3: 11, 4: 9}[count]))
    task = drawn(rng, count, steps, back=seed % 3 == 0, symmetric=seed % 2 == 0)
    found = best_order(task)
    every = list(every_order(task))
    if not every:
        assert found == ()
        return
    assert is_feasible(task, found)
    best = max((worth_of(task, order) for order in every), key=lambda w: (w.in_right_light, w.quality, -w.travel_min))
    assert worth_of(task, found) == best
    # and of equals it is over first
    over = min(
        order[-1].step * 5
        + task.stay_min[order[-1].place]
        + (0 if task.to_start_min is None else task.to_start_min[order[-1].place])
        for order in every
        if worth_of(task, order) == best
    )
    last = found[-1]
    assert over == last.step * 5 + task.stay_min[last.place] + (
        0 if task.to_start_min is None else task.to_start_min[last.place]
    )


def least_spare(task: OrderTask, order: tuple[Visit, ...]) -> int:
    """Minutes in hand before the tightest stay or the end, in whole steps up to the most that is wanted."""
    free, minute, before = [], 0, None
    for visit in order:
        way = task.from_start_min[visit.place] if before is None else task.way_min[before, visit.place]
        free.append(visit.step * task.step_min - minute - way)
        minute, before = visit.step * task.step_min + task.stay_min[visit.place], visit.place
    free.append(task.window_min - minute - (0 if task.to_start_min is None else task.to_start_min[before]))
    return int(min(*free, SPARE_WANTED_MIN)) // task.step_min * task.step_min


@pytest.mark.parametrize("seed", range(80))
def test_the_stays_are_moved_apart_as_far_as_it_costs_no_light(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    task = drawn(rng, int(rng.integers(1, 4)), 16, back=seed % 3 == 0)
    order = best_order(task)
    found = spread_out(task, order)
    assert [visit.place for visit in found] == [visit.place for visit in order]
    if not order:
        return
    assert is_feasible(task, found)
    assert worth_of(task, found) == worth_of(task, order)
    places = [visit.place for visit in order]
    like = (
        tuple(Visit(k, t) for k, t in zip(places, times, strict=True))
        for times in itertools.combinations(range(16), len(places))
    )
    equal = [one for one in like if is_feasible(task, one) and worth_of(task, one) == worth_of(task, order)]
    assert least_spare(task, found) == max(least_spare(task, one) for one in equal)
    assert sum(v.step for v in found) == min(
        sum(v.step for v in one) for one in equal if least_spare(task, one) == least_spare(task, found)
    )


def test_the_random_tasks_are_worth_solving() -> None:
    """They hold what could go wrong: places left out, light that is not right, waiting, orders unlike the index."""
    left_out = wrong_light = waiting = turned = 0
    for seed in range(120):
        rng = np.random.default_rng(seed)
        count = int(rng.integers(1, 5))
        steps = int(rng.integers(4, {1: 14, 2: 14, 3: 11, 4: 9}[count]))
        task = drawn(rng, count, steps, back=seed % 3 == 0, symmetric=seed % 2 == 0)
        order = best_order(task)
        places = [visit.place for visit in order]
        left_out += 0 < len(order) < count
        turned += places != sorted(places)
        wrong_light += any(not task.right[v.place, v.step] for v in order)
        for a, b in itertools.pairwise(order):
            waiting += 5 * b.step >= 5 * a.step + task.stay_min[a.place] + task.way_min[a.place, b.place] + 5
    assert min(left_out, wrong_light, waiting, turned) >= 5


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(2, 6), st.booleans())
def test_names_of_places_do_not_matter(seed: int, count: int, back: bool) -> None:
    rng = np.random.default_rng(seed)
    task = drawn(rng, count, 14, back)
    turn = rng.permutation(count)
    turned = OrderTask(
        step_min=task.step_min,
        window_min=task.window_min,
        stay_min=task.stay_min[turn],
        from_start_min=task.from_start_min[turn],
        to_start_min=None if task.to_start_min is None else task.to_start_min[turn],
        way_min=task.way_min[np.ix_(turn, turn)],
        right=task.right[turn],
        quality=task.quality[turn],
    )
    assert worth_of(task, best_order(task)) == worth_of(turned, best_order(turned))


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 6))
def test_more_time_or_another_place_never_makes_it_worse(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    task = drawn(rng, count + 1, 16, back=False)
    fewer = OrderTask(
        task.step_min,
        task.window_min,
        task.stay_min[:count],
        task.from_start_min[:count],
        None,
        task.way_min[:count, :count],
        task.right[:count],
        task.quality[:count],
    )
    shorter = OrderTask(
        task.step_min,
        task.window_min - 15,
        task.stay_min,
        task.from_start_min,
        None,
        task.way_min,
        task.right,
        task.quality,
    )
    best = worth_of(task, best_order(task))
    assert not best < worth_of(fewer, best_order(fewer))
    assert not best < worth_of(shorter, best_order(shorter))


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10**6), st.integers(5, 8), st.booleans())
def test_larger_tasks_give_orders_that_can_be_walked_and_beat_going_on_to_the_nearest(
    seed: int, count: int, back: bool
) -> None:
    task = drawn(np.random.default_rng(seed), count, 30, back)
    found = best_order(task)
    assert is_feasible(task, found)
    greedy: tuple[Visit, ...] = ()
    left = set(range(count))
    while left:
        options = [
            Visit(k, t) for k in left for t in range(task.quality.shape[1]) if is_feasible(task, (*greedy, Visit(k, t)))
        ]
        if not options:
            break
        greedy = (*greedy, min(options, key=lambda visit: visit.step))
        left.discard(greedy[-1].place)
    assert not worth_of(task, found) < worth_of(task, greedy)


def test_twelve_places_in_a_row_are_walked_in_their_row() -> None:
    """A known answer at full size: twelve places on a line, ten minutes apart, each right for its own quarter hour."""
    count, steps = MOST_PLACES, 12 * 4 + 1
    place = np.random.default_rng(5).permutation(count)
    right = np.zeros((count, steps), bool)
    for k, where in enumerate(place):
        right[k, 4 * where + 2] = True
    task = OrderTask(
        step_min=5,
        window_min=5 * (steps - 1),
        stay_min=np.full(count, 10),
        from_start_min=10 + 10 * place,
        to_start_min=None,
        way_min=10 * np.abs(place[:, None] - place[None, :]),
        right=right,
        quality=np.where(right, 18, 4),
    )
    order = best_order(task)
    assert [place[visit.place] for visit in order] == list(range(count))
    assert worth_of(task, order).in_right_light == count


def test_right_light_goes_before_better_light_and_better_light_before_a_shorter_way() -> None:
    def task(right, quality, way=(0, 0)):
        return OrderTask(
            5,
            20,
            np.array([20, 20]),
            np.array(way),
            None,
            np.zeros((2, 2), int),
            np.array(right).reshape(2, 1).repeat(5, 1),
            np.array(quality).reshape(2, 1).repeat(5, 1),
        )

    assert [v.place for v in best_order(task([True, False], [13, 20]))] == [0]
    assert [v.place for v in best_order(task([False, False], [12, 13]))] == [1]
    assert [v.place for v in best_order(task([False, False], [13, 13]))] in ([0], [1])


def test_nothing_to_visit_is_an_empty_order() -> None:
    task = drawn(np.random.default_rng(0), 3, 5, back=False)
    dark = OrderTask(
        task.step_min,
        task.window_min,
        task.stay_min,
        task.from_start_min,
        None,
        task.way_min,
        np.zeros((3, 5), bool),
        np.zeros((3, 5), np.int64),
    )
    assert best_order(dark) == ()
    assert not feasible_steps(dark).any()
