"""A bright spot in the middle of infrared frames, measured on frames of an even subject.

    log2 light = level + slope of the light (x, y, xy, x2 - y2) + vignetting (r2 to r8) + strength * bump(r / radius)
                 + structure of the subject + noise

with r from the middle of the frame in half diagonals and the bump free to lie off-centre. Structure and noise are told
apart by restricted maximum likelihood (Patterson and Thompson 1971): how strong and how wide the subject's own blotches
are decides how sure a bump of a given size can be (generalized least squares). Radii and centres are tried on a grid,
the best is refined.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize, minimize_scalar
from scipy.special import erf, ndtr

from irpreview.core.exposure.frame_pairs import CAMERA_CURVES, curve_linear
from irpreview.errors import BadPair, BadValue
from irpreview.records import FloatArray, Range, Shot

Array = NDArray[np.float64]

BLOCKS = 44
"""Blocks along the long side."""
RADII = tuple(float(r) for r in np.geomspace(0.07, 0.35, 7))
NARROWEST, WIDEST = 0.056, 0.38
TRUSTED_RADIUS = 0.98 * WIDEST
CENTRES = tuple(float(c) for c in np.linspace(-0.22, 0.22, 5))
MOST_OFF_CENTRE = 0.3
CENTRE_DOUBT, RADIUS_DOUBT = 0.17, 0.09
"""Standard deviations of what is thinkable beforehand: even spreads between the limits above."""
SURE_SIGMAS = 5.5
"""Set on simulated frames without a spot: fewer than 2 in 100 show one, see tests/core/field_log/test_hot_spot.py."""
LEAST_SPOT_STOPS = 0.02
MOST_HIDDEN_STOPS = 0.2
"""A frame in which a spot of this strength could hide cannot tell that there is none: in a sky it would show."""
MOST_STRUCTURE_STOPS = 0.06
TOLD_STOPS, TOLD_SHARE = 0.05, 0.15
"""A strength is told when its range is no wider than this to either side."""
CURVE_DOUBT_SHARE = 0.05
"""What a curve found from two exposures leaves open, share of the strength."""
LEAST_ERROR_STOPS = 0.004
DARK_CODE, CLIPPED_CODE = 0.04, 0.965
LEAST_STEP_STOPS = 0.3
HALF_WIDTH_SD = 1.6449
"""Half of a 5-95 % range in standard deviations of a normal distribution."""
TAKEN_SHARE = 4.0
"""The likeliest bump takes some of the structure for itself, where it lies best: what is left says too little of it, by
so much in variance. Set on simulated frames."""
KINDS = ("soft", "rough")
LENGTHS = (0.04, 0.07, 0.12, 0.2, 0.35, 0.6)
SHARES = (0.0, *(float(q) for q in np.geomspace(0.03, 3000.0, 11)))
"""Reach of the subject's blotches [half diagonals] and their variance against that of the noise, as tried."""


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
    strength_told: bool = True
    """False: a spot shows, but how strong it is cannot be told within 0.05 stop or 15 %."""
    curve_known: bool = True
    """Whether the camera's tone curve is known, from a raw file or two exposures."""

    @property
    def shows(self) -> bool:
        """Whether the spot is surely there."""
        return self.strength_stops.low > 0.0


@dataclass(frozen=True, slots=True)
class _Fit:
    strength: float
    error: float
    hidden: float
    """A spot stronger than this would have been seen, in 95 of 100 frames. [stops]"""
    sigmas: float
    radius: float
    centre: tuple[float, float]
    vignetting: float
    structure: float


