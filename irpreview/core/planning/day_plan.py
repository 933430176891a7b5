"""A day out: an order of places by when the light is right at each, the ways between them, and what is left out.

Astronomy, a clear sky and straight ways only. Sun by NREL SPA, how good a light is by `light_plan.worth_of_light`, on a
grid of five minutes. The order is the best there is (`visiting_order`): most places in their right light, then the best
light, then least travelling. Its stays are then moved apart as far as that costs no light.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from irpreview.core.light.daylight import check_place, check_time, haze_aod, sun_positions, sun_side
from irpreview.core.light.light_plan import (
    GOOD_SCORE,
    HARD_RATIO,
    LOWEST_USEFUL_DEG,
    hard_light_at,
    hardness_of,
    sun_in_level_frame,
    worth_of_light,
)
from irpreview.core.light.spectra import Tables
from irpreview.core.light.sun_times import sun_up_spans
from irpreview.core.planning.day_request import DETOUR, SPEED_KM_H, checked_heading, distinct_views
from irpreview.core.planning.visiting_order import MOST_PLACES, OrderTask, Visit, best_order, feasible_steps, spread_out
from irpreview.core.scouting.places import straight_m
from irpreview.errors import BadValue
from irpreview.records import Caution, CautionKind, Kit, Place, SunSide
from irpreview.records.day_plan import (
    DayPlanDoubt,
    DayPlanDoubtKind,
    LeftOut,
    LeftOutReason,
    PlannedDay,
    Stay,
    Travelling,
    ViewHours,
    Viewpoint,
)

STEP_MIN = 5
"""Stays begin on these; right light is looked for on these. [min]"""
QUALITY_STEP = 0.15
"""Mean worth of light is compared in steps of this, to the nearest: hard light from the side is worth 6, from behind
you 5, against the sun 2, and none of these changes with the hour while the light stays hard [choice]. Finer differences
mean nothing, the weights are choices themselves, and they would be bought with waiting and walking."""
LEAST_WORTH = 0.2
"""Below this no stay is planned: the sun in the frame, or so low that it hardly lights anything [choice]."""
LONGEST_DAY_H = 25
"""From the first to the last hour: a whole day on which the clocks go back."""
ON_FOOT_KM_H = 9.0
CLIMB_WORTH_SAYING_M = 100.0
_FAR_MIN = 100_000
"""Stands for any way that takes longer. [min]"""


@dataclass(frozen=True, slots=True, eq=False)
class _Sky:
    """The light of one view on every step of the day, (t,) each."""

    height: NDArray[np.float64]
    bearing: NDArray[np.float64]
    ratio: NDArray[np.float64]
    """Sunlit to shade."""
    sides: tuple[SunSide, ...]
    in_frame: tuple[bool | None, ...]
    score: NDArray[np.float64]


def plan_day(
    views: Sequence[Viewpoint],
    first: datetime,
    last: datetime,
    zone_words: str,
    kit: Kit,
    tables: Tables,
    *,
    start: Place | None = None,
    back_at_start: bool = False,
    travelling: Travelling | None = None,
    haze: str | float = "normal",
    doubts: Sequence[DayPlanDoubt] = (),
) -> PlannedDay:
    """The best order of up to twelve views between two aware moments.

    start: where the day begins; None = at whichever place comes first. back_at_start: be there again by `last`.
    doubts: what is to be said besides. Raises BadValue for more than twelve views, none, or values that make no sense.
    """
    travelling = travelling or Travelling()
    _check(first, last, start, back_at_start, travelling)
    views, same = distinct_views([_checked(view) for view in views])
    if not 1 <= len(views) <= MOST_PLACES:
        raise BadValue(
            f"{len(views)} places cannot be put in order; give 1 to {MOST_PLACES}, leave some out or plan two days"
        )
    day = _Day(views, first, last, start, back_at_start, travelling)
    skies = _skies(views, day.moments, haze_aod(haze), kit, tables)
    task = day.task(skies)
    order = spread_out(task, best_order(task))
    stays = tuple(day.stay(i, order, task, skies) for i in range(len(order)))
    seen = {visit.place for visit in order}
    left_out = tuple(day.left_out(k, task, skies[k]) for k in range(len(views)) if k not in seen)
    back_m = straight_m(stays[-1].view.place, start) if stays and start is not None else 0.0
    back_at = None
    if stays and start is not None:
        back_at = day.after(stays[-1].end, timedelta(minutes=travelling_min(back_m, travelling)))
    busy = sum(s.view.stay_min + s.travel_min for s in stays)
    busy += travelling_min(back_m, travelling) if back_at_start and stays else 0
    return PlannedDay(
        first=first,
        last=last,
        zone_words=zone_words,
        start=start,
        back_at_start=back_at_start,
        travelling=travelling,
        stays=stays,
        left_out=left_out,
        back_distance_m=back_m,
        back_at=back_at,
        sun_up=_sun_up(start or views[0].place, first, last),
        in_hand_min=day.window_min - busy,
        cautions=_cautions(stays, back_at, first, last),
        doubts=(*doubts, *same, *_doubts(views, stays, start, travelling)),
    )


def travelling_min(distance_m: float, travelling: Travelling) -> int:
    """Whole minutes that a straight distance [m] takes, with its detours, rounded up. [min]"""
    metres_a_minute = travelling.speed_km_h * 1000.0 / 60.0
    return min(math.ceil(distance_m * travelling.detour / metres_a_minute - 1e-9), _FAR_MIN)


def _check(first: datetime, last: datetime, start: Place | None, back_at_start: bool, travelling: Travelling) -> None:
    check_time(first)
    check_time(last)
    length = last.astimezone(UTC) - first.astimezone(UTC)
    if not timedelta(0) < length <= timedelta(hours=LONGEST_DAY_H):
        hours = length.total_seconds() / 3600.0
        raise BadValue(f"the day is {hours:g} h long; give a first and a last hour up to {LONGEST_DAY_H} h apart")
    for value, (low, high), what in (
        (travelling.speed_km_h, SPEED_KM_H, "speed [km/h]"),
        (travelling.detour, DETOUR, "factor for detours"),
    ):
        if not low <= value <= high:
            raise BadValue(f"{what} {value:g} must lie between {low:g} and {high:g}")
    if start is not None:
        check_place(start)
    elif back_at_start:
        raise BadValue("to be back at the start it has to be known; give --start as well")


def _checked(view: Viewpoint) -> Viewpoint:
    check_place(view.place)
    if view.stay_min < 1:
        raise BadValue(f"{view.name}: a stay of {view.stay_min} minutes; give a minute or more")
    return replace(view, heading_deg=checked_heading(view.heading_deg))


class _Day:
    """The grid of a day and the ways in it."""

    def __init__(
        self,
        views: Sequence[Viewpoint],
        first: datetime,
        last: datetime,
        start: Place | None,
        back_at_start: bool,
        travelling: Travelling,
    ) -> None:
        self.views, self.first, self.back_at_start = views, first, back_at_start
        self.window_min = int((last.astimezone(UTC) - first.astimezone(UTC)).total_seconds() // 60)
        steps = -(-self.window_min // STEP_MIN) + 1
        self.moments = [self.at(STEP_MIN * step) for step in range(steps)]
        self.from_start_m = [0.0 if start is None else straight_m(start, v.place) for v in views]
        self.way_m = [[straight_m(a.place, b.place) for b in views] for a in views]
        self.from_start_min = np.array([travelling_min(m, travelling) for m in self.from_start_m])
        self.way_min = np.array([[travelling_min(m, travelling) for m in row] for row in self.way_m])

    def after(self, when: datetime, wait: timedelta) -> datetime:
        """A while later, in the day's zone; clock changes in between count."""
        return (when.astimezone(UTC) + wait).astimezone(self.first.tzinfo)

    def at(self, minute: int) -> datetime:
        """The moment so many minutes into the day."""
        return self.after(self.first, timedelta(minutes=minute))

    def minute_of(self, when: datetime) -> int:
        """Minutes into the day."""
        return round((when.astimezone(UTC) - self.first.astimezone(UTC)).total_seconds() / 60.0)

    def samples(self, view: Viewpoint) -> int:
        """How many steps of the light a stay spans, its first and its last moment included."""
        return -(-view.stay_min // STEP_MIN) + 1

    def within_hours(self, view: Viewpoint) -> NDArray[np.bool_]:
        """(t,) whether a stay that begins on this step lies within the view's own hours."""
        begin = STEP_MIN * np.arange(len(self.moments))
        if view.hours is None:
            return np.ones(len(begin), bool)
        opens, closes = (self.minute_of(when) for when in view.hours)
        return np.asarray((begin >= opens) & (begin + view.stay_min <= closes))

    def task(self, skies: Sequence[_Sky]) -> OrderTask:
        """What the order depends on."""
        right, quality = [], []
        for view, sky in zip(self.views, skies, strict=True):
            mean, least = _over_stays(sky.score, self.samples(view))
            open_now = self.within_hours(view)
            right.append((least >= GOOD_SCORE) & open_now)
            worth = np.where(open_now & (mean >= LEAST_WORTH), mean, 0.0)
            quality.append(np.round(worth / QUALITY_STEP).astype(np.int64))
        return OrderTask(
            step_min=STEP_MIN,
            window_min=self.window_min,
            stay_min=np.array([view.stay_min for view in self.views]),
            from_start_min=self.from_start_min,
            to_start_min=self.from_start_min if self.back_at_start else None,
            way_min=self.way_min,
            right=np.array(right),
            quality=np.array(quality),
        )

    def stay(self, index: int, order: Sequence[Visit], task: OrderTask, skies: Sequence[_Sky]) -> Stay:
        """One stay of the order as it is told."""
        visit = order[index]
        view, sky = self.views[visit.place], skies[visit.place]
        begin = STEP_MIN * visit.step
        if index == 0:
            left, travel = 0, int(self.from_start_min[visit.place])
            distance = self.from_start_m[visit.place]
        else:
            before = order[index - 1]
            left = STEP_MIN * before.step + self.views[before.place].stay_min
            travel = int(self.way_min[before.place, visit.place])
            distance = self.way_m[before.place][visit.place]
        there = slice(visit.step, visit.step + self.samples(view))
        middle = min(visit.step + self.samples(view) // 2, len(self.moments) - 1)
        frame = sky.in_frame[there]
        return Stay(
            view=view,
            distance_m=distance,
            travel_min=travel,
            arrive=self.at(left + travel),
            begin=self.at(begin),
            end=self.at(begin + view.stay_min),
            spare_min=begin - left - travel,
            may_slip_min=self._may_slip(index, order, task),
            right_light=bool(task.right[visit.place, visit.step]),
            light=round(float(sky.score[there].mean()), 3),
            sun_height_deg=_both_ends(sky.height[there]),
            sun_bearing_deg=_both_ends(sky.bearing[there]),
            sun_sides=tuple(dict.fromkeys(sky.sides[there])),
            hardness=hardness_of(float(sky.ratio[middle])),
            sunlit_to_shade=round(float(sky.ratio[middle]), 1),
            sun_in_frame=None if None in frame else any(frame),
            hours=self.hours(sky),
        )

    def _may_slip(self, index: int, order: Sequence[Visit], task: OrderTask) -> int:
        """Minutes by which a stay may begin later, the next one unmoved and its own light no worse."""
        visit = order[index]
        end = STEP_MIN * visit.step + self.views[visit.place].stay_min
        if index + 1 < len(order):
            following = order[index + 1]
            limit = STEP_MIN * following.step - int(self.way_min[visit.place, following.place]) - end
        else:
            limit = self.window_min - end - (int(self.from_start_min[visit.place]) if self.back_at_start else 0)
        right, quality = task.right[visit.place], task.quality[visit.place]
        slip = 0
        for step in range(visit.step + 1, len(right)):
            worse = not right[step] if right[visit.step] else quality[step] < quality[visit.step]
            if worse or STEP_MIN * (step - visit.step) > limit:
                break
            slip = STEP_MIN * (step - visit.step)
        return slip

    def hours(self, sky: _Sky) -> ViewHours:
        """The light of one view over the whole day asked for."""
        good = sky.score >= GOOD_SCORE
        edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
        spans = [(a, b - 1) for a, b in zip(edges[::2], edges[1::2], strict=True) if b - 1 > a]
        hard = (sky.ratio >= HARD_RATIO) & (sky.height > 0.0)
        return ViewHours(
            right=tuple((self.moments[a], self.moments[b]) for a, b in spans),
            hard_light_h=round(min(float(hard.sum()) * STEP_MIN, self.window_min) / 60.0, 1),
            highest_deg=round(float(sky.height.max()), 1),
        )

    def left_out(self, k: int, task: OrderTask, sky: _Sky) -> LeftOut:
        """Why a view is not in the order."""
        view = self.views[k]
        begin = STEP_MIN * np.arange(len(self.moments))
        back = int(self.from_start_min[k]) if self.back_at_start else 0
        in_time = (begin >= self.from_start_min[k]) & (begin + view.stay_min + back <= self.window_min)
        opened = in_time & self.within_hours(view)
        alone, alone_right = None, False
        possible = np.flatnonzero(feasible_steps(task)[k])
        if len(possible):
            reason = LeftOutReason.NO_ROOM
            best = max(possible, key=lambda step: (task.right[k, step], task.quality[k, step], -step))
            alone, alone_right = self.moments[int(best)], bool(task.right[k, best])
        elif not in_time.any():
            reason = LeftOutReason.TOO_FAR
        elif not opened.any():
            reason = LeftOutReason.OWN_HOURS
        else:
            while_there = np.convolve(opened, np.ones(self.samples(view)))[: len(opened)] > 0
            low = float(sky.height[while_there].max()) <= LOWEST_USEFUL_DEG
            reason = LeftOutReason.NO_SUN if low else LeftOutReason.NO_LIGHT
        return LeftOut(
            view, reason, self.from_start_m[k], int(self.from_start_min[k]), alone, alone_right, self.hours(sky)
        )


def _both_ends(values: NDArray[np.float64]) -> tuple[float, float]:
    return round(float(values[0]), 2), round(float(values[-1]), 2)


def _over_stays(score: NDArray[np.float64], samples: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """(mean, least) score over the stay that begins on each step, (t,) each; 0 where it runs past the grid."""
    mean, least = np.zeros_like(score), np.zeros_like(score)
    if samples <= len(score):
        spans = np.lib.stride_tricks.sliding_window_view(score, samples)
        mean[: len(spans)], least[: len(spans)] = spans.mean(axis=1), spans.min(axis=1)
    return mean, least


def _skies(
    views: Sequence[Viewpoint], moments: Sequence[datetime], aod: float, kit: Kit, tables: Tables
) -> tuple[_Sky, ...]:
    suns = [sun_positions(view.place, moments) for view in views]
    hard, shade = hard_light_at(np.concatenate([height for height, _ in suns]), aod, kit, tables)
    out = []
    for i, (view, (height, bearing)) in enumerate(zip(views, suns, strict=True)):
        mine = slice(i * len(moments), (i + 1) * len(moments))
        sides = tuple(sun_side(float(b), view.heading_deg) for b in bearing)
        in_frame = tuple(
            sun_in_level_frame(float(h), float(b), view.heading_deg, view.focal_35mm_mm)
            for h, b in zip(height, bearing, strict=True)
        )
        score = [
            worth_of_light(float(h), float(s), side, frame)
            for h, s, side, frame in zip(height, hard[mine], sides, in_frame, strict=True)
        ]
        out.append(_Sky(height, bearing, 2.0 ** shade[mine], sides, in_frame, np.array(score)))
    return tuple(out)


def _sun_up(place: Place, first: datetime, last: datetime) -> tuple[tuple[datetime, datetime], ...]:
    """Sunrise to sunset within the calendar days that the plan touches."""
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
    end = (last - timedelta(microseconds=1)).replace(hour=0, minute=0, second=0, microsecond=0, fold=0)
    return sun_up_spans(place, midnight, end + timedelta(days=1))


def _cautions(stays: Sequence[Stay], back_at: datetime | None, first: datetime, last: datetime) -> tuple[Caution, ...]:
    if not stays:
        return ()
    said = []
    if any(side in ("ahead", "unknown") for stay in stays for side in stay.sun_sides):
        said.append(Caution(CautionKind.SUN_EYES))
    framed = [stay for stay in stays if stay.sun_in_frame]
    if framed:
        said.append(Caution(CautionKind.SUN_FRAME, sun_in_frame=(framed[0].begin, framed[-1].end)))
    out = stays[0].begin.astimezone(UTC) - timedelta(minutes=stays[0].travel_min)
    rises = [rise for rise, _ in _sun_up(stays[0].view.place, first, last)]
    if stays[0].travel_min and rises and out < rises[0].astimezone(UTC):
        said.append(Caution(CautionKind.DARK_START, sun_line=(rises[0], out.astimezone(first.tzinfo))))
    end = stays[-1].end.astimezone(UTC)
    day_end = end + timedelta(days=1)
    up = sun_up_spans(stays[-1].view.place, stays[-1].begin - timedelta(days=1), day_end)
    sets = [down for _, down in up if down.astimezone(UTC) < day_end]
    for kind, moment in ((CautionKind.DUSK, end), (CautionKind.DUSK_BACK, back_at)):
        dark = [] if moment is None or _is_up(up, moment) else [s for s in sets if s.astimezone(UTC) <= moment]
        if moment is not None and dark:
            said.append(Caution(kind, sun_line=(dark[-1].astimezone(first.tzinfo), moment.astimezone(first.tzinfo))))
            break  # a way back after a stay in the dark is in the dark too
    said += [Caution(CautionKind.TIDE), Caution(CautionKind.EDGE_WIND_UNKNOWN), Caution(CautionKind.LOCAL_RULES)]
    return tuple(said)


def _is_up(spans: Sequence[tuple[datetime, datetime]], moment: datetime) -> bool:
    when = moment.astimezone(UTC)
    return any(a.astimezone(UTC) <= when <= b.astimezone(UTC) for a, b in spans)


def _doubts(
    views: Sequence[Viewpoint], stays: Sequence[Stay], start: Place | None, travelling: Travelling
) -> tuple[DayPlanDoubt, ...]:
    said = [DayPlanDoubt(DayPlanDoubtKind.STRAIGHT_WAYS, value=travelling.detour)]
    stops = [*([start] if start is not None else []), *(stay.view.place for stay in stays)]
    known = all(stop.altitude_m != 0.0 for stop in stops)
    climb = sum(max(b.altitude_m - a.altitude_m, 0.0) for a, b in itertools.pairwise(stops))
    if known and climb >= CLIMB_WORTH_SAYING_M and travelling.speed_km_h <= ON_FOOT_KM_H:
        said.append(DayPlanDoubt(DayPlanDoubtKind.CLIMB_LEFT_OUT, value=round(climb, -1)))
    if start is None:
        said.append(DayPlanDoubt(DayPlanDoubtKind.NO_START))
    unknown = tuple(view.name for view in views if view.heading_deg is None)
    if unknown:
        said.append(DayPlanDoubt(DayPlanDoubtKind.NO_HEADING, unknown))
    said += [DayPlanDoubt(DayPlanDoubtKind.TIDE_AND_WEATHER), DayPlanDoubt(DayPlanDoubtKind.CLEAR_SKY_ONLY)]
    return tuple(said)
