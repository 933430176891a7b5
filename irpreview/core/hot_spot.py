"""A bright spot in the middle of infrared frames, measured on frames of an even subject.

    log2 light = level + slope of the light (x, y, xy, x2 - y2) + vignetting (r2 to r8) + strength * bump(r / radius)

with r from the middle of the frame in half diagonals and the bump free to lie off-centre. Radii and centres are tried
on a grid, the rest is linear; the best is refined. How sure it is follows from the frame itself: a bump of the same
size fitted anywhere else in what is left over tells how strong a bump the subject's own structure can fake.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize, minimize_scalar

from irpreview.core.frame_pairs import CAMERA_CURVES, curve_linear
from irpreview.errors import BadPair, BadValue
from irpreview.records import FloatArray, Range, Shot

Array = NDArray[np.float64]

BLOCKS = 44
"""Blocks along the long side."""
RADII = tuple(float(r) for r in np.geomspace(0.07, 0.35, 7))
WIDEST = 0.38
CENTRES = tuple(float(c) for c in np.linspace(-0.22, 0.22, 5))
MOST_OFF_CENTRE = 0.3
SURE_SIGMAS = 4.0
"""Set on simulated frames without a spot: fewer than 2 in 100 show one, see tests/core/test_hot_spot.py."""
MOST_DOUBT_STOPS = 0.12
"""A frame whose own structure fakes bumps of this strength (one standard deviation) cannot tell."""
MOST_STRUCTURE_STOPS = 0.25
CURVE_DOUBT_SHARE = 0.05
"""What a curve found from two exposures leaves open, share of the strength."""
DARK_CODE, CLIPPED_CODE = 0.04, 0.965
LEAST_STEP_STOPS = 0.3


@dataclass(frozen=True, slots=True)
class EvenFrame:
    """One frame of an even subject: a clear or evenly grey sky, a white wall, a diffuser on the lens."""

    values: FloatArray
    """(H, W) brightness 0..1."""
    coded: bool = True
    """True: coded as a finished picture has it (JPEG); False: linear (raw)."""
    shot: Shot = field(default_factory=Shot)
    name: str = "frame"


@dataclass(frozen=True, slots=True)
class HotSpot:
    """What the frames say of one lens at one focal length and aperture."""

    strength_stops: Range
    """How much brighter the middle is than the lens would make it without the spot; low end 0 or less = none shown."""
    radius_share: float
    """Where the spot has half its strength, share of half the diagonal."""
    centre_xy: tuple[float, float]
    """Shares of width and height."""
    vignetting_stops: float
    """Corners against the middle, spot taken off; negative = darker."""
    confidence: float
    """0..1: 0 = no spot can be told from the subject's structure."""
    frames: int
    says: tuple[str, ...]

    @property
    def shows(self) -> bool:
        return self.strength_stops.low > 0.0


@dataclass(frozen=True, slots=True)
class _Fit:
    strength: float
    error: float
    radius: float
    centre: tuple[float, float]
    vignetting: float
    structure: float


def measure_hot_spot(frames: Sequence[EvenFrame]) -> HotSpot:
    """Strength, radius and confidence of a central bump, from one or more frames of the same lens setting.

    Of a single finished picture the camera's tone curve is unknown, and the strength is uncertain by about a fifth for
    that alone; two exposures a stop apart, or a raw file, do away with it. Raises BadPair for frames that cannot tell.
    """
    if not frames:
        raise BadValue("no frame was given; give at least one frame of an even subject")
    shape = frames[0].values.shape
    for frame in frames:
        if frame.values.ndim != 2 or min(frame.values.shape) < 64:
            raise BadValue(f"{frame.name} is {frame.values.shape} pixels; two sides of at least 64 px are needed")
        if abs(frame.values.shape[1] / frame.values.shape[0] - shape[1] / shape[0]) > 0.02:
            raise BadPair(f"{frame.name} has another shape than {frames[0].name}; give frames of one camera")
        _check_levels(frame)
    curve = _curve_of(frames)
    steps = tuple(CAMERA_CURVES.values()) if curve is None else (curve,)
    by_curve = [_combined([_fit(_stops(f, k)) for f in frames]) for k in steps]
    strengths = [f.strength for f in by_curve]
    middle = 0.5 * (min(strengths) + max(strengths))
    chosen = min(by_curve, key=lambda f: abs(f.strength - middle))
    if chosen.structure > MOST_STRUCTURE_STOPS or chosen.error > MOST_DOUBT_STOPS:
        raise BadPair(
            f"the subject is not even enough to tell a hot spot (its structure: {chosen.structure:.2f} stop, at most "
            f"{MOST_STRUCTURE_STOPS:g}; it can fake a spot of {chosen.error:.2f} stop, at most {MOST_DOUBT_STOPS:g}): "
            "take an evenly lit wall or sky out of focus, or a diffuser on the lens"
        )
    known = 0.0 if all(not f.coded for f in frames) else CURVE_DOUBT_SHARE
    spread = 0.5 * (max(strengths) - min(strengths))
    half = math.hypot(1.645 * chosen.error, spread, 1.645 * known * abs(middle))
    # at the widest radius that is tried a bump is one with the vignetting
    sure = middle > SURE_SIGMAS * chosen.error and middle > 0.02 and chosen.radius < 0.98 * WIDEST
    # a bump that the structure could fake is no bump: the range then reaches down to none
    low = max(middle - half, 0.25 * middle) if sure else min(middle - half, 0.0)
    confidence = 1.0 - math.exp(-max(middle / max(chosen.error, 1e-6) - SURE_SIGMAS, 0.0) / 4.0) if sure else 0.0
    strength = Range(low, max(middle, low), max(middle + half, low))
    centre = _centre_share(chosen.centre, shape)
    return HotSpot(
        strength,
        chosen.radius,
        centre,
        chosen.vignetting,
        confidence,
        len(frames),
        _says(strength, chosen, sure, curve is None, len(frames)),
    )


