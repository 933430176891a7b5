"""The sky: Blender's clear sky as a panorama, marched cumulus or a closed layer, and all carried to infrared.

Infrared sky, per direction: the power law of wavelength that would give the same red to blue ratio in the picture's
primaries is carried on to 740, 800 and 880 nm. So the zenith goes dark while the horizon and the sun's surroundings
stay bright.
Cloud is neutral.
"""

import math

import bpy
import numba as nb
import numpy as np
from noise import _hash, field, fractal
from reflectance import INFRARED_CENTRE_NM
from stage import Graph, read_passes

PANORAMA = 1024
EXTINCTION_PER_M = 0.022


@nb.njit(cache=True)
def _density(x, y, z, base, top, cover, seed, octaves):
    up = (z - base) / (top - base)
    if up < 0.0 or up > 1.0:
        return 0.0
    broad = fractal(x / 2600.0, y / 2600.0, 0.5, 2, seed + 50)
    limit = cover - 0.55 * up * up - (0.25 if up < 0.04 else 0.0) + 0.55 * broad
    d = fractal(x / 750.0, y / 750.0, z / 620.0, octaves, seed) * 1.15 + limit
    return d * 1.6 if d > 0 else 0.0


@nb.njit(cache=True)
def _march(direction, sun, cover, seed, base, top, shift_x, shift_y, steps):
    n = direction.shape[0]
    out = np.zeros((n, 4))
    for i in range(n):
        dx, dy, dz = direction[i, 0], direction[i, 1], direction[i, 2]
        passed, lit, ambient, reach = 1.0, 0.0, 0.0, 0.0
        if dz > 0.012:
            near, far = base / dz, top / dz
            if far - near > 9000.0:
                far = near + 9000.0
            step = (far - near) / steps
            jitter = (_hash(i, 7, 3, seed) & 1023) / 1024.0
            mu = dx * sun[0] + dy * sun[1] + dz * sun[2]
            phase = 0.7 * (1 - 0.36) / (1 + 0.36 - 1.2 * mu) ** 1.5 + 0.3 * (1 - 0.09) / (1 + 0.09 + 0.6 * mu) ** 1.5
            for k in range(steps):
                t = near + (k + jitter) * step
                x, y, z = dx * t + shift_x, dy * t + shift_y, dz * t
                d = _density(x, y, z, base, top, cover, seed, 7)
                if d > 0:
                    depth, along, stride = 0.0, 0.0, 40.0
                    for _ in range(5):
                        along += stride
                        depth += (
                            _density(
                                x + sun[0] * along, y + sun[1] * along, z + sun[2] * along, base, top, cover, seed, 4
                            )
                            * stride
                            * 0.022
                        )
                        stride *= 1.7
                    # three orders of scattering, each reaching deeper
                    light = (
                        0.55 * math.exp(-depth) * phase
                        + 0.45 * math.exp(-0.22 * depth) * (0.5 * phase + 0.5)
                        + 0.16 * math.exp(-0.05 * depth)
                    )
                    up = (z - base) / (top - base)
                    stopped = 1 - math.exp(-d * 0.022 * step)
                    lit += passed * stopped * light
                    ambient += passed * stopped * (0.45 + 0.55 * up)
                    reach += passed * stopped * t
                    passed *= 1 - stopped
                    if passed < 0.01:
                        break
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = passed, lit, ambient, reach / max(1e-6, 1 - passed)
    return out


def _lobe(nm, centre, left, right):
    return np.exp(-0.5 * ((nm - centre) / np.where(nm < centre, left, right)) ** 2)


def power_law_table():
    """(red / blue, each infrared band / luminance) of skies L ~ wavelength^-n in Rec. 709, a flat spectrum being white.

    Colour matching: multi-lobe fit of CIE 1931 by Wyman, Sloan and Shirley 2013 (coefficients from memory).
    """
    nm = np.arange(380.0, 781.0, 2.0)
    x = (
        1.056 * _lobe(nm, 599.8, 37.9, 31.0)
        + 0.362 * _lobe(nm, 442.0, 16.0, 26.7)
        - 0.065 * _lobe(nm, 501.1, 20.4, 26.2)
    )
    y = 0.821 * _lobe(nm, 568.8, 46.9, 40.5) + 0.286 * _lobe(nm, 530.9, 16.3, 31.1)
    z = 1.217 * _lobe(nm, 437.0, 11.8, 36.0) + 0.681 * _lobe(nm, 459.0, 26.0, 13.8)
    to_rgb = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
    white = to_rgb @ np.array([v.sum() for v in (x, y, z)])
    ratio, bands = [], []
    for n in np.linspace(-1, 6, 71):
        law = (nm / 550.0) ** -n
        rgb = to_rgb @ np.array([(v * law).sum() for v in (x, y, z)]) / white
        luminance = rgb @ np.array([0.2126, 0.7152, 0.0722])
        ratio.append(rgb[0] / rgb[2])
        bands.append([(centre / 550.0) ** -n / luminance for centre in INFRARED_CENTRE_NM])
    return np.array(ratio), np.array(bands)


