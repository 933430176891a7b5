"""Ground as a polar grid round the camera: the same detail all over the picture, from the feet to the far hills."""

import math

import numpy as np
from noise import field
from stage import make_mesh

FIELD_OF_GRID_DEG = 50.0
FARTHEST_M = 26000.0


class Terrain:
    """A height function of metres east (x) and ahead (y), and what grows or lies where."""

    weights: np.ndarray
    """Shares of meadow, rock, soil, wood of each point of the grid; set by `cover`."""

    def __init__(self, height, rows=1000, columns=760, farthest_m=FARTHEST_M):
        self.height = height
        half = math.radians(FIELD_OF_GRID_DEG)
        self.angle = np.linspace(-half, half, columns)
        self.radius = np.geomspace(0.6, farthest_m, rows)
        turn, self.R = np.meshgrid(self.angle, self.radius)
        self.X, self.Y = self.R * np.sin(turn), self.R * np.cos(turn) - 0.5
        self.Z = height(self.X, self.Y)
        step_out = np.gradient(self.radius)[:, None]
        step_round = self.R * (self.angle[1] - self.angle[0])
        self.steepness = np.hypot(np.gradient(self.Z, axis=0) / step_out, np.gradient(self.Z, axis=1) / step_round)

    def at(self, x, y):
        """Height at one point [m]."""
        return float(self.height(np.array([[float(x)]]), np.array([[float(y)]]))[0, 0])

    def normals(self, x, y, step_m=0.5):
        """Upward normals (N, 3) at points."""
        x, y = np.asarray(x, float)[None], np.asarray(y, float)[None]
        dx = (self.height(x + step_m, y) - self.height(x - step_m, y))[0] / (2 * step_m)
        dy = (self.height(x, y + step_m) - self.height(x, y - step_m))[0] / (2 * step_m)
        return np.stack([-dx, -dy, np.ones_like(dx)], -1)

    def cover(self, rock, soil, wood):
        """Set the weights; what is left is meadow. All arrays like the grid, 0..1."""
        rock, soil, wood = (np.clip(np.broadcast_to(w, self.X.shape), 0, 1) for w in (rock, soil, wood))
        meadow = (1 - rock) * (1 - soil) * (1 - wood)
        self.weights = np.stack([meadow, rock * (1 - soil) * (1 - wood), soil * (1 - wood), wood], -1)

    def build(self, stage, material):
        """Put the ground on the stage."""
        rows, columns = self.X.shape
        corner = np.arange(rows - 1)[:, None] * columns + np.arange(columns - 1)[None]
        faces = np.stack([corner, corner + 1, corner + 1 + columns, corner + columns], -1).reshape(-1, 4)
        points = np.stack([self.X, self.Y, self.Z], -1).reshape(-1, 3)
        stage.put(make_mesh("ground", points, faces, material, rounded=True, weights=self.weights.reshape(-1, 4)))


def rolling(x, y, seed, amount=1.0):
    """Gentle ground of a few metres with small unevenness."""
    return amount * (1.6 * field(x, y, 40, 5, seed) + 0.3 * field(x, y, 6, 4, seed + 1)) + 0.05 * field(
        x, y, 1.0, 4, seed + 2
    )