def measure_hot_spot(frames: Sequence[EvenFrame]) -> HotSpot:
    """Strength, radius and confidence of a central bump, from one or more frames of the same lens setting.

    Of a single finished picture the camera's tone curve is unknown, and with it the strength by about a sixth to either
    side: then it is given as a range only (`strength_told`). Two exposures a stop apart, or a raw file, tell it.
    Raises BadPair for frames that cannot tell.
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
    fits = [_fit(_together([_stops(f, k, shape) for f in frames])) for k in steps]
    surest = max(fits, key=lambda f: f.sigmas)
    if surest.structure > MOST_STRUCTURE_STOPS:
        raise BadPair(
            f"the subject is not even enough to tell a hot spot (its structure: {surest.structure:.2f} stop, at most "
            f"{MOST_STRUCTURE_STOPS:g}): {_BETTER_SUBJECT}"
        )
    sure = surest.sigmas > SURE_SIGMAS and surest.strength > LEAST_SPOT_STOPS and surest.radius < TRUSTED_RADIUS
    hidden = max(f.hidden for f in fits)
    if not sure and hidden > MOST_HIDDEN_STOPS:
        raise BadPair(
            f"these frames cannot tell: a hot spot of {hidden:.2f} stop could hide in the unevenness of the subject "
            f"(at most {MOST_HIDDEN_STOPS:g}): {_BETTER_SUBJECT}"
        )
    known = 0.0 if all(not f.coded for f in frames) else CURVE_DOUBT_SHARE
    least, most = min(fits, key=lambda f: f.strength), max(fits, key=lambda f: f.strength)
    middle = math.sqrt(max(least.strength, 0.0) * max(most.strength, 0.0))
    if sure:
        low, high = (
            f.strength + sign * HALF_WIDTH_SD * math.hypot(f.error, known * middle)
            for f, sign in ((least, -1.0), (most, 1.0))
        )
        strength = Range(max(low, 0.25 * middle), middle, max(high, middle))
    else:
        # a bump that the structure could fake is no bump: the range then reaches down to none
        strength = Range(0.0, min(middle, hidden), hidden)
    half = max(strength.high - strength.likely, strength.likely - strength.low)
    told = not sure or half <= max(TOLD_STOPS, TOLD_SHARE * strength.likely)
    return HotSpot(
        strength,
        surest.radius,
        _centre_share(surest.centre, shape),
        surest.vignetting,
        1.0 - math.exp(-(surest.sigmas - SURE_SIGMAS) / 4.0) if sure else 0.0,
        len(frames),
        told,
        curve is not None,
    )


_BETTER_SUBJECT = "take an evenly lit wall or sky out of focus, or a diffuser on the lens"


# --- light from values ----------------------------------------------------------------------------------------------


def _check_levels(frame: EvenFrame) -> None:
    middle = float(np.median(frame.values))
    clipped = float((frame.values >= CLIPPED_CODE).mean())
    if clipped > 0.002:
        raise BadPair(f"{frame.name} is blown out on {clipped:.1%} of its area; expose it to middle grey")
    if middle < (DARK_CODE * 2 if frame.coded else 0.004):
        raise BadPair(f"{frame.name} is nearly black (middle {middle:.3f} of full scale); expose it to middle grey")


def _stops(frame: EvenFrame, steepness: float, shape: tuple[int, ...]) -> Array:
    """Means of the frame's blocks, log2 light; `shape`: of the frame that sets the blocks."""
    k = BLOCKS / max(shape)
    size = (max(8, round(shape[1] * k)), max(8, round(shape[0] * k)))
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
        level = np.array([float(np.median(_stops(f, steepness, f.values.shape))) for f in known])
        off = level + ev  # the same light through the same lens: a constant
        return float(np.sum((off - off.mean()) ** 2))

    found = minimize_scalar(misfit, bounds=(0.0, 7.0), method="bounded", options={"xatol": 0.05})
    steepness = float(found.x)
    # two exposures of changing light, or a curve outside the family: no better than unknown
    return steepness if misfit(steepness) < 0.02 * len(known) else None


def _together(blocks: Sequence[Array]) -> Array:
    """The mean of frames of one subject or several, the less even ones counting less."""
    if len(blocks) == 1:
        return blocks[0]
    level = [b - np.median(b) for b in blocks]
    smooth = _smooth_part(*_grid(blocks[0].shape))
    rough = [float(np.var(v.ravel() - smooth @ np.linalg.lstsq(smooth, v.ravel(), rcond=None)[0])) for v in level]
    weight = 1.0 / (np.array(rough) + LEAST_ERROR_STOPS**2)
    return np.asarray(np.tensordot(weight / weight.sum(), np.stack(level), axes=1), np.float64)


# --- fit ------------------------------------------------------------------------------------------------------------


def _grid(shape: tuple[int, ...]) -> tuple[Array, Array]:
    tall, wide = shape
    half = 0.5 * math.hypot(tall, wide)
    y, x = np.mgrid[0:tall, 0:wide]
    return ((x + 0.5 - wide / 2) / half).ravel(), ((y + 0.5 - tall / 2) / half).ravel()


def _smooth_part(x: Array, y: Array) -> Array:
    r2 = x**2 + y**2
    return np.stack((np.ones_like(x), x, y, x * y, x**2 - y**2, r2, r2**2, r2**3, r2**4), axis=1)


