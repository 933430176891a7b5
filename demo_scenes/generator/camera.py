"""From radiance to a phone's JPEG: where each pixel looks, haze, exposure, tone curve, noise, sharpening."""

import math

import numpy as np
from clouds import KeptSky, look_up
from scipy.ndimage import gaussian_filter
from stage import LONG_SIDE_MM

LUMA = np.array([0.2126, 0.7152, 0.0722])
F_NUMBER, REAL_FOCAL_MM = 1.8, 5.7
HAZE_POWER = (np.array([0.8, 1.0, 1.38]), np.array([0.64, 0.56, 0.50]))


def directions(width, height, pitch_deg, focal_35mm):
    """Unit view vectors (H, W, 3): x right, y ahead, z up."""
    per_pixel = LONG_SIDE_MM / max(width, height) / focal_35mm
    across = (np.arange(width) + 0.5 - width / 2) * per_pixel
    up = -(np.arange(height) + 0.5 - height / 2) * per_pixel
    x, z = np.meshgrid(across, up)
    c, s = math.cos(math.radians(pitch_deg)), math.sin(math.radians(pitch_deg))
    look = np.stack([x, c - z * s, s + z * c], -1)
    return look / np.linalg.norm(look, axis=-1, keepdims=True)


def through_air(passes, heaven, look, band, haze, sky):
    """Radiance with haze in front of the land and the sky behind it (H, W, 3); tone 1 = white surface in this light."""
    picture = passes["picture"]
    alpha = picture[..., 3:4]
    clear = np.clip(passes["clearness"] / np.maximum(alpha[..., 0], 1e-3), 1e-6, 1)[..., None] ** (
        HAZE_POWER[band] * haze
    )
    level = look.copy()
    level[..., 2] = 0.035
    level /= np.linalg.norm(level, axis=-1, keepdims=True)
    air = look_up(heaven.clear[band], level)
    if band == 0:
        air = 0.62 * air + 0.38 * air.mean(-1, keepdims=True) * np.array([0.78, 0.98, 1.24])
    return picture[..., :3] * clear + air * (1 - clear) * alpha * 0.8 + sky * (1 - alpha)


def radiance(kept, scene, band, size_xy):
    """(radiance (H, W, 3), passes, marched) of one band, from what a render kept."""
    name = ("visible", "infrared")[band]
    passes = {
        key: kept[f"{name}_{key}"].astype(np.float32)
        for key in ("picture", "coverage_a", "coverage_b", "clearness", "depth")
    }
    width, height = size_xy
    look = directions(width, height, scene.pitch_deg, scene.focal_35mm)
    sky = KeptSky(kept, scene)
    marched = kept[f"{name}_marched"]
    soft = max(size_xy) / 1600 * 1.2
    marched = gaussian_filter(marched, (soft, soft, 0))
    behind = sky.paint(look, band, marched)
    return through_air(passes, sky, look, band, scene.haze, behind), passes, marched


def metered_gain(radiance):
    """Gain that a phone would choose: log mean at mid grey, highlights kept below clipping."""
    luminance = radiance @ LUMA
    gain = 0.171 / np.exp(np.log(luminance + 1e-3).mean())
    bright = np.percentile(luminance, 97)
    return float(np.clip(gain, 0.55 / bright, 1.15 / bright))


def srgb_code(x):
    """Display values 0..1 of linear ones, by the sRGB curve (IEC 61966-2-1)."""
    return np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-8) ** (1 / 2.4) - 0.055)


def develop(radiance, gain, seed=0, noise=1.0, saturation=1.0, warmth=1.0):
    """uint8 sRGB like a phone's: glare, shaded corners, dodged shadows, filmic curve, blotchy noise, sharpening."""
    light = np.nan_to_num(np.maximum(radiance.astype(np.float64), 0)) * gain
    light = light * np.array([1.015 * warmth, 1.0, 0.985 / warmth])
    height, width = light.shape[:2]
    size = max(width, height)
    glare = gaussian_filter(np.minimum(light, 2.0), (size / 60, size / 60, 0))
    light = 0.975 * light + 0.025 * glare
    row, column = np.mgrid[0:height, 0:width]
    off_axis = ((column - width / 2) ** 2 + (row - height / 2) ** 2) / (width**2 / 4 + height**2 / 4)
    light = light * (1 - 0.15 * off_axis)[..., None]
    wide = gaussian_filter(np.log(light @ LUMA + 2e-3), size / 25)
    light = light * np.clip(np.exp(-0.2 * (wide - math.log(0.2))), 0.6, 2.0)[..., None]

    def curve(x):
        x = x * 1.05
        return (x * (2.51 * x + 0.03)) / (x * (2.43 * x + 0.59) + 0.14)

    luminance = (light @ LUMA)[..., None]
    out = 0.45 * curve(luminance) * light / np.maximum(luminance, 1e-5) + 0.55 * curve(light)
    grey = (out @ LUMA)[..., None]
    out = srgb_code(np.clip(grey + (out - grey) * saturation, 0, 1) ** 0.92)
    rng = np.random.default_rng(seed)
    grain = rng.normal(size=out.shape)
    grain = 0.6 * gaussian_filter(grain, (0.7, 0.7, 0)) + 0.25 * grain
    out = out + grain * (0.012 * noise) * (1.1 - 0.6 * out)
    bright = out.mean(-1, keepdims=True)
    out = out + 0.5 * np.clip(bright - gaussian_filter(bright, (1.2, 1.2, 0)), -0.06, 0.06)
    return (np.clip(out, 0, 1) * 255 + 0.5).astype(np.uint8)


def illuminance_lux(sun_height_deg, overcast):
    """Horizontal illuminance: IES clear sky or overcast, from memory of the IES Lighting Handbook."""
    s = math.sin(math.radians(sun_height_deg))
    if overcast:
        return 1000 * (0.3 + 21 * s)
    return 1000 * (127.5 * math.exp(-0.21 / s) * s + 0.8 + 15.5 * math.sqrt(s))


def phone_exposure(gain, sun_height_deg, overcast):
    """(iso, f-number, shutter s, EV at ISO 100): mid grey 0.18 / gain of the white, meter constant 12.5."""
    luminance = 0.18 / gain * illuminance_lux(sun_height_deg, overcast) / math.pi
    ev100 = math.log2(luminance * 100 / 12.5)
    iso = 50
    return iso, F_NUMBER, F_NUMBER**2 / 2**ev100 * 100 / iso, ev100
