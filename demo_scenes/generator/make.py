"""Make a demo scene: `python make.py SCENE --size 1600` renders, develops and writes the scene's folder.

Steps can be repeated singly (`--only develop,clip`) because the render's passes are kept in the work folder.
"""

import argparse
import json
import sys
from pathlib import Path

import bpy  # noqa: F401  (first: its own modules can be found only afterwards)
import camera
import clip
import exif
import land_scenes  # noqa: F401  (each adds its scenes)
import numpy as np
import sun
import truth
import water_scenes  # noqa: F401
from clouds import Heaven
from PIL import Image, ImageCms
from scenes import SCENES
from stage import Stage, read_passes, say

HERE = Path(__file__).resolve().parent


def arguments():
    """What was asked for on the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("scene", help="name of a scene, or 'list'")
    parser.add_argument("--size", type=int, default=1280, help="long side of the photo in pixels")
    parser.add_argument("--samples", type=int, default=20, help="camera samples per pixel")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument(
        "--only",
        default="render,develop,clip",
        help="comma list of look (a quick preview), render, infrared (render that again), develop, clip",
    )
    parser.add_argument("--out", type=Path, default=HERE.parent)
    parser.add_argument("--work", type=Path, default=HERE / "work")
    return parser.parse_args()


def picture_size(scene, size):
    """(width, height) [px] of a 4:3 picture with that long side, upright where the scene is."""
    small = size * 3 // 4 // 4 * 4
    return (small, size) if scene.portrait else (size, small)


def render(scene, size, samples, threads, work, wanted=(0, 1)):
    """Visible light at full size, infrared at half size (same geometry); passes go to the work folder."""
    sun_height, _ = sun.position(scene.place, scene.when)
    toward = sun.vector(sun_height, scene.sun_from_view_deg)
    stage = Stage()
    heaven = Heaven(
        stage, work, toward, sun_height, scene.cover, scene.cloud_seed, scene.aerosol, overcast=scene.overcast
    )
    say("sky, diffuse share visible and infrared", heaven.diffuse_share)
    terrain, _ = scene.build(stage, np.random.default_rng(11))
    say("built, things:", len(stage.scene.objects))
    stage.camera((0, 0, terrain.at(0, 0) + scene.eye_m), scene.pitch_deg, scene.focal_35mm)
    worlds = heaven.worlds(stage)
    lamp = stage.sun(toward, (1, 1, 1), 0.0)
    kept = {}
    for band, name in ((0, "visible"), (1, "infrared")):
        path = work / f"{scene.name}-{name}.exr"
        if band in wanted:
            w, h = (side // (1 + band) for side in picture_size(scene, size))
            stage.set_band(band)
            stage.scene.world = worlds[band]
            stage.set_sun(lamp, *heaven.sun_lamp(band))
            stage.renderer(w, h, samples + 2 * band, threads=threads, bounces=3 if band == 0 else 5)
            passes = stage.render(path)
        elif path.exists():  # of an earlier run
            passes = read_passes(path)
            h, w = passes["depth"].shape
            size = max(h, w) * (1 + band)
        else:
            continue
        look = camera.directions(w, h, scene.pitch_deg, scene.focal_35mm)
        marched = heaven.march(look)
        kept.update(
            {
                f"{name}_{key}": value.astype(np.float16 if key != "depth" else np.float32)
                for key, value in passes.items()
            }
        )
        kept[f"{name}_marched"] = marched.astype(np.float32)
    for band, name in ((0, "visible"), (1, "infrared")):
        kept[f"{name}_clear"] = heaven.clear[band].astype(np.float32)
        kept[f"{name}_sun_e"], kept[f"{name}_sky_e"] = heaven.sun_e[band], heaven.sky_e[band]
    kept["sun"], kept["diffuse_share"] = np.array(toward), np.array(heaven.diffuse_share)
    np.savez(work / f"{scene.name}.npz", **kept)
    say("kept", work / f"{scene.name}.npz")


def look(scene, size, samples, threads, work):
    """A quick picture in visible light, to judge a composition by."""
    work.mkdir(parents=True, exist_ok=True)
    render(scene, size, samples, threads, work, wanted=(0,))
    kept = np.load(work / f"{scene.name}.npz")
    height, width = kept["visible_depth"].shape
    visible, _, _ = camera.radiance(kept, scene, 0, (width, height))
    picture = camera.develop(
        visible, camera.metered_gain(visible), scene.cloud_seed, 1.0, scene.saturation, scene.warmth
    )
    Image.fromarray(picture).save(work / f"{scene.name}.png")


def develop(scene, work, out):
    """Write photo, infrared, classes, depth and truth."""
    kept = np.load(work / f"{scene.name}.npz")
    height, width = kept["visible_depth"].shape
    visible, passes, marched = camera.radiance(kept, scene, 0, (width, height))
    infrared, passes_ir, marched_ir = camera.radiance(kept, scene, 1, (width // 2, height // 2))
    sun_height, sun_bearing = sun.position(scene.place, scene.when)
    heading = round((sun_bearing - scene.sun_from_view_deg) % 360, 1)
    gain = camera.metered_gain(visible)
    picture = camera.develop(visible, gain, scene.cloud_seed, 1.0, scene.saturation, scene.warmth)
    share = truth.coverage(passes, marched)
    share_ir = truth.coverage(passes_ir, marched_ir)
    if scene.overcast:
        share, share_ir = truth.overcast_coverage(share), truth.overcast_coverage(share_ir)
    labels, labels_ir = truth.class_map(share), truth.class_map(share_ir)
    folder = out / scene.name
    folder.mkdir(parents=True, exist_ok=True)
    iso, f_number, shutter_s, ev100 = camera.phone_exposure(gain, sun_height, scene.overcast)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(picture).save(
        folder / "photo.jpg",
        quality=91,
        subsampling=2,
        icc_profile=profile,
        exif=exif.tags(scene, heading, iso, f_number, shutter_s, ev100),
    )
    tone = truth.band_tone(infrared, "unmodified-720")
    Image.fromarray(truth.code_tones(tone)).save(folder / "infrared.png", optimize=True)
    Image.fromarray(labels).save(folder / "classes.png", optimize=True)
    step = 4
    alpha = passes["picture"][..., 3]
    depth = passes["depth"][step // 2 :: step, step // 2 :: step]
    Image.fromarray(truth.code_depth(depth, alpha[step // 2 :: step, step // 2 :: step])).save(
        folder / "depth.png", optimize=True
    )
    visible_half = truth.halved(visible)
    layers, gaps = truth.layers_and_gaps(labels_ir, passes_ir["depth"], infrared, visible_half)
    facts = {
        "schema": "irpreview-demo-scene/1",
        "name": scene.name,
        "title": scene.title,
        "words": scene.words,
        "invented": "the place, the buildings and the time are invented; the position is open sea",
        "photo": {
            "width": width,
            "height": height,
            "taken_at": scene.when.isoformat(),
            "latitude_deg": scene.place[0],
            "longitude_deg": scene.place[1],
            "heading_deg": heading,
            "focal_35mm_mm": round(scene.focal_35mm),
            "pitch_deg": scene.pitch_deg,
            "iso": iso,
            "f_number": f_number,
            "shutter_s": 1 / round(1 / shutter_s),
            "ev100": round(ev100, 2),
        },
        "sun": {
            "height_deg": round(sun_height, 2),
            "bearing_deg": round(sun_bearing, 2),
            "from_view_deg": scene.sun_from_view_deg,
            "side": sun.side(scene.sun_from_view_deg),
            "diffuse_share_visible_rgb": kept["diffuse_share"][0].tolist(),
            "diffuse_share_infrared": kept["diffuse_share"][1].tolist(),
        },
        "sky_state": "overcast" if scene.overcast else "clear" if scene.cover is None else "broken",
        "haze_length_m": round(6000 / scene.haze),
        "infrared_png": {
            "kit": "unmodified-720",
            "code": "tone = full_scale * (value / 255)**2",
            "full_scale": truth.FULL_SCALE,
            "tone": "linear, 1 = matt white horizontal surface in this light; zone = 5 + log2(tone / 0.18)",
        },
        "depth_png": {
            "code": "metres = exp(value / 65535 * ln(1 + farthest_m)) - 1; 0 = sky",
            "farthest_m": truth.FARTHEST_M,
        },
        "classes_png": {
            "code": "class ids 1-9; 0 = no class covers 0.9 of the pixel",
            "unsure_share": round(float((labels == 0).mean()), 4),
        },
        "classes": truth.tones_per_class(labels_ir, infrared, visible_half),
        "layers": layers,
        "gaps": gaps,
        "gap_rule": f"holds from {truth.HOLDS_ZONES} zone of medians, merges up to {truth.MERGES_ZONES}, else open",
        "intended": scene.intended,
    }
    kept_clip = folder / "truth.json"
    if kept_clip.exists():
        facts["clip"] = json.loads(kept_clip.read_text()).get("clip")
    kept_clip.write_text(json.dumps(facts, indent=1) + "\n")
    for name, row in facts["classes"].items():
        print(
            f"{name:10s} {row['share']:.3f}  factor {row['factor_stops']:+.2f}  zones {row['zones']['unmodified-720']}"
        )
    for gap in gaps:
        print(gap["between"], gap["zones"], gap["says"])


def main():
    """Make one scene, or those of its steps that were asked for; the exit status."""
    given = arguments()
    if given.scene == "list":
        print("\n".join(f"{s.name}: {s.words}" for s in SCENES.values()))
        return 0
    if given.scene not in SCENES:
        print(f"no scene named {given.scene}; there are: {', '.join(SCENES)}", file=sys.stderr)
        return 2
    scene = SCENES[given.scene]
    given.work.mkdir(parents=True, exist_ok=True)
    steps = given.only.split(",")
    if "look" in steps:
        look(scene, given.size, given.samples, given.threads, given.work / "look")
    if "render" in steps:
        render(scene, given.size, given.samples, given.threads, given.work)
    if "infrared" in steps:
        render(scene, given.size, given.samples, given.threads, given.work, wanted=(1,))
    if "develop" in steps:
        develop(scene, given.work, given.out)
    if "clip" in steps and scene.clip:
        clip.make(scene, given.work, given.out)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
