"""The filter factor of a kit learned from frames that were brought home.

Each frame says  metered - taken - came out  [stops], the factor of its own subject and light. What the model of light
and matter already explains of sun height, shade and subject is taken off, and what is left is

    rest = factor of grey in sun - prior  +  sum over circumstances (what the model gets wrong)  +  error

solved as a Bayesian linear model: every unknown has a prior width from the physics (where data are few the prior
stands), errors follow Student's t (Lange, Little and Taylor 1989: iterated weights), so that a gross error is set
aside instead of moving the answer, and blown-out or black frames enter as one-sided bounds (Tobin 1958). An ordinary
ridge or Huber regression would do either the priors or the robustness, not both and the bounds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from types import MappingProxyType
from typing import TypeVar

import numpy as np
from scipy.special import log_ndtr

from irpreview.core.field_log.entries import Bound, LogEntry, kit_key
from irpreview.core.light.filter_factor import filter_factor, grey_factor_stops
from irpreview.core.light.spectra import Array, Tables
from irpreview.core.light.surfaces import class_factors, open_shade_stops
from irpreview.core.units import how_many
from irpreview.records import CLASS_NAMES, CLASS_WORDS, Kit, Light, Range

T = TypeVar("T")
HALF_WIDTH_SD = 1.6449
"""Half of a 5-95 % range in standard deviations of a normal distribution."""
T_FREEDOM = 4.0
T_INFORMATION = 0.85
"""What a frame tells against one of normal error of the same scatter. Between 0.71, were the errors t all through
((nu + 1) / (nu + 3)), and 0.95, were they normal; set on simulated seasons with one gross error in ten."""
USUAL_ERROR_STOPS = 0.25
"""Meter, tone curve and judging of one frame together (assumed); counts as much as `USUAL_ERROR_FRAMES` frames."""
USUAL_ERROR_FRAMES = 6.0
METER_BIAS_STOPS = 0.04
"""What no number of frames takes away: the meter's own calibration (assumed, one standard deviation)."""
SHADE_DOUBT_STOPS, LOW_SUN_DOUBT_STOPS = 0.3, 0.25
LEAST_FRAMES = 3
SET_ASIDE_AT = 4.0
"""A frame further off than this many errors is told as set aside."""
CHANGE_STOPS, CHANGE_SIGMAS, CHANGE_SIDE_FRAMES = 0.35, 5.5, 6
HEIGHT_NODES_DEG = (2.0, 5.0, 10.0, 20.0, 35.0, 60.0, 85.0)


@dataclass(frozen=True, slots=True)
class Observation:
    """What one frame says, without its file."""

    raw_factor_stops: float
    sun_height_deg: float | None = None
    in_shade: bool = False
    subject: str | None = None
    taken_at: float | None = None
    """Order in time, any unit (days); None = not known."""
    bound: Bound = "exact"
    number: int = 0


@dataclass(frozen=True, slots=True)
class LeftOut:
    """How many frames of a kit do not count, and why."""

    other_kit: int = 0
    """Had another filter or sensor in the kit."""
    silent: int = 0
    """Lack the metered light, the exposure or how they came out."""
    before_change: int = 0
    """Were taken before the kit changed."""