# --- light from values ----------------------------------------------------------------------------------------------


def _check_levels(frame: EvenFrame) -> None:
    middle = float(np.median(frame.values))
    clipped = float((frame.values >= CLIPPED_CODE).mean())
    if clipped > 0.002:
        raise BadPair(f"{frame.name} is blown out on {clipped:.1%} of its area; expose it to middle grey")
    if middle < (DARK_CODE * 2 if frame.coded else 0.004):
        raise BadPair(f"{frame.name} is nearly black (middle {middle:.3f} of full scale); expose it to middle grey")


def _stops(frame: EvenFrame, steepness: float) -> Array:
    """Blocks of the frame, log2 light. A block is the median of its rows' means: dust and birds fall out."""
    k = BLOCKS / max(frame.values.shape)
    size = (max(8, round(frame.values.shape[1] * k)), max(8, round(frame.values.shape[0] * k)))
    small = cv2.resize(np.asarray(frame.values, np.float32), size, interpolation=cv2.INTER_AREA)
    linear = curve_linear(np.asarray(small, np.float32), steepness) if frame.coded else small
    return np.asarray(np.log2(np.maximum(linear, 1e-5)), np.float64)


def _curve_of(frames: Sequence[EvenFrame]) -> float | None:
    """Steepness of the camera's curve: 0 for raw, found where two exposures differ, None where nothing tells."""
    coded = [f for f in frames if f.coded]
    if not coded:
        return 0.0
    known = [f for f in coded if f.shot.ev100 is not None]
    if len(known) < 2 or len(known) < len(coded):
        return None
    ev = np.array([f.shot.ev100 for f in known], np.float64)
    if float(ev.max() - ev.min()) < LEAST_STEP_STOPS:
        return None

    def misfit(steepness: float) -> float:
        level = np.array([float(np.median(_stops(f, steepness))) for f in known])
        off = level + ev  # the same light through the same lens: a constant
        return float(np.sum((off - off.mean()) ** 2))

    found = minimize_scalar(misfit, bounds=(0.0, 7.0), method="bounded", options={"xatol": 0.05})
    steepness = float(found.x)
    # two exposures of changing light, or a curve outside the family: no better than unknown
    return steepness if misfit(steepness) < 0.02 * len(known) else None


# --- fit ------------------------------------------------------------------------------------------------------------


def _grid(shape: tuple[int, ...]) -> tuple[Array, Array]:
    tall, wide = shape
    half = 0.5 * math.hypot(tall, wide)
    y, x = np.mgrid[0:tall, 0:wide]
    return ((x + 0.5 - wide / 2) / half).ravel(), ((y + 0.5 - tall / 2) / half).ravel()


def _smooth_part(x: Array, y: Array) -> Array:
    r2 = x**2 + y**2
    return np.stack((np.ones_like(x), x, y, x * y, x**2 - y**2, r2, r2**2, r2**3, r2**4), axis=1)


def _bump(x: Array, y: Array, centre: tuple[float, float], radius: float) -> Array:
    """1 in the middle, a half at `radius`."""
    return np.asarray(np.exp2(-((x - centre[0]) ** 2 + (y - centre[1]) ** 2) / radius**2), np.float64)


