"""Walls of single stones, round towers, roofs of single slates, boulders and fences."""

import itertools
import math

import bmesh
import numpy as np
from noise import fractal
from stage import make_mesh

_CUBE = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0], [0, 0, 1], [1, 0, 1], [1, 1, 1], [0, 1, 1]], float)
_SIDES = np.array([[0, 3, 2, 1], [4, 5, 6, 7], [0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]])


def closed(x, z):
    """No opening anywhere."""
    return False


def arch(centre, width, sill, spring):
    """An opening with a round head."""
    half = width / 2
    return lambda x, z: (
        (abs(x - centre) < half and sill < z < spring) or (z >= spring and math.hypot(x - centre, z - spring) < half)
    )


def oblong(centre, width, sill, head):
    """An opening with a straight head."""
    return lambda x, z: abs(x - centre) < width / 2 and sill < z < head


def any_of(openings):
    """All these openings in one wall."""
    return lambda x, z: any(one(x, z) for one in openings)


def broken_crown(base_m, rough_m, seed):
    """Height of a ruined wall along its length."""
    return lambda x: base_m + rough_m * fractal(x * 0.55, seed * 3.1, 0.3, 4, seed)


def gable(base_m, pitch, length, rough_m=0.0, seed=9):
    """Height of a gable along its length."""
    return lambda x: (
        base_m + pitch * (length / 2 - abs(x - length / 2)) + rough_m * fractal(x * 1.3, pitch, 0.2, 3, seed)
    )


def boxes(corners, sizes, jitter=None, rng=None) -> tuple[np.ndarray, np.ndarray]:
    """Many boxes at once: (N, 3) corners and sizes -> points, faces."""
    n = len(corners)
    points = corners[:, None, :] + _CUBE[None] * sizes[:, None, :]
    if jitter is not None:
        points = points + rng.normal(size=points.shape) * jitter
    faces = (_SIDES[None] + 8 * np.arange(n)[:, None, None]).reshape(-1, 4)
    return points.reshape(-1, 3), faces


def rubble(rng, length, height, thick, openings=closed, top=lambda x: 1e9, course_m=0.22, foot=-0.6, dressed=1.0):
    """Every stone a box: courses of uneven height, stones of uneven width; (points, faces)."""
    corners, sizes = [], []
    z = foot
    while z < height:
        course = course_m * rng.uniform(0.45, 1.5)
        x = -rng.uniform(0, 0.3)
        while x < length:
            width = course * rng.uniform(0.7, 3.4)
            if z + course / 2 < top(x + width / 2) and not openings(x + width / 2, z + course / 2):
                proud = rng.uniform(0, 0.035) * dressed
                corners.append((x, -proud, z))
                sizes.append((width - 0.006, thick + rng.uniform(0, 0.03) + proud, course - 0.006))
            x += width
        z += course
    return boxes(np.array(corners), np.array(sizes), np.array([0.016, 0.018, 0.013]) * dressed, rng)


def core(
    length, height, thick, openings=closed, top=lambda x: 1e9, step=0.15, foot=-0.6
) -> tuple[np.ndarray, np.ndarray] | None:
    """The mortar behind the faces: columns that stop at openings and at the crown."""
    corners, sizes = [], []
    for x in np.arange(0, length, step):
        start = None
        for z in [*np.arange(foot, height, step), None]:
            solid = z is not None and z + step + 0.08 < top(x + step / 2)
            solid = solid and not any(
                openings(x + dx, z + dz) for dx in (-0.08, step / 2, step + 0.08) for dz in (-0.08, step + 0.08)
            )
            if solid and start is None:
                start = z
            if not solid and start is not None:
                end = height if z is None else min(z, height)
                corners.append((x, 0.035, start))
                sizes.append((step, thick - 0.07, end - start))
                start = None
    return boxes(np.array(corners), np.array(sizes)) if corners else None


