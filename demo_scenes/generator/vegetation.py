"""Trees from branching rules, blades of grass as tufts, bushes, reeds and flowers; and where they are planted."""

import math

import numpy as np
from materials import dry_blades, foliage, plain, stone
from noise import field
from stage import make_mesh, upright_on


def _tube(start, end, r0, r1, sides):
    along = end - start
    along = along / (np.linalg.norm(along) + 1e-9)
    aside = np.array([1.0, 0, 0]) if abs(along[0]) < 0.8 else np.array([0, 1.0, 0])
    u = np.cross(along, aside)
    u /= np.linalg.norm(u)
    v = np.cross(along, u)
    angle = np.arange(sides) * 2 * np.pi / sides
    ring = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v
    i = np.arange(sides)
    j = (i + 1) % sides
    return np.concatenate([start + ring * r0, end + ring * r1]), np.stack([i, j, j + sides, i + sides], 1)


def leaf_cards(centres, size_m, rng, upward=0.5, aspect=1.6) -> tuple[np.ndarray, np.ndarray]:
    """One folded quadrilateral per centre."""
    n = len(centres)
    normal = rng.normal(size=(n, 3))
    normal[:, 2] += upward
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    u = np.cross(normal, rng.normal(size=(n, 3)))
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    v = np.cross(normal, u)
    size = size_m * rng.uniform(0.55, 1.35, (n, 1))
    u, v, fold = u * size * aspect / 2, v * size / 2, normal * size * 0.2
    points = np.stack([centres - u, centres - v - fold, centres + u, centres + v - fold], 1).reshape(-1, 3)
    return points, np.arange(4 * n).reshape(n, 4)


class _Parts:
    def __init__(self):
        self.points, self.faces, self.count = [], [], 0

    def add(self, points, faces):
        self.points.append(points)
        self.faces.append(faces + self.count)
        self.count += len(points)

    def done(self):
        return np.concatenate(self.points), np.concatenate(self.faces)


def broadleaf(
    seed,
    height_m,
    leaf_m,
    leaves_per_twig,
    cluster_m,
    levels=5,
    children=(3, 5),
    upright=0.05,
    crooked=1.0,
    clear_stem=0.24,
):
    """Wood, leaves and a tint per leaf corner. `upright` lifts the branches (oak 0.03, poplar-like 0.15)."""
    rng = np.random.default_rng(seed)
    wood, ends = _Parts(), []
    todo = [(np.array([0, 0, -0.3]), np.array([0, 0, 1.0]), height_m * clear_stem, height_m * 0.022, 0)]
    while todo:
        start, heading, length, radius, level = todo.pop()
        pieces = 3 if level < 2 else 2
        for i in range(pieces):
            bend = rng.normal(size=3) * (0.06 + 0.05 * level) * crooked
            heading = heading + bend + np.array([0, 0, upright if level < 4 else -0.03])
            heading /= np.linalg.norm(heading)
            end = start + heading * length / pieces
            r0, r1 = radius * (1 - 0.35 * i / pieces), radius * (1 - 0.35 * (i + 1) / pieces)
            if level < 5:
                flare = 1.5 if level == 0 and i == 0 else 1.0
                wood.add(*_tube(start, end, r0 * flare, r1, 8 if level < 2 else 4))
            if level >= levels - 1:
                ends.append(end)
            start = end
        if level < levels:
            count = int(rng.integers(children[0], children[1] + 1))
            phase = rng.uniform(0, 2 * np.pi)
            aside = np.array([1.0, 0, 0]) if abs(heading[0]) < 0.8 else np.array([0, 1.0, 0])
            u = np.cross(heading, aside)
            u /= np.linalg.norm(u)
            v = np.cross(heading, u)
            for c in range(count):
                around = phase + c * 2 * np.pi / count + rng.normal() * 0.4
                tilt = rng.uniform(0.35, 0.9) if c else 0.2
                side = u * math.cos(around) + v * math.sin(around)
                child = heading * math.cos(tilt) + side * math.sin(tilt)
                todo.append((start, child, length * rng.uniform(0.58, 0.9), radius * (0.62 if c else 0.7), level + 1))
    twigs = np.array(ends)
    twigs = twigs[rng.random(len(twigs)) < 0.86]  # bare twigs open the crown
    offsets = rng.normal(size=(len(twigs) * leaves_per_twig, 3)).clip(-1.7, 1.7) * cluster_m
    centres = np.repeat(twigs, leaves_per_twig, 0) + offsets
    points, faces = leaf_cards(centres, leaf_m, rng)
    scale = height_m / max(points[:, 2].max(), 1)
    wood_points, wood_faces = wood.done()
    tint = np.repeat(
        0.7 * rng.uniform(0, 1, len(centres)) + 0.3 * np.repeat(rng.uniform(0, 1, len(twigs)), leaves_per_twig), 4
    )
    return (wood_points * scale, wood_faces), (points * scale, faces), tint


