"""Frame pairs with a known factor: a drawn scene of stone, leaves and sky, seen by eye and by infrared.

The draw is its own model: nothing of the calibration's code makes it except the camera curve of finished pictures.
"""

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from irpreview.core.exposure.frame_pairs import CURVE_MIDDLE, Frame
from irpreview.records import CLASS_ID, Photo, Shot

GAINS = (2.0, 1.0, 1.5)
DYES = np.array([1.7, 0.75, 0.8])
"""Red, green, blue behind the filter against the mean pixel: (1.7 + 2 x 0.75 + 0.8) / 4 = 1."""
LEAF_LIFT = 2.9
SKY_LIFT = -1.0


@dataclass(frozen=True)
class Drawn:
    plain: np.ndarray
    """(H, W, 3) linear, grey stone near 0.2 of white."""
    infrared: np.ndarray
    """(H, W) linear in the band, same scale."""
    label: np.ndarray


def draw(seed: int = 0, leaves: float = 0.4, size: tuple[int, int] = (240, 360)) -> Drawn:
    """leaves: about which share of the land is green."""
    rng = np.random.default_rng(seed)
    tall, wide = size

    def field(scale: float) -> np.ndarray:
        noise = cv2.GaussianBlur(rng.standard_normal((tall, wide)), (0, 0), scale)
        return noise / noise.std()

    blobs = field(22)
    green = blobs > np.quantile(blobs, 1.0 - leaves) if leaves > 0 else np.zeros(size, bool)
    sky = np.arange(tall)[:, None] < (0.22 * tall + 12 * field(40))
    label = np.where(sky, CLASS_ID["clear_sky"], np.where(green, CLASS_ID["tree"], CLASS_ID["structure"]))
    texture = 2.0 ** (0.35 * field(9) + 0.25 * field(3))
    colour = np.empty((tall, wide, 3))
    colour[...] = np.array([0.21, 0.20, 0.19]) * texture[..., None]
    leaf = np.array([0.045, 0.075, 0.022])
    colour[green] = (leaf * texture[..., None])[green]
    colour[sky] = (np.array([0.18, 0.27, 0.45]) * (1 + 0.02 * field(30))[..., None])[sky]
    luminance = colour @ np.array([0.2126, 0.7152, 0.0722])
    infrared = luminance.copy()
    infrared[green] *= 2.0**LEAF_LIFT
    infrared[sky] *= 2.0**SKY_LIFT
    return Drawn(colour, infrared, label.astype(np.uint8))