def _fit(stops: Array) -> _Fit:
    x, y = _grid(stops.shape)
    value = stops.ravel()
    smooth = _smooth_part(x, y)
    weight: Array = np.ones_like(value)
    centre, radius, strength = (0.0, 0.0), 0.2, 0.0
    smooth_value: Array = np.zeros(smooth.shape[1])
    rest: Array = value
    for round_number in range(3):
        root = np.sqrt(weight)
        q, _ = np.linalg.qr(smooth * root[:, None])
        target = value * root
        target = target - q @ (q.T @ target)

        def gain(cx: float, cy: float, r: float, q: Array = q, root: Array = root, target: Array = target) -> float:
            b = _bump(x, y, (cx, cy), r) * root
            b = b - q @ (q.T @ b)
            size = float(b @ b)
            dot = float(b @ target)
            return dot**2 / size if dot > 0.0 and size > 1e-9 else 0.0

        if round_number == 0:
            options = [(gain(cx, cy, r), cx, cy, r) for r in RADII for cx in CENTRES for cy in CENTRES]
            start = np.array(max(options)[1:])
        else:
            start = np.array([*centre, radius])
        lowest, highest = RADII[0] * 0.8, WIDEST
        bounds = [(-MOST_OFF_CENTRE, MOST_OFF_CENTRE)] * 2 + [(lowest, highest)]

        def loss(p: Array, gain: Callable[[float, float, float], float] = gain) -> float:
            return -gain(float(p[0]), float(p[1]), float(p[2]))

        found = minimize(loss, start, method="Nelder-Mead", bounds=bounds, options={"maxfev": 70, "xatol": 2e-3})
        centre, radius = (float(found.x[0]), float(found.x[1])), float(found.x[2])
        design = np.column_stack((smooth, _bump(x, y, centre, radius)))
        solution = np.linalg.lstsq(design * root[:, None], value * root, rcond=None)[0]
        strength, smooth_value = float(solution[-1]), np.asarray(solution[:-1], np.float64)
        rest = np.asarray(value - design @ solution, np.float64)
        scatter = 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) + 1e-6
        weight = np.asarray(np.minimum(1.0, 2.5 * scatter / np.maximum(np.abs(rest), 1e-9)), np.float64)
    error = _faked(x, y, smooth, rest, centre, radius)
    corner = _smooth_part(np.array([0.0, 0.707]), np.array([0.0, 0.707]))
    vignetting = float(corner[1, 5:] @ smooth_value[5:])
    return _Fit(max(strength, 0.0), error, radius, centre, vignetting, float(np.std(rest)))


def _faked(x: Array, y: Array, smooth: Array, rest: Array, centre: tuple[float, float], radius: float) -> float:
    """Standard deviation of the strength of a bump of this size that the leftover fakes elsewhere. [stops]"""
    q, _ = np.linalg.qr(smooth)
    places = [
        (cx, cy)
        for cx in np.linspace(x.min() * 0.85, x.max() * 0.85, 13)
        for cy in np.linspace(y.min() * 0.85, y.max() * 0.85, 9)
        if math.hypot(cx - centre[0], cy - centre[1]) > radius
    ]
    bumps = np.stack([_bump(x, y, place, radius) for place in places], axis=1)
    bumps -= q @ (q.T @ bumps)
    size = np.sqrt(np.maximum((bumps**2).sum(axis=0), 1e-12))
    chance = float(np.sqrt(np.mean(((rest @ bumps) / size) ** 2)))
    own = _bump(x, y, centre, radius)
    own = own - q @ (q.T @ own)
    # the chance of the grid's best place and size was taken: that is worth about half as much again
    return 1.5 * chance / max(float(np.sqrt(own @ own)), 1e-9) + 0.004


def _combined(fits: Sequence[_Fit]) -> _Fit:
    """Frames together: a weighted mean; where they disagree more than they say, the error grows."""
    weight = np.array([1.0 / f.error**2 for f in fits])
    share = weight / weight.sum()
    strength = float(sum(s * f.strength for s, f in zip(share, fits, strict=True)))
    scatter = float(np.sqrt(sum(s * (f.strength - strength) ** 2 for s, f in zip(share, fits, strict=True))))
    # the subject is often the same in all of them, so its structure does not average out by the root of their number
    error = max(float(1.0 / np.sqrt(weight.sum())), 0.7 * min(f.error for f in fits), scatter / math.sqrt(len(fits)))

    def mean(values: Sequence[float]) -> float:
        return float(sum(s * v for s, v in zip(share, values, strict=True)))

    return _Fit(
        strength,
        error,
        mean([f.radius for f in fits]),
        (mean([f.centre[0] for f in fits]), mean([f.centre[1] for f in fits])),
        mean([f.vignetting for f in fits]),
        min(f.structure for f in fits),
    )


def _centre_share(centre: tuple[float, float], shape: tuple[int, ...]) -> tuple[float, float]:
    tall, wide = shape
    half = 0.5 * math.hypot(tall, wide)
    return 0.5 + centre[0] * half / wide, 0.5 + centre[1] * half / tall


def _says(strength: Range, fit: _Fit, sure: bool, unknown_curve: bool, count: int) -> tuple[str, ...]:
    if not sure:
        out = [
            f"no hot spot: none above {max(strength.high, 0.02):.2f} stop in {count} frame{'s' if count != 1 else ''}"
        ]
    else:
        out = [
            f"hot spot of {strength.likely:.2f} stop ({strength.low:.2f} to {strength.high:.2f}), half as strong at "
            f"{fit.radius:.0%} of half the diagonal from its middle"
        ]
        if unknown_curve:
            out.append("the camera's tone curve is unknown: two exposures a stop apart, or a raw file, would tell more")
    way = "darker" if fit.vignetting < 0 else "brighter"
    out.append(f"corners {abs(fit.vignetting):.1f} stop {way} than the middle without it")
    return tuple(out)