def conifer(seed, height_m, needle_m, density=1.0, width=0.19):
    """A conifer: wood and needles as (points, faces), and a tint for each point of the needles."""
    rng = np.random.default_rng(seed)
    wood, centres = _Parts(), []
    wood.add(*_tube(np.array([0, 0, -0.3]), np.array([0, 0, height_m]), height_m * 0.016, height_m * 0.002, 7))
    z = height_m * rng.uniform(0.06, 0.14)
    while z < height_m * 0.985:
        up = z / height_m
        reach = height_m * width * (1 - up) ** 0.85 + 0.12
        count, phase = int(rng.integers(5, 8)), rng.uniform(0, 2 * np.pi)
        for c in range(count):
            if rng.random() < 0.07:
                continue
            around = phase + c * 2 * np.pi / count + rng.normal() * 0.25
            length = reach * rng.uniform(0.55, 1.2)
            steps = max(4, int(26 * density * length / (height_m * 0.19) + 6))
            s = np.linspace(0.12, 1, steps)
            droop = -0.25 * (1 - up) - 0.05
            rise = z + length * (droop * s * 1.6 + 0.22 * s**2.2)
            curve = np.stack([np.cos(around) * length * s, np.sin(around) * length * s, rise], 1)
            spread = rng.normal(size=(steps * 6, 3)) * np.array([0.11, 0.11, 0.05]) * (length * 0.9 + 0.2)
            centres.append(np.repeat(curve, 6, 0) + spread)
            wood.add(*_tube(curve[0] * [0, 0, 1], curve[-1], 0.003 * height_m * (1 - up) + 0.01, 0.005, 3))
        z += height_m * 0.022 * rng.uniform(0.8, 1.25) * (1.3 - 0.6 * up)
    needles = np.concatenate(centres)
    points, faces = leaf_cards(needles, needle_m, rng, 0.3, 2.6)
    return wood.done(), (points, faces), np.repeat(rng.uniform(0, 1, len(needles)), 4)


def blades(seed, patch_m, count, height_m, width_m, lean=0.7):
    """A tuft: curved blades of three quadrilaterals each."""
    rng = np.random.default_rng(seed)
    foot = rng.uniform(-patch_m / 2, patch_m / 2, (count, 2))
    around = rng.uniform(0, 2 * np.pi, count)
    tall = height_m * rng.gamma(6, 1 / 6, count)
    bow = rng.uniform(0.1, lean, count) * tall
    bow_to = around + rng.normal(size=count) * 0.6
    sections = []
    for t, w in zip((0, 0.45, 0.8, 1.0), (1, 0.85, 0.5, 0.08), strict=True):
        centre = np.stack(
            [foot[:, 0] + np.cos(bow_to) * bow * t**2, foot[:, 1] + np.sin(bow_to) * bow * t**2, tall * t - 0.02], 1
        )
        side = np.stack([-np.sin(around), np.cos(around), 0 * around], 1) * width_m * w / 2
        sections += [centre - side, centre + side]
    points = np.stack(sections, 1).reshape(-1, 3)
    k = np.arange(count)[:, None] * 8
    faces = np.concatenate([k + np.array([[0, 1, 3, 2]]), k + np.array([[2, 3, 5, 4]]), k + np.array([[4, 5, 7, 6]])])
    return points, faces, np.repeat(rng.uniform(0, 1, count), 8)


