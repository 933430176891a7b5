"""The invented district called the Quillmarrow: one function per scene builds what stands in front of the camera.

All places are made up; the positions in the files are open sea in the North Atlantic.
"""

import math
from dataclasses import dataclass
from dataclasses import field as fact
from datetime import datetime, timedelta, timezone
from typing import Any

import materials
import numpy as np
import water
from masonry import Mason, any_of, arch, boulder, broken_crown, gable, oblong, post_fence
from noise import field, fractal, ridges, smooth_step
from stage import make_mesh
from terrain import Terrain
from vegetation import Nursery, leaf_cards

OPEN_SEA = (47.3, -16.4)
CAPTURED = timezone(timedelta(hours=0))


@dataclass(frozen=True)
class Scene:
    """One demo scene: what is built, when, and how it is photographed."""

    name: str
    title: str
    words: str
    build: object
    when: datetime
    sun_from_view_deg: float
    pitch_deg: float = -2.0
    focal_35mm: float = 26.0
    portrait: bool = False
    eye_m: float = 1.65
    cover: float | None = -0.38
    cloud_seed: int = 8
    aerosol: float = 0.6
    overcast: bool = False
    haze: float = 0.5
    warmth: float = 1.0
    saturation: float = 0.88
    place: tuple[float, float] = OPEN_SEA
    intended: dict[str, Any] = fact(default_factory=dict)
    clip: dict[str, Any] | None = None


def at(year, month, day, hour, minute):
    """When the snap was taken, in UTC."""
    return datetime(year, month, day, hour, minute, tzinfo=CAPTURED)


SCENES: dict[str, Scene] = {}


def scene(**facts):
    """Add the function that builds a scene, with its facts, to SCENES."""

    def keep(build):
        SCENES[facts["name"]] = Scene(build=build, **facts)
        return build

    return keep


def _far_kinds(nursery):
    for seed in (23, 24, 25):
        nursery.add_broadleaf(
            "far broadleaf", seed, 10, near=False, leaf_m=0.55, leaves_per_twig=8, cluster_m=0.5, children=(3, 4)
        )
    for seed in (7, 8, 9):
        nursery.add_conifer("far conifer", seed, 15, near=False)


def _middle_kinds(nursery):
    for seed, shape in (
        (13, {}),
        (14, {"upright": 0.10, "crooked": 1.2}),
        (15, {"upright": 0.02, "children": (3, 4), "crooked": 1.5}),
    ):
        nursery.add_broadleaf("middle", seed, 11, near=False, **shape)


def _boulders(stage, terrain, rng, material, places):
    meshes = [make_mesh("boulder", *boulder(seed), material, rounded=True) for seed in range(4)]
    for x, y, size in places:
        stage.put(meshes[int(rng.integers(4))], (x, y, terrain.at(x, y) + 0.05 * size), rng.uniform(0, 6), size)


MEADOW_GROUND = {
    "meadow": ("far_meadow_dark", "far_meadow_light"),
    "rock": ("granite_dark", "granite_light"),
    "soil": ("soil_dark", "soil_light"),
    "wood": ("far_wood_dark", "far_wood_light"),
}


