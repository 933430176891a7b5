"""Scenes on land: a street, the edge of a wood, a meadow under an empty sky, a dry hill."""

import math

import materials
import numpy as np
from masonry import Mason, house, post_fence
from noise import field, ridges, smooth_step
from scenes import MEADOW_GROUND, _boulders, _far_kinds, _middle_kinds, at, scene
from terrain import Terrain, rolling
from vegetation import Nursery


def _always(x, y, z):
    return np.ones_like(x, bool)


@scene(
    name="pellow_street",
    title="Street in Pellow",
    words="A street of limewashed and stone houses, garden trees between them, blue sky with small "
    "clouds, sun from behind left.",
    when=at(2024, 7, 9, 15, 30),
    sun_from_view_deg=-122,
    pitch_deg=3.0,
    cover=-0.40,
    cloud_seed=41,
    aerosol=0.6,
    haze=0.6,
    intended={
        "lead": {"calm": "structure", "windy": "structure"},
        "because": "house fronts fill the frame and part from the dark sky; garden trees go white beside slate roofs",
        "waits_for": None,
        "wind": "trees smear, houses do not",
    },
)
def pellow_street(stage, rng):
    """A street of limewashed and stone houses."""

    def middle(y):
        return 0.5 * np.sin(y / 19.0) + 0.00075 * y * y

    def height(x, y):
        off = np.abs(x - middle(y))
        h = 0.028 * y + 0.10 * smooth_step(off, 2.3, 2.4) * (np.hypot(x, y) < 160)
        h = h + smooth_step(off, 8, 30) * rolling(x, y, 5, 0.8) + 0.008 * field(x, y, 0.6, 4, 3)
        return h + smooth_step(np.hypot(x, y), 200, 1500) * (70 + 120 * field(x, y, 900, 6, 9))

    t = Terrain(height)
    X, Y, R = t.X, t.Y, t.R
    off = np.abs(X - middle(Y))
    paved = (1 - smooth_step(off, 3.5, 3.8)) * (R < 200)
    wood = smooth_step(field(X, Y, 260, 5, 61), -0.05, 0.05) * smooth_step(R, 200, 300)
    t.cover(0.0, paved, wood)
    t.build(stage, materials.ground(stage, dict(MEADOW_GROUND, soil=("asphalt_dark", "asphalt_light"))))
    n = Nursery(stage, t, 19)
    n.add_broadleaf("near", 3, 8, crooked=1.3, leaf_m=0.07)
    n.add_broadleaf("near", 4, 9, upright=0.09, crooked=1.2)
    _middle_kinds(n)
    _far_kinds(n)
    n.far_wood(("far broadleaf", "far conifer"), t.weights[..., 3], 3500, 200, 1500, conifer_bias=-0.2)
    white = materials.stone(stage, "white", ("limewash_worn", "limewash"), 6, 1.0, 0.004)
    stone_wall = materials.stone(stage, "stone", ("sandstone_middle", "sandstone_light"), 6, 1.3, 0.015)
    walls = [
        materials.stone(stage, "limewash", ("limewash_worn", "limewash"), 6, 0.8, 0.006, streaks=0.6),
        materials.stone(stage, "ochre", ("sandstone_light", "mortar_light"), 6, 0.8, 0.008, streaks=0.7),
        stone_wall,
        materials.stone(stage, "grey render", ("mortar_dark", "mortar_light"), 6, 0.8, 0.008, streaks=0.8),
    ]
    roofs = [
        materials.stone(stage, "slate", ("slate", "slate_light"), 6, 2.0, 0.004, lichen=0.25),
        materials.stone(stage, "tile", ("tile_dark", "tile"), 6, 2.0, 0.004, lichen=0.15),
    ]
    glass = materials.plain(stage, "glass", "glass", 6, gloss=1.0)
    frames = [materials.plain(stage, "door", "paint_green", 6), materials.plain(stage, "door", "timber", 6)]
    for side in (-1, 1):
        y = 25.0 if side < 0 else 15.0
        while y < 92:
            width, depth = rng.uniform(6.5, 9.5), rng.uniform(6, 7.5)
            storeys = 2 if rng.random() < 0.8 else 1
            eave, rise = 2.75 * storeys + rng.uniform(0.1, 0.5), rng.uniform(0.75, 1.0)
            made = {
                "wall": walls[int(rng.integers(4))],
                "roof": roofs[int(rng.random() < 0.3)],
                "glass": glass,
                "frame": frames[int(rng.integers(2))],
                "white": white,
                "stone": stone_wall,
            }
            ym = y + width / 2
            x = float(middle(ym)) + side * (4.2 + rng.uniform(0, 1.2))
            slope = math.atan2(float(middle(ym + 2) - middle(ym - 2)), 4)
            if side < 0:  # front looks to +x
                place, turn = (x, y, t.at(x, y) + 0.1), math.pi / 2 - slope
            else:
                place, turn = (x, y + width, t.at(x, y) + 0.1), -math.pi / 2 - slope
            house(
                stage, rng, place, turn, width, depth, eave, rise, made, windows=2 if width < 8 else 3, storeys=storeys
            )
            y += width
            if rng.random() < 0.7:
                gap = rng.uniform(4.5, 7.5)
                n.plant("near", x + side * rng.uniform(1.5, 4), y + gap / 2, rng.uniform(0.7, 1.05), sways=True)
                Mason(stage, rng, stone_wall, stone_wall).wall(
                    gap, 1.1, 0.4, (x, y, t.at(x, y)), math.pi / 2, course_m=0.16
                )
                y += gap
    n.plant("near", -7.6, 18.5, 0.95, sways=True)
    n.plant("near", 9.5, 11.0, 0.7, sways=True)
    beside = lambda x, y, z: np.abs(x - middle(y)) > 3.95  # noqa: E731
    n.scatter(n.tufts(heights=(0.08, 0.12, 0.16, 0.10)), 1.0, 30, 0.74, beside, tall_noise=0.8)
    for x, y, s in (
        (-16, 60, 1.1),
        (17, 52, 1.2),
        (-14, 100, 1.2),
        (15, 104, 1.1),
        (3, 118, 1.2),
        (-4, 126, 1.3),
        (22, 80, 1.2),
        (9, 130, 1.2),
    ):
        n.plant("middle", x, y, s)
    verge = lambda x, y, z: np.abs(np.abs(x - middle(y)) - 3.85) < 0.3  # noqa: E731
    n.scatter(
        n.tufts(None, 0.5, 90, (0.12, 0.2), 0.006, 7),
        2,
        50,
        0.5,
        lambda x, y, z: verge(x, y, z) & (field(x, y, 2, 3, 5) > 0.1),
        (0.6, 1.2),
    )
    n.scatter(n.bushes(), 5, 60, 0.9, lambda x, y, z: verge(x, y, z) & (field(x, y, 4, 3, 15) > 0.3), (0.3, 0.7))
    return t, n