@dataclass(frozen=True, slots=True)
class Learned:
    """The factor of neutral grey in clear sun 45 degrees high, and what the frames say of circumstances."""

    factor_stops: Range
    prior_stops: Range
    frames: int
    """How many frames it rests on."""
    set_aside: tuple[int, ...]
    """Numbers of the frames that disagree too much to count."""
    error_stops: float
    """Scatter of one frame, one standard deviation."""
    circumstances: Mapping[str, Range] = field(default_factory=lambda: MappingProxyType({}))
    """shade, low_sun (at 5 degrees), and classes: what to add to the model's own part. [stops]"""
    counts: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    changed_stops: float | None = None
    """Step of the factor where the kit changed or drifted, else None; only the frames since then count."""
    changed_at: float | None = None
    told: bool = True
    """Whether any frame says something."""
    left_out: LeftOut = LeftOut()

    @property
    def source(self) -> str:
        """One line for `Kit.factor_source`."""
        aside = f", {len(self.set_aside)} set aside" if self.set_aside else ""
        return f"learned from {how_many(self.frames, 'frame')} of the field log{aside}"

    def applied_to(self, kit: Kit, *, in_shade: bool = False, sun_height_deg: float | None = None) -> Kit:
        """The kit with this factor, and with what the frames say of shade, of a low sun and of each class.

        A class that needed more stops than the model says is darker in infrared by so much: its factor is corrected,
        and with it which layer is brightest and where it is placed.
        """
        shift = 0.0
        parts = []
        if in_shade and self.counts.get("shade", 0):
            step = self.circumstances["shade"].likely
            shift += step
            parts.append(f"open shade {step:+.1f}")
        if sun_height_deg is not None and self.counts.get("low_sun", 0):
            step = self.circumstances["low_sun"].likely * float(_low_sun(sun_height_deg))
            shift += step
            parts.append(f"a sun {sun_height_deg:.0f} degrees high {step:+.1f}")
        classes = dict(kit.class_correction_stops)
        for name in CLASS_NAMES:
            if self.counts.get(name, 0) >= LEAST_FRAMES:
                step = self.circumstances[name].likely
                classes[name] = -step  # against the model alone: it stands in place of what the kit's file says
                parts.append(f"{CLASS_WORDS[name]} {step:+.1f}")
        words = self.source + (f"; by circumstance in stops: {', '.join(parts)}" if parts else "")
        return replace(
            kit,
            factor_stops=self.factor_stops + shift,
            factor_source=words,
            class_correction_stops=MappingProxyType(classes),
        )


def learned_of(kit: Kit, entries: Sequence[LogEntry], tables: Tables) -> Learned:
    """The factor of a kit by the entries of the log."""
    observations, left_out = observations_of(kit, entries)
    learned = learn_factor(kit, observations, tables)
    return replace(learned, left_out=replace(left_out, before_change=learned.left_out.before_change))


def observations_of(kit: Kit, entries: Sequence[LogEntry]) -> tuple[tuple[Observation, ...], LeftOut]:
    """(what the frames of this kit say, how many are left out). A kit whose filter changed starts anew."""
    key = kit_key(kit)
    mine = [e for e in entries if e.kit_name == kit.name]
    other = sum(1 for e in mine if e.kit_key not in ("", key))
    told = [(e, e.raw_factor_stops) for e in mine if e.kit_key in ("", key)]
    silent = sum(1 for _, raw in told if raw is None)
    return (
        tuple(
            Observation(raw, e.sun_height_deg, e.in_shade, e.subject, _days(e), e.bound, e.id)
            for e, raw in told
            if raw is not None
        ),
        LeftOut(other, silent),
    )


def _days(entry: LogEntry) -> float | None:
    if entry.taken_at is not None:
        return entry.taken_at.timestamp() / 86400.0
    if entry.taken_on is not None:
        return float((entry.taken_on - datetime(1970, 1, 1).date()).days) + 0.5
    return None


