"""Scenes by the water: a pale head above the sea, flats at low tide, a pool in autumn."""

import math

import materials
import numpy as np
import water
from masonry import post_fence
from noise import field, ridges, smooth_step
from scenes import MEADOW_GROUND, _boulders, _far_kinds, _middle_kinds, at, scene
from stage import make_mesh
from terrain import Terrain, rolling
from vegetation import Nursery, leaf_cards


@scene(
    name="chalk_head",
    title="Pale head above Orrenstrand",
    words="Cliff-top grass, a pale head across a bay of dark sea, fair-weather clouds, sun from the right.",
    when=at(2024, 5, 28, 14, 10),
    sun_from_view_deg=118,
    pitch_deg=-5.0,
    cover=-0.40,
    cloud_seed=33,
    aerosol=0.45,
    haze=0.5,
    eye_m=1.7,
    intended={
        "lead": {"calm": "structure", "windy": "structure"},
        "because": "nothing here is built; the pale cliff stands where a building would: it parts "
        "from dark sea and dark sky, but against sunlit grass it may not",
        "came_out": "most of the cliff stands in shade: dark against cloud and grass, less than a zone above the sea",
        "also_right": ["sky", "foliage", "none"],
        "waits_for": None,
        "wind": "short grass only; the sea smooths from a second on",
    },
)
def chalk_head(stage, rng):
    """A pale headland across a bay of dark sea."""
    coast_y = [0, 14, 26, 40, 70, 130, 190, 235, 262, 300, 340, 420, 560, 900, 2000, 26000]
    coast_x = [-7, -5, 0, 14, 62, 96, 66, 4, -48, -74, -66, 10, 160, 210, 500, 9000]

    def inland(x, y):
        rough = 5 * field(x, y, 26, 4, 31) + 1.6 * field(x, y, 6, 4, 32)
        return x - np.interp(y, coast_y, coast_x) + rough * smooth_step(y, 20, 60) + 0.7 * field(x, y, 3, 3, 33)

    def height(x, y):
        d = inland(x, y)
        downs = np.interp(y, [0, 60, 150, 200, 250, 290, 330, 420], [0, 0, 6, 17, 1, 12, -4, 10])
        top = (
            31
            + rolling(x, y, 5, 0.6)
            + 0.05 * np.clip(d, 0, 300)
            + downs * smooth_step(y, 90, 150) * (1 - 0.5 * smooth_step(d, 20, 250))
            + 5 * field(x, y, 60, 4, 36) * smooth_step(y, 90, 150)
            - 0.07 * np.clip(y, 0, 30)
        )
        fallen = 6.0 * np.clip(field(x, y, 22, 4, 37) + 0.08, 0, 1) * np.exp(-(((d + 1) / 5) ** 2)) * (y > 60)
        strand = 0.9 * smooth_step(d, -12, -3) - 2.2 * (1 - smooth_step(d, -22, -9)) + 3 * smooth_step(d, -3.5, 0)
        strand = strand + fallen
        face = smooth_step(d + 2.2 * field(x, y, 14, 5, 35) + 0.8 * field(x, y, 3, 3, 38), -0.5, 5.5)
        hills = smooth_step(np.hypot(x, y), 900, 4000) * np.clip(d, 0, 2000) / 2000
        return top * face + strand * (1 - face) + hills * (110 + 160 * field(x, y, 1700, 6, 9))

    t = Terrain(height)
    X, Y, _Z, R = t.X, t.Y, t.Z, t.R
    d = inland(X, Y)
    cliff = np.maximum(smooth_step(t.steepness, 0.55, 1.0) * (d < 12), (d < 1.2) * 1.0) * (Y > 16)
    worn = smooth_step(field(X, Y, 9, 5, 71), 0.30, 0.36) * (R < 60)
    wood = smooth_step(field(X, Y, 300, 5, 61), 0.02, 0.1) * smooth_step(R, 500, 700) * (d > 60)
    t.cover(np.maximum(cliff, (d < 1.0) * (Y > 16)), worn * (1 - cliff), wood)
    chalk = dict(MEADOW_GROUND, rock=("chalk_dark", "chalk_light"), soil=("gravel_dark", "gravel_light"))
    t.build(stage, materials.ground(stage, chalk, beds=1.0))
    water.plane(stage, water.surface(stage, "sea_body", ripple=0.8, size=0.5, foam=0.8), -16000, 16000, -60, 24000)
    n = Nursery(stage, t, 17, grass=("blade_old", "blade_fresh"))
    _far_kinds(n)
    n.far_wood(("far broadleaf", "far broadleaf"), t.weights[..., 3], 2500, 500, 3000)
    grown = lambda x, y, z: (inland(x, y) > 1.5) & (field(x, y, 9, 5, 71) < 0.34)  # noqa: E731
    n.scatter(n.tufts(heights=(0.07, 0.10, 0.13, 0.08)), 1.0, 40, 0.74, grown, tall_noise=0.7)
    n.scatter(n.tufts(None, 2.6, 2400, (0.12, 0.10), 0.010, 2), 38, 110, 1.9, grown)
    n.scatter(
        n.tufts(n.straw, 0.8, 80, (0.28, 0.36), 0.004, 3),
        2,
        30,
        1.5,
        lambda x, y, z: grown(x, y, z) & (field(x, y, 7, 4, 96) > 0.08),
        (0.6, 1.2),
    )
    n.scatter(
        n.flowers(("petal_white", "petal_yellow", "petal_violet")),
        2,
        20,
        1.2,
        lambda x, y, z: grown(x, y, z) & (field(x, y, 5, 3, 95) > 0.0),
        (0.6, 1.0),
    )
    n.scatter(
        n.bushes(leaf_m=0.05),
        12,
        60,
        3.2,
        lambda x, y, z: grown(x, y, z) & (field(x, y, 10, 3, 93) > 0.22) & (x > 3),
        (0.4, 1.2),
    )
    fence = np.array([(6 + 0.95 * k, 9 + 2.4 * k + 0.4 * math.sin(k)) for k in range(8)])
    post_fence(stage, rng, t, fence, materials.stone(stage, "timber", ("timber", "timber"), 6, 4.0))
    return t, n