@scene(
    name="hazel_wood_edge",
    title="Edge of Vennish wood",
    words="Upright picture of a wood edge over tall grass, sun behind the camera, a strip of sky with a few clouds.",
    when=at(2024, 6, 5, 9, 20),
    sun_from_view_deg=158,
    pitch_deg=9.0,
    portrait=True,
    cover=-0.42,
    cloud_seed=52,
    aerosol=0.7,
    haze=0.6,
    intended={
        "lead": {"calm": "foliage", "windy": "wait"},
        "because": "crowns and grass are all there is; white leaves on dark sky; in wind at long "
        "times they smear and nothing stays",
        "also_right": ["sky", "none"],
        "waits_for": "a lull",
        "wind": "the whole picture moves; the answer turns between Beaufort 2 and 4 at seconds",
    },
    clip={"seed": 3, "sway_m": 0.20, "frequency_hz": 0.45, "drift_m_s": (9.0, -6.0)},
)
def hazel_wood_edge(stage, rng):
    """Tall grass before the edge of a wood."""

    def height(x, y):
        return rolling(x, y, 5, 0.7) + 0.05 * np.clip(y, 0, 80) + 0.16 * np.clip(y - 42, 0, 260)

    t = Terrain(height, farthest_m=3000.0)
    edge = t.Y - 25 + 5 * field(t.X, t.Y, 18, 3, 61)
    t.cover(0.0, smooth_step(edge, 1.5, 3.5) * 0.85 * (t.Y < 60), smooth_step(t.Y, 55, 75))
    t.build(stage, materials.ground(stage, dict(MEADOW_GROUND, soil=("soil_dark", "soil_dark"))))
    n = Nursery(stage, t, 23, leaves=("hazel", "oak"))
    n.add_broadleaf("oak", 3, 12, crooked=1.4, upright=0.02, leaf_m=0.09, leaves_per_twig=40)
    n.add_broadleaf("ash", 4, 14, upright=0.12, crooked=1.0, children=(3, 4), leaf_m=0.08, leaves_per_twig=44)
    n.add_broadleaf("hazel", 6, 6, upright=0.10, crooked=1.5, clear_stem=0.12, leaf_m=0.075, leaves_per_twig=34)
    n.add_conifer("pine", 5, 15)
    _middle_kinds(n)
    for x, y, kind, s in (
        (-6, 26, "oak", 1.0),
        (3.5, 28, "ash", 0.95),
        (10, 27, "oak", 0.9),
        (-13, 29, "ash", 0.9),
        (-1.5, 33, "ash", 1.1),
        (7, 34, "ash", 1.05),
        (15, 31, "ash", 0.8),
        (-19, 33, "oak", 1.0),
        (-9, 36, "pine", 0.95),
        (12, 39, "pine", 1.0),
        (20, 36, "oak", 1.0),
    ):
        n.plant(kind, x, y, s, sways=True)
    for _ in range(22):
        x = rng.uniform(-18, 18)
        n.plant("hazel", x, 24.5 + rng.normal() * 1.4 + 0.02 * x * x, rng.uniform(0.35, 0.8), sways=True)
    for _ in range(60):
        y = rng.uniform(38, 75)
        n.plant("middle", rng.uniform(-0.7, 0.7) * y, y, rng.uniform(0.8, 1.2))
    meadow = lambda x, y, z: y < 26 - 5 * field(x, y, 18, 3, 61)  # noqa: E731
    n.scatter(n.tufts(heights=(0.18, 0.25, 0.34, 0.22), width_m=0.005), 1.0, 34, 0.74, meadow, tall_noise=0.9)
    n.scatter(
        n.tufts(n.straw, 0.8, 110, (0.55, 0.7), 0.004, 3),
        2,
        30,
        1.2,
        lambda x, y, z: meadow(x, y, z) & (field(x, y, 6, 4, 96) > 0.02),
        (0.6, 1.3),
    )
    n.scatter(n.flowers(), 2, 24, 1.1, lambda x, y, z: meadow(x, y, z) & (field(x, y, 5, 3, 95) > 0.0), (0.9, 1.6))
    return t, n


