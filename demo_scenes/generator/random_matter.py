"""Materials, plants and small things for random landscapes: each is drawn anew for every picture.

The colours are those of such matter in snapshots by daylight, from memory. Only visible light is rendered, so infrared
repeats it.
"""

import functools
import math

import materials
import numpy as np
import reflectance
import vegetation
from masonry import post_fence
from stage import make_mesh

ROCKS = {  # darkest, lightest reflectance of red, green, blue
    "white": ((0.45, 0.43, 0.38), (0.75, 0.73, 0.68)),
    "pale": ((0.30, 0.27, 0.22), (0.48, 0.44, 0.37)),
    "ochre": ((0.26, 0.18, 0.10), (0.45, 0.33, 0.20)),
    "red": ((0.24, 0.11, 0.07), (0.42, 0.21, 0.13)),
    "grey": ((0.14, 0.14, 0.13), (0.33, 0.32, 0.30)),
    "brown": ((0.11, 0.085, 0.06), (0.26, 0.20, 0.15)),
    "black": ((0.03, 0.03, 0.032), (0.10, 0.10, 0.10)),
}
SOILS = {
    "sand": ((0.34, 0.28, 0.20), (0.52, 0.45, 0.34)),
    "white sand": ((0.50, 0.47, 0.42), (0.68, 0.65, 0.60)),
    "red sand": ((0.32, 0.16, 0.09), (0.48, 0.28, 0.17)),
    "mud": ((0.07, 0.06, 0.05), (0.18, 0.155, 0.13)),
    "grey mud": ((0.10, 0.10, 0.095), (0.20, 0.195, 0.185)),
    "earth": ((0.09, 0.06, 0.04), (0.24, 0.18, 0.12)),
    "shingle": ((0.16, 0.155, 0.15), (0.36, 0.35, 0.33)),
    "black sand": ((0.03, 0.03, 0.03), (0.08, 0.08, 0.08)),
}
MEADOWS = {
    "green": ((0.050, 0.085, 0.028), (0.115, 0.150, 0.055)),
    "spring": ((0.070, 0.120, 0.030), (0.150, 0.210, 0.060)),
    "dull": ((0.080, 0.085, 0.040), (0.160, 0.150, 0.075)),
    "straw": ((0.190, 0.150, 0.082), (0.330, 0.270, 0.150)),
    "moor": ((0.075, 0.065, 0.040), (0.150, 0.120, 0.070)),
}
WOODS = {
    "wood": ((0.016, 0.026, 0.012), (0.045, 0.065, 0.026)),
    "dark wood": ((0.010, 0.018, 0.012), (0.026, 0.040, 0.022)),
    "autumn": ((0.070, 0.040, 0.014), (0.190, 0.110, 0.030)),
    "larches": ((0.060, 0.050, 0.016), (0.140, 0.110, 0.040)),
}
SNOW = ((0.80, 0.83, 0.88), (0.93, 0.94, 0.95))
WATERS = {
    "deep blue": ((0.006, 0.020, 0.045), (0.010, 0.035, 0.060)),
    "turquoise": ((0.020, 0.120, 0.130), (0.060, 0.240, 0.230)),
    "green": ((0.015, 0.040, 0.028), (0.030, 0.075, 0.050)),
    "brown": ((0.045, 0.035, 0.020), (0.110, 0.085, 0.055)),
    "grey": ((0.030, 0.034, 0.036), (0.080, 0.086, 0.088)),
    "black": ((0.008, 0.008, 0.007), (0.015, 0.015, 0.013)),
    "glacial": ((0.090, 0.150, 0.150), (0.170, 0.250, 0.240)),
}


def drawn(rng, name, table, kinds):
    """A material of its own in the reflectance table; infrared is not rendered, so it repeats the visible."""
    low, high = (np.array(c) for c in table[str(rng.choice(kinds))])
    tint, light = rng.normal(1, 0.06, 3), rng.uniform(0.8, 1.2)
    for end, colour in (("dark", low), ("light", high)):
        red, green, blue = (float(v) for v in np.clip(colour * tint * light, 0.004, 0.95))
        rgb = (red, green, blue)
        reflectance.MINERALS[f"{name} {end}"] = (rgb, rgb)
    return (f"{name} dark", f"{name} light")