class Mason:
    """Puts walls on the stage with the stone and mortar it was given."""

    def __init__(self, stage, rng, stone_material, mortar_material):
        self.stage, self.rng, self.stone, self.mortar = stage, rng, stone_material, mortar_material

    def wall(self, length, height, thick, at, turn, openings=closed, top=lambda x: 1e9, parent=None, course_m=0.2):
        """A straight wall [m] with its mortar, its foot at `at`, turned about it."""
        points, faces = rubble(self.rng, length, height, thick, openings, top, course_m)
        tint = np.repeat(self.rng.uniform(0, 1, len(points) // 8), 8)
        self.stage.put(make_mesh("wall", points, faces, self.stone, tint=tint), at, turn, parent=parent)
        inner = core(length, height, thick, openings, top)
        if inner is not None:
            self.stage.put(
                make_mesh("core", *inner, self.mortar, tint=np.full(len(inner[0]), 0.5)), at, turn, parent=parent
            )

    def round_tower(self, at, radius, height, openings, top, thick=0.6, course_m=0.24, batter=0.035):
        """A wall bent into a circle; x runs round it, openings(x, z) and top(x) in metres of circumference."""
        length = 2 * math.pi * radius

        def bend(points):
            r = (radius - points[:, 1]) * (1 + batter * np.clip(1 - points[:, 2] / height, 0, 1))
            return np.stack([r * np.sin(points[:, 0] / radius), r * np.cos(points[:, 0] / radius), points[:, 2]], 1)

        points, faces = rubble(self.rng, length - 0.1, height, thick, openings, top, course_m)
        tint = np.repeat(self.rng.uniform(0, 1, len(points) // 8), 8)
        self.stage.put(make_mesh("tower", bend(points), faces, self.stone, tint=tint), at)
        inner = core(length, height, thick, openings, top, 0.12)
        assert inner is not None
        self.stage.put(make_mesh("core", bend(inner[0]), inner[1], self.mortar, tint=np.full(len(inner[0]), 0.5)), at)

    def field_wall(self, terrain, path, height=0.95, course_m=0.17, gaps=lambda x, y: False):
        """A dry-stone wall along points (N, 2), two metres at a time, standing on the ground."""
        for (x0, y0), (x1, y1) in itertools.pairwise(path):
            if gaps(x0, y0):
                continue
            length = math.hypot(x1 - x0, y1 - y0)
            turn = math.atan2(y1 - y0, x1 - x0)
            wobble = self.rng.uniform(0, 50)
            points, faces = rubble(
                self.rng,
                length + 0.05,
                height + 0.2,
                0.5,
                closed,
                lambda x, w=wobble: height + 0.14 * fractal(x + w, 0.2, 0.1, 3, 3),
                course_m,
            )
            z0, z1 = terrain.at(x0, y0), terrain.at(x1, y1)
            points[:, 2] += z0 + (z1 - z0) * points[:, 0] / length
            tint = np.repeat(self.rng.uniform(0, 1, len(points) // 8), 8)
            self.stage.put(make_mesh("field wall", points, faces, self.stone, tint=tint), (x0, y0, 0), turn)


def shingled(rng, length, slope_m, rise, at_eave, tile=(0.26, 0.22), ragged=0.0):
    """One roof slope of single slates: x along the eave, climbing in +y; (points, faces)."""
    run = math.hypot(1, rise)
    corners, sizes, lifts = [], [], []
    s = 0.0
    while s < slope_m:
        x = -rng.uniform(0, tile[0])
        while x < length:
            width = tile[0] * rng.uniform(0.8, 1.15)
            if rng.random() >= ragged:
                corners.append((x, s / run, at_eave + rise * s / run + rng.uniform(0, 0.015)))
                sizes.append((width - 0.008, 1.45 * tile[1] / run, 0.018))
                lifts.append(1.45 * tile[1] * rise / run * 0.94)
            x += width
        s += tile[1]
    points, faces = boxes(np.array(corners), np.array(sizes), np.array([0.003, 0.004, 0.003]), rng)
    points = points.reshape(-1, 8, 3)
    points[:, (2, 3, 6, 7), 2] += np.array(lifts)[:, None]
    return points.reshape(-1, 3), faces


def house(stage, rng, at, turn, width, depth, eave, rise, materials, windows=2, storeys=2, chimney=True, door=True):
    """A house with a slated roof, ridge along x, front at y = 0. materials: wall, roof, glass, frame, stone."""
    parent = stage.group(at, turn)
    ridge = eave + rise * depth / 2

    def put(name, points, faces, material, tint=None):
        stage.put(
            make_mesh(name, points, faces, material, tint=np.full(len(points), 0.5) if tint is None else tint),
            parent=parent,
        )

    body = np.array(
        [
            [0, 0, -0.8],
            [width, 0, -0.8],
            [width, depth, -0.8],
            [0, depth, -0.8],
            [0, 0, eave],
            [width, 0, eave],
            [width, depth, eave],
            [0, depth, eave],
            [0, depth / 2, ridge],
            [width, depth / 2, ridge],
        ],
        float,
    )
    walls = np.array([[0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7], [4, 8, 8, 7], [5, 6, 9, 9]])
    put("house", body, walls[:4], materials["wall"])
    put("gables", body, np.array([[4, 8, 7], [5, 6, 9]]), materials["wall"])
    slope = math.hypot(depth / 2 + 0.3, rise * (depth / 2 + 0.3))
    for side in (0, 1):
        points, faces = shingled(rng, width + 0.5, slope, rise, eave - 0.3 * rise)
        points[:, 0] -= 0.25
        points[:, 1] -= 0.3
        if side:
            points[:, 0], points[:, 1] = width - points[:, 0], depth - points[:, 1]
        tint = np.repeat(rng.uniform(0, 1, len(points) // 8), 8)
        put("roof", points, faces, materials["roof"], tint)
    put(
        "ridge",
        *boxes(np.array([[-0.25, depth / 2 - 0.12, ridge - 0.02]]), np.array([[width + 0.5, 0.24, 0.1]])),
        materials["roof"],
    )
    step = width / windows
    door_at = int(rng.integers(windows)) if door else -1
    for face_y, outward in ((0.0, -1), (depth, 1)):
        for storey in range(storeys):
            for i in range(windows):
                x, z = (i + 0.5) * step + rng.uniform(-0.08, 0.08), 0.95 + storey * 2.55
                if z + 1.3 > eave:
                    continue
                if storey == 0 and i == door_at and outward < 0:
                    put(
                        "door",
                        *boxes(np.array([[x - 0.45, -0.03, 0]]), np.array([[0.9, 0.05, 2.0]])),
                        materials["frame"],
                    )
                    put(
                        "lintel",
                        *boxes(np.array([[x - 0.65, -0.05, 2.0]]), np.array([[1.3, 0.1, 0.22]])),
                        materials["stone"],
                    )
                    continue
                y = face_y + (outward * 0.02 if outward > 0 else -0.03)
                put("glass", *boxes(np.array([[x - 0.42, y, z]]), np.array([[0.84, 0.01, 1.2]])), materials["glass"])
                bars = np.array(
                    [
                        [x - 0.47, y - 0.02, z - 0.05],
                        [x + 0.41, y - 0.02, z - 0.05],
                        [x - 0.47, y - 0.02, z - 0.05],
                        [x - 0.47, y - 0.02, z + 1.17],
                        [x - 0.02, y - 0.015, z],
                        [x - 0.42, y - 0.015, z + 0.57],
                    ]
                )
                size = np.array(
                    [
                        [0.06, 0.05, 1.28],
                        [0.06, 0.05, 1.28],
                        [0.94, 0.06, 0.06],
                        [0.94, 0.05, 0.06],
                        [0.04, 0.04, 1.2],
                        [0.84, 0.04, 0.04],
                    ]
                )
                put("frame", *boxes(bars, size), materials["white"])
                put(
                    "sill",
                    *boxes(np.array([[x - 0.55, y - 0.07, z - 0.17]]), np.array([[1.1, 0.16, 0.12]])),
                    materials["stone"],
                )
    if chimney:
        x = rng.choice([0.1, width - 0.9])
        points, faces = rubble(rng, 0.8, ridge + 1.1, 0.7, course_m=0.16, foot=eave)
        points += [x, depth / 2 - 0.35, 0]
        put("chimney", points, faces, materials["stone"], np.repeat(rng.uniform(0, 1, len(points) // 8), 8))
    return parent


def boulder(seed, subdivisions=4) -> tuple[np.ndarray, np.ndarray]:
    """A weathered rock with flats; (points, faces)."""
    ball = bmesh.new()
    bmesh.ops.create_icosphere(ball, subdivisions=subdivisions, radius=1)
    points = np.array([v.co[:] for v in ball.verts])
    faces = np.array([[v.index for v in f.verts] for f in ball.faces])
    ball.free()
    rng = np.random.default_rng(seed)
    shift = rng.uniform(0, 99, 3)
    lumps = np.array([fractal(*(p * 1.1 + shift), 6, seed) for p in points])
    points = points * (1 + 0.75 * lumps[:, None])
    points[:, 2] *= 0.65
    for _ in range(7):
        normal = rng.normal(size=3)
        normal /= np.linalg.norm(normal)
        over = np.maximum(points @ normal - rng.uniform(0.5, 0.85), 0)
        points = points - over[:, None] * normal * 0.85
    return points, faces


def post_fence(stage, rng, terrain, path, material, rails=2, height=1.15):
    """Split posts with rails along points (N, 2)."""
    corners, sizes, lean = [], [], []
    pieces_points, pieces_faces, count = [], [], 0
    for i, (x, y) in enumerate(path):
        z = terrain.at(x, y)
        corners.append((x - 0.06, y - 0.06, z - 0.3))
        sizes.append((0.12, 0.12, height + 0.3 + rng.uniform(-0.06, 0.06)))
        lean.append(rng.normal(0, 0.03, 2))
        if i + 1 < len(path):
            x1, y1 = path[i + 1]
            z1 = terrain.at(x1, y1)
            for r in range(rails):
                h = height * (0.42 + 0.45 * r) + rng.normal(0, 0.02)
                a, b = np.array([x, y, z + h]), np.array([x1, y1, z1 + h + rng.normal(0, 0.03)])
                across = np.array([0.02, 0.0, 0.0]) if abs(y1 - y) > abs(x1 - x) else np.array([0.0, 0.02, 0.0])
                up = np.array([0, 0, 0.045])
                ring = np.array([a - across - up, a + across - up, a + across + up, a - across + up])
                ring = np.concatenate([ring, ring - a + b])
                pieces_points.append(ring)
                pieces_faces.append(np.array([[0, 1, 5, 4], [1, 2, 6, 5], [2, 3, 7, 6], [3, 0, 4, 7]]) + count)
                count += 8
    points, faces = boxes(np.array(corners), np.array(sizes))
    points = points.reshape(-1, 8, 3)
    points[:, 4:, :2] += np.array(lean)[:, None]
    stage.put(make_mesh("posts", points.reshape(-1, 3), faces, material, tint=rng.uniform(0, 1, points.shape[0] * 8)))
    if not pieces_points:
        return
    stage.put(
        make_mesh(
            "rails",
            np.concatenate(pieces_points),
            np.concatenate(pieces_faces),
            material,
            tint=rng.uniform(0, 1, count),
        )
    )
