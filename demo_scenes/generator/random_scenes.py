"""Random landscapes of many kinds, with exact classes, for teaching the scene network: never the nine demo scenes.

    python random_scenes.py FIRST COUNT FOLDER [--threads 1]      writes FOLDER/NUMBER.jpg and NUMBER.png (class ids)

Only visible light is rendered (320 x 240, classes counted over the camera samples). Seed, and with it everything else,
is the picture's number: kind of place, ground, plants, materials, light, haze, camera. One picture takes about 12 s of
one core. `models/data.py rendered FOLDER FILE` packs them for the training.
"""

import argparse
import time
from pathlib import Path

import bpy  # noqa: F401  (first: its own modules can be found only afterwards)
import camera
import clouds
import materials
import numpy as np
import random_matter as matter
import random_places as inland
import random_shores as shores
import sun
import truth
import water
from PIL import Image
from scenes import _boulders
from scipy.ndimage import gaussian_filter
from stage import Stage
from terrain import Terrain

SIZE = (320, 240)
SAMPLES = 7
ROWS, COLUMNS = 560, 380


def kinds():
    """One after the other by the picture's number; what the network mixes up most comes twice."""
    return (
        shores.coast_from_above,
        shores.cliff_from_the_beach,
        shores.boulders_in_surf,
        inland.snow_and_glacier,
        inland.desert,
        inland.terraces,
        shores.marsh,
        inland.far_ranges,
        inland.lake_in_the_woods,
        inland.fields_and_hedges,
        inland.village_on_a_hill,
        inland.tower_or_bridge,
        shores.marsh,
        shores.cliff_from_the_beach,
        inland.snow_on_tops,
        shores.coast_from_above,
    )


