"""Random places inland, and what every kind of place decides: the ground, what covers it, water, things, camera."""

from dataclasses import dataclass
from dataclasses import field as fact

import numpy as np
from masonry import Mason, any_of, arch, broken_crown, house
from noise import field, ridges, smooth_step
from random_matter import bare_trees, dry_bushes, scattered_trees


@dataclass
class Place:
    """What a kind of place decides; the rest is drawn the same way for all."""

    height: object
    cover: object  # (terrain) -> rock, soil, wood
    rock: tuple[str, ...] = ("grey", "pale", "brown", "red", "black", "white", "ochre")
    soil: tuple[str, ...] = ("earth", "sand", "shingle")
    meadow: tuple[str, ...] = ("green", "spring", "dull", "straw", "moor")
    wood: tuple[str, ...] = ("wood", "wood", "dark wood", "autumn", "larches")
    snow: bool = False  # the meadow's share is snow
    water_level_m: float | None = None
    water: tuple[str, ...] = ("deep blue", "turquoise", "green", "grey", "brown")
    water_from_m: float = -60.0
    foam: float = 0.0
    wet_m: tuple[float, float] | None = None
    beds: float = 0.0
    eye_m: tuple[float, float] = (1.5, 2.0)
    pitch_deg: tuple[float, float] = (-8.0, 5.0)
    focal_35mm: tuple[float, float] = (24.0, 40.0)
    haze: tuple[float, float] = (0.2, 1.2)
    grass: float = 0.8  # chance of blades before the camera
    furnish: object = None  # (stage, terrain, nursery, rng, materials) -> None
    boulders: list[tuple[float, float, float]] = fact(default_factory=list)


def snow_and_glacier(rng):
    """High ground with snow, rock and moraine, at times a lake of melt water or a wood below."""
    seed, near = int(rng.integers(1, 9999)), rng.random()
    line = rng.uniform(-400, 500)
    tall, start = rng.uniform(700, 2200), rng.uniform(150, 2500)

    def height(x, y):
        r = np.hypot(x, y)
        h = 4 * field(x, y, 60, 5, seed) + 0.5 * field(x, y, 8, 4, seed + 1) + (0.15 * y if near < 0.3 else -0.02 * y)
        up = smooth_step(r, start, start + 5000)
        return h + up * (tall * ridges(x + 700, y, rng_scale, 10, seed + 2) - 0.25 * tall) + smooth_step(r, 60, 500) * 8

    rng_scale = rng.uniform(1500, 6000)

    def cover(t):
        grain = field(t.X, t.Y, 40, 6, seed + 4) + 0.5 * field(t.X, t.Y, 400, 5, seed + 5)
        steep = smooth_step(t.steepness + 0.35 * grain - 0.0003 * t.Z, 0.6, 0.95)
        below = smooth_step(line - t.Z + 260 * grain, -30, 60)
        rock = np.maximum(steep, below * (t.R > 120))
        patches = smooth_step(field(t.X, t.Y, 14, 6, seed + 6) - rng.uniform(-0.1, 0.5), 0, 0.06) * (t.R < 400)
        wood = smooth_step(field(t.X, t.Y, 240, 5, 61) + 0.2, 0, 0.06) * (line - 60 > t.Z) * (t.R > 250) * (steep < 0.5)
        return rock * (1 - patches), patches, wood

    lake = rng.random() < 0.3
    return Place(
        height,
        cover,
        snow=True,
        rock=("grey", "brown", "black", "pale"),
        soil=("shingle", "earth", "grey mud"),
        wood=("dark wood", "wood", "larches"),
        water_level_m=-3.0 if lake else None,
        water=("glacial", "deep blue", "black"),
        water_from_m=20,
        grass=0.0,
        pitch_deg=(-6, 8),
        focal_35mm=(24, 70),
        furnish=bare_trees if rng.random() < 0.3 else None,
    )


def snow_on_tops(rng):
    """The same through a longer lens and more air."""
    place = snow_and_glacier(rng)
    place.focal_35mm, place.haze = (35, 80), (0.3, 2.5)
    return place