@scene(
    name="low_flats",
    title="Low Quillan flats, overcast",
    words="Mud, pools and saltmarsh under a closed grey layer; no sun, no shadows.",
    when=at(2024, 10, 2, 13, 0),
    sun_from_view_deg=-60,
    pitch_deg=0.0,
    cover=None,
    cloud_seed=71,
    overcast=True,
    haze=1.0,
    saturation=0.8,
    intended={
        "lead": {"calm": "wait", "windy": "wait"},
        "because": "a closed layer: no dark sky, flat light, pools as pale as the cloud above them",
        "also_right": ["none", "structure"],
        "waits_for": "breaks in the cloud",
        "wind": "does not matter here",
    },
)
def low_flats(stage, rng):
    """Mud, pools and saltmarsh under a closed layer."""

    def height(x, y):
        r = np.hypot(x, y)
        creek = field(x + 0.4 * y, y, 26, 5, 5)
        flat = 0.34 + 0.9 * creek + 0.12 * field(x, y, 4, 4, 6) + 0.035 * field(x, y, 0.7, 4, 7)
        runnels = smooth_step(ridges(x + 1.5 * field(x, y, 5, 3, 9), y, 13, 4, 8), 0.42, 0.75)
        flat = flat - 0.16 * runnels * smooth_step(flat, 0.16, 0.34) * (1 - smooth_step(r, 60, 160))
        near = 1.1 * np.exp(-((r / 9) ** 2))
        return (
            np.minimum(flat, 0.62 + 0.1 * flat)
            + near
            + smooth_step(r, 450, 900) * 2.2
            + smooth_step(r, 1800, 4000) * (30 + 70 * field(x, y, 1500, 6, 9))
        )

    t = Terrain(height)
    X, Y, Z, R = t.X, t.Y, t.Z, t.R
    marsh = smooth_step(Z + 0.16 * field(X, Y, 5, 4, 62), 0.50, 0.60) * (R < 700)
    land = smooth_step(R, 500, 700)
    wood = smooth_step(field(X, Y, 300, 5, 61), 0.02, 0.1) * smooth_step(R, 800, 1000)
    t.cover(0.0, (1 - marsh) * (1 - land), wood)
    ground = dict(MEADOW_GROUND, soil=("mud_dark", "mud_light"))
    t.build(stage, materials.ground(stage, ground, wet_m=(0.10, 0.30)))
    water.plane(stage, water.surface(stage, ripple=0.16, size=1.5), -2600, 2600, 1.5, 3500, 0.12)
    n = Nursery(stage, t, 37, grass=("blade_old", "blade_fresh"))
    _far_kinds(n)
    n.far_wood(("far broadleaf", "far conifer"), t.weights[..., 3], 3000, 800, 3500, conifer_bias=-0.1)
    for _ in range(60):
        y = rng.uniform(560, 900)
        n.plant("far broadleaf", rng.uniform(-0.7, 0.7) * y, y, rng.uniform(0.4, 1.0))
    on_marsh = lambda x, y, z: z + 0.16 * field(x, y, 5, 4, 62) > 0.54  # noqa: E731
    n.scatter(n.tufts(heights=(0.12, 0.17, 0.22, 0.15)), 1.0, 46, 0.74, on_marsh, tall_noise=0.6)
    n.scatter(n.tufts(None, 2.6, 2200, (0.20, 0.17), 0.012, 2), 44, 150, 2.1, on_marsh)
    n.scatter(
        n.tufts(n.straw, 0.8, 120, (0.4, 0.55), 0.004, 3),
        2,
        44,
        1.3,
        lambda x, y, z: on_marsh(x, y, z) & (field(x, y, 7, 4, 96) > 0.02),
        (0.6, 1.2),
    )
    timber = materials.stone(stage, "timber", ("timber", "timber"), 6, 4.0)
    stakes = np.array([(-6 + 1.25 * k, 11 + 2.3 * k) for k in range(9)])
    post_fence(stage, rng, t, stakes, timber, rails=0, height=1.3)
    return t, n


