"""Random places by the water: coast from above, cliff from the beach, boulders in surf, marsh."""

import math

import numpy as np
from noise import field, ridges, smooth_step
from random_matter import posts
from random_places import Place


def _coast(rng, top_m, strand_m):
    """Signed metres inland and the height over it: a bent coast with heads and bays, land on the camera's side."""
    angle, seed = rng.uniform(-0.9, 0.9), int(rng.integers(1, 9999))
    ahead, bay, scale = rng.uniform(1, 9), rng.uniform(0.5, 1.6), rng.uniform(60, 260)
    side = 1.0 if rng.random() < 0.5 else -1.0
    far = rng.random() < 0.6
    steep = rng.uniform(0.4, 1.6)

    def inland(x, y):
        along = x * math.cos(angle) * side + y * math.sin(abs(angle))
        d = ahead - y * math.cos(angle) + along * math.sin(abs(angle)) + bay * scale * field(x, y, scale, 5, seed)
        if far:  # another shore across the water
            d = np.maximum(d, (y - scale * 4 - 2 * along) * 0.5 + bay * scale * field(x, y, 2 * scale, 5, seed + 4))
        near = np.hypot(x, y)
        return d * smooth_step(near, 0, 14) + (1 - smooth_step(near, 0, 14)) * np.maximum(d, 3.0 - 0.6 * y)

    def height(x, y):
        d = inland(x, y) + 2.0 * field(x, y, 14, 5, seed + 1) * steep
        face = smooth_step(d, 0, max(2.0, top_m / (3.0 * steep)))
        top = (
            top_m * (0.8 + 0.5 * field(x, y, 120, 5, seed + 2)) + 0.04 * np.clip(d, 0, 800) + 0.3 * field(x, y, 5, 4, 6)
        )
        strand = np.clip(d + strand_m, -8 * strand_m, 40) * 0.07 + 0.15 * field(x, y, 3, 4, seed + 3)
        hills = smooth_step(d, 300, 2500) * (60 + 260 * field(x, y, 1500, 7, seed + 5))
        return strand * (1 - face) + np.maximum(top, 0.4) * face + hills

    return inland, height


def coast_from_above(rng):
    """Down from a cliff over bay and heads, often without a horizon."""
    top = rng.uniform(12, 90)
    inland, height = _coast(rng, top, rng.uniform(2, 16))

    def cover(t):

        d = inland(t.X, t.Y)
        rock = smooth_step(t.steepness + 0.3 * field(t.X, t.Y, 30, 4, 3), 0.5, 0.9)
        strand = (d < 3) * (1 - rock)
        worn = smooth_step(field(t.X, t.Y, 20, 5, 71), 0.2, 0.3) * (d >= 3) * (rng.random() < 0.6)
        wood = smooth_step(field(t.X, t.Y, 120, 5, 61) - rng.uniform(-0.2, 0.3), 0, 0.05) * (d > 12) * (t.R > 60)
        return rock, np.maximum(strand, worn), wood * (1 - rock)

    return Place(
        height,
        cover,
        soil=("sand", "white sand", "shingle", "black sand"),
        water_level_m=0.0,
        eye_m=(1.6, 25),
        pitch_deg=(-38, -4),
        foam=rng.uniform(0, 1),
        beds=float(rng.random() < 0.4) * rng.uniform(0.3, 1),
        water=("turquoise", "deep blue", "turquoise", "green", "grey"),
    )


def cliff_from_the_beach(rng):
    """A cliff beside the strand, in sun or shade."""
    seed, top, side = int(rng.integers(1, 9999)), rng.uniform(15, 90), rng.choice([-1.0, 1.0])
    foot, slant = rng.uniform(4, 30), rng.uniform(0.1, 0.9)

    def inland(x, y):
        return side * x - foot + slant * (y - 20) + 9 * field(x, y, 40, 5, seed) + 2.5 * field(x, y, 8, 4, seed + 1)

    def height(x, y):
        d = inland(x, y)
        fallen = 5 * np.clip(field(x, y, 20, 4, seed + 2), 0, 1) * np.exp(-(((d + 2) / 6) ** 2))
        strand = 0.9 + np.clip(d, -60, 0) * 0.045 + 0.12 * field(x, y, 4, 4, seed + 3) + fallen
        face = smooth_step(d, 0, top / rng_steep)
        return strand * (1 - face) + (top * (1 + 0.4 * field(x, y, 90, 4, seed + 4)) + 0.1 * np.clip(d, 0, 400)) * face

    rng_steep = rng.uniform(2.0, 6.0)

    def cover(t):
        d = inland(t.X, t.Y)
        rock = np.maximum(smooth_step(t.steepness, 0.45, 0.9), 0) * (d > -8)
        green = field(t.X, t.Y, 18, 5, 77) > rng.uniform(0.1, 0.4)
        rock = rock * ~(green & (t.steepness < 1.6) & (d > 2))
        return rock, (d < 1.5) * (1 - rock), (d > 30) * (field(t.X, t.Y, 60, 4, 61) > 0.1)

    stones = [(rng.uniform(-0.8, 0.8) * y, y, rng.uniform(0.1, 0.9) * (1 + y / 60)) for y in rng.uniform(6, 80, 60)]
    return Place(
        height,
        cover,
        soil=("sand", "shingle", "white sand", "grey mud", "black sand"),
        water_level_m=0.0,
        water_from_m=2,
        foam=rng.uniform(0.2, 1.2),
        beds=float(rng.random() < 0.7) * rng.uniform(0.4, 1),
        wet_m=(0.1, 0.5),
        grass=0.0,
        boulders=stones if rng.random() < 0.6 else [],
        pitch_deg=(-6, 12),
    )