@scene(
    name="ruin_by_the_tarn",
    title="Roofless chapel, Tarrowmere",
    words="Meadow, dark tarn, far wood and a roofless chapel under fair-weather clouds, sun from the left.",
    when=at(2024, 6, 18, 16, 20),
    sun_from_view_deg=-82,
    pitch_deg=-2.0,
    cover=-0.42,
    cloud_seed=12,
    aerosol=0.5,
    haze=0.6,
    intended={
        "lead": {"calm": "structure", "windy": "structure"},
        "because": "a pale ruin at the water's edge; the meadow, the water, the far wood and the sky go back in layers",
        "came_out": "half of the chapel stands in shade, the tarn mirrors cloud: they stay within one zone; "
        "meadow from water, wood from sky and cloud from sky hold",
        "also_right": ["sky"],
        "waits_for": None,
        "wind": "reeds and the birch on the left smear from Beaufort 3 at long times; the chapel "
        "carries the picture at any wind",
    },
    clip={"seed": 1, "sway_m": 0.16, "frequency_hz": 0.55, "drift_m_s": (14.0, 0.0)},
)
def ruin_by_the_tarn(stage, rng):
    """A roofless chapel before a dark tarn and a far wood."""

    def tarn(x, y):
        return np.hypot((x + 46) / 124, (y - 160) / 132) + 0.12 * field(x, y, 40, 5, 41)

    def path(y):
        return 3.4 + 2.0 * np.sin(y / 9.5) + 0.05 * y + 0.7 * np.sin(y / 3.7 + 1)

    def height(x, y):
        r, edge = np.hypot(x, y), tarn(x, y)
        h = 4.8 - 0.10 * np.clip(y, 0, 30) * (1 - smooth_step(x, 4, 14)) + 4 * smooth_step(y, 190, 330)
        h = h + 1.4 * field(x, y, 60, 5, 5) + 0.28 * field(x, y, 7, 4, 6) + 0.05 * field(x, y, 1.1, 4, 7)
        land = smooth_step(edge, 0.98, 1.45)
        h = h * land + 0.5 * smooth_step(edge, 0.98, 1.06) * (1 - land) - 3 * (1 - smooth_step(edge, 0.85, 1.03))
        hills, crests = smooth_step(r, 260, 2300), smooth_step(r, 1500, 6500)
        h = h + hills * (150 + 210 * field(x, y, 1500, 7, 9) + 60 * field(x, y, 300, 6, 19))
        h = h + crests * (1000 * ridges(x + 900, y, 5200, 11, 23) - 200) + 1.9 * np.exp(-((r / 11) ** 2))
        return h - 0.12 * np.exp(-(((x - path(y)) / 0.7) ** 2)) * (r < 90)

    t = Terrain(height)
    X, Y, Z, R = t.X, t.Y, t.Z, t.R
    patches, grain = field(X, Y, 160, 6, 61), field(X, Y, 6, 5, 62)
    rock = smooth_step(t.steepness + 0.25 * patches + 0.0007 * (Z - 320), 0.62, 0.8) * smooth_step(R, 150, 400)
    soil = np.exp(-((np.abs(X - path(Y)) / (0.75 + 0.35 * grain)) ** 4)) * (R < 110)
    soil = np.maximum(soil, (1 - smooth_step(Z + 0.35 * grain, 0.9, 1.4)) * (R < 600))
    wood = smooth_step(patches * 1.2 + 0.6 * field(X, Y, 900, 3, 66) - 0.0011 * (Z - 330), -0.12, -0.02)
    wood = wood * smooth_step(R, 270, 420) * (1 - rock)
    t.cover(rock, soil, wood)
    t.build(stage, materials.ground(stage, MEADOW_GROUND))
    water.plane(stage, water.surface(stage), -330, 330, 8, 430)

    n = Nursery(stage, t, 11)
    n.add_broadleaf("near", 3, 10, upright=0.10, crooked=1.25, children=(3, 4), leaf_m=0.075)
    n.add_broadleaf("near", 4, 11)
    for seed in (5, 6):
        n.add_conifer("near conifer", seed, 15)
    _middle_kinds(n)
    _far_kinds(n)
    n.plant("near", -15.5, 23, 1.0, sways=True)
    n.plant("near", -21, 27, 0.8, sways=True)
    for x, y, s in ((26, 50, 1.05), (30, 54, 1.25), (34, 49, 0.85), (24, 58, 0.9), (38, 60, 1.1)):
        n.plant("near conifer", x, y, s)
    n.plant("middle", 38, 50, 1.0)
    for _ in range(80):
        x, y = rng.uniform(-130, 130), rng.uniform(40, 300)
        if tarn(np.array([[x]]), np.array([[y]]))[0, 0] > 1.12 and abs(x) > 0.36 * y:
            n.plant("middle" if rng.random() < 0.6 else "far conifer", x, y, rng.uniform(0.5, 1.2))
    for _ in range(230):
        x, y = rng.uniform(-270, 270), rng.uniform(262, 430)
        if tarn(np.array([[x]]), np.array([[y]]))[0, 0] > 1.09:
            n.plant("far conifer" if rng.random() < 0.55 else "far broadleaf", x, y, rng.uniform(0.45, 1.15))
    n.far_wood(("far broadleaf", "far conifer"), t.weights[..., 3], 9000, 300, 3300, conifer_bias=0.08)

    def away_from_path(x, y):
        return np.abs(x - path(y)) > 0.75 + 0.5 * np.clip(field(x, y, 5, 3, 91), 0, 1)

    n.scatter(n.tufts(), 1.0, 46, 0.74, lambda x, y, z: (z > 1.3) & away_from_path(x, y))
    n.scatter(
        n.tufts(None, 2.6, 2400, (0.17, 0.15), 0.012, 2), 44, 120, 1.9, lambda x, y, z: (z > 1.3) & away_from_path(x, y)
    )
    n.scatter(
        n.tufts(n.straw, 0.7, 80, (0.5, 0.6), 0.005, 3),
        3,
        30,
        1.6,
        lambda x, y, z: (z > 1.2) & (np.abs(x - path(y)) > 1.1) & (field(x, y, 5, 3, 91) > 0.1),
        (0.6, 1.3),
    )
    n.scatter(
        n.tufts(None, 1.2, 170, (1.1, 1.0), 0.014, 4),
        20,
        95,
        0.9,
        lambda x, y, z: (z > -0.35) & (z < 0.45) & (field(x, y, 14, 3, 92) > 0.05),
        (0.7, 1.3),
    )
    flowers = n.flowers()
    n.scatter(
        flowers,
        2,
        26,
        1.4,
        lambda x, y, z: (z > 1.4) & away_from_path(x, y) & (field(x, y, 6, 3, 95) > -0.05),
        (0.7, 1.2),
    )
    n.scatter(
        n.bushes(),
        18,
        60,
        4.0,
        lambda x, y, z: (z > 1.6) & (np.abs(x - path(y)) > 2.5) & (field(x, y, 12, 3, 93) > 0.2),
        (0.5, 1.6),
    )

    grey = materials.stone(stage, "boulder", ("granite_dark", "granite_light"), 7, 1.5, 0.05, lichen=0.6)
    pebbles = [
        (rng.uniform(-0.72, 0.72) * y, y, rng.uniform(0.05, 0.28) * (1 + y / 80)) for y in rng.uniform(16, 70, 800)
    ]
    shore = [p for p in pebbles if -0.3 < t.at(p[0], p[1]) < 1.25]
    _boulders(stage, t, rng, grey, [(-3.6, 7.8, 0.4), (-4.4, 8.6, 0.2), (7.6, 13, 0.55), (9.2, 15, 0.3), *shore])

    stone = materials.stone(stage, "stone", ("sandstone_middle", "sandstone_light"), 6, 1.2, lichen=0.5)
    mortar = materials.stone(stage, "mortar", ("mortar_dark", "mortar_light"), 6, 3.0)
    mason = Mason(stage, rng, stone, mortar)
    cx, cy = 9.0, 32.0
    chapel = stage.group((cx, cy, t.at(cx + 3, cy) - 0.25), np.radians(29))
    length, width = 11.0, 6.2
    mason.wall(
        length,
        4.0,
        0.7,
        (0, 0, 0),
        0,
        any_of([arch(2.6, 0.8, 1.2, 2.5), arch(5.6, 0.8, 1.2, 2.5), arch(8.7, 1.2, -1, 2.0)]),
        broken_crown(3.7, 1.1, 3),
        chapel,
    )
    mason.wall(
        length,
        4.0,
        0.7,
        (0, width - 0.7, 0),
        0,
        any_of([arch(2.6, 0.8, 1.2, 2.5), arch(5.6, 0.8, 1.2, 2.5)]),
        broken_crown(3.2, 1.6, 4),
        chapel,
    )
    mason.wall(
        width, 7.5, 0.7, (0.7, 0, 0), np.pi / 2, arch(width / 2, 1.3, 1.5, 3.3), gable(3.5, 1.1, width, 0.25), chapel
    )
    low = gable(3.4, 1.0, width, 0.25)
    crown = broken_crown(4.4, 1.2, 5)
    mason.wall(
        width,
        7.5,
        0.7,
        (length, 0, 0),
        np.pi / 2,
        arch(width / 2, 1.4, -1, 2.3),
        lambda x: min(low(x), crown(x)),
        chapel,
    )
    ivy = materials.foliage(stage, "ivy", ("ivy", "ivy"), 4)
    clumps = []
    for _ in range(34):
        x, z, count = (
            rng.choice([rng.uniform(0, 1.6), rng.uniform(8.9, 11)]),
            rng.uniform(0.2, 3.8),
            rng.integers(120, 420),
        )
        clumps.append(
            np.stack(
                [
                    rng.normal(x, 0.45, count).clip(-0.1, length + 0.1),
                    rng.normal(-0.06, 0.05, count),
                    rng.normal(z, 0.5, count).clip(0, broken_crown(3.7, 1.1, 3)(x) + 0.1),
                ],
                1,
            )
        )
    leaves = np.concatenate(clumps)
    points, faces = leaf_cards(leaves, 0.08, rng, 0.2, 1.2)
    stage.put(make_mesh("ivy", points, faces, ivy, tint=np.repeat(rng.uniform(0, 1, len(leaves)), 4)), parent=chapel)
    wall = np.array([(x, 26 + 0.1 * (x - 16) + 0.9 * np.sin(x / 4)) for x in np.arange(17, 46, 2.0)])
    mason.field_wall(t, wall)
    _boulders(
        stage,
        t,
        rng,
        stone,
        [(cx + rng.uniform(-2, 12), cy + rng.uniform(-6, 3), rng.uniform(0.1, 0.3)) for _ in range(36)],
    )
    return t, n


