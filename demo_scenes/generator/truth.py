"""What is true of a scene: classes, tones in zones, layers and their gaps, written beside the picture."""

import numpy as np
from reflectance import KIT_WEIGHTS
from scipy.ndimage import distance_transform_edt
from stage import COVERAGE_OF_CLASS, COVERAGE_PASSES

NAMES = ("clear_sky", "cloud", "water", "tree", "grass", "structure", "ground", "other", "snow")
SURE = 0.9
FULL_SCALE = 1.6
FARTHEST_M = 30000.0
HOLDS_ZONES, MERGES_ZONES = 1.0, 0.35
# Optical depth below which a cloud cannot be seen, and from which it is thick: 0.03 and 0.3 (Sassen and Cho 1992, for
# cirrus; from memory). As opacities: 1 - exp(-depth). Between them neither "clear" nor "cloud" is sure.
UNSEEN_OPACITY, THICK_OPACITY = 0.03, 0.26


def coverage(passes, marched):
    """Soft coverage (H, W, 9) averaged over the samples like the picture; sky split by what the cloud lets through."""
    alpha = np.clip(passes["picture"][..., 3], 0, 1)
    cloudy = np.interp(1 - marched[..., 0], (0.0, UNSEEN_OPACITY, THICK_OPACITY, 1.0), (0.0, 1 - SURE, SURE, 1.0))
    out = np.zeros((*alpha.shape, 9), np.float32)
    out[..., 0], out[..., 1] = (1 - alpha) * (1 - cloudy), (1 - alpha) * cloudy
    for class_id, (which, channel) in COVERAGE_OF_CLASS.items():
        out[..., class_id - 1] = passes[COVERAGE_PASSES[which]][..., channel]
    return out


def overcast_coverage(share):
    """All sky is cloud."""
    out = share.copy()
    out[..., 1] += out[..., 0]
    out[..., 0] = 0
    return out


def class_map(share):
    """Class ids, 0 where no class covers SURE of the pixel."""
    return np.where(share.max(-1) >= SURE, share.argmax(-1) + 1, 0).astype(np.uint8)


def band_tone(infrared, kit):
    """Linear tone (H, W) that a kit makes of the infrared bands (H, W, 3)."""
    return infrared @ np.array(KIT_WEIGHTS[kit])


def zone(tone):
    """Zone of a linear tone: 5 is 18 % grey, one for each stop."""
    return 5 + np.log2(np.maximum(tone, 2.0**-16) / 0.18)


def code_tones(tone):
    """8-bit code of a linear tone: 255 sqrt(tone / FULL_SCALE)."""
    return (255 * np.sqrt(np.clip(tone / FULL_SCALE, 0, 1)) + 0.5).astype(np.uint8)


def code_depth(depth_m, alpha):
    """16-bit code: 65535 ln(1 + d) / ln(1 + FARTHEST_M); 0 = sky."""
    code = 65535 * np.log1p(np.clip(depth_m, 0, FARTHEST_M)) / np.log1p(FARTHEST_M)
    return np.where(alpha > 0.5, np.maximum(code, 1), 0).astype(np.uint16)


def _spread(values):
    low, likely, high = np.percentile(values, (5, 50, 95))
    return {"low": round(float(low), 2), "likely": round(float(likely), 2), "high": round(float(high), 2)}


def tones_per_class(labels, infrared, visible):
    """Zones per class and kit, and the visible zone of the same pixels (all at infrared size)."""
    out = {}
    luminance = visible @ np.array([0.2126, 0.7152, 0.0722])
    for class_id, name in enumerate(NAMES, 1):
        where = labels == class_id
        if where.mean() < 0.003:
            continue
        out[name] = {
            "share": round(float(where.mean()), 4),
            "visible_zone": _spread(zone(luminance[where])),
            "factor_stops": round(
                float(np.median(zone(band_tone(infrared[where], "unmodified-720")) - zone(luminance[where]))), 2
            ),
            "zones": {kit: _spread(zone(band_tone(infrared[where], kit))) for kit in KIT_WEIGHTS},
        }
    return out


def layers_and_gaps(labels, depth_m, infrared, visible, least_share=0.012):
    """Layers = classes cut by distance (near < 45 m, middle < 400 m, far), neighbours by shared edge, gaps in zones."""
    luminance = zone(visible @ np.array([0.2126, 0.7152, 0.0722]))
    tone = zone(band_tone(infrared, "unmodified-720"))
    reach = np.where(depth_m < 45, 0, np.where(depth_m < 400, 1, 2))
    found, index = [], np.full(labels.shape, -1, np.int16)
    for class_id, name in enumerate(NAMES, 1):
        for band, word in (
            enumerate(("near", "middle", "far")) if name not in ("clear_sky", "cloud", "water") else ((None, ""),)
        ):
            where = (labels == class_id) & (True if band is None else reach == band)
            if where.mean() < least_share:
                continue
            distance = float(np.median(depth_m[where])) if class_id > 2 else None
            found.append(
                (1e9 + class_id if distance is None else distance, f"{word} {name}".strip(), name, where, distance)
            )
    found.sort(key=lambda item: item[0])
    layers = []
    for i, (_, words, name, where, distance) in enumerate(found):
        index[where] = i
        layers.append(
            {
                "index": i,
                "name": words,
                "class": name,
                "share": round(float(where.mean()), 4),
                "distance_m": None if distance is None else round(distance, 1),
                "zone": _spread(tone[where]),
                "visible_zone": round(float(np.median(luminance[where])), 2),
            }
        )
    # unsure edge pixels belong to whichever layer is nearest, so that neighbours touch
    nearest = distance_transform_edt(index < 0, return_distances=False, return_indices=True)
    filled = index[tuple(nearest)]
    edges: dict[tuple[int, int], int] = {}
    for a, b in ((filled[:, :-1], filled[:, 1:]), (filled[:-1], filled[1:])):
        differ = a != b
        for pair in zip(np.minimum(a, b)[differ], np.maximum(a, b)[differ], strict=True):
            key = (int(pair[0]), int(pair[1]))
            edges[key] = edges.get(key, 0) + 1
    gaps = []
    for (a, b), length in sorted(edges.items()):
        if length < 0.06 * labels.shape[1]:
            continue
        step = layers[a]["zone"]["likely"] - layers[b]["zone"]["likely"]
        says = "holds" if abs(step) >= HOLDS_ZONES else "merges" if abs(step) <= MERGES_ZONES else "open"
        gaps.append(
            {
                "a": a,
                "b": b,
                "between": f"{layers[a]['name']} / {layers[b]['name']}",
                "edge_px": length,
                "zones": round(step, 2),
                "visible_zones": round(layers[a]["visible_zone"] - layers[b]["visible_zone"], 2),
                "says": says,
            }
        )
    return layers, gaps


def halved(picture):
    """Mean of 2 x 2 pixels."""
    height, width = picture.shape[0] // 2 * 2, picture.shape[1] // 2 * 2
    return picture[:height, :width].reshape(height // 2, 2, width // 2, 2, *picture.shape[2:]).mean((1, 3))