def boulders_in_surf(rng):
    """A rocky shore at the water's edge: boulders dry and wet, foam."""
    seed, slope = int(rng.integers(1, 9999)), rng.uniform(0.02, 0.1)

    def height(x, y):
        h = 0.9 - slope * (y - 6) + 1.5 * field(x, y, 16, 5, seed) + 0.5 * field(x, y, 3, 4, seed + 1)
        land = smooth_step(y + 0.6 * x * rng_side, rng_far, rng_far * 2.5)
        return (
            h * (1 - land) + land * (20 + 120 * field(x, y, 600, 6, seed + 2)) - smooth_step(y, 40, 90) * 4 * (1 - land)
        )

    rng_side, rng_far = rng.choice([-1.0, 0.0, 1.0]), rng.uniform(150, 3000)

    def cover(t):
        rock = (field(t.X, t.Y, 14, 5, seed + 3) > rng.uniform(-0.3, 0.3)) * (t.R < 200)
        far = t.R > 200
        return rock * 1.0, ~rock * ~far * 1.0, far * (field(t.X, t.Y, 200, 4, 61) > 0)

    stones = [(rng.uniform(-0.9, 0.9) * y, y, rng.gamma(2, 0.35) * (1 + y / 70)) for y in rng.uniform(4, 70, 130)]
    return Place(
        height,
        cover,
        soil=("sand", "shingle", "black sand", "grey mud"),
        water_level_m=0.0,
        water_from_m=1.5,
        boulders=stones,
        foam=rng.uniform(0.8, 2.0),
        wet_m=(0.0, 0.6),
        grass=0.0,
        eye_m=(1.2, 6),
        pitch_deg=(-22, 0),
    )


def marsh(rng):
    """Mud, pools and creeks between grass and reed, under sun or cloud."""
    seed, wet = int(rng.integers(1, 9999)), rng.uniform(0.0, 0.35)

    def height(x, y):
        r = np.hypot(x, y)
        flat = 0.4 + 0.8 * field(x + 0.3 * y, y, rng_scale, 5, seed) + 0.1 * field(x, y, 4, 4, seed + 1)
        flat = flat - 0.2 * smooth_step(ridges(x, y, 20, 4, seed + 2), 0.45, 0.75) + 0.03 * field(x, y, 0.7, 4, 7)
        land = smooth_step(r, rng_land, rng_land * 1.6)
        return (
            np.minimum(flat, 0.65)
            + 0.9 * np.exp(-((r / 9) ** 2))
            + land * (3 + 60 * np.clip(field(x, y, 900, 5, 9), 0, 1))
        )

    rng_scale, rng_land = rng.uniform(15, 60), rng.uniform(200, 2500)

    def cover(t):
        green = smooth_step(t.Z + 0.2 * field(t.X, t.Y, 6, 4, 62), rng_green, rng_green + 0.1)
        far = rng_land * 1.3 < t.R
        wood = smooth_step(field(t.X, t.Y, 250, 5, 61), 0, 0.1) * far
        return 0.0, (1 - green) * (1 - far), wood

    rng_green = rng.uniform(0.35, 0.8)
    return Place(
        height,
        cover,
        soil=("mud", "grey mud", "mud", "sand", "earth"),
        meadow=("green", "dull", "straw", "moor"),
        water_level_m=wet,
        water=("grey", "brown", "black", "green"),
        water_from_m=1.5,
        wet_m=(wet, wet + rng.uniform(0.05, 0.3)),
        grass=1.0,
        eye_m=(1.4, 4),
        pitch_deg=(-10, 2),
        furnish=posts if rng.random() < 0.4 else None,
    )