def render(number, folder, threads=1):
    """One picture: FOLDER/NUMBER.jpg and NUMBER.png."""
    rng = np.random.default_rng(770000 + number)
    place = kinds()[number % len(kinds())](rng)
    stage = Stage()
    overcast = rng.random() < 0.22
    sun_height = float(rng.choice([8, 14, 22, 32, 44, 56]))
    toward = sun.vector(sun_height, rng.uniform(-180, 180))
    cover = None if rng.random() < 0.25 else rng.uniform(-0.47, -0.15)
    seed = int(rng.integers(1, 999))
    clouds.clear_panorama = _kept_panorama(folder)
    heaven = clouds.Heaven(
        stage, folder, toward, sun_height, cover, seed, float(rng.choice([0.3, 0.7, 1.6])), overcast=overcast
    )
    terrain = Terrain(place.height, ROWS, COLUMNS)
    terrain.cover(*place.cover(terrain))
    meadow = matter.drawn(
        rng,
        "meadow",
        {"snow": matter.SNOW} if place.snow else matter.MEADOWS,
        ("snow",) if place.snow else place.meadow,
    )
    palette = {
        "meadow": meadow,
        "rock": matter.drawn(rng, "rock", matter.ROCKS, place.rock),
        "soil": matter.drawn(rng, "soil", matter.SOILS, place.soil),
        "wood": matter.drawn(rng, "wood", matter.WOODS, place.wood),
    }
    ground = materials.ground(stage, palette, beds=place.beds, wet_m=place.wet_m, snow=place.snow)
    terrain.build(stage, ground)
    things = matter.Things(stage, rng, palette["rock"])
    n = matter.nursery(stage, terrain, rng, rng.random() < 0.2)
    if place.water_level_m is not None:
        matter.drawn(rng, "body", matter.WATERS, place.water)
        body = water.surface(
            stage,
            "body light" if rng.random() < 0.5 else "body dark",
            rng.uniform(0.05, 1.2),
            rng.uniform(0.3, 1.5),
            place.foam,
        )
        water.plane(stage, body, -16000, 16000, place.water_from_m, 24000, place.water_level_m)
    if place.boulders:
        _boulders(stage, terrain, rng, materials.stone(stage, "boulder", palette["rock"], 7, 1.5, 0.05), place.boulders)
    if rng.random() < place.grass:
        low = 0.05 + (-1e9 if place.water_level_m is None else place.water_level_m)
        bare = terrain.weights

        def grown(x, y, z):
            row = np.clip(np.searchsorted(terrain.radius, np.hypot(x, y)), 0, ROWS - 1)
            column = np.clip(np.searchsorted(terrain.angle, np.arctan2(x, y + 0.5)), 0, COLUMNS - 1)
            return (z > low) & (bare[row, column, 0] > 0.6)

        dry = rng.random() < 0.3
        blades = n.tufts(n.straw if dry else None, 1.2, 700, (0.10, 0.18, 0.25), 0.007)
        n.scatter(blades, 1.0, 26, 0.85, grown)
        n.scatter(n.tufts(n.straw if dry else None, 2.6, 900, (0.17, 0.2), 0.016, 2), 25, 70, 2.2, grown)
    if place.furnish:
        place.furnish(stage, terrain, n, rng, things)
    if rng.random() < 0.7 and not place.snow:
        n.far_wood(("middle", "far conifer"), terrain.weights[..., 3], 700, 60, 900, rng.uniform(-0.3, 0.3))
    focal, pitch = rng.uniform(*place.focal_35mm), rng.uniform(*place.pitch_deg)
    stage.camera((0, 0, terrain.at(0, 0) + rng.uniform(*place.eye_m)), pitch, focal)
    world = np.where(
        heaven.below[..., None],
        heaven.clear[0],
        heaven.paint(clouds.panorama_directions(), 0, _marched(heaven)),
    )
    stage.scene.world = stage.world_of(world.astype(np.float32), "visible")
    lamp = stage.sun(toward, (1, 1, 1), 0.0)
    stage.set_band(0)
    stage.set_sun(lamp, *heaven.sun_lamp(0))
    stage.renderer(*SIZE, SAMPLES, threads=threads, bounces=2, seed=number)
    passes = stage.render(folder / "work.exr")
    look = camera.directions(*SIZE, pitch, focal)
    marched = gaussian_filter(heaven.march(look, steps=48), (0.5, 0.5, 0))
    radiance = camera.through_air(passes, heaven, look, 0, rng.uniform(*place.haze), heaven.paint(look, 0, marched))
    gain = camera.metered_gain(radiance) * 2 ** rng.normal(0, 0.25)
    picture = camera.develop(
        radiance, gain, number, rng.uniform(0.3, 1.2), rng.uniform(0.75, 1.1), rng.uniform(0.97, 1.03)
    )
    share = truth.coverage(passes, marched)
    if overcast:
        share = truth.overcast_coverage(share)
    Image.fromarray(picture).save(folder / f"{number}.jpg", quality=90)
    Image.fromarray(truth.class_map(share)).save(folder / f"{number}.png", optimize=True)


def _marched(heaven):
    small = heaven.march(clouds.panorama_directions(clouds.PANORAMA // 4), steps=24)
    return clouds.look_up(small, clouds.panorama_directions())


def _kept_panorama(folder):
    """Clear skies by height of the sun and haze, rendered once."""
    make = getattr(clouds.clear_panorama, "made_by", clouds.clear_panorama)

    def kept(stage, sun_height_deg, aerosol, scratch):
        path = folder / f"sky-{sun_height_deg:.0f}-{aerosol:.1f}.npy"
        if not path.exists():
            np.save(path, make(stage, sun_height_deg, aerosol, scratch))
        return np.load(path).copy()

    kept.made_by = make  # type: ignore[attr-defined]  # the next folder starts from the sky that renders
    return kept


def main():
    """Make the pictures asked for; those that are there already are left alone."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("first", type=int)
    parser.add_argument("count", type=int)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--threads", type=int, default=1)
    given = parser.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    for number in range(given.first, given.first + given.count):
        if (given.folder / f"{number}.png").exists():
            continue
        started = time.time()
        try:
            render(number, given.folder, given.threads)
        except (ValueError, IndexError, ZeroDivisionError) as error:  # a place that cannot stand: the next number
            print(number, "left out:", error, flush=True)
            continue
        print(number, f"{time.time() - started:.1f} s", flush=True)


if __name__ == "__main__":
    main()