@scene(
    name="autumn_pool",
    title="Larrick pool in October",
    words="Russet and yellow trees round a still pool, low sun from the left, thin clouds.",
    when=at(2024, 10, 19, 15, 0),
    sun_from_view_deg=-74,
    pitch_deg=0.5,
    cover=-0.41,
    cloud_seed=82,
    aerosol=0.8,
    haze=0.7,
    warmth=1.01,
    intended={
        "lead": {"calm": "foliage", "windy": "sky"},
        "because": "autumn leaves stay bright in infrared: the crowns lead over a dark pool while the air is still",
        "came_out": "in the low sun the crowns stay near middle grey, within a zone of the clear sky; cloud on dark "
        "sky is the stronger step",
        "also_right": ["wait", "none"],
        "also_right_when_calm": ["sky"],
        "waits_for": "a lull",
        "wind": "crowns and their mirror image go with the first wind",
    },
)
def autumn_pool(stage, rng):
    """A still pool among autumn trees."""

    def pool(x, y):
        return np.hypot((x - 3) / 26, (y - 36) / 23) + 0.14 * field(x, y, 12, 4, 41)

    def height(x, y):
        edge, r = pool(x, y), np.hypot(x, y)
        bank = 1.5 * smooth_step(edge, 1.0, 1.7) + rolling(x, y, 5, 0.6) * smooth_step(edge, 1.0, 1.5)
        h = bank - 1.4 * (1 - smooth_step(edge, 0.85, 1.04)) + 0.12 * smooth_step(edge, 0.98, 1.05)
        return h + smooth_step(y, 55, 200) * 9 + smooth_step(r, 250, 1800) * (70 + 150 * field(x, y, 1200, 6, 9))

    t = Terrain(height)
    X, Y, R = t.X, t.Y, t.R
    shore = 1 - smooth_step(pool(X, Y), 1.03, 1.12)
    litter = smooth_step(field(X, Y, 8, 4, 63) + 0.5 * smooth_step(Y, 30, 60), 0.15, 0.4) * (R < 120) * 0.9
    wood = smooth_step(field(X, Y, 300, 5, 61), -0.25, -0.15) * smooth_step(R, 110, 170)
    t.cover(0.0, np.maximum(shore * (R < 100), litter * 0.6), wood)
    t.build(stage, materials.ground(stage, dict(MEADOW_GROUND, wood=("far_autumn_dark", "far_autumn_light"))))
    water.plane(stage, water.surface(stage, ripple=0.12, size=1.2), -70, 80, 6, 80)
    n = Nursery(stage, t, 41, leaves=("autumn_russet", "autumn_yellow"), grass=("blade_old", "blade_fresh"))
    yellow = materials.foliage(stage, "birch", ("autumn_yellow", "autumn_yellow"), 4)
    russet = materials.foliage(stage, "oak leaf", ("autumn_russet", "autumn_russet"), 4)
    late = materials.foliage(stage, "late leaf", ("oak", "autumn_yellow"), 4, spread=0.3)
    n.add_broadleaf("oak", 6, 11, crooked=1.5, upright=0.02, leaf_m=0.08, leaves_per_twig=34, material=russet)
    n.add_broadleaf("birch", 4, 12, upright=0.13, children=(3, 4), leaf_m=0.06, leaves_per_twig=34, material=yellow)
    for seed, kind, cover in ((14, "middle birch", yellow), (16, "middle oak", russet), (17, "middle late", late)):
        n.add_broadleaf(kind, seed, 12, near=False, upright=0.13 if kind == "middle birch" else 0.04, material=cover)
        n.add_broadleaf(kind, seed + 20, 9, near=False, upright=0.09, crooked=1.4, clear_stem=0.16, material=cover)
    n.add_conifer("middle pine", 8, 13, near=False)
    n.add_conifer("pine", 5, 14)
    _middle_kinds(n)
    _far_kinds(n)
    for x, y, kind, s in (
        (-20, 30, "oak", 1.0),
        (-27, 42, "birch", 1.0),
        (31, 30, "birch", 0.95),
        (35, 40, "oak", 1.1),
        (-24, 55, "oak", 1.0),
        (37, 52, "pine", 1.1),
        (28, 60, "birch", 1.1),
        (-33, 34, "pine", 1.0),
        (-31, 50, "pine", 1.15),
    ):
        n.plant(kind, x, y, s, sways=True)
    kinds = ("middle birch", "middle oak", "middle oak", "middle late", "middle", "middle pine")
    for _ in range(230):
        x, y = rng.uniform(-80, 80), rng.uniform(56, 135)
        if pool(np.array([[x]]), np.array([[y]]))[0, 0] > 1.22:
            stand = int(np.clip(3 + 9 * field(np.array([[x]]), np.array([[y]]), 26, 3, 66)[0, 0], 0, 5))
            kind = kinds[stand] if rng.random() < 0.6 else kinds[int(rng.integers(6))]
            n.plant(kind, x, y, rng.uniform(0.5, 1.2))
    brush = n.bushes(leaf_m=0.09, leaves=1600, material=late)
    n.scatter(
        brush,
        26,
        100,
        3.4,
        lambda x, y, z: (pool(x, y) > 1.13) & (y > 30) & (field(x, y, 14, 3, 93) > -0.02),
        (0.8, 2.4),
    )
    n.far_wood(("far broadleaf", "far conifer"), t.weights[..., 3], 5000, 120, 1800, conifer_bias=-0.12)
    dry = lambda x, y, z: pool(x, y) > 1.12  # noqa: E731
    n.scatter(n.tufts(heights=(0.12, 0.17, 0.22, 0.14)), 1.0, 46, 0.74, dry, tall_noise=0.8)
    n.scatter(n.tufts(None, 2.6, 2200, (0.19, 0.16), 0.012, 2), 44, 100, 2.1, dry)
    n.scatter(
        n.tufts(n.straw, 0.8, 120, (0.4, 0.6), 0.004, 3),
        2,
        40,
        1.3,
        lambda x, y, z: dry(x, y, z) & (field(x, y, 7, 4, 96) > 0.0),
        (0.6, 1.3),
    )
    n.scatter(
        n.tufts(n.straw, 1.0, 150, (1.0, 1.2), 0.012, 4),
        8,
        70,
        0.8,
        lambda x, y, z: (z > -0.3) & (z < 0.3) & (field(x, y, 8, 3, 92) > 0.06) & ((y > 48) | (x < -9) | (x > 22)),
        (0.7, 1.2),
    )
    fallen = _fallen_leaves(stage)
    n.scatter(
        fallen, 1.5, 26, 0.9, lambda x, y, z: dry(x, y, z) & (field(x, y, 6, 3, 94) > -0.1), (0.8, 1.2), tall_noise=0.0
    )
    grey = materials.stone(stage, "boulder", ("granite_dark", "granite_light"), 7, 1.5, 0.05, lichen=0.7)
    _boulders(stage, t, rng, grey, [(-3.8, 9.5, 0.45), (5.8, 12, 0.35), (-9, 15, 0.6), (-10, 15.8, 0.3), (14, 16, 0.5)])
    return t, n


def _fallen_leaves(stage):
    rng = np.random.default_rng(4)
    material = materials.foliage(stage, "fallen", ("autumn_russet", "autumn_yellow"), 5)
    out = []
    for _ in range(3):
        centres = np.stack([rng.uniform(-0.5, 0.5, 60), rng.uniform(-0.5, 0.5, 60), rng.uniform(0.02, 0.10, 60)], 1)
        points, faces = leaf_cards(centres, 0.05, rng, 2.5, 1.3)
        out.append(make_mesh("fallen", points, faces, material, tint=np.repeat(rng.uniform(0, 1, 60), 4)))
    return out