class Nursery:
    """Meshes by kind and distance, made once and shared by all plants of that kind."""

    def __init__(
        self,
        stage,
        terrain,
        seed,
        leaves=("oak", "hazel"),
        needles=("needle", "needle"),
        grass=("blade_fresh", "blade_old"),
    ):
        self.stage, self.terrain, self.rng = stage, terrain, np.random.default_rng(seed)
        self.leaf = foliage(stage, "leaf", leaves, 4)
        self.needle = foliage(stage, "needle", needles, 4, gloss=0.01)
        self.grass = foliage(stage, "blade", grass, 5, gloss=0.015)
        self.straw = dry_blades(stage, "straw", ("straw_dark", "straw"), 5)
        self.bark = stone(stage, "bark", ("bark_dark", "bark_light"), 4, 3.0)
        self.kinds = {}
        self.swaying = []

    def add_broadleaf(self, kind, seed, height_m, near=True, material=None, **shape):
        """One more broadleaved tree of that kind."""
        size = (
            {"leaf_m": 0.085, "leaves_per_twig": 46, "cluster_m": 0.36}
            if near
            else {"leaf_m": 0.19, "leaves_per_twig": 24, "cluster_m": 0.46, "levels": 4}
        )
        wood, leaves, tint = broadleaf(seed, height_m, **{**size, **shape})
        self._add(kind, wood, leaves, tint, material or self.leaf)

    def add_conifer(self, kind, seed, height_m, near=True, **shape):
        """One more conifer of that kind."""
        size = {"needle_m": 0.10, "density": 1.5} if near else {"needle_m": 0.34, "density": 0.35}
        wood, leaves, tint = conifer(seed, height_m, **{**size, **shape})
        self._add(kind, wood, leaves, tint, self.needle)

    def _add(self, kind, wood: tuple[np.ndarray, np.ndarray], leaves: tuple[np.ndarray, np.ndarray], tint, material):
        trunk = make_mesh("trunk", *wood, self.bark, tint=self.rng.uniform(0, 1, len(wood[0])), rounded=True)
        crown = make_mesh("crown", *leaves, material, tint=tint)
        self.kinds.setdefault(kind, []).append((trunk, crown))

    def plant(self, kind, x, y, scale=1.0, sways=False, sink=0.05):
        """Stand one tree of that kind on the ground."""
        pair = self.kinds[kind][int(self.rng.integers(len(self.kinds[kind])))]
        turn, at = self.rng.uniform(0, 2 * np.pi), (x, y, self.terrain.at(x, y) - sink)
        things = [self.stage.put(mesh, at, turn, scale) for mesh in pair]
        if sways:
            self.swaying.append((things, at))
        return things

    def far_wood(self, kinds, weight, count, nearest_m, farthest_m, conifer_bias=0.0):
        """Thousands of shared far trees where `weight` (terrain grid) says wood. kinds = (broadleaf, conifer)."""
        t = self.terrain
        chance = (weight * (nearest_m < t.R) * (farthest_m > t.R) * t.R**1.7).ravel()
        if chance.sum() <= 0:
            return
        picked = self.rng.choice(chance.size, count, p=chance / chance.sum())
        x = t.X.ravel()[picked] + self.rng.normal(size=count) * 6
        y = t.Y.ravel()[picked] + self.rng.normal(size=count) * 6
        z = t.height(x[None], y[None])[0] - 0.3
        stand = field(x, y, 220, 3, 77) + conifer_bias + self.rng.normal(size=count) * 0.05
        for i in range(count):
            meshes = self.kinds[kinds[1] if stand[i] > 0 else kinds[0]]
            pair = meshes[int(self.rng.integers(len(meshes)))]
            turn, scale = self.rng.uniform(0, 2 * np.pi), self.rng.uniform(0.55, 1.3)
            for mesh in pair:
                self.stage.put(mesh, (x[i], y[i], z[i]), turn, scale)

    def scatter(self, meshes, nearest_m, farthest_m, step_m, wanted, scale=(0.75, 1.3), tall_noise=0.6, half_width=0.8):
        """Tufts on a jittered grid inside the view where wanted(x, y, z) is true."""
        across = np.arange(-farthest_m * half_width - 2, farthest_m * half_width + 2, step_m)
        ahead = np.arange(0, farthest_m, step_m)
        x, y = (g.ravel() for g in np.meshgrid(across, ahead))
        x = x + self.rng.uniform(-0.5, 0.5, x.size) * step_m
        y = y + self.rng.uniform(-0.5, 0.5, y.size) * step_m
        r = np.hypot(x, y)
        keep = (r >= nearest_m) & (r < farthest_m) & (np.abs(x) < half_width * y + 1.2)
        x, y = x[keep], y[keep]
        z = self.terrain.height(x[None], y[None])[0]
        keep = wanted(x, y, z)
        x, y, z = x[keep], y[keep], z[keep]
        normal = self.terrain.normals(x, y)
        tall = 1 + tall_noise * np.clip(field(x, y, 5, 3, 91) * 1.6, -0.6, 1)
        for i in range(len(x)):
            size = self.rng.uniform(*scale)
            thing = self.stage.put(
                meshes[int(self.rng.integers(len(meshes)))], (x[i], y[i], z[i] - 0.01), 0, (size, size, size * tall[i])
            )
            thing.rotation_euler = upright_on(normal[i], self.rng.uniform(0, 2 * np.pi))
        return len(x)

    def tufts(
        self, material=None, patch_m=1.2, count=1500, heights=(0.10, 0.14, 0.19, 0.12), width_m=0.0045, seed=1, **shape
    ):
        """Tufts of grass, one of each height [m]."""
        out = []
        for i, height in enumerate(heights):
            points, faces, tint = blades(seed * 100 + i, patch_m, count, height, width_m, **shape)
            out.append(make_mesh("tuft", points, faces, material or self.grass, tint=tint))
        return out

    def bushes(self, count=3, leaf_m=0.06, leaves=2600, material=None, seed=5):
        """Several bushes about a metre wide."""
        rng = np.random.default_rng(seed)
        out = []
        for _ in range(count):
            lobes = rng.normal(size=(7, 3)) * [0.34, 0.34, 0.16] + [0, 0, 0.3]
            centres = lobes[rng.integers(7, size=leaves)] + rng.normal(size=(leaves, 3)) * 0.17
            centres[:, 2] = np.abs(centres[:, 2])
            points, faces = leaf_cards(centres, leaf_m, rng, 0.4, 1.4)
            out.append(
                make_mesh("bush", points, faces, material or self.leaf, tint=np.repeat(rng.uniform(0, 1, leaves), 4))
            )
        return out

    def flowers(self, kinds=("petal_white", "petal_yellow", "petal_violet"), per_patch=24):
        """Patches of flowers, one of each kind."""
        rng = np.random.default_rng(9)
        out = []
        for kind in kinds:
            material = plain(self.stage, kind, kind, 5)
            centres = np.stack(
                [rng.normal(0, 0.5, per_patch), rng.normal(0, 0.5, per_patch), rng.uniform(0.10, 0.27, per_patch)], 1
            )
            out.append(make_mesh("flowers", *leaf_cards(centres, 0.02, rng, 2.0, 1.0), material))
        return out