@scene(
    name="moor_tower",
    title="Thrennick Tower",
    words="A path over the moor to a broken round tower on its knoll, deep blue sky with small "
    "clouds, sun from the right and a little behind.",
    when=at(2024, 8, 24, 10, 5),
    sun_from_view_deg=104,
    pitch_deg=1.0,
    cover=-0.43,
    cloud_seed=21,
    aerosol=0.45,
    haze=0.5,
    intended={
        "lead": {"calm": "structure", "windy": "structure"},
        "because": "a tower against sky that goes nearly black, white cloud beside it, bright grass below",
        "came_out": "half of the tower is in shade: it parts from grass and cloud, its sunlit side from the sky",
        "waits_for": None,
        "also_right_when_calm": ["foliage"],
        "also_right_because": "in true tones the lit trees on the left part from the clear sky by 2.5 zones, "
        "the tower, half in shade, by 0.6",
        "wind": "only grass moves in front; nothing near the tower does, so wind does not turn the answer",
    },
    clip={"seed": 2, "sway_m": 0.12, "frequency_hz": 0.7, "drift_m_s": (-16.0, 3.0)},
)
def moor_tower(stage, rng):
    """A path over the moor to a broken round tower."""

    def path(y):
        return -1.4 + 0.17 * y + 1.6 * np.sin(y / 7.0 + 0.5) + 0.6 * np.sin(y / 2.7)

    def lake(x, y):
        return np.hypot((x + 150) / 520, (y - 760) / 260) + 0.2 * field(x, y, 160, 6, 41)

    def height(x, y):
        r, edge = np.hypot(x, y), lake(x, y)
        h = 60 - 55 * smooth_step(y - 0.35 * x, 60, 480) + 4.2 * np.exp(-((x - 12) ** 2 + (y - 37) ** 2) / 190)
        h = (
            h
            - 0.05 * np.clip(-x, 0, 60)
            + 1.6 * field(x, y, 34, 5, 5)
            + 0.34 * field(x, y, 5, 4, 6)
            + 0.06 * field(x, y, 0.9, 4, 7)
        )
        h = h + smooth_step(r, 120, 400) * 9 * field(x, y, 140, 5, 8)
        land = smooth_step(edge, 0.98, 1.5)
        h = h * land + 1.2 * smooth_step(edge, 0.98, 1.06) * (1 - land) - 9 * (1 - smooth_step(edge, 0.85, 1.03))
        hills, crests = smooth_step(y, 900, 3200), smooth_step(r, 2200, 7500)
        h = (
            h
            + hills * (190 + 240 * field(x, y, 1700, 7, 9))
            + crests * (1300 * ridges(x - 1900, y, 5600, 11, 29) - 250)
        )
        return h - 0.10 * np.exp(-(((x - path(y)) / 0.9) ** 2)) * (r < 90)

    t = Terrain(height, 1200, 900)
    X, Y, Z, R = t.X, t.Y, t.Z, t.R
    patches, grain = field(X, Y, 160, 6, 61), field(X, Y, 6, 5, 62)
    rock = smooth_step(t.steepness + 0.25 * patches + 0.0009 * (Z - 420), 0.6, 0.8) * smooth_step(R, 150, 400)
    soil = np.exp(-((np.abs(X - path(Y)) / (1.1 + 0.45 * grain)) ** 4)) * (R < 110)
    soil = np.maximum(soil, smooth_step(field(X, Y, 11, 6, 71), 0.30, 0.36) * (R < 90))
    soil = np.maximum(soil, (1 - smooth_step(Z + 0.25 * grain, 0.5, 1.6)) * (R < 1500))
    wood = (
        smooth_step(patches * 1.2 + 0.6 * field(X, Y, 900, 3, 66) - 0.0011 * (Z - 330), -0.1, 0.0)
        * smooth_step(R, 130, 240)
        * (1 - rock)
    )
    t.cover(rock, soil, wood)
    t.build(stage, materials.ground(stage, MEADOW_GROUND))
    water.plane(stage, water.surface(stage, ripple=0.6, size=0.25), -1600, 1600, 250, 1600)

    n = Nursery(stage, t, 11, grass=("blade_old", "blade_fresh"))
    n.add_broadleaf("near", 3, 9, crooked=1.5, upright=0.02, children=(3, 4), leaf_m=0.075)
    n.add_broadleaf("near", 4, 9, crooked=1.3)
    n.add_conifer("near conifer", 5, 14)
    _middle_kinds(n)
    _far_kinds(n)
    n.plant("near", -15, 34, 1.0, sways=True)
    n.plant("near", -20, 40, 1.1, sways=True)
    n.plant("middle", -25, 46, 0.9)
    n.plant("middle", -30, 55, 1.1)
    n.plant("near conifer", 24, 52, 0.75)
    n.plant("near conifer", 30, 58, 0.6)
    for _ in range(60):
        x, y = rng.uniform(-140, 140), rng.uniform(60, 260)
        if abs(x) > 0.3 * y and rng.random() < 0.6:
            n.plant("middle" if rng.random() < 0.5 else "far conifer", x, y, rng.uniform(0.4, 1.0))
    n.far_wood(("far broadleaf", "far conifer"), t.weights[..., 3], 9000, 160, 3300, conifer_bias=0.05)

    def bare(x, y):
        worn = np.exp(-((np.abs(x - path(y)) / 1.1) ** 4)) > 0.35
        return worn | (field(x, y, 11, 6, 71) > 0.34)

    n.scatter(n.tufts(heights=(0.12, 0.18, 0.24, 0.15)), 1.0, 48, 0.74, lambda x, y, z: ~bare(x, y), tall_noise=0.8)
    n.scatter(n.tufts(None, 2.6, 2400, (0.18, 0.16), 0.012, 2), 46, 120, 1.9, lambda x, y, z: ~bare(x, y))
    n.scatter(
        n.tufts(n.straw, 0.8, 130, (0.36, 0.5), 0.004, 3),
        2,
        44,
        1.1,
        lambda x, y, z: ~bare(x, y) & (field(x, y, 7, 4, 96) > -0.02),
        (0.6, 1.3),
    )
    n.scatter(
        n.flowers(("petal_white", "petal_yellow", "petal_yellow")),
        2,
        24,
        1.7,
        lambda x, y, z: ~bare(x, y) & (field(x, y, 6, 3, 95) > 0.1),
        (0.7, 1.2),
    )
    heath = materials.dry_blades(stage, "heather", ("heather", "soil_dark"), 4)
    n.scatter(
        n.bushes(material=heath, leaf_m=0.03, leaves=3600),
        7,
        60,
        1.6,
        lambda x, y, z: ~bare(x, y) & (field(x, y, 9, 3, 93) > 0.30),
        (0.35, 0.9),
    )

    grey = materials.stone(stage, "boulder", ("granite_dark", "granite_light"), 7, 1.5, 0.05, lichen=0.8)
    rocks = [(-3.4, 9.0, 0.42), (-4.2, 9.9, 0.22), (6.8, 16, 0.5), (13.5, 19, 0.8), (15, 20.4, 0.5), (11.8, 24, 0.35)]
    for y in rng.uniform(14, 75, 240):
        x = rng.uniform(-0.7, 0.7) * y
        if field(np.array([[x]]), np.array([[y]]), 11, 6, 71)[0, 0] > 0.24:
            rocks.append((x, y, rng.uniform(0.06, 0.36) * (1 + y / 80)))
    _boulders(stage, t, rng, grey, rocks)

    stone = materials.stone(stage, "stone", ("sandstone_middle", "sandstone_light"), 6, 1.2, lichen=0.5)
    mortar = materials.stone(stage, "mortar", ("mortar_dark", "mortar_light"), 6, 3.0)
    mason = Mason(stage, rng, stone, mortar)
    tx, ty, radius, tall = 9.8, 35.0, 2.7, 12.0
    circumference = 2 * math.pi * radius
    front = radius * (math.atan2(-tx, -ty) % (2 * math.pi))

    def local(x):
        return (x - front - 0.3 + circumference / 2) % circumference - circumference / 2

    holes = any_of(
        [
            arch(-0.9, 1.0, -1, 1.8),
            oblong(0.5, 0.34, 4.3, 5.5),
            oblong(-1.7, 0.34, 6.9, 8.0),
            oblong(1.9, 0.4, 7.2, 8.4),
        ]
    )

    def crown(x):
        around = (x - front) / radius
        rough = fractal(math.cos(x / radius) * 1.6, math.sin(x / radius) * 1.6, 0.3, 4, 4)
        return 9.4 + 1.5 * math.cos(around + 1.9) + 1.6 * rough

    mason.round_tower((tx, ty, t.at(tx, ty) - 0.3), radius, tall, lambda x, z: holes(local(x), z), crown)
    rubble = [(tx + rng.normal(-0.5, 3.2), ty + rng.normal(-2.6, 1.6), rng.uniform(0.1, 0.36)) for _ in range(46)]
    _boulders(stage, t, rng, stone, rubble)
    timber = materials.stone(stage, "timber", ("timber", "timber"), 6, 4.0)
    fence = np.array([(-30 + 2.2 * k, 30 + 0.25 * k + 0.5 * np.sin(k)) for k in range(11)])
    post_fence(stage, rng, t, fence, timber)
    return t, n