def desert(rng):
    """Dunes or stony plains, mesas far off, some dry bushes."""
    seed, tall = int(rng.integers(1, 9999)), rng.uniform(2, 40)
    scale, mesa = rng.uniform(30, 250), rng.random() < 0.6

    def height(x, y):
        r = np.hypot(x, y)
        h = tall * (ridges(x + 0.5 * y, y * 0.6, scale, 2, seed) - 0.3) + 0.04 * field(x, y, 1.2, 3, seed + 1)
        h = h * smooth_step(r, 3, 30)
        block = field(x, y, 1800, 5, seed + 2)
        step = np.floor(np.clip(block - 0.02, 0, 1) * 14) / 14 if mesa else np.clip(block, 0, 1)
        return h + smooth_step(r, 400, 1500) * 700 * step

    def cover(t):
        rock = smooth_step(t.steepness, 0.45, 0.7) * (t.R > 250) + (
            field(t.X, t.Y, 30, 5, seed + 3) > rng.uniform(0.2, 0.7)
        )
        rock = np.clip(rock, 0, 1)
        return rock, 1 - rock, 0.0

    return Place(
        height,
        cover,
        rock=("red", "ochre", "pale", "brown", "white"),
        soil=("sand", "red sand", "white sand", "earth"),
        grass=0.0,
        haze=(0.2, 2.0),
        beds=float(mesa) * 0.8,
        furnish=dry_bushes if rng.random() < 0.6 else None,
        pitch_deg=(-12, 5),
    )


def terraces(rng):
    """Steps up a slope: walls or banks between strips of grass, straw or bare earth."""
    seed, step, slope = int(rng.integers(1, 9999)), rng.uniform(1.0, 3.5), rng.uniform(0.2, 0.5)

    def height(x, y):
        base = slope * np.clip(y - 8, 0, 260) * (1 + 0.4 * field(x, y, 90, 4, seed)) + 9 * field(x, y, 70, 4, seed + 1)
        low = np.floor(base / step)
        tread = smooth_step(base / step - low, 0.82, 1.0)
        r = np.hypot(x, y)
        return (low + tread) * step * smooth_step(r, 4, 12) + smooth_step(r, 500, 2500) * (
            200 + 400 * field(x, y, 1500, 6, 9)
        )

    def cover(t):
        wall = smooth_step(t.steepness, 0.8, 1.3) * (t.R < 500)
        strip = np.floor((t.Z + 2 * field(t.X, t.Y, 60, 3, seed + 2)) / step)
        bare = np.sin(strip * 12.9898 + seed) > rng.uniform(-0.3, 0.8)
        wood = smooth_step(field(t.X, t.Y, 90, 5, 61) - 0.12, 0, 0.05) * (t.R > 80)
        return wall, bare * (1 - wall) * (t.R < 600), wood

    return Place(
        height, cover, soil=("earth", "earth", "mud"), eye_m=(1.6, 12), pitch_deg=(-14, 6), furnish=scattered_trees
    )


def far_ranges(rng):
    """Range behind range in haze, woods and meadows before them."""
    seed, tall = int(rng.integers(1, 9999)), rng.uniform(150, 1100)

    def height(x, y):
        r = np.hypot(x, y)
        near = 2 * field(x, y, 60, 5, seed) + 0.3 * field(x, y, 6, 4, seed + 1) - rng_drop * np.clip(y - 10, 0, 500)
        return (
            near
            + smooth_step(r, 300, 6000) * (tall * ridges(x, y, rng_scale, 8, seed + 2) + 0.12 * tall)
            + rng_drop * 60
        )

    rng_drop, rng_scale = rng.uniform(0, 0.25), rng.uniform(1500, 6000)
    bare = rng.random() < 0.35

    def cover(t):
        rock = smooth_step(t.steepness + 0.3 * field(t.X, t.Y, 160, 5, 61), 0.5, 0.8) * (t.R > 200)
        wood = smooth_step(field(t.X, t.Y, 400, 6, seed + 3) - rng_wood, 0, 0.06) * (t.R > 150) * (1 - rock)
        return (
            rock * (1.0 if bare else 0.6),
            float(bare) * (field(t.X, t.Y, 50, 5, 9) > 0.1),
            wood * (0.0 if bare else 1.0),
        )

    rng_wood = rng.uniform(-0.4, 0.2)
    return Place(height, cover, haze=(1.0, 5.0), focal_35mm=(26, 90), eye_m=(1.6, 40), pitch_deg=(-6, 3))