def _bump(shape: tuple[int, ...], cx: float, cy: float, radius: float) -> Array:
    """Block means of a bump that is 1 in its middle, a half at `radius`."""
    half = 0.5 * math.hypot(*shape)
    steep = math.sqrt(math.log(2.0)) / radius

    def along(count: int, centre: float) -> Array:
        edge = steep * ((np.arange(count + 1) - count / 2) / half - centre)
        return np.asarray(0.5 * math.sqrt(math.pi) * np.diff(erf(edge)) / (steep / half), np.float64)

    return np.outer(along(shape[0], cy), along(shape[1], cx)).ravel()


@lru_cache(maxsize=4)
def _tried(shape: tuple[int, int]) -> tuple[Array, Array, tuple[tuple[float, float, float], ...], Array, Array]:
    """(smooth part (n, 9), its orthonormal basis, places and radii tried, their bumps less the smooth part, squares)"""
    smooth = _smooth_part(*_grid(shape))
    q, _ = np.linalg.qr(smooth)
    options = tuple((cx, cy, r) for r in RADII for cx in CENTRES for cy in CENTRES)
    bumps = np.stack([_bump(shape, *option) for option in options], axis=1)
    bumps -= q @ (q.T @ bumps)
    return smooth, q, options, bumps, np.maximum((bumps**2).sum(axis=0), 1e-12)


def _fit(stops: Array) -> _Fit:
    """The likeliest bump in blocks of log2 light (rows, columns), by least squares; its error by the structure left."""
    shape = (stops.shape[0], stops.shape[1])
    smooth, q, options, bumps, size = _tried(shape)
    value = stops.ravel()
    target = value - q @ (q.T @ value)
    place = options[int((np.maximum(target @ bumps, 0.0) ** 2 / size).argmax())]
    for _ in range(3):
        target = value - q @ (q.T @ value)

        def loss(p: Array, target: Array = target) -> float:
            b = _bump(shape, float(p[0]), float(p[1]), float(p[2]))
            b = b - q @ (q.T @ b)
            dot = float(b @ target)
            return -(dot**2) / max(float(b @ b), 1e-9) if dot > 0.0 else 0.0

        bounds = [(-MOST_OFF_CENTRE, MOST_OFF_CENTRE)] * 2 + [(NARROWEST, WIDEST)]
        found = minimize(loss, place, method="Nelder-Mead", bounds=bounds, options={"maxfev": 80, "xatol": 1e-3})
        place = (float(found.x[0]), float(found.x[1]), float(found.x[2]))
        design = np.column_stack((smooth, _bump(shape, *place)))
        # dust and birds fall out once a bump is taken off, whose top would pass for dust else
        value = _tamed(stops.ravel(), design)
    solution = np.linalg.lstsq(design, value, rcond=None)[0]
    strength = float(solution[-1])
    rest = value - design @ solution
    noise = _noise(value, design, shape)
    error = math.hypot(_error(shape, smooth, place, strength, noise, float(np.var(rest))), LEAST_ERROR_STOPS)
    corner = _smooth_part(np.array([0.0, 0.707]), np.array([0.0, 0.707]))
    return _Fit(
        max(strength, 0.0),
        error,
        max(
            _most_hidden(target @ bumps / size, np.sqrt(noise.power(bumps)) / size),
            # at the widest radius that is tried a bump is one with the vignetting
            strength + HALF_WIDTH_SD * error if place[2] < TRUSTED_RADIUS else 0.0,
        ),
        strength / error,
        place[2],
        place[:2],
        float(corner[1, 5:] @ solution[5:-1]),
        float(np.std(rest)),
    )


def _tamed(value: Array, design: Array) -> Array:
    """The values with what lies far off the design pulled in: a robust fit by clipped residuals (Huber 1964)."""
    tame = value
    solve = np.linalg.pinv(design)
    for _ in range(4):
        fitted = design @ (solve @ tame)
        rest = value - fitted
        scatter = 1.4826 * float(np.median(np.abs(rest - np.median(rest)))) + 1e-6
        tame = fitted + np.clip(rest, -3.5 * scatter, 3.5 * scatter)
    return np.asarray(tame, np.float64)


def _error(
    shape: tuple[int, ...],
    smooth: Array,
    place: tuple[float, float, float],
    strength: float,
    noise: _Noise,
    variance: float,
) -> float:
    """Standard error of the strength, centre and radius being unknown too. [stops]

    variance: of what the fit leaves over.
    """
    columns = [_bump(shape, *place)]
    for i in range(3):
        ends = [[p + (side * 0.01 if i == j else 0.0) for j, p in enumerate(place)] for side in (1.0, -1.0)]
        columns.append(max(strength, 0.0) * (_bump(shape, *ends[0]) - _bump(shape, *ends[1])) / 0.02)
    design = np.column_stack((*smooth.T, *columns))
    beforehand = np.zeros(design.shape[1])
    beforehand[-3:] = 1.0 / np.array([CENTRE_DOUBT, CENTRE_DOUBT, RADIUS_DOUBT]) ** 2
    inverse = np.linalg.pinv(design.T @ design / variance + np.diag(beforehand), hermitian=True)
    # least squares do not know of the structure: what it does to them follows from both (White 1980)
    row = inverse[smooth.shape[1]]
    return math.sqrt(float(noise.power((design @ row)[:, None])[0]) / variance**2 + float(row**2 @ beforehand))


