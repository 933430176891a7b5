"""The sky as a layer of its own: where it is, to the twig, and how dark its blue goes.

The network sees the sky at 128 px; what stands before it (leaves, roofs, masts, wires) is finer. Two things make the
picture of a sky, and both are read off the photo itself:

**The matte.** Sky and land each have their colours around any point: a mean and a spread of red, green and blue, from
where the network is sure. How much likelier a pixel's own colour is as sky than as land decides, with what the network
says of the place as the prior (Bayes' rule with two normal distributions). So an edge stands where the photo has it.

**The tone.** Clear sky, haze, veil and cloud are one thing mixed in different shares: white light and blue. Infrared
takes away what is blue, so the tone of the sky is one straight line of the pixel's own blueness, log2(B / R) with the
camera's development of highlights undone, for the whole picture: stops against the visible = level + slope x blueness.
Level and slope come from the network's answer over all of the sky; a slope found on little blue is drawn to the usual
one. Nothing is left that could fall apart into clear and cloud, and the share of cloud follows the same scale.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.resize import size_within
from irpreview.core.imaging.srgb import LINEAR_OF_LEVEL, LUMINANCE_WEIGHTS, UNDEVELOPED_OF_LEVEL, log2_in_place
from irpreview.records import ByteArray, FloatArray

BLUE_SLOPE = -0.45
"""[stops per stop of log2(B / R)] what a sky usually loses for its blue. Of -0.4, -0.45, -0.55 and -0.8 the one that
renders the 29 pairs held back best (PSNR 27.79, 27.83, 27.81, 27.6 dB). The pairs' own blacks are lifted, so theirs is
less than a scene's (tests/reference/test_edges.py); other kits add to it by physics."""
_SLOPE_WEIGHT = 0.7
"""Blueness variance [stops^2] at which a picture's own slope counts as much as the usual one."""
_FIT_SIDE_PX = 256
_COLOURS_SHARE = 0.03
"""Reach of the colour models, one standard deviation / long side."""
_COLOUR_FLOOR = 6e-4
"""Least variance of a layer's colour, (0..1 display)^2; 6 of 255 levels."""
_EVIDENCE_SHARE, _MOST_EVIDENCE = 0.6, 9.0
"""Neighbouring channels and grain are no independent witnesses: that share of the log-likelihood counts, at most
e^9 to one, so that no colour alone makes sky in the middle of a field."""
_STRAY = 0.012
"""Chance of a stray pixel of the other layer along the border: twigs before the sky, sky between leaves."""
_BEYOND_PX = (13, 13)
"""Window in which a layer is seen beyond its border, at half size."""
_MOST_OFF = 1.0
"""Standard deviations by which land on the border may be paler than the land beyond."""
_NEAR_PX = (49, 49)
"""The same for the land that a lone leaf belongs to."""
_SPECK_PX, _SPECK_LEVELS = 5, 5
"""A speck is darker by more of 255 levels, which grain is not, than the middle of its neighbours there [px]."""
_LEAST_APART, _LEAST_KNOWN = 20.0, 0.01
"""By how many of 255 levels the sky must be paler than the land for a speck to be told as land; and the share of a
window from which a layer is known there."""
_LEAST_SKY = 0.003
_LOWEST_LEVEL = 2.0**-9
_LEAST_BLUE_STEP = 0.5
"""[stops of log2(B / R)] a clear sky is at least that much bluer than cloud."""
_USUAL_BLUE = 2.0
"""[stops of log2(B / R)] of clear sky where the picture shows cloud only."""
_BLOWN_LEVEL = 244
"""Of 255, in the darkest of the three channels."""
SAMPLE_STEP = 3
"""The colour line is found on every third pixel each way."""
_BINS = 1024
_NONE = np.empty(0, np.intp)
_STOPS_OF_LEVEL = np.log2(np.maximum(UNDEVELOPED_OF_LEVEL, np.float32(_LOWEST_LEVEL))).astype(np.float32)
_LIGHT_OF_LEVEL = np.maximum(LINEAR_OF_LEVEL, np.float32(_LOWEST_LEVEL))


