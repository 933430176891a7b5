"""Frames brought home find their snap by picture, then by clock; what neither settles stays open."""

from datetime import datetime, timedelta
from itertools import permutations, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from irpreview.core.field_log.entries import LogEntry
from irpreview.core.field_log.homecoming import batch_name, expected_came_out, in_same_light
from irpreview.core.field_log.matching import (
    BITE_BY_ITSELF,
    CLEARLY_LESS,
    CLOCK_PAIRS,
    LIKE_AT_FIRST_LOOK,
    NEAR_IN_TIME,
    SHARED,
    Found,
    Sighting,
    common_difference,
    match_frames,
    plans_for,
)
from irpreview.core.imaging.registration import LEAST_BITE
from irpreview.records import Range

NOON = datetime(2026, 6, 21, 12, 0)
SURE, WEAK, NO = 0.3, 0.05, 0.01


def minutes(*values):
    return [None if v is None else NOON + timedelta(minutes=v) for v in values]


def day(ahead_min, count=4, weak=()):
    """Frames five minutes after each snap by a clock that is ahead; frames in `weak` lie weakly on their snap."""
    snaps = minutes(*(40 * i for i in range(count)))
    frames = [t + timedelta(minutes=5 + ahead_min) for t in snaps]
    seen = [
        [Sighting(j, (WEAK if i in weak else SURE) if i == j else NO, 0.6 if i == j else 0.3) for j in range(count)]
        for i in range(count)
    ]
    return seen, frames, snaps


@pytest.mark.parametrize("ahead", [-60, 0, 58, 120, 660])
def test_the_picture_decides_whatever_the_clock_says(ahead):
    matches, clocks = match_frames(*day(ahead))
    assert [m.snap for m in matches] == [0, 1, 2, 3]
    assert {m.found for m in matches} == {Found.PICTURE}
    assert clocks is not None
    assert clocks.ahead == timedelta(minutes=5 + ahead)
    expected = timedelta(minutes=5) if abs(5 + ahead) <= 20 else timedelta()
    assert all(m.after == expected for m in matches)


def test_a_weak_sight_counts_only_where_the_clocks_agree():
    seen, frames, snaps = day(60, count=5, weak=(2,))
    matches, _ = match_frames(seen, frames, snaps)
    assert (matches[2].snap, matches[2].found) == (2, Found.PICTURE_AND_TIME)
    frames[2] += NEAR_IN_TIME + timedelta(minutes=6)
    matches, _ = match_frames(seen, frames, snaps)
    assert (matches[2].snap, matches[2].found, matches[2].nearest) == (None, Found.NONE, 2)


def test_a_jumping_clock_says_nothing_for_a_weak_sight():
    seen, frames, snaps = day(60, count=5, weak=(2,))
    for i, off in enumerate((-50, 45, 0, -30, 55)):
        frames[i] += timedelta(minutes=off)
    assert match_frames(seen, frames, snaps)[0][2].snap is None


def test_a_stranger_is_placed_nowhere_even_at_the_right_time():
    seen, frames, snaps = day(60)
    seen.append([Sighting(j, NO, 0.5) for j in range(4)])
    frames.append(frames[1])
    assert match_frames(seen, frames, snaps)[0][4].snap is None


def test_a_small_agreement_of_pictures_that_are_not_alike_is_chance():
    bite = 1.2 * LEAST_BITE
    assert match_frames([[Sighting(0, bite, 0.24)]], [None], [None])[0][0].snap is None
    assert match_frames([[Sighting(0, bite, 0.44)]], [None], [None])[0][0].snap == 0


def test_of_two_snaps_of_one_view_the_nearer_in_time_is_taken():
    seen, frames, snaps = day(60, count=5)
    snaps[4] = snaps[0] + timedelta(minutes=100)  # the same view again, later in the day
    seen[0][4] = Sighting(4, SURE + 0.02, 0.6)
    matches, _ = match_frames(seen[:4], frames[:4], snaps)
    assert (matches[0].snap, matches[0].found, matches[0].rivals) == (0, Found.PICTURE_AND_TIME, (4,))
    frames[0] += timedelta(minutes=100)
    assert match_frames(seen[:4], frames[:4], snaps)[0][0].snap == 4