def infrared_sky(clear):
    """Radiance in the infrared bands of a clear sky given in Rec. 709 (..., 3)."""
    ratio, bands = power_law_table()
    seen = clear[..., 0].clip(1e-5) / clear[..., 2].clip(1e-5)
    order = np.argsort(ratio)
    luminance = clear @ np.array([0.2126, 0.7152, 0.0722])
    return np.stack([luminance * np.interp(seen, ratio[order], bands[order, k]) for k in range(3)], -1)


def clear_panorama(stage, sun_height_deg, aerosol, scratch):
    """Blender's multiple-scattering sky (PANORAMA/2, PANORAMA, 3), sun at +y; call while the stage is still empty."""
    world = bpy.data.worlds.new("sky")
    world.use_nodes = True
    g = Graph(world.node_tree)
    sky = g.node("ShaderNodeTexSky")
    sky.sky_type, sky.sun_disc = "MULTIPLE_SCATTERING", False
    sky.sun_elevation, sky.sun_rotation = math.radians(sun_height_deg), 0.0
    sky.air_density, sky.aerosol_density, sky.ozone_density = 1.0, aerosol, 1.0
    background = g.node("ShaderNodeBackground", {"Color": sky.outputs[0]})
    g.node("ShaderNodeOutputWorld", {"Surface": background.outputs[0]})
    stage.scene.world = world
    data = bpy.data.cameras.new("panorama")
    data.type = "PANO"
    (data if hasattr(data, "panorama_type") else data.cycles).panorama_type = "EQUIRECTANGULAR"
    eye = bpy.data.objects.new("panorama", data)
    eye.rotation_euler = (math.pi / 2, 0, -math.pi / 2)
    stage.scene.collection.objects.link(eye)
    stage.scene.camera = eye
    stage.renderer(PANORAMA, PANORAMA // 2, 1, denoise=False)
    stage.scene.render.film_transparent = False
    stage.scene.render.filepath = str(scratch / "sky.exr")
    bpy.ops.render.render(write_still=True)
    bpy.data.objects.remove(eye)
    return read_passes(scratch / "sky.exr")["picture"][..., :3].astype(np.float64)


def panorama_directions(width=PANORAMA):
    """Unit vectors (width / 2, width, 3) of an equirectangular picture of the whole sky and ground."""
    u, v = (np.arange(width) + 0.5) / width, (np.arange(width // 2) + 0.5) / (width // 2)
    round_, up = -(u - 0.5) * 2 * np.pi, (0.5 - v) * np.pi
    flat = np.cos(up)[:, None]
    return np.stack([flat * np.cos(round_), flat * np.sin(round_), np.sin(up)[:, None] + 0 * round_], -1)


def look_up(panorama, direction):
    """Bilinear values of a panorama in directions (..., 3)."""
    height, width = panorama.shape[:2]
    u = (-np.arctan2(direction[..., 1], direction[..., 0]) / (2 * np.pi) + 0.5) * width - 0.5
    v = np.clip((0.5 - np.arcsin(np.clip(direction[..., 2], -1, 1)) / np.pi) * height - 0.5, 0, height - 1.001)
    i, j = np.floor(v).astype(int), np.floor(u).astype(int)
    fv, fu = (v - i)[..., None], (u - j)[..., None]

    def pick(a, b):
        return panorama[np.clip(a, 0, height - 1), b % width]

    return (pick(i, j) * (1 - fu) + pick(i, j + 1) * fu) * (1 - fv) + (
        pick(i + 1, j) * (1 - fu) + pick(i + 1, j + 1) * fu
    ) * fv


class Heaven:
    """Sky and sun of one scene in both bands, white-balanced so that a grey plane in that light is 1 in every band.

    cover: -0.47 few small clouds .. -0.2 half the sky; None = cloudless. overcast = a closed layer, no sun.
    Scene frame: x right, y ahead, z up; `sun` is the unit vector to the sun in it.
    """

    def __init__(
        self, stage, scratch, sun, sun_height_deg, cover, seed, aerosol=0.7, base_m=1500.0, top_m=2900.0, overcast=False
    ):
        self.sun, self.cover, self.seed = np.asarray(sun, float), cover, seed
        self.base_m, self.top_m, self.overcast = base_m, top_m, overcast
        height = math.radians(sun_height_deg)
        clear = clear_panorama(stage, sun_height_deg, aerosol, scratch)
        turn = round(math.atan2(sun[0], sun[1]) / (2 * math.pi) * PANORAMA)
        clear = np.roll(clear, turn, 1)
        look = panorama_directions()
        self.below = look[..., 2] < 0
        mean = clear[: PANORAMA // 4].mean()
        clear[self.below] = np.array([0.09, 0.10, 0.07]) * mean * 0.6
        solid = np.cos((0.5 - (np.arange(PANORAMA // 2) + 0.5) / (PANORAMA // 2)) * np.pi)[:, None]
        solid = solid * (np.pi / (PANORAMA // 2)) * (2 * np.pi / PANORAMA)
        flux = (look[..., 2].clip(0) * solid)[..., None]
        infra = infrared_sky(clear)
        infra[self.below] = np.array([0.20, 0.26, 0.28]) * mean * 0.6
        sky_e, infra_e = (clear * flux).sum((0, 1)), (infra * flux).sum((0, 1))
        # the sun over the sky on the ground: 5.6 / 5.0 / 4.3 at 40 degrees (SPECTRL2-like), falling with the sine
        sun_e = sky_e.mean() * np.array([5.6, 5.0, 4.3]) * math.sin(height) / math.sin(math.radians(40))
        infra_sun_e = sun_e[0] * np.array([0.97, 0.90, 0.82])
        grey = math.pi / (sky_e + sun_e).mean()
        balance = (sky_e + sun_e).mean() / (sky_e + sun_e)
        infra_balance = (sky_e + sun_e).mean() / (infra_e + infra_sun_e)
        self.clear = (clear * balance * grey, infra * infra_balance * grey)
        self.sun_e = (sun_e * balance * grey, infra_sun_e * infra_balance * grey)
        self.sky_e = (sky_e * balance * grey, infra_e * infra_balance * grey)
        self.sin_height = math.sin(height)
        if overcast:
            self._close(flux)
        self.diffuse_share = tuple((s / (s + d)).round(3).tolist() for s, d in zip(self.sky_e, self.sun_e, strict=True))

    def _close(self, flux):
        """Overcast: CIE standard overcast gradation (1 + 2 sin h) / 3 under a mottled layer, equal in both bands."""
        look = panorama_directions()
        up = look[..., 2].clip(0.02)
        mottle = field(look[..., 0] / (up + 0.08), look[..., 1] / (up + 0.08), 1.3, 6, self.seed)
        fine = field(look[..., 0] / (up + 0.08), look[..., 1] / (up + 0.08), 0.33, 5, self.seed + 7)
        lum = (1 + 2 * look[..., 2].clip(0)) / 3 * np.exp(0.34 * mottle + 0.12 * fine)
        lum = lum / (lum[..., None] * flux).sum() * math.pi
        tint = np.stack([lum * (1 - 0.03 * mottle), lum, lum * (1.0 + 0.035 * mottle)], -1)
        infra = np.stack([lum] * 3, -1)
        for plane, floor in ((tint, (0.10, 0.11, 0.08)), (infra, (0.26, 0.32, 0.33))):
            plane[self.below] = np.array(floor) * 0.8
        self.clear = (tint, infra)
        self.sun_e = (np.full(3, 1e-6), np.full(3, 1e-6))
        self.sky_e = (np.ones(3) * math.pi, np.ones(3) * math.pi)

    def march(self, direction, shift=(0.0, 0.0), steps=72):
        """What the cloud does in each direction (..., 4): light passed, sun and sky it sends on, its distance [m]."""
        shape = direction.shape[:-1]
        if self.cover is None or self.overcast:
            out = np.zeros((*shape, 4))
            out[..., 0] = 1.0
            return out
        flat = np.ascontiguousarray(direction.reshape(-1, 3))
        return _march(
            flat, self.sun, self.cover, self.seed, self.base_m, self.top_m, shift[0], shift[1], steps
        ).reshape(*shape, 4)

    def paint(self, direction, band, marched):
        """Radiance of sky and cloud in directions; band 0 visible, 1 infrared."""
        clear = look_up(self.clear[band], direction)
        passed, lit, ambient, reach = (marched[..., k : k + 1] for k in range(4))
        clear_air = np.exp(-reach / (30000.0, 55000.0)[band])
        cloud = lit * self.sun_e[band] / self.sin_height * 0.36 + ambient * self.sky_e[band] * 0.34
        return clear * passed + cloud * clear_air + clear * (1 - passed) * (1 - clear_air)

    def worlds(self, stage):
        """The two worlds that light the scene and are mirrored in water."""
        look = panorama_directions()
        small = self.march(panorama_directions(PANORAMA // 2), steps=36)
        marched = look_up(small, look)
        out = []
        for band, name in ((0, "visible"), (1, "infrared")):
            painted = np.where(self.below[..., None], self.clear[band], self.paint(look, band, marched))
            out.append(stage.world_of(painted.astype(np.float32), name))
        return out

    def sun_lamp(self, band):
        """Colour and strength (W/m2 normal to the beam) of the sun lamp."""
        strength = self.sun_e[band] / self.sin_height
        return strength / strength.max(), float(strength.max())


class KeptSky(Heaven):
    """The sky of an earlier render, read back."""

    def __init__(self, kept, scene):
        self.clear = (kept["visible_clear"].astype(float), kept["infrared_clear"].astype(float))
        self.sun_e = (kept["visible_sun_e"], kept["infrared_sun_e"])
        self.sky_e = (kept["visible_sky_e"], kept["infrared_sky_e"])
        self.sun = kept["sun"].astype(float)
        self.sin_height = float(self.sun[2])
        self.cover, self.seed, self.overcast = scene.cover, scene.cloud_seed, scene.overcast
        self.base_m, self.top_m = 1500.0, 2900.0