@dataclass(frozen=True, slots=True)
class SkyLayer:
    """The sky of one photo at the working size, (h, w) each."""

    share: FloatArray
    """Of sky in each pixel, 0..1: the matte."""
    stops: FloatArray
    """log2 of the reference tone where a pixel is sky."""
    cloud_share: FloatArray
    """Of white in the sky, 0..1; below 0 (to -0.4) where it is bluer than the clear sky is in the middle."""
    land_hue: ByteArray
    """(h, w, 3) the photo with the sky taken out of the hue of land along their border."""
    land: ByteArray
    """The same, out of its grey as well."""


def has_sky(of_sky: FloatArray) -> bool:
    """Whether there is enough sky for a layer, from the network's probability of it (h', w')."""
    return float(of_sky.max()) >= 0.5 and float(of_sky.mean()) >= _LEAST_SKY


def sky_layer(small: ByteArray, probability: FloatArray, of_sky: FloatArray, network_stops: FloatArray) -> SkyLayer:
    """The sky layer of a photo that has sky.

    small: (h, w, 3) sRGB at the working size. probability: (9, h', w') of the network. of_sky: its
    probability of sky, of any size, as the matte's prior. network_stops: log2 of the network's tone at every
    `SAMPLE_STEP`th pixel of `small` each way.
    """
    share = sky_matte(small, of_sky)
    tall = _rows_of_sky(share)
    share[tall:] = 0
    specks, lifted_stops = _uncover(small[:tall], share[:tall])
    hue_apart, apart = unmixed(small, share, specks)
    stops, cloud_share = np.zeros_like(share), np.zeros_like(share)
    if tall:
        sampled = np.s_[: -(-tall // SAMPLE_STEP)]
        rows, columns = share[::SAMPLE_STEP, ::SAMPLE_STEP].shape
        clear, cloud = (cv2.resize(p, (columns, rows), interpolation=cv2.INTER_LINEAR) for p in probability[:2])
        stops[:tall], cloud_share[:tall] = _sky_tone(
            small[:tall], share[:tall], clear[sampled].ravel(), cloud[sampled].ravel(), network_stops[sampled]
        )
        stops.reshape(-1)[specks] += lifted_stops
    return SkyLayer(share, stops, cloud_share, hue_apart, apart)


def _rows_of_sky(share: FloatArray) -> int:
    """Rows from the top that hold all of the sky and the land that borders on it."""
    reached = np.flatnonzero(share[:, ::2].max(axis=1) > 0.005)
    return min(len(share), int(reached[-1]) + 33) if reached.size else 0


def _uncover(small: ByteArray, share: FloatArray) -> tuple[NDArray[np.intp], FloatArray]:
    """Take out of the sky's share (h, w), in place, what a leaf or twig too small for a pixel of its own covers.

    Such a pixel of the photo (h, w, 3) is bluish, so the matte gives it to the sky, and darker than any sky beyond: as
    sky alone it would print as a black dot. By how much it is darker, against land and sky beyond, it is covered.
    Returns its flat places, and how much brighter the sky behind is than the pixel there. [stops]
    """
    if not share.size:
        return _NONE, np.empty(0, np.float32)
    grey_now = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    speck = cv2.subtract(cv2.medianBlur(grey_now, _SPECK_PX), grey_now)
    at = np.flatnonzero((share > 0.5) & (speck > _SPECK_LEVELS))
    if at.size == 0:
        return _NONE, np.empty(0, np.float32)
    halves = _halves(small)
    sky, land = _beyond(halves, share), _beyond(halves, 1 - share, _NEAR_PX)
    known, spread, *mean = sky.at(at)
    known_land, _, *of_land = land.at(at)
    grey, grey_land = (np.stack(m, axis=1) @ LUMINANCE_WEIGHTS for m in (mean, of_land))
    own = small.reshape(-1, 3).take(at, axis=0) @ LUMINANCE_WEIGHTS
    darkest = grey - np.float32(_MOST_OFF) * np.sqrt(np.maximum(spread - grey * grey, 0))
    covered = (darkest - own) / np.maximum(darkest - grey_land, _LEAST_APART)
    found = (covered > 0) & (np.minimum(known, known_land) > _LEAST_KNOWN) & (darkest - grey_land > _LEAST_APART)
    at, covered = at[found], np.minimum(covered[found], 1)
    share.reshape(-1)[at] *= (1 - covered).astype(np.float32)
    levels = np.clip(np.stack([darkest[found], own[found]]), 1, 255).astype(np.uint8)
    bright, dark = np.log2(_LIGHT_OF_LEVEL)[levels]
    return at, np.asarray(bright - dark, np.float32)


def _sky_tone(
    small: ByteArray, share: FloatArray, clear: FloatArray, cloud: FloatArray, network_stops: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """(log2 of the tone, share of cloud), (h, w) each, of rows that reach as far as the sky.

    clear, cloud: the network's probabilities at every `SAMPLE_STEP`th pixel, flat; network_stops: there (h', w').
    """
    channels = cv2.split(small)
    red, blue = (np.asarray(cv2.LUT(channels[k], _STOPS_OF_LEVEL), np.float32) for k in (0, 2))
    blueness = _blueness(blue - red, share)
    luminance = np.zeros(share.shape, np.float32)
    for channel, weight in zip(channels, LUMINANCE_WEIGHTS, strict=True):
        luminance += cv2.LUT(channel, np.asarray(weight * _LIGHT_OF_LEVEL, np.float32))
    visible = log2_in_place(luminance)

    thin = np.s_[::SAMPLE_STEP, ::SAMPLE_STEP]
    x, sure = blueness[thin].ravel(), share[thin].ravel() ** 4
    level, slope = _line(x, network_stops.ravel() - visible[thin].ravel(), sure * (clear + cloud) ** 4)
    white, blue_of_clear = _ends(x, sure * clear**2, sure * cloud**2)
    stops = visible
    stops += np.float32(slope) * blueness
    stops += np.float32(level)
    _leave_blown(stops, small, network_stops)
    blueness -= np.float32(white)
    blueness *= np.float32(-1.0 / (blue_of_clear - white))
    blueness += np.float32(1.0)
    return stops, np.clip(blueness, -0.4, 1.0, out=blueness)


def _blueness(raw: FloatArray, share: FloatArray) -> FloatArray:
    """log2(B / R) of the sky (h, w): the colour of a JPEG is coarser than its grey, and the land's runs over the edge.

    So it is a mean of 7 px, and within 3 px of land that of the sky beyond.
    """
    h, w = share.shape
    half = (-(-w // 2), -(-h // 2))  # a mean of 7 px is as good on a quarter of the pixels
    inner = cv2.resize(cv2.erode(share, np.ones((7, 7), np.uint8)), half, interpolation=cv2.INTER_AREA)
    raw = np.asarray(cv2.resize(raw, half, interpolation=cv2.INTER_AREA), np.float32)
    window = (9, 9)
    of_sky = cv2.blur(inner, window)
    beyond = cv2.blur(raw * inner, window) / (of_sky + np.float32(1e-3))
    known = np.minimum(of_sky * np.float32(20), 1)  # gaps between leaves have no sky beyond
    near = np.asarray(cv2.blur(raw, (3, 3)), np.float32)
    near += (1 - inner) * known * (beyond - near)
    return np.asarray(cv2.resize(near, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)


def unmixed(small: ByteArray, share: FloatArray, specks: NDArray[np.intp] = _NONE) -> tuple[ByteArray, ByteArray]:
    """The photo (h, w, 3) with the sky taken out of land along their border: of its hue, and of its grey as well.

    Within 3 px of the sky a JPEG's colour and half-covered pixels hold sky. Read as land alone, leaves go blue and
    pale, and what is read off them paints a rim. So a land pixel there takes the hue of the land beyond, and in the
    second picture it is no paler than nearly all of it. share: of sky (h, w). specks: flat places of sky that land
    covers in part, which take that hue as well. Both are `small` where there is no such border.
    """
    tall = _rows_of_sky(share)  # below there is no sky to take out
    if tall == 0:
        return small, small
    beyond = _beyond(_halves(small[:tall]), 1 - share[:tall])
    at = np.flatnonzero((share[:tall] < 0.5) & (beyond.inner < 0.98))
    of_land = len(at)
    at = np.concatenate([at, specks[share.ravel()[specks] >= 0.5]])
    if at.size == 0:
        return small, small
    known, spread, *mean = beyond.at(at)
    colour = np.stack(mean, axis=1)
    grey = np.maximum(colour @ LUMINANCE_WEIGHTS, 1)
    own = small.reshape(-1, 3).take(at, axis=0).astype(np.float32)
    own_grey = own @ LUMINANCE_WEIGHTS
    palest = grey + np.float32(_MOST_OFF) * np.sqrt(np.maximum(spread - grey * grey, 0))
    near = ((1 - beyond.inner.ravel()[at]) * np.minimum(known * np.float32(20), 1))[:, None]
    out = []
    for wanted, count in ((own_grey, len(at)), (np.minimum(own_grey, palest), of_land)):
        picture = small.copy()
        land = own + near * (colour * (wanted / grey)[:, None] - own)
        picture.reshape(-1, 3)[at[:count]] = np.clip(land[:count] + np.float32(0.5), 0, 255)
        out.append(picture)
    return out[0], out[1]


@dataclass(frozen=True, slots=True)
class _Beyond:
    """What one layer shows beyond its border; maps at half size but for `inner`."""

    inner: FloatArray
    """(h, w) share of the layer 3 px from its border and farther."""
    known: FloatArray
    mean: list[FloatArray]
    spread: FloatArray
    """Mean square of grey."""

    def at(self, where: NDArray[np.intp]) -> list[FloatArray]:
        """What is known, its spread, and its mean red, green and blue at flat places of the picture, (n,) each."""
        row, column = np.divmod(where, self.inner.shape[1])
        place = (row >> 1) * self.known.shape[1] + (column >> 1)
        return [m.ravel().take(place) for m in (self.known, self.spread, *self.mean)]


def _halves(small: ByteArray) -> tuple[Sequence[ByteArray], FloatArray]:
    """(red, green and blue, grey) of the photo (h, w, 3) at half size."""
    half = (-(-small.shape[1] // 2), -(-small.shape[0] // 2))
    colours = cv2.split(cv2.resize(small, half, interpolation=cv2.INTER_AREA))
    grey = np.zeros(half[::-1], np.float32)
    for colour, luminance in zip(colours, LUMINANCE_WEIGHTS, strict=True):
        grey += colour * luminance
    return [np.asarray(colour, np.uint8) for colour in colours], grey


def _beyond(
    halves: tuple[Sequence[ByteArray], FloatArray], layer: FloatArray, window: tuple[int, int] = _BEYOND_PX
) -> _Beyond:
    """What a layer's share (h, w) of a photo, as `_halves`, shows beyond its border. window: at half size [px]."""
    colours, grey = halves
    inner = np.asarray(cv2.erode(layer, np.ones((7, 7), np.uint8)), np.float32)
    weight = cv2.resize(inner, grey.shape[::-1], interpolation=cv2.INTER_AREA)
    known = np.asarray(cv2.blur(weight, window), np.float32)
    per_known = 1 / (known + np.float32(1e-4))
    mean = [cv2.blur(c * weight, window) * per_known for c in colours]
    return _Beyond(inner, known, mean, np.asarray(cv2.blur(weight * grey * grey, window) * per_known, np.float32))


def _leave_blown(stops: FloatArray, small: ByteArray, network_stops: FloatArray) -> None:
    """Where the sky is blown out, no colour is left to read: there the network's word stands; in place on `stops`."""
    thin = np.s_[::SAMPLE_STEP, ::SAMPLE_STEP]
    red, green, blue = cv2.split(np.ascontiguousarray(small[thin]))
    least = cv2.min(cv2.min(red, green), blue).astype(np.float32)
    blown = np.clip((least - _BLOWN_LEVEL) / np.float32(255 - _BLOWN_LEVEL), 0, 1)
    if not blown.any():
        return
    left = cv2.GaussianBlur(blown * (network_stops - stops[thin]), (0, 0), 1.5)
    stops += cv2.resize(left, stops.shape[::-1], interpolation=cv2.INTER_LINEAR)


def sky_matte(small: ByteArray, of_sky: FloatArray) -> FloatArray:
    """Share of sky in each pixel (h, w), 0..1, from the photo (h, w, 3) and the network's sky probability (h', w')."""
    h, w = small.shape[:2]
    size = size_within(h, w, _FIT_SIDE_PX)[::-1]
    fit = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.float32) * np.float32(1 / 255)
    colours = cv2.split(fit)
    prior = np.asarray(cv2.resize(of_sky, size, interpolation=cv2.INTER_LINEAR), np.float32)
    sky, land = (_colour_model(colours, np.clip((p - 0.5) / 0.45, 0, 1) ** 2) for p in (prior, 1 - prior))
    evidence = [np.float32(_EVIDENCE_SHARE) * (a - b) for a, b in zip(sky, land, strict=True)]

    prior = cv2.GaussianBlur(prior, (0, 0), 0.75 / 128 * max(size))
    reach = cv2.GaussianBlur(prior, (0, 0), _COLOURS_SHARE * max(size))
    stray = np.float32(_STRAY) * reach * (1 - reach) + np.float32(1e-6)
    prior = np.clip(prior, stray, 1 - stray)
    odds = np.log(prior / (1 - prior))

    # below the last row that sky could reach there is none, and nothing to work out
    reached = np.flatnonzero((reach > 1e-3).any(axis=1))
    if reached.size == 0:
        return np.zeros((h, w), np.float32)
    rows = int(reached[-1]) + 1
    tall = min(h, -(-rows * h // size[1]))

    channels = [np.multiply(c, np.float32(1 / 255), dtype=np.float32) for c in cv2.split(small[:tall])]
    out, room, product = (np.empty((tall, w), np.float32) for _ in range(3))

    def enlarged(m: FloatArray, into: FloatArray = room) -> FloatArray:
        return np.asarray(cv2.resize(m[:rows], (w, tall), dst=into, interpolation=cv2.INTER_LINEAR), np.float32)

    enlarged(evidence[0], out)
    terms = iter(evidence[1:])
    for i, one in enumerate(channels):
        cv2.accumulateProduct(enlarged(next(terms)), one, out)
        for other in channels[i:]:
            cv2.multiply(one, other, dst=product)
            cv2.accumulateProduct(enlarged(next(terms)), product, out)
    np.clip(out, -_MOST_EVIDENCE, _MOST_EVIDENCE, out=out)
    out += enlarged(odds)
    cv2.exp(np.negative(out, out=out), dst=out)
    out += 1
    share = np.zeros((h, w), np.float32)
    np.divide(1, out, out=share[:tall])
    return share


def _colour_model(colours: Sequence[FloatArray], weight: FloatArray) -> list[FloatArray]:
    """log-likelihood of a colour in a layer, as maps of the polynomial 1, r, rr, rg, rb, g, gg, gb, b, bb (h, w) each.

    A normal distribution round each point, from the pixels of the layer there, far ones where there are none near.
    """
    sigma = _COLOURS_SHARE * max(weight.shape)
    weight = weight.astype(np.float32) + np.float32(1e-6)

    def around(m: FloatArray) -> FloatArray:
        return np.asarray(cv2.GaussianBlur(weight * m, (0, 0), sigma), np.float32)

    total = np.asarray(cv2.GaussianBlur(weight, (0, 0), sigma), np.float32)
    mean = [around(c) / total for c in colours]
    rr, rg, rb, gg, gb, bb = (
        around(colours[i] * colours[k]) / total - mean[i] * mean[k]
        for i, k in ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
    )
    rr, gg, bb = (np.maximum(m, 0) + np.float32(_COLOUR_FLOOR) for m in (rr, gg, bb))
    c_rr, c_rg, c_rb = gg * bb - gb * gb, rb * gb - rg * bb, rg * gb - rb * gg
    c_gg, c_gb, c_bb = rr * bb - rb * rb, rb * rg - rr * gb, rr * gg - rg * rg
    determinant = np.maximum(rr * c_rr + rg * c_rg + rb * c_rb, np.float32(_COLOUR_FLOOR) ** 3)
    i_rr, i_rg, i_rb, i_gg, i_gb, i_bb = (c / determinant for c in (c_rr, c_rg, c_rb, c_gg, c_gb, c_bb))
    red, green, blue = mean
    by_red = i_rr * red + i_rg * green + i_rb * blue
    by_green = i_rg * red + i_gg * green + i_gb * blue
    by_blue = i_rb * red + i_gb * green + i_bb * blue
    constant = -0.5 * (by_red * red + by_green * green + by_blue * blue + np.log(determinant))
    half = np.float32(-0.5)
    return [constant, by_red, half * i_rr, -i_rg, -i_rb, by_green, half * i_gg, -i_gb, by_blue, half * i_bb]


def _line(x: FloatArray, y: FloatArray, weight: FloatArray) -> tuple[float, float]:
    """(level, slope) of y against blueness x, weighted and robust, the slope drawn to the usual one. [stops]"""
    mean_x = mean_y = slope = 0.0
    counted = weight.astype(np.float64) + 1e-9
    for _ in range(3):
        total = counted.sum()
        mean_x, mean_y = float((counted * x).sum() / total), float((counted * y).sum() / total)
        variance = float((counted * (x - mean_x) ** 2).sum() / total)
        shared = float((counted * (x - mean_x) * (y - mean_y)).sum() / total)
        slope = (shared + _SLOPE_WEIGHT * BLUE_SLOPE) / (variance + _SLOPE_WEIGHT)
        counted = weight / (1 + ((y - mean_y - slope * (x - mean_x)) / 0.3) ** 2) + 1e-9
    return mean_y - slope * mean_x, slope


def _ends(x: FloatArray, clear: FloatArray, cloud: FloatArray) -> tuple[float, float]:
    """Blueness of cloud and of clear sky in this picture, by the network's weights for both."""
    has_clear, has_cloud = (float(weight.mean()) > 0.004 for weight in (clear, cloud))
    white = min(max(_median(x, cloud), -0.3), 0.5) if has_cloud else 0.0
    blue = _median(x, clear) if has_clear else white + _USUAL_BLUE
    return white, max(blue, white + _LEAST_BLUE_STEP)


def _median(value: FloatArray, weight: FloatArray) -> float:
    """The weighted median; sorted is only the bin in which it lies."""
    low, high = float(value.min()), float(value.max())
    if high <= low:
        return low
    bins = ((value - np.float32(low)) * np.float32((_BINS - 1) / (high - low))).astype(np.intp)
    total = np.cumsum(np.bincount(bins, weight))
    half = 0.5 * total[-1]
    k = int(np.searchsorted(total, half))
    inside = np.flatnonzero(bins == k)
    inside = inside[np.argsort(value[inside])]
    reached = np.cumsum(weight[inside], dtype=np.float64) + (total[k - 1] if k else 0.0)
    return float(value[inside[min(int(np.searchsorted(reached, half)), len(inside) - 1)]])