def test_without_clocks_two_snaps_of_one_view_stay_told():
    near, clear = [Sighting(0, 0.30), Sighting(1, 0.29)], [Sighting(0, 0.30), Sighting(1, 0.20)]
    matches, clocks = match_frames([near], [None], [None, None])
    assert clocks is None
    assert (matches[0].snap, matches[0].found, matches[0].rivals) == (0, Found.EITHER, (1,))
    matches, _ = match_frames([near, clear], [None, None], [None, None])
    assert (matches[0].snap, matches[0].found, matches[0].rivals) == (1, Found.EITHER, (0,))
    assert (matches[1].snap, matches[1].found) == (0, Found.PICTURE)


def two_of_one_view(apart_min=25, ahead_min=60, count=4):
    """A day as `day`, and two snaps more of one view; their frames lie a little better on the other's snap."""
    seen, frames, snaps = day(ahead_min, count)
    for i in range(2):
        snaps.append(NOON + timedelta(minutes=300 + apart_min * i))
        frames.append(snaps[-1] + timedelta(minutes=5 + ahead_min))
    seen += [[Sighting(count, 0.30), Sighting(count + 1, 0.33)], [Sighting(count, 0.33), Sighting(count + 1, 0.30)]]
    return seen, frames, snaps


def test_two_snaps_of_one_view_do_not_take_each_others_frame():
    matches, _ = match_frames(*two_of_one_view())
    assert [(m.snap, m.found) for m in matches[4:]] == [(4, Found.PICTURE_AND_TIME), (5, Found.PICTURE_AND_TIME)]


def test_a_jumping_clock_does_not_outweigh_the_picture():
    seen, frames, snaps = two_of_one_view()
    for i, off in enumerate((-55, 50, -20, 35)):
        frames[i] += timedelta(minutes=off)
    seen[4][0], seen[5][1] = Sighting(4, 0.45), Sighting(5, 0.45)  # now each lies best on its own
    frames[4], frames[5] = frames[5], frames[4]
    matches, clocks = match_frames(seen, frames, snaps)
    assert clocks is not None
    assert clocks.window > timedelta(hours=1)
    assert [m.snap for m in matches[4:]] == [4, 5]


def test_without_clocks_nearly_alike_snaps_get_a_frame_each_and_the_doubt_stays_told():
    seen = [[Sighting(0, 0.300), Sighting(1, 0.305)], [Sighting(0, 0.26), Sighting(1, 0.305)]]
    matches, _ = match_frames(seen, [None, None], [None, None])
    assert [(m.snap, m.found) for m in matches] == [(0, Found.EITHER), (1, Found.EITHER)]


def test_test_exposures_of_one_snap_stay_together():
    seen, frames, snaps = two_of_one_view(apart_min=180)
    for minute in (1, 2, 3):
        seen.append([Sighting(4, 0.30), Sighting(5, 0.33)])
        frames.append(frames[4] + timedelta(minutes=minute))
    assert [m.snap for m in match_frames(seen, frames, snaps)[0][4:]] == [4, 5, 4, 4, 4]


def test_a_day_of_one_view_alone_still_tells_the_clocks():
    """No frame is beyond doubt, three snaps show one view; two frames of three lie best on their own."""
    snaps = minutes(0, 60, 200, 300)
    frames = minutes(125, 185, 325, 425)
    bites = [[0.33, 0.30, 0.3, 0.3], [0.33, 0.30, 0.3, 0.3], [0.3, 0.30, 0.33, 0.3], [0.3, 0.3, 0.3, 0.33]]
    seen = [[Sighting(j, b) for j, b in enumerate(row)] for row in bites]
    matches, clocks = match_frames(seen, frames, snaps)
    assert clocks is not None
    assert clocks.ahead == timedelta(minutes=125)
    assert [m.snap for m in matches] == [0, 1, 2, 3]


@given(st.integers(1, 4), st.integers(1, 4), st.data())
@settings(max_examples=80, deadline=None)
def test_frames_are_given_out_as_well_as_can_be(frames, snaps, data):
    """Against every way of giving them out, tried one by one, by the costs that the module states."""
    bite = st.floats(0.2, 0.32)  # all are rivals: none below 60 % of the best
    seen = [[Sighting(j, data.draw(bite)) for j in range(snaps)] for _ in range(frames)]

    def cost(given):
        picture = sum(
            np.log(row[j].bite / max(s.bite for s in row)) / np.log(CLEARLY_LESS)
            for row, j in zip(seen, given, strict=True)
        )
        return picture + SHARED * (len(given) - len(set(given)))

    best = min(cost(given) for given in product(range(snaps), repeat=frames))
    matches, _ = match_frames(seen, [None] * frames, [None] * snaps)
    assert cost([m.snap for m in matches]) == pytest.approx(best, abs=1e-9)