def learn_factor(kit: Kit, observations: Sequence[Observation], tables: Tables) -> Learned:
    """The factor of a kit by its frames and the prior of physics (or of the kit's own calibration).

    Frames whose raw factor lies outside -5 to 35 stops are set aside unseen. With no frames the prior comes back.
    """
    prior = _prior(kit, tables)
    possible = [o for o in observations if -5.0 <= o.raw_factor_stops <= 35.0]
    impossible = tuple(o.number for o in observations if not -5.0 <= o.raw_factor_stops <= 35.0)
    if not possible:
        return Learned(prior, prior, 0, impossible, USUAL_ERROR_STOPS, told=False)
    expected = _expected(kit, possible, tables) + prior.likely
    design, widths, names = _design(kit, possible, tables)
    rest = np.array([o.raw_factor_stops for o in possible]) - expected
    kinds = np.array([{"exact": 0, "at_most": -1, "at_least": 1}[o.bound] for o in possible])
    time = np.array([math.nan if o.taken_at is None else o.taken_at for o in possible])
    widths[0] = max(prior.width / (2.0 * HALF_WIDTH_SD), 0.05)

    fit = _solve(rest, design, widths, kinds)
    use = np.ones(len(possible), bool)
    step, at = _change(rest - design[:, 1:] @ fit.value[1:], kinds, time, fit.error)
    if at is not None:
        use = ~(time < at)
        widths = widths.copy()
        widths[0] = max(widths[0], 1.5)  # a changed kit owes nothing to what its class would give
        fit = _solve(rest[use], design[use], widths, kinds[use])
    sd = np.sqrt(np.diag(fit.covariance))
    middle = prior.likely + float(fit.value[0])
    half = math.hypot(
        max(HALF_WIDTH_SD * float(sd[0]), _half_by_scatter(fit, kinds[use], float(sd[0]), float(widths[0]))),
        HALF_WIDTH_SD * METER_BIAS_STOPS,
    )
    factor = Range(middle - half, middle, middle + half)
    chosen = [o for o, u in zip(possible, use, strict=True) if u]
    odd = (np.abs(fit.residual) > SET_ASIDE_AT * fit.error) & (kinds[use] == 0)
    aside = impossible + tuple(o.number for o, bad in zip(chosen, odd, strict=True) if bad)
    circumstances = {
        name: Range(*(float(fit.value[i] + d * HALF_WIDTH_SD * sd[i]) for d in (-1.0, 0.0, 1.0)))
        for i, name in enumerate(names)
        if i
    }
    counts = {name: int((np.abs(design[use][:, i]) > 0.3).sum()) for i, name in enumerate(names) if i}
    return Learned(
        factor,
        prior,
        len(chosen) - int(odd.sum()),
        aside,
        fit.error,
        MappingProxyType(circumstances),
        MappingProxyType(counts),
        step,
        at,
        left_out=LeftOut(before_change=int((~use).sum())),
    )


# --- what the model already explains --------------------------------------------------------------------------------


@lru_cache(maxsize=16)
def _model_at_nodes(kit: Kit, tables: Tables) -> tuple[Array, Array, Array]:
    """(sun height part (n,), shade part (n,), class factors (n, 9)) at the node heights. [stops]"""
    reference = grey_factor_stops(kit, Light(), tables)
    sun, shade, classes = [], [], []
    for height in HEIGHT_NODES_DEG:
        light = Light(sun_height_deg=height)
        sun.append(grey_factor_stops(kit, light, tables) - reference)
        shade.append(-open_shade_stops(kit, light, tables).likely)
        factors = class_factors(kit, light, tables)
        classes.append([factors[name].likely for name in CLASS_NAMES])
    return np.array(sun), np.array(shade), np.array(classes)


@lru_cache(maxsize=16)
def _prior(kit: Kit, tables: Tables) -> Range:
    return filter_factor(kit, Light(), tables)[0]


@lru_cache(maxsize=16)
def _class_doubt(kit: Kit, tables: Tables) -> Mapping[str, float]:
    """How well the factor of each class is known beforehand, one standard deviation. [stops]"""
    return {n: f.width / (2.0 * HALF_WIDTH_SD) for n, f in class_factors(kit, Light(), tables).items()}


def _bare(kit: Kit) -> Kit:
    """The kit's spectra alone, so that what was learned or corrected before plays no part."""
    return replace(kit, class_correction_stops=MappingProxyType({}), factor_stops=None, factor_source="")


def _heights(observations: Sequence[Observation]) -> Array:
    return np.array([45.0 if o.sun_height_deg is None else max(o.sun_height_deg, 2.0) for o in observations])


def _expected(kit: Kit, observations: Sequence[Observation], tables: Tables) -> Array:
    """What sun height, shade and subject add to the factor of each frame, by the model. [stops]"""
    sun, shade, classes = _model_at_nodes(_bare(kit), tables)
    height = _heights(observations)
    shaded = np.array([o.in_shade for o in observations])
    total = np.interp(height, HEIGHT_NODES_DEG, sun) + shaded * np.interp(height, HEIGHT_NODES_DEG, shade)
    for i, name in enumerate(CLASS_NAMES):
        seen = np.array([o.subject == name for o in observations])
        if seen.any():  # what glows in infrared needs less
            total -= seen * np.interp(height, HEIGHT_NODES_DEG, classes[:, i])
    return np.asarray(total, np.float64)


