"""Lays one frame over another of the same scene.

`register`: an infrared frame over the snap it belongs to, by another focal length, from a step aside, tilted.
`align`: two frames of one camera, on a tripod or nearly so, to a fraction of a pixel.

Infrared turns tones round (dark leaves go bright, blue sky goes black), so only where edges lie and how strong they are
is compared. A coarse search over turn and zoom votes by phase correlation (Reddy and Chatterji 1996 in spirit, by plain
search); feature points on the edge map are a second witness (Lowe 2004, Fischler and Bolles 1981); the best candidates
are refined coarse to fine by the enhanced correlation coefficient (Evangelidis and Psarakis 2008), as OpenCV has it.
A placement counts only if the edges agree better than when it is pushed a little aside.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import fft

from irpreview.errors import BadPair, BadValue
from irpreview.records import FloatArray

Matrix = NDArray[np.float64]

WORKING_SIDE_PX = 512
SEARCH_SIDE_PX = 96
TURNS_DEG = (-12.0, -9.0, -6.0, -3.0, 0.0, 3.0, 6.0, 9.0, 12.0)
ZOOMS = tuple(float(z) for z in 1.08 ** np.arange(-7, 8))
"""Size of the frame's things against the snap's: 0.58 to 1.71."""
MOST_TURN_DEG, MOST_ZOOM, MOST_SHEAR = 20.0, 2.2, 0.12
LEAST_OVERLAP = 0.3
LEAST_BITE = 0.06
"""Least agreement lost when pushed aside, see `Registration.bite`; set on research pairs, see tests/reference."""
HOPELESS_BITE = 0.025
"""Below it the costly last refinement is spared."""
KEPT_CANDIDATES = 2

ALIGN_SIDE_PX = 640
SAME_SCENE = 0.08
"""Least `bite` of two frames that `align` is given: 31 research pairs of visible and infrared frames gave 0.18 and
more, 62 pictures of other or mirrored scenes at most 0.03."""
MOST_MODEST_STRETCH, MOST_MODEST_SHIFT = 0.15, 0.35
"""What `align` takes for one framing: how far the matrix departs from none, and the shift as a share of the width."""


@dataclass(frozen=True, slots=True)
class Registration:
    """Where the infrared frame lies on the snap."""

    matrix: Matrix
    """(3, 3) from snap pixel coordinates to those of the frame, each at its own size."""
    likeness: float
    """Correlation of edge strength where they overlap, -1..1."""
    bite: float
    """How much of it goes when the frame is pushed aside by a hundredth of the width where that matters least."""
    overlap: float
    """Share of the snap that the frame covers."""
    turn_deg: float
    zoom: float
    shift_share: float
    """How far the middle moved, share of the snap's width."""

    @property
    def confidence(self) -> float:
        """0..1: 0 at the limit of refusal, near 1 where the edges leave no doubt."""
        return float(1.0 - math.exp(-max(self.bite - LEAST_BITE, 0.0) / 0.1))

    def lay_over(self, picture: FloatArray, height: int, width: int) -> FloatArray:
        """`picture` (the frame, any channel) as seen from the snap, (height, width) of the snap; outside = NaN."""
        return np.asarray(
            cv2.warpPerspective(
                picture,
                self.matrix,
                (width, height),
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_CONSTANT,
                borderValue=(np.nan,) * 4,
            ),
            np.float32,
        )

    def at(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Snap points (n, 2) [px] in the frame. [px]"""
        full = np.column_stack((xy, np.ones(len(xy)))) @ self.matrix.T
        return np.asarray(full[:, :2] / full[:, 2:], np.float64)


def register(snap: FloatArray, frame: FloatArray) -> Registration:
    """Find where `frame` lies on `snap`; both (H, W) brightness of any scale, sizes may differ.

    Raises BadPair when they do not show the same scene or too little of it, BadValue for pictures under 64 px.
    """
    for name, picture in (("snap", snap), ("infrared frame", frame)):
        if picture.ndim != 2 or min(picture.shape) < 64:
            raise BadValue(f"the {name} is {picture.shape} pixels; two sides of at least 64 px are needed")
    found = best_placement(snap, frame)
    if found is None or found.bite < LEAST_BITE:
        bite = 0.0 if found is None else max(found.bite, 0.0)
        raise BadPair(
            f"the infrared frame could not be laid over the snap (edges agree by {bite:.2f}, at least "
            f"{LEAST_BITE:.2f} is needed): take a frame of the same scene, turned less than {MOST_TURN_DEG:.0f} "
            "degrees, that shows at least a third of it"
        )
    return found


def best_placement(snap: FloatArray, frame: FloatArray) -> Registration | None:
    """The likeliest placement, good or not; None where there is nothing to hold on to."""
    # one scale for both keeps a zoom a zoom
    a_scale = min(1.0, WORKING_SIDE_PX / max(snap.shape))
    b_scale = min(1.0, WORKING_SIDE_PX / max(frame.shape))
    a, b = _log_small(snap, a_scale), _log_small(frame, b_scale)
    if float(a.std()) < 0.02 or float(b.std()) < 0.02:
        return None
    a_fine, b_fine = _edges(a, 1.0), _edges(b, 1.0)
    best: _Tried | None = None
    for propose in (_by_points, _by_search):
        best = _best_of(a, b, a_fine, b_fine, propose(a, b), best)
        if best is not None and best[0] > 2.0 * LEAST_BITE:
            break
    if best is None:
        return None
    bite, matrix, likeness = best
    return _registration(likeness, bite, matrix, a.shape, b.shape, a_scale, b_scale)


def placement_from(snap: FloatArray, frame: FloatArray, starts: Sequence[Matrix]) -> Registration | None:
    """The best placement that follows from the given ones (snap pixels to frame pixels), good or not; else None.

    Nothing else is searched, which costs a tenth of `best_placement`.
    """
    a_scale = min(1.0, WORKING_SIDE_PX / max(snap.shape))
    b_scale = min(1.0, WORKING_SIDE_PX / max(frame.shape))
    a, b = _log_small(snap, a_scale), _log_small(frame, b_scale)
    if float(a.std()) < 0.02 or float(b.std()) < 0.02:
        return None
    here = [_scaled(m, a_scale, b_scale) for m in starts]
    best = _best_of(a, b, _edges(a, 1.0), _edges(b, 1.0), here, None)
    if best is None:
        return None
    bite, matrix, likeness = best
    return _registration(likeness, bite, matrix, a.shape, b.shape, a_scale, b_scale)


def placement_near(snap: FloatArray, frame: FloatArray, start: Matrix) -> Registration | None:
    """The best placement within a few pixels of a good start, the start itself among them; else None.

    The coarse stages of `placement_from` are left out: where edges repeat (rows of vines, waves) they lead astray.
    """
    a_scale = min(1.0, WORKING_SIDE_PX / max(snap.shape))
    b_scale = min(1.0, WORKING_SIDE_PX / max(frame.shape))
    a, b = _log_small(snap, a_scale), _log_small(frame, b_scale)
    if float(a.std()) < 0.02 or float(b.std()) < 0.02:
        return None
    a_fine, b_fine = _edges(a, 1.0), _edges(b, 1.0)
    here = _scaled(start, a_scale, b_scale)
    tried = [here, *_refined(a, b, here, STAGES[2:])[1:], *_refined(a, b, here, STAGES[1:])[1:]]
    judged = [(*_bite(a_fine, b_fine, m), m) for m in tried if _is_possible(m, a.shape)]
    if not judged:
        return None
    likeness, bite, matrix = max(judged, key=lambda j: j[1])
    return _registration(likeness, bite, matrix, a.shape, b.shape, a_scale, b_scale)


_Tried = tuple[float, Matrix, float]
"""(bite, matrix, likeness)"""


def _best_of(
    a: FloatArray, b: FloatArray, a_fine: FloatArray, b_fine: FloatArray, given: Sequence[Matrix], best: _Tried | None
) -> _Tried | None:
    """The best of what refinement makes of these starts, and of `best`."""
    starts = [_refined(a, b, m, STAGES[:1])[-1] for m in given]
    starts.sort(key=lambda m: -_likeness(_half(a_fine), _half(b_fine), _scaled(m, 0.5, 0.5)))
    for start in starts[:KEPT_CANDIDATES]:
        tried = _refined(a, b, start, STAGES[1:2])
        if _bite(a_fine, b_fine, tried[-1])[1] > HOPELESS_BITE:
            tried += _refined(a, b, tried[-1], STAGES[2:])
        for matrix in tried:
            if not _is_possible(matrix, a.shape):
                continue
            likeness, bite = _bite(a_fine, b_fine, matrix)
            if best is None or bite > best[0]:
                best = (bite, matrix, likeness)
        if best is not None and best[0] > 2.0 * LEAST_BITE:
            break
    return best


def align(plain: FloatArray, filtered: FloatArray) -> Registration:
    """Where the filtered frame lies on the plain one; both (H, W) brightness of any scale, equal sizes.

    Displaced as the phase correlation says is tried first, then not moved at all (a tripod). Each is refined by strong
    edges from coarse to fine, then stretched by fine ones; a refinement that bites less than its start is dropped.
    Always answers: `bite` says whether they show one scene (`SAME_SCENE`).
    """
    scale = min(1.0, ALIGN_SIDE_PX / max(plain.shape))
    a, b = _log_small(plain, scale), _log_small(filtered, scale)
    fine_a, fine_b = _fine_edges(a), _fine_edges(b)
    best = (*_bite(fine_a, fine_b, np.eye(3), 0.01), np.eye(3))
    for start in (_displaced(a, b), np.eye(3)):
        matrix = start
        tried = [start]
        for size in ALIGN_STAGES:
            matrix = _ecc(_strong_edges(a, size), _strong_edges(b, size), matrix, size, cv2.MOTION_EUCLIDEAN, 30, 3e-4)
        tried += [matrix, _ecc(fine_a, fine_b, matrix, 1.0, cv2.MOTION_AFFINE, 30, 3e-4)]
        for option in tried:
            likeness, bite = _bite(fine_a, fine_b, option, 0.01) if _is_modest(option, a.shape) else (0.0, 0.0)
            if bite > best[1]:
                best = (likeness, bite, option)
        if best[1] > 3.0 * SAME_SCENE:
            break
    return _registration(*best, a.shape, b.shape, scale, scale)


def _registration(
    likeness: float,
    bite: float,
    matrix: Matrix,
    a_shape: tuple[int, ...],
    b_shape: tuple[int, ...],
    a_scale: float,
    b_scale: float,
) -> Registration:
    """What was found between pictures of these sizes, resized by these scales."""
    turn, zoom = _turn_and_zoom(matrix)
    tall, wide = a_shape
    centre = matrix @ np.array([wide / 2, tall / 2, 1.0])
    shift = centre[:2] / centre[2] - np.array([b_shape[1] / 2, b_shape[0] / 2])
    return Registration(
        _scaled(matrix, 1.0 / a_scale, 1.0 / b_scale),
        likeness,
        bite,
        _overlap(a_shape, b_shape, matrix),
        turn,
        zoom,
        float(np.hypot(*shift)) / wide,
    )


# --- edge maps ------------------------------------------------------------------------------------------------------


def _log_small(picture: FloatArray, scale: float) -> FloatArray:
    small = cv2.resize(np.asarray(picture, np.float32), None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    floor = np.float32(0.02) * np.float32(max(float(small.mean()), 1e-6))
    return np.asarray(np.log2(np.maximum(small, np.float32(1e-6)) + floor), np.float32)


def _edges(log_picture: FloatArray, scale: float, blur_px: float = 1.2) -> FloatArray:
    """Edge strength without its sign, evened out over the picture: mean 0, spread 1."""
    grey = log_picture
    if scale < 1.0:
        grey = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    strength = np.sqrt(_edge_strength(grey, blur_px))
    mean = cv2.GaussianBlur(strength, (0, 0), max(strength.shape) / 24.0)
    strength = (strength - mean) / (mean + np.float32(0.15) * np.float32(max(float(strength.mean()), 1e-6)))
    return np.asarray(strength / max(float(strength.std()), 1e-9), np.float32)


def _strong_edges(log_picture: FloatArray, scale: float) -> FloatArray:
    """What is seen from afar: outlines, blurred once more. Mean 0, spread 1."""
    small = cv2.resize(log_picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    strength = np.sqrt(cv2.GaussianBlur(_edge_strength(small, 1.2), (0, 0), 1.2))
    strength -= cv2.GaussianBlur(strength, (0, 0), max(strength.shape) / 8.0)
    return np.asarray(strength / max(float(strength.std()), 1e-9), np.float32)


def _fine_edges(log_picture: FloatArray) -> FloatArray:
    """What lies a few pixels wide, which places most exactly. Mean 0, spread 1."""
    strength = np.sqrt(_edge_strength(log_picture, 1.2))
    strength -= cv2.GaussianBlur(strength, (0, 0), 4.0)
    return np.asarray(strength / max(float(strength.std()), 1e-9), np.float32)


def _edge_strength(picture: FloatArray, blur_px: float) -> FloatArray:
    grey = cv2.GaussianBlur(picture, (0, 0), blur_px)
    return np.asarray(np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0), cv2.Sobel(grey, cv2.CV_32F, 0, 1)), np.float32)


def _half(edges: FloatArray) -> FloatArray:
    return np.asarray(cv2.resize(edges, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA), np.float32)


def _scaled(matrix: Matrix, a: float, b: float) -> Matrix:
    """The same placement between pictures resized by a (snap) and b (frame)."""
    return np.asarray(np.diag([b, b, 1.0]) @ matrix @ np.diag([1.0 / a, 1.0 / a, 1.0]), np.float64)


# --- candidates -----------------------------------------------------------------------------------------------------


def _displaced(a: FloatArray, b: FloatArray) -> Matrix:
    """Displacement by phase correlation of strong edges at a small size; none where it says something wild."""
    scale = ALIGN_STAGES[0]
    small_a, small_b = _strong_edges(a, scale), _strong_edges(b, scale)
    window = np.outer(np.hanning(small_a.shape[0]), np.hanning(small_a.shape[1])).astype(np.float32)
    (dx, dy), _ = cv2.phaseCorrelate(small_a * window, small_b * window)
    matrix = np.eye(3)
    if abs(dx) < 0.2 * small_a.shape[1] and abs(dy) < 0.2 * small_a.shape[0]:
        matrix[:2, 2] = (dx / scale, dy / scale)
    return matrix


def _by_search(a: FloatArray, b: FloatArray) -> list[Matrix]:
    """Every turn and zoom of a grid, displaced as the edges at a small size correlate best; the few best."""
    scale = SEARCH_SIDE_PX / max(*a.shape, *b.shape)
    small_a, small_b = _tapered(_edges(a, scale)), _tapered(_edges(b, scale))
    side = 2 * SEARCH_SIDE_PX
    spectrum_a = fft.rfft2(small_a, (side, side))
    energy_a = float(np.sum(small_a**2))
    middle_b = np.array([small_b.shape[1] / 2.0, small_b.shape[0] / 2.0])
    most = np.arange(side)
    most = np.where(most > side // 2, side - most, most)
    # far displacements leave too little in common
    reachable = (most[:, None] < 0.8 * small_a.shape[0]) & (most[None, :] < 0.8 * small_a.shape[1])
    tries: list[tuple[float, Matrix]] = []
    for turn in TURNS_DEG:
        for zoom in ZOOMS:
            # the frame turned back and brought to the snap's scale
            rotation = cv2.getRotationMatrix2D(middle_b, turn, 1.0 / zoom)
            room = min(side - SEARCH_SIDE_PX, side)
            size = (min(room, int(small_b.shape[1] / zoom)), min(room, int(small_b.shape[0] / zoom)))
            rotation[:, 2] += np.array(size) / 2.0 - middle_b
            moved = cv2.warpAffine(small_b, rotation, size)
            cross = fft.irfft2(spectrum_a * np.conj(fft.rfft2(moved, (side, side))), (side, side))
            cross[~reachable] = -1.0
            y, x = np.unravel_index(int(np.argmax(cross)), cross.shape)
            score = float(cross[y, x]) / math.sqrt(energy_a * float(np.sum(moved**2)) + 1e-9)
            shift = np.eye(3)
            shift[:2, 2] = (x - side if x > side // 2 else x, y - side if y > side // 2 else y)
            tries.append((score, np.linalg.inv(shift @ np.vstack((rotation, [0.0, 0.0, 1.0])))))
    tries.sort(key=lambda t: -t[0])
    return [_scaled(m, 1.0 / scale, 1.0 / scale) for _, m in tries[:6]]


def _tapered(edges: FloatArray) -> FloatArray:
    """Blurred a little, so that a coarse step of turn and zoom still meets; faded at the rim."""
    soft = cv2.GaussianBlur(edges, (0, 0), 1.3)
    window = np.outer(_window(edges.shape[0]), _window(edges.shape[1])).astype(np.float32)
    return np.asarray(soft * window, np.float32)


def _window(n: int) -> NDArray[np.float64]:
    ramp = max(1, n // 12)
    w = np.ones(n)
    w[:ramp] = np.linspace(0.0, 1.0, ramp, endpoint=False)
    w[n - ramp :] = w[:ramp][::-1]
    return w


def _by_points(a: FloatArray, b: FloatArray) -> list[Matrix]:
    """Feature points on both edge maps, matched and voted on."""
    maker = cv2.SIFT_create(  # type: ignore[attr-defined]
        nfeatures=1500, contrastThreshold=0.02
    )
    points_a, words_a = maker.detectAndCompute(_as_bytes(_edges(a, 1.0, 1.6)), None)
    points_b, words_b = maker.detectAndCompute(_as_bytes(_edges(b, 1.0, 1.6)), None)
    if words_a is None or words_b is None or min(len(words_a), len(words_b)) < 8:
        return []
    matches = cv2.BFMatcher(cv2.NORM_L2).knnMatch(words_a, words_b, k=2)
    good = [m[0] for m in matches if len(m) == 2 and m[0].distance < 0.9 * m[1].distance]
    if len(good) < 8:
        return []
    source = np.array([points_a[m.queryIdx].pt for m in good])
    target = np.array([points_b[m.trainIdx].pt for m in good])
    cv2.setRNGSeed(7)  # the same pictures get the same answer
    matrix, _ = cv2.estimateAffinePartial2D(source, target, ransacReprojThreshold=5.0, maxIters=4000)
    return [] if matrix is None else [np.vstack((matrix, [0.0, 0.0, 1.0]))]


def _as_bytes(edges: FloatArray) -> NDArray[np.uint8]:
    return np.asarray(np.clip(96.0 + 48.0 * edges, 0.0, 255.0), np.uint8)


# --- refinement and judgement ---------------------------------------------------------------------------------------


ALIGN_STAGES = (0.25, 0.5, 1.0)
STAGES = (
    (0.25, cv2.MOTION_AFFINE, 1.6, 30),
    (0.5, cv2.MOTION_AFFINE, 1.6, 25),
    (1.0, cv2.MOTION_HOMOGRAPHY, 1.4, 12),
)
"""(size, kind of movement, blur [px], most steps): turn, zoom and shift first, then what another viewpoint adds."""


def _refined(
    a: FloatArray, b: FloatArray, start: Matrix, stages: tuple[tuple[float, int, float, int], ...]
) -> list[Matrix]:
    """The start and what each stage made of it."""
    out: list[Matrix] = [start]
    matrix = start
    for scale, motion, blur_px, steps in stages:
        first, second = _edges(a, scale, blur_px), _edges(b, scale, blur_px)
        matrix = _ecc(first, second, matrix, scale, motion, steps, 1e-4)
        if not _is_possible(matrix, a.shape):
            return out
        out.append(matrix)
    return out


def _ecc(a: FloatArray, b: FloatArray, matrix: Matrix, scale: float, motion: int, steps: int, enough: float) -> Matrix:
    """`matrix` (at full working size) refined on maps at `scale`; as it was where they have nothing to hold on to."""
    here = _scaled(matrix, scale, scale)
    warp = (here / here[2, 2]).astype(np.float32)
    if motion != cv2.MOTION_HOMOGRAPHY:
        warp = np.ascontiguousarray(warp[:2])
    with contextlib.suppress(cv2.error):
        criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, steps, enough)
        _, warp = cv2.findTransformECC(a, b, warp, motion, criteria, None, 5)
        whole = warp.astype(np.float64)
        if whole.shape[0] == 2:
            whole = np.vstack((whole, [0.0, 0.0, 1.0]))
        return _scaled(whole, 1.0 / scale, 1.0 / scale)
    return matrix


def _turn_and_zoom(matrix: Matrix) -> tuple[float, float]:
    m = matrix[:2, :2] / matrix[2, 2]
    turn = math.degrees(math.atan2(m[1, 0] - m[0, 1], m[0, 0] + m[1, 1]))
    return turn, float(math.sqrt(max(np.linalg.det(m), 1e-9)))


def _is_possible(matrix: Matrix, shape: tuple[int, ...]) -> bool:
    """What two cameras in one place can do: no mirror, no strong turn, stretch or keystone."""
    if not np.all(np.isfinite(matrix)) or np.linalg.det(matrix[:2, :2]) <= 0.0:
        return False
    turn, zoom = _turn_and_zoom(matrix)
    m = matrix[:2, :2] / matrix[2, 2] / zoom
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    stretch = float(np.abs(m - np.array([[c, -s], [s, c]])).max())
    keystone = float(np.abs(matrix[2, :2] / matrix[2, 2]).max()) * max(shape)
    return (
        abs(turn) <= MOST_TURN_DEG and 1.0 / MOST_ZOOM <= zoom <= MOST_ZOOM and stretch < MOST_SHEAR and keystone < 0.15
    )


def _is_modest(matrix: Matrix, shape: tuple[int, ...]) -> bool:
    """What happens to a camera while a filter is screwed on."""
    m = matrix / matrix[2, 2]
    return bool(
        np.abs(m[:2, :2] - np.eye(2)).max() < MOST_MODEST_STRETCH
        and np.abs(m[:2, 2]).max() < MOST_MODEST_SHIFT * shape[1]
    )


def _overlap(a_shape: tuple[int, ...], b_shape: tuple[int, ...], matrix: Matrix) -> float:
    inside = cv2.warpPerspective(
        np.ones(b_shape, np.float32), matrix, (a_shape[1], a_shape[0]), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    return float((inside > 0.99).mean())


def _likeness(a: FloatArray, b: FloatArray, matrix: Matrix) -> float:
    size = (a.shape[1], a.shape[0])
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpPerspective(b, matrix, size, flags=flags)
    inside = cv2.warpPerspective(np.ones_like(b), matrix, size, flags=flags) > 0.99
    if inside.mean() < LEAST_OVERLAP:
        return -1.0
    x, y = a[inside], moved[inside]
    x, y = x - x.mean(), y - y.mean()
    return float((x @ y) / max(float(np.sqrt((x @ x) * (y @ y))), 1e-9))


def _bite(a: FloatArray, b: FloatArray, matrix: Matrix, push_share: float = 0.012) -> tuple[float, float]:
    """(likeness, what a small push takes from it): two horizons agree too, but slide along each other."""
    likeness = _likeness(a, b, matrix)
    step = max(250.0 * push_share, push_share * a.shape[1])
    pushed = []
    for dx, dy in ((step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)):
        push = np.array([[1.0, 0.0, dx], [0.0, 1.0, dy], [0.0, 0.0, 1.0]])
        pushed.append(_likeness(a, b, matrix @ push))
    return likeness, likeness - max(pushed)