class Things:
    """Materials at hand for what furnishes a place."""

    def __init__(self, stage, rng, rock):
        self.stage, self.rng, self.rock, self.count = stage, rng, rock, 0

    def any_stone(self, class_id):
        """A stone or soil drawn by lot, as a material of that class."""
        self.count += 1
        tables = ROCKS if self.rng.random() < 0.7 else SOILS
        kinds = drawn(self.rng, f"stone {self.count}", tables, tuple(tables))
        return materials.stone(self.stage, f"stone {self.count}", kinds, class_id, 6, 0.01)

    def plain(self, kind, class_id, gloss):
        """A material of one kind that is the same all over."""
        return materials.plain(self.stage, kind, kind, class_id, gloss=gloss)


def scattered_trees(stage, t, n, rng, things, where=lambda x, y: True, far_m=320.0, count=90):
    """Single trees up to far_m, where `where` lets them stand."""
    for _ in range(int(rng.integers(count // 4, count))):
        y = far_m * math.sqrt(rng.uniform(0.006, 1))
        x = rng.uniform(-0.75, 0.75) * y
        if y > 14 and np.all(where(np.array([[x]]), np.array([[y]]))):
            kind = rng.choice(["near", "middle"]) if y < 40 else rng.choice(["middle", "far conifer"])
            n.plant(kind, x, y, rng.uniform(0.4, 1.2))


def bare_trees(stage, t, n, rng, things):
    """Trees without leaves."""
    for _ in range(int(rng.integers(3, 40))):
        y = rng.uniform(8, 90)
        n.plant("bare", rng.uniform(-0.7, 0.7) * y, y, rng.uniform(0.4, 1.2))


def dry_bushes(stage, t, n, rng, things):
    """Bushes of a dry land, far apart."""
    n.scatter(n.bushes(leaf_m=0.05, leaves=900), 6, 90, 5.0, lambda x, y, z: rng.random(x.shape) < 0.4, (0.3, 1.4))


def posts(stage, t, n, rng, things):
    """A line of posts that leads into the picture."""
    line = np.array([(rng.uniform(-6, 0) + 1.2 * k, 9 + 2.1 * k) for k in range(10)])
    post_fence(stage, rng, t, line, things.any_stone(6), rails=0, height=rng.uniform(0.8, 2))


@functools.cache
def _tree(kind, seed) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray], np.ndarray]:
    if kind == "conifer":
        return vegetation.conifer(seed, 14, 0.34, 0.35)
    levels, size = (5, (0.12, 20, 0.36)) if kind == "near" else (4, (0.19, 24, 0.46))
    return vegetation.broadleaf(
        seed,
        10,
        *size,
        levels=levels,
        children=(3, 4),
        upright=0.02 + 0.03 * (seed % 4),
        crooked=1.0 + 0.2 * (seed % 3),
    )


def nursery(stage, terrain, rng, autumn):
    """The trees of one picture, near and far, with leaves and bare."""
    leaves = ("autumn_russet", "autumn_yellow") if autumn else ("oak", "hazel")
    n = vegetation.Nursery(stage, terrain, int(rng.integers(1, 9999)), leaves=leaves)
    for kind, tree, material in (
        ("near", "near", n.leaf),
        ("middle", "middle", n.leaf),
        ("far conifer", "conifer", n.needle),
    ):
        for _ in range(2 if kind == "middle" else 1):
            wood, crown, tint = _tree(tree, int(rng.integers(3, 9)))
            n._add(kind, wood, crown, tint, material)
    wood = _tree("near", int(rng.integers(3, 9)))[0]
    trunk = make_mesh("bare", *wood, n.bark, tint=rng.uniform(0, 1, len(wood[0])), rounded=True)
    n.kinds["bare"] = [(trunk,)]
    return n