def expose(
    drawn: Drawn,
    factor_stops: float,
    *,
    off_stops: float = 0.0,
    shift_px: tuple[float, float] = (0.0, 0.0),
    turn_deg: float = 0.0,
    noise: float = 1.0,
    seed: int = 1,
) -> tuple[np.ndarray, np.ndarray, Shot, Shot]:
    """(plain, filtered) linear at neutral balance with full scale 1, and their exposures.

    off_stops: how much too bright the filtered frame is against a right one. noise 1 = a full well of 50 ke.
    """
    rng = np.random.default_rng(seed)
    plain_shot = Shot(f_number=8.0, iso=100.0, shutter_s=1 / 250)
    shutter_s = (1 / 250) * 2.0 ** (factor_stops + off_stops) / 4.0
    filtered_shot = Shot(f_number=8.0, iso=400.0, shutter_s=shutter_s)
    light_in = plain_shot.shutter_s * plain_shot.iso  # type: ignore[operator]
    light_through = filtered_shot.shutter_s * filtered_shot.iso * 2.0**-factor_stops  # type: ignore[operator]
    sensor = drawn.infrared * light_through / light_in
    tall, wide = sensor.shape
    matrix = cv2.getRotationMatrix2D((wide / 2, tall / 2), turn_deg, 1.0)
    matrix[:, 2] += shift_px
    sensor = cv2.warpAffine(sensor, matrix, (wide, tall), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    filtered = sensor[..., None] * DYES
    plain = drawn.plain / np.array(GAINS)

    def noisy(signal: np.ndarray, well: float) -> np.ndarray:
        if noise == 0:
            return signal
        electrons = rng.poisson(np.clip(signal, 0, 2) * well / noise) + rng.normal(0, 3, signal.shape)
        return electrons * noise / well

    return (
        noisy(plain, 50_000) * np.array(GAINS),
        noisy(filtered, 12_500) * np.array(GAINS),
        plain_shot,
        filtered_shot,
    )


def raw_pair(drawn: Drawn, factor_stops: float, **how: object) -> tuple[Frame, Frame]:
    plain, filtered, a, b = expose(drawn, factor_stops, **how)  # type: ignore[arg-type]

    def frame(linear: np.ndarray, shot: Shot, name: str) -> Frame:
        ceiling = np.array(GAINS)
        clipped = linear >= 0.985 * ceiling
        kept = np.clip(linear, 0, ceiling).astype(np.float32)
        return Frame(kept, shot, name, raw=True, gains=GAINS, clipped=clipped)

    return frame(plain, a, "plain.raw"), frame(filtered, b, "filtered.raw")


def curve_code(linear: np.ndarray, steepness: float) -> np.ndarray:
    """Coded value 0..1 of a linear one: sRGB (IEC 61966-2-1), then the S-curve of this steepness."""
    x = np.clip(linear, 0.0, 1.0)
    code = np.where(x <= 0.0031308, 12.92 * x, 1.055 * x ** (1 / 2.4) - 0.055)
    if steepness > 0:
        low, high = (1.0 / (1.0 + np.exp(-steepness * (end - CURVE_MIDDLE))) for end in (0.0, 1.0))
        code = (1.0 / (1.0 + np.exp(-steepness * (code - CURVE_MIDDLE))) - low) / (high - low)
    return np.asarray(code, np.float32)


def s_curve(steepness: float) -> Callable[[np.ndarray], np.ndarray]:
    """A finish within the calibration's own family."""
    return lambda linear: curve_code(linear.astype(np.float32), steepness)


def shoulder(linear: np.ndarray) -> np.ndarray:
    """A finish outside that family: film-like shoulder, then a plain power."""
    return ((1 - np.exp(-2.2 * linear)) / (1 - np.exp(-2.2))) ** (1 / 2.2)


SATURATING = np.array([[1.7, -0.6, -0.1], [-0.2, 1.5, -0.3], [0.0, -0.4, 1.4]])
"""A camera's colour conversion: rows sum to 1, behind the filter it crushes green and blue."""


def picture_pair(
    drawn: Drawn,
    factor_stops: float,
    finish: float | Callable[[np.ndarray], np.ndarray],
    quality: int = 92,
    gains: tuple[float, float, float] = GAINS,
    filtered_gains: tuple[float, float, float] | None = None,
    conversion: np.ndarray | None = None,
    **how: object,
) -> tuple[Photo, Photo]:
    """The same as finished JPEG pictures: white balance, colour conversion, tone curve, eight bits, compression."""
    curve = s_curve(finish) if isinstance(finish, float) else finish
    plain, filtered, a, b = expose(drawn, factor_stops, **how)  # type: ignore[arg-type]

    def photo(linear: np.ndarray, shot: Shot, name: str, balance: tuple[float, float, float]) -> Photo:
        balanced = linear / np.array(GAINS) * np.array(balance)
        if conversion is not None:
            balanced = balanced @ conversion.T
        code = np.round(255 * np.clip(curve(np.clip(balanced, 0, 1)), 0, 1)).astype(np.uint8)
        _, data = cv2.imencode(".jpg", code[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
        back = cv2.imdecode(data, cv2.IMREAD_COLOR)
        assert back is not None
        return Photo(pixels=back[..., ::-1].copy(), shot=shot, name=name)

    return photo(plain, a, "plain.jpg", gains), photo(filtered, b, "filtered.jpg", filtered_gains or gains)
