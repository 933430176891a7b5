"""Value noise in numba: the one source of irregularity for ground, stones and clouds. Same seed, same field."""

import math

import numba as nb
import numpy as np


@nb.njit(inline="always", cache=True)
def _hash(x, y, z, seed):
    n = (x * 73856093) ^ (y * 19349663) ^ (z * 83492791) ^ (seed * 2654435761)
    n = (n ^ (n >> 13)) * 1274126177
    n &= 0x7FFFFFFF
    n = (n ^ (n >> 15)) * 668265263
    n &= 0x7FFFFFFF
    return (n ^ (n >> 11)) & 0xFFFFFF


@nb.njit(cache=True)
def value_noise(x, y, z, seed):
    """One octave of smooth noise in -1..1 at a point."""
    fx, fy, fz = math.floor(x), math.floor(y), math.floor(z)
    ix, iy, iz = int(fx), int(fy), int(fz)
    x, y, z = x - fx, y - fy, z - fz
    x = x * x * x * (x * (6 * x - 15) + 10)
    y = y * y * y * (y * (6 * y - 15) + 10)
    z = z * z * z * (z * (6 * z - 15) + 10)
    a = _hash(ix, iy, iz, seed)
    b = _hash(ix + 1, iy, iz, seed)
    c = _hash(ix, iy + 1, iz, seed)
    d = _hash(ix + 1, iy + 1, iz, seed)
    e = _hash(ix, iy, iz + 1, seed)
    f = _hash(ix + 1, iy, iz + 1, seed)
    g = _hash(ix, iy + 1, iz + 1, seed)
    h = _hash(ix + 1, iy + 1, iz + 1, seed)
    p = a + (b - a) * x
    q = c + (d - c) * x
    r = e + (f - e) * x
    t = g + (h - g) * x
    u = p + (q - p) * y
    v = r + (t - r) * y
    return (u + (v - u) * z) / 8388608.0 - 1.0


@nb.njit(cache=True)
def fractal(x, y, z, octaves, seed):
    """Sum of octaves, about -0.7..0.7, at a point."""
    amplitude, total = 0.5, 0.0
    for i in range(octaves):
        total += amplitude * value_noise(x, y, z, seed + i)
        x, y, z = x * 2.03 + 17.1, y * 2.03 - 9.7, z * 2.03 + 3.3
        amplitude *= 0.5
    return total


@nb.njit(cache=True)
def _fractal_many(x, y, octaves, seed):
    out = np.empty(x.size)
    for i in range(x.size):
        out[i] = fractal(x[i], y[i], 0.37, octaves, seed)
    return out


@nb.njit(cache=True)
def _ridged_many(x, y, octaves, seed):
    out = np.empty(x.size)
    for i in range(x.size):
        amplitude, total, weight = 0.5, 0.0, 1.0
        px, py = x[i], y[i]
        for k in range(octaves):
            n = 1 - abs(value_noise(px, py, 0.21, seed + k) * 1.4)
            n = n * n * weight
            total += amplitude * n
            weight = min(1.0, max(0.0, n * 1.6))
            px, py = px * 1.66 - py * 1.2 + 5, px * 1.2 + py * 1.66 - 3
            amplitude *= 0.5
        out[i] = total
    return out


def _over(kernel, x, y, scale_m, octaves, seed):
    x, y = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
    flat = kernel((x / scale_m).ravel(), (y / scale_m).ravel(), octaves, seed)
    return flat.reshape(x.shape)


def field(x, y, scale_m, octaves=5, seed=0):
    """Fractal noise over arrays of metres."""
    return _over(_fractal_many, x, y, scale_m, octaves, seed)


def ridges(x, y, scale_m, octaves=7, seed=0):
    """Ridged noise over arrays of metres: mountain crests."""
    return _over(_ridged_many, x, y, scale_m, octaves, seed)


def smooth_step(x, a, b):
    """0 below a, 1 above b (or the other way round when a > b), smooth between."""
    t = np.clip((np.asarray(x, float) - a) / (b - a), 0.0, 1.0)
    return t * t * (3 - 2 * t)