def test_a_scouting_snap_of_another_day_tells_nothing_of_the_clock():
    seen, frames, snaps = day(0, count=3)
    frames = [t + timedelta(days=6) for t in frames]
    matches, clocks = match_frames(seen, frames, snaps)
    assert clocks is None
    assert [m.snap for m in matches] == [0, 1, 2]
    assert not in_same_light(matches[0].after)


def test_few_frames_tell_no_clock_and_one_wild_one_does_not_move_it():
    hour = timedelta(hours=1)
    assert common_difference([hour] * (CLOCK_PAIRS - 1)) is None
    clocks = common_difference([hour, hour, hour, -10 * hour])
    assert clocks is not None
    assert clocks.ahead == hour


@given(
    st.lists(
        st.lists(st.tuples(st.integers(0, 5), st.floats(0, 0.6), st.floats(-1, 1)), max_size=6), min_size=1, max_size=8
    ),
    st.lists(st.one_of(st.none(), st.integers(-3000, 3000)), min_size=14, max_size=14),
)
@settings(max_examples=150, deadline=None)
def test_whatever_is_seen_nothing_is_placed_without_a_sight(rows, clock):
    seen = [[Sighting(*one) for one in row] for row in rows]
    matches, _ = match_frames(seen, minutes(*clock[: len(seen)]), minutes(*clock[8:]))
    assert [m.frame for m in matches] == list(range(len(seen)))
    for match, row in zip(matches, seen, strict=True):
        if match.snap is not None:
            bite = max(s.bite for s in row if s.snap == match.snap)
            assert bite >= LEAST_BITE or (bite >= 0.04 and match.found is Found.PICTURE_AND_TIME)
        elif row:
            assert max(s.bite for s in row) < BITE_BY_ITSELF
            assert max((s.bite for s in row if s.rough >= LIKE_AT_FIRST_LOOK), default=0.0) < LEAST_BITE


@given(
    st.lists(st.floats(-8, 8), min_size=1, max_size=4, unique=True),
    st.lists(st.floats(-8, 8), min_size=1, max_size=4, unique=True),
)
@settings(max_examples=100, deadline=None)
def test_plans_get_the_frames_exposed_nearest(frames, plans):
    """Against every possible assignment, tried one by one."""
    chosen = plans_for(dict(enumerate(frames)), {10 + i: p for i, p in enumerate(plans)})
    cost = sum(abs(frames[f] - plans[p - 10]) for f, p in chosen.items())
    few, many = sorted((frames, plans), key=len)
    best = min(sum(abs(a - b) for a, b in zip(few, some, strict=True)) for some in permutations(many, len(few)))
    assert len(chosen) == len(few) == len(set(chosen.values()))
    assert cost == pytest.approx(best, abs=1e-9)


def test_an_unknown_exposure_gets_the_plan_that_is_left():
    assert dict(plans_for({0: None, 1: 2.0}, {7: 2.1})) == {1: 7}
    assert dict(plans_for({}, {7: 2.1})) == {}


def test_expected_outcome_is_metered_less_taken_less_factor():
    frame = LogEntry("k", iso=200.0, f_number=8.0, shutter_s=64.0)  # EV -1 at ISO 100
    assert frame.frame_ev100 is not None
    expected = expected_came_out(Range(14.0, 14.0, 14.0), Range(14.0, 15.0, 16.0), frame.frame_ev100)
    assert expected.likely == pytest.approx(0.0)  # 14 - -1 - 15
    assert (expected.low, expected.high) == pytest.approx((-1.0, 1.0))
    wider = expected_came_out(Range(13.5, 14.0, 14.5), Range(14.0, 15.0, 16.0), frame.frame_ev100)
    assert wider.width == pytest.approx(2.0 * np.hypot(1.0, 0.5))


def test_the_name_of_a_batch_hangs_on_what_is_in_it_alone():
    pairs = [("f1", "s1"), ("f2", None)]
    assert batch_name("k", pairs) == batch_name("k", pairs[::-1])
    assert len({batch_name("k", pairs), batch_name("k", pairs[:1]), batch_name("other", pairs)}) == 3