def lake_in_the_woods(rng):
    """Still or ruffled water, trees mirrored in it, reed at the shore."""
    seed, across = int(rng.integers(1, 9999)), rng.uniform(25, 260)

    def pool(x, y):
        return np.hypot((x - across * rng_x) / across, (y - across * 1.05) / (0.9 * across)) + 0.2 * field(
            x, y, across / 2, 5, seed
        )

    rng_x = rng.uniform(-0.6, 0.6)

    def height(x, y):
        edge, r = pool(x, y), np.hypot(x, y)
        h = (
            1.6 * smooth_step(edge, 1.0, 1.6)
            - 1.5 * (1 - smooth_step(edge, 0.85, 1.04))
            + 0.15 * smooth_step(edge, 0.98, 1.05)
        )
        h = h + 0.7 * field(x, y, 30, 4, seed + 1) * smooth_step(edge, 1.0, 1.4)
        return h + smooth_step(r, across * 2, across * 12) * (80 + 350 * np.clip(field(x, y, 1100, 6, 9) + 0.2, 0, 1))

    def cover(t):
        edge = pool(t.X, t.Y)
        shore = (edge < 1.1) * (field(t.X, t.Y, 12, 4, 5) > rng.uniform(-0.4, 0.5))
        rock = smooth_step(t.steepness, 0.5, 0.8) * (t.R > 300)
        return rock, shore * 1.0, (edge > 1.35) * (field(t.X, t.Y, 60, 5, 61) > rng.uniform(-0.6, 0.1)) * (t.R > 40)

    def furnish(stage, t, n, rng, things):
        scattered_trees(stage, t, n, rng, things, where=lambda x, y: pool(x, y) > 1.15, far_m=across * 2.6, count=260)
        if rng.random() < 0.5:
            reed = n.tufts(n.straw if rng.random() < 0.5 else None, 1.0, 150, (1.0, 1.3), 0.014, 4)
            n.scatter(reed, 4, 60, 1.0, lambda x, y, z: (z > -0.3) & (z < 0.35) & (field(x, y, 9, 3, 92) > 0.0))

    return Place(
        height,
        cover,
        soil=("earth", "mud", "sand", "shingle"),
        water_level_m=0.0,
        water=("black", "green", "brown", "deep blue"),
        water_from_m=2,
        furnish=furnish,
        pitch_deg=(-10, 3),
        haze=(0.2, 1.5),
    )


def fields_and_hedges(rng):
    """Fields of grass, straw and ploughed earth with hedges and copses."""
    seed, size = int(rng.integers(1, 9999)), rng.uniform(40, 140)

    def height(x, y):
        r = np.hypot(x, y)
        return (
            6 * field(x, y, 200, 4, seed)
            + 0.12 * field(x, y, 3, 3, 6)
            + smooth_step(r, 200, 2500) * (40 + 160 * field(x, y, 900, 6, 9))
        )

    def cell(x, y):
        u, v = (x + 0.35 * y) / size + 0.3 * field(x, y, 150, 3, seed + 1), (y - 0.3 * x) / (1.4 * size)
        edge = np.minimum(np.abs(u - np.round(u)) * size, np.abs(v - np.round(v)) * size * 1.4)
        return np.sin(np.round(u + 0.5) * 12.9898 + np.round(v + 0.5) * 78.233 + seed) * 43758.5453 % 1.0, edge

    def cover(t):
        kind, edge = cell(t.X, t.Y)
        wood = (edge < 3 + t.R * 0.003) * (t.R > 60) + smooth_step(field(t.X, t.Y, 200, 5, 61) - 0.12, 0, 0.05) * (
            t.R > 150
        )
        return 0.0, (kind < rng_bare) * 1.0, np.clip(wood, 0, 1)

    rng_bare = rng.uniform(0.0, 0.7)
    return Place(
        height,
        cover,
        soil=("earth", "sand", "red sand", "mud"),
        furnish=scattered_trees,
        eye_m=(1.6, 30),
        pitch_deg=(-14, 4),
    )