@scene(
    name="plain_blue_lea",
    title="The lea above Ombrel, empty sky",
    words="Meadow and a far line of trees under a sky without a single cloud, sun high and to the side.",
    when=at(2024, 7, 21, 11, 40),
    sun_from_view_deg=-96,
    pitch_deg=6.0,
    cover=None,
    aerosol=0.6,
    haze=0.6,
    intended={
        "lead": {"calm": "wait", "windy": "wait"},
        "because": "half the picture is sky and nothing happens in it: it goes evenly dark; the far trees are small",
        "also_right": ["none"],
        "waits_for": "cloud",
        "wind": "does not matter here",
    },
)
def plain_blue_lea(stage, rng):
    """Meadow and a far line of trees under a cloudless sky."""

    def height(x, y):
        r = np.hypot(x, y)
        return (
            rolling(x, y, 5, 0.9)
            + smooth_step(r, 150, 900) * (18 * field(x, y, 500, 5, 9) + 4)
            + smooth_step(r, 2500, 8000) * (90 + 190 * field(x, y, 2600, 7, 19))
        )

    t = Terrain(height)
    wood = smooth_step(field(t.X, t.Y, 260, 5, 61) - 0.02, 0.0, 0.06) * smooth_step(t.R, 260, 420)
    t.cover(0.0, 0.0, wood)
    t.build(stage, materials.ground(stage, MEADOW_GROUND))
    n = Nursery(stage, t, 29)
    _middle_kinds(n)
    _far_kinds(n)
    n.far_wood(("far broadleaf", "far conifer"), t.weights[..., 3], 6000, 260, 3000, conifer_bias=-0.1)
    for _ in range(26):
        y = rng.uniform(120, 300)
        n.plant("middle", rng.uniform(-0.7, 0.7) * y, y, rng.uniform(0.6, 1.1))
    n.scatter(n.tufts(heights=(0.10, 0.15, 0.20, 0.13)), 1.0, 46, 0.74, _always, tall_noise=0.8)
    n.scatter(n.tufts(None, 2.6, 2400, (0.17, 0.15), 0.012, 2), 44, 130, 1.9, _always)
    n.scatter(
        n.tufts(n.straw, 0.8, 110, (0.35, 0.5), 0.004, 3),
        2,
        36,
        1.3,
        lambda x, y, z: field(x, y, 7, 4, 96) > 0.04,
        (0.6, 1.3),
    )
    n.scatter(n.flowers(), 2, 28, 1.2, lambda x, y, z: field(x, y, 6, 3, 95) > 0.0, (0.7, 1.2))
    return t, n