def _low_sun(height_deg: float | Array) -> float | Array:
    """0 for a sun 45 degrees high, 1 at 5 degrees: how far the light is that of a low sun."""
    scale = np.exp(-np.maximum(height_deg, 0.0) / 12.0)
    shape = (scale - math.exp(-45.0 / 12.0)) / (math.exp(-5.0 / 12.0) - math.exp(-45.0 / 12.0))
    return shape if isinstance(height_deg, np.ndarray) else float(shape)


def _design(kit: Kit, observations: Sequence[Observation], tables: Tables) -> tuple[Array, Array, tuple[str, ...]]:
    """(matrix (n, k), prior widths (k,), names): the factor itself, then each circumstance that occurs."""
    columns = [np.ones(len(observations))]
    widths = [1.0]
    names = ["factor"]
    shaded = np.array([float(o.in_shade) for o in observations])
    low = np.asarray(_low_sun(_heights(observations)))
    for name, column, width in (("shade", shaded, SHADE_DOUBT_STOPS), ("low_sun", low, LOW_SUN_DOUBT_STOPS)):
        if np.abs(column).max() > 0.05:
            columns.append(column)
            widths.append(width)
            names.append(name)
    present = {o.subject for o in observations if o.subject is not None}
    if present:
        class_sd = _class_doubt(_bare(kit), tables)
        for name in CLASS_NAMES:
            if name in present:
                columns.append(np.array([float(o.subject == name) for o in observations]))
                widths.append(class_sd[name])
                names.append(name)
    return np.array(columns).T, np.array(widths), tuple(names)


# --- the robust fit -------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Fit:
    value: Array
    covariance: Array
    residual: Array
    error: float
    weight: Array
    """How much each frame counts, about 1; near 0 for a gross error."""


def _solve(rest: Array, design: Array, widths: Array, kinds: Array) -> _Fit:
    """Posterior of the linear model with t errors and one-sided bounds, by iterated weights.

    Started from the median of the exact frames, because a start at the mean could settle among the gross errors.
    """
    exact = kinds == 0
    precision = np.diag(1.0 / widths**2)
    value: Array = np.zeros(design.shape[1])
    if exact.sum() >= LEAST_FRAMES:
        value[0] = float(np.median(rest[exact]))
    error = max(_scatter((rest - design @ value)[exact]), USUAL_ERROR_STOPS)
    weight = np.ones(len(rest))
    for _ in range(60):
        mean = design @ value
        residual = rest - mean
        weight = np.where(exact, (T_FREEDOM + 1.0) / (T_FREEDOM + (residual / error) ** 2), 0.0)
        working = rest.copy()
        for side in (-1, 1):
            rows = kinds == side
            if rows.any():
                # z > 0: the bound is kept by that many errors and says ever less
                z = np.clip(-side * residual[rows] / error, -8.0, 30.0)
                hazard = np.exp(-0.5 * z**2 - 0.5 * math.log(2.0 * math.pi) - log_ndtr(z))
                curve = np.maximum(hazard * (hazard + z), 1e-9)
                weight[rows] = np.minimum(curve, 1.0) * (T_FREEDOM + 1.0) / (T_FREEDOM + np.minimum(z, 0.0) ** 2)
                working[rows] = mean[rows] + side * error * hazard / curve
        scaled = design * (weight / error**2)[:, None]
        new = np.linalg.solve(design.T @ scaled + precision, scaled.T @ working)
        error = _error((rest - design @ new)[exact])
        done = float(np.abs(new - value).max()) < 1e-5
        value = np.asarray(new, np.float64)
        if done:
            break
    information = np.where(exact, np.minimum(weight, 1.0), weight) * T_INFORMATION
    covariance = np.linalg.inv(design.T @ (design * (information / error**2)[:, None]) + precision)
    return _Fit(value, np.asarray(covariance, np.float64), rest - design @ value, error, weight)