def village_on_a_hill(rng):
    """Houses on a slope between trees, seen from across a valley or a lane."""
    seed, where = int(rng.integers(1, 9999)), rng.uniform(40, 160)

    def height(x, y):
        hill = rng_tall * np.exp(-((x - rng_x) ** 2 + (y - where) ** 2) / (2 * (0.5 * where) ** 2))
        r = np.hypot(x, y)
        return (
            hill
            + 1.5 * field(x, y, 40, 5, seed)
            - 0.04 * y
            + smooth_step(r, 500, 3000) * (150 + 300 * field(x, y, 1500, 6, 9))
        )

    rng_tall, rng_x = rng.uniform(4, 30), rng.uniform(-20, 20)

    def cover(t):
        worn = smooth_step(field(t.X, t.Y, 15, 5, 71), 0.2, 0.3) * (t.R < 200)
        return 0.0, worn, smooth_step(field(t.X, t.Y, 150, 5, 61) - 0.05, 0, 0.05) * (t.R > 200)

    def furnish(stage, t, n, rng, things):

        for _ in range(int(rng.integers(3, 22))):
            y = where + rng.normal(0, 0.25 * where)
            x = rng_x + rng.normal(0, 0.3 * where)
            if y < 14:
                continue
            made = {key: things.any_stone(6) for key in ("wall", "roof", "stone", "white")}
            made |= {"glass": things.plain("glass", 6, 1.0), "frame": made["stone"]}
            width, storeys = rng.uniform(6, 12), int(rng.integers(1, 3))
            house(
                stage,
                rng,
                (x, y, t.at(x, y) + 0.1),
                rng.uniform(-0.9, 0.9),
                width,
                rng.uniform(6, 8),
                2.7 * storeys + 0.3,
                rng.uniform(0.3, 1.2),
                made,
                windows=3,
                storeys=storeys,
                chimney=rng.random() < 0.5,
            )
        scattered_trees(stage, t, n, rng, things, count=60, far_m=2 * where)

    return Place(height, cover, furnish=furnish, pitch_deg=(-5, 6), focal_35mm=(26, 50))


def tower_or_bridge(rng):
    """A tower, or arches over a river; round it grass and trees."""
    seed, bridge, away = int(rng.integers(1, 9999)), rng.random() < 0.5, rng.uniform(18, 60)

    def height(x, y):
        r = np.hypot(x, y)
        h = 1.6 * field(x, y, 40, 5, seed) + 0.3 * field(x, y, 6, 4, seed + 1) + 1.5
        if bridge:
            bed = np.abs(x - rng_bend * np.sin(y / 25.0)) - 5
            h = h * smooth_step(bed, 0, 9) - 2.0 * (1 - smooth_step(bed, -2, 3))
        return h + smooth_step(r, 250, 3000) * (120 + 350 * field(x, y, 1300, 6, 9))

    rng_bend = rng.uniform(-6, 6)

    def cover(t):
        low = (t.Z < 0.5) * (t.R < 300)
        return 0.0, low * 1.0, smooth_step(field(t.X, t.Y, 150, 5, 61) - 0.02, 0, 0.05) * (t.R > 120)

    def furnish(stage, t, n, rng, things):

        mason = Mason(stage, rng, things.any_stone(6), things.any_stone(6))
        if bridge:
            spans, width = int(rng.integers(1, 4)), rng.uniform(6, 9)
            length = spans * (width + 2) + 14
            holes = any_of([arch(8 + width / 2 + i * (width + 2), width, -3, 1.2) for i in range(spans)])
            mason.wall(length, 7.0, 4.0, (-length / 2, away, -2.0), 0.0, holes, lambda x: 6.6, None, 0.5)
        else:
            radius, tall = rng.uniform(2, 5), rng.uniform(7, 22)
            crown = broken_crown(tall - 2, 1.5, seed % 50) if rng.random() < 0.5 else (lambda x: tall)
            x = rng.uniform(-8, 8)
            mason.round_tower((x, away, t.at(x, away) - 0.3), radius, tall, lambda x, z: False, crown, course_m=0.4)
        scattered_trees(stage, t, n, rng, things, count=50, where=lambda x, y: np.abs(x) > 9)

    return Place(
        height,
        cover,
        water_level_m=-0.4 if bridge else None,
        water=("brown", "black", "green"),
        water_from_m=3,
        furnish=furnish,
        soil=("earth", "shingle"),
        pitch_deg=(-3, 8),
    )