@scene(
    name="dry_hill",
    title="Burnt hill above Sennick",
    words="Straw-dry grass on a hill in late summer, one old oak with its own shade, towering white clouds.",
    when=at(2024, 8, 11, 12, 30),
    sun_from_view_deg=98,
    pitch_deg=3.0,
    cover=-0.36,
    cloud_seed=61,
    aerosol=0.7,
    haze=0.7,
    warmth=1.01,
    intended={
        "lead": {"calm": "foliage", "windy": "sky"},
        "because": "the oak is the only thing that rises; dry grass is bright already, so oak and "
        "grass hardly part in infrared, oak and sky do",
        "also_right": ["wait", "none"],
        "waits_for": "a lull if the oak is to hold",
        "wind": "the answer turns from the oak to the sky as its crown smears",
    },
    clip={"seed": 4, "sway_m": 0.14, "frequency_hz": 0.6, "drift_m_s": (18.0, 0.0)},
)
def dry_hill(stage, rng):
    """A hill of straw-dry grass with one old oak."""

    def height(x, y):
        r = np.hypot(x, y)
        hill = 9 * np.exp(-((x - 9) ** 2 / 760 + (y - 46) ** 2 / 520)) - 16 * smooth_step(y - 0.2 * x, 60, 240)
        return (
            hill
            + rolling(x, y, 5, 0.8)
            + smooth_step(r, 500, 2500) * (130 + 190 * field(x, y, 1500, 6, 9))
            + smooth_step(r, 2500, 8000) * (150 + 350 * ridges(x, y, 6000, 9, 13))
        )

    t = Terrain(height)
    X, Y, R = t.X, t.Y, t.R
    worn = smooth_step(field(X, Y, 10, 5, 71), 0.27, 0.34) * (R < 120)
    wood = smooth_step(field(X, Y, 420, 5, 61), 0.06, 0.13) * smooth_step(R, 260, 420)
    t.cover(0.0, worn, wood)
    t.build(stage, materials.ground(stage, dict(MEADOW_GROUND, meadow=("far_straw_dark", "far_straw_light"))))
    n = Nursery(stage, t, 31, grass=("blade_old", "blade_old"))
    n.add_broadleaf("oak", 3, 10, crooked=1.5, upright=0.03, clear_stem=0.2, leaf_m=0.08, leaves_per_twig=44)
    _middle_kinds(n)
    _far_kinds(n)
    n.plant("oak", 8.5, 37, 1.15, sways=True)
    for x, y, s in ((-42, 90, 0.8), (-50, 96, 1.0), (44, 84, 0.7), (-30, 120, 0.9)):
        n.plant("middle", x, y, s)
    n.far_wood(("far broadleaf", "far broadleaf"), t.weights[..., 3], 5000, 260, 3000)
    bare = lambda x, y: field(x, y, 10, 5, 71) > 0.33  # noqa: E731
    n.scatter(
        n.tufts(n.straw, 1.2, 1300, (0.14, 0.20, 0.27, 0.17), 0.004, 3),
        1.0,
        46,
        0.74,
        lambda x, y, z: ~bare(x, y),
        tall_noise=0.9,
    )
    n.scatter(n.tufts(n.straw, 2.6, 2200, (0.20, 0.17), 0.011, 2), 44, 110, 1.9, lambda x, y, z: ~bare(x, y))
    n.scatter(
        n.tufts(None, 1.0, 240, (0.14, 0.18), 0.005, 8),
        1.5,
        40,
        1.1,
        lambda x, y, z: ~bare(x, y) & (field(x, y, 9, 4, 97) > 0.16),
        (0.6, 1.1),
    )
    grey = materials.stone(stage, "boulder", ("granite_dark", "granite_light"), 7, 1.5, 0.05, lichen=0.7)
    _boulders(
        stage, t, rng, grey, [(-4.2, 10.5, 0.4), (-5.1, 11.2, 0.25), (5.5, 20, 0.45), (-9, 24, 0.6), (-10, 25, 0.3)]
    )
    fence = np.array([(-24 + 2.6 * k, 22 + 0.9 * k + 0.5 * math.sin(k)) for k in range(9)])
    post_fence(stage, rng, t, fence, materials.stone(stage, "timber", ("timber", "timber"), 6, 4.0))
    return t, n