def _most_hidden(strengths: Array, errors: Array) -> float:
    """95 % end of the strength over all places and sizes of the grid, each as likely as the frame makes it. [stops]"""
    z = strengths / errors
    # likelihood of a place and size, the strength left open between 0 and 1 stop
    log_weight = np.log(errors) + 0.5 * z**2 + np.log(np.maximum(ndtr((1.0 - strengths) / errors) - ndtr(-z), 1e-300))
    weight = np.exp(log_weight - log_weight.max())
    steps = np.linspace(0.0, 1.0, 401)
    below = ndtr((steps[:, None] - strengths) / errors) - ndtr(-z)
    whole = np.maximum(ndtr((1.0 - strengths) / errors) - ndtr(-z), 1e-300)
    share = (below / whole) @ weight / weight.sum()
    return float(steps[int(np.searchsorted(share, 0.95, side="left").clip(0, 400))])


# --- structure and noise --------------------------------------------------------------------------------------------


class _Noise:
    """Structure and noise of the blocks: blotches of a given reach on a grid fall apart into rows and columns."""

    def __init__(self, shape: tuple[int, ...], kind: str, length: float, share: float, scale: float = 1.0) -> None:
        self._shape = shape
        step = 1.0 / (0.5 * math.hypot(*shape))
        tall, self._rows = _spread(shape[0], step, kind, length)
        wide, self._columns = _spread(shape[1], step, kind, length)
        self.spread = np.outer(tall, wide).ravel()
        self.variance = scale * (TAKEN_SHARE * share * self.spread + 1.0)

    def turned(self, columns: Array) -> Array:
        """(n, k) -> (n, k), parts of which noise and structure are independent, with `variance` (n,)."""
        tall, wide = self._shape
        by_row = (self._rows.T @ columns.reshape(tall, -1)).reshape(tall, wide, -1)
        return np.asarray((self._columns.T @ by_row).reshape(columns.shape[0], -1), np.float64)

    def power(self, columns: Array) -> Array:
        """Variance of each column's product with noise and structure. (n, k) -> (k,)."""
        return np.asarray(self.variance @ self.turned(columns) ** 2, np.float64)


@lru_cache(maxsize=64)
def _spread(count: int, step: float, kind: str, length: float) -> tuple[Array, Array]:
    """Eigenvalues and vectors of how alike blocks are at a distance: softly (clouds) or roughly (plaster)."""
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count))) * step / length
    alike = np.exp(-0.5 * apart**2) if kind == "soft" else np.exp(-apart)
    values, vectors = np.linalg.eigh(alike)
    return np.maximum(values, 0.0), vectors


def _noise(value: Array, design: Array, shape: tuple[int, ...]) -> _Noise:
    """Structure and noise in what the design leaves over, by restricted maximum likelihood over kinds and lengths."""
    best: tuple[float, _Noise] | None = None
    both = np.column_stack((design, value))
    free = len(value) - design.shape[1]
    for kind in KINDS:
        for length in LENGTHS:
            unit = _Noise(shape, kind, length, 1.0)
            columns = unit.turned(both)
            for share in SHARES:
                variance = share * unit.spread + 1.0
                # the last diagonal is the leftover, the others the information on the design
                gram = columns.T @ (columns / variance[:, None])
                lower = np.linalg.cholesky(gram + 1e-12 * np.trace(gram) * np.eye(len(gram)))
                square = float(lower[-1, -1] ** 2)
                fits = -0.5 * (
                    float(np.log(variance).sum())
                    + 2.0 * float(np.log(np.diag(lower)[:-1]).sum())
                    + free * math.log(square / free)
                )
                if best is None or fits > best[0]:
                    best = fits, _Noise(shape, kind, length, share, square / free)
    assert best is not None
    return best[1]


def _centre_share(centre: tuple[float, float], shape: tuple[int, ...]) -> tuple[float, float]:
    tall, wide = shape
    half = 0.5 * math.hypot(tall, wide)
    return 0.5 + centre[0] * half / wide, 0.5 + centre[1] * half / tall