def _half_by_scatter(fit: _Fit, kinds: Array, sd: float, prior_sd: float) -> float:
    """Half of the 5-95 % range of the factor that the frames' own scatter allows, whatever error is usual. [stops]

    The mean of n frames by nothing but their own scatter follows Student's t with n - 1 degrees of freedom (Student
    1908), so that two frames alone say very little; the prior, a normal of width prior_sd, is laid over it. sd: of the
    factor as fitted. One frame has no scatter: the usual error stands for it, as if seen on two.
    """
    exact = kinds == 0
    n = int(exact.sum())
    if n == 0 or sd >= prior_sd:
        return HALF_WIDTH_SD * sd
    scatter, freedom = USUAL_ERROR_STOPS, 1.0
    if n > 1:
        residual, weight = fit.residual[exact], np.minimum(fit.weight[exact], 1.0)
        centre = float(np.average(residual, weights=weight))
        freedom = max(float(weight.sum()) - 1.0, 0.5 * (n - 1))  # a frame weighed down is no whole frame
        scatter = math.sqrt(float(weight @ (residual - centre) ** 2) / freedom) + 1e-6
    counting = fit.error**2 * (1.0 / sd**2 - 1.0 / prior_sd**2)  # so many frames of this error tell as much
    scale = scatter / math.sqrt(counting)
    x = np.linspace(0.0, 4.0 * prior_sd, 2001)
    density = np.exp(-0.5 * (x / prior_sd) ** 2) * (1.0 + (x / scale) ** 2 / freedom) ** (-0.5 * (freedom + 1.0))
    share = np.cumsum(density)
    return float(np.interp(0.9, share / share[-1], x))


def _scatter(values: Array) -> float:
    """Robust standard deviation: 1.4826 times the median distance from the median."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values)))) if values.size else USUAL_ERROR_STOPS


def _error(residual: Array) -> float:
    """Scatter of one frame, drawn to the usual one where frames are few."""
    n = residual.size
    square = (n * _scatter(residual) ** 2 + USUAL_ERROR_FRAMES * USUAL_ERROR_STOPS**2) / (n + USUAL_ERROR_FRAMES)
    return max(math.sqrt(square), 0.05)


# --- change -----------------------------------------------------------------------------------------------------


def _change(rest: Array, kinds: Array, time: Array, error: float) -> tuple[float | None, float | None]:
    """(step, time since when) where the frames in order of time fall apart into two levels, else (None, None)."""
    known = (kinds == 0) & ~np.isnan(time)
    if known.sum() < 2 * CHANGE_SIDE_FRAMES:
        return None, None
    order = np.argsort(time[known], kind="stable")
    when, value = time[known][order], rest[known][order]
    tame = np.clip(value, np.median(value) - 2.5, np.median(value) + 2.5)
    best: tuple[float, float, float] | None = None
    n = len(value)
    cuts = [i for i in range(CHANGE_SIDE_FRAMES, n - CHANGE_SIDE_FRAMES + 1) if when[i] > when[i - 1]]
    if len(cuts) > 60:
        cuts = [cuts[round(j)] for j in np.linspace(0, len(cuts) - 1, 60)]
    for cut in cuts:
        before, after = tame[:cut], tame[cut:]
        step = float(np.median(after) - np.median(before))
        inner = np.concatenate((before - np.median(before), after - np.median(after)))
        spread = max(_scatter(inner), 0.6 * min(error, USUAL_ERROR_STOPS))
        # the median of n values scatters 1.25 times as much as their mean would
        sigmas = abs(step) / (1.2533 * spread * math.sqrt(1.0 / cut + 1.0 / (n - cut)))
        misfit = float(np.abs(inner).sum())
        if abs(step) >= CHANGE_STOPS and sigmas >= CHANGE_SIGMAS and (best is None or misfit < best[0]):
            best = (misfit, step, float(when[cut]))
    return (None, None) if best is None else (best[1], best[2])
