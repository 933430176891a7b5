"""From the network's class probabilities to a map of the scene at the photo's own size.

The network answers at about 512 px; an `EdgeGuide` carries what it says to the photo's edges. The sky is a layer of its
own (`sky_layer`): its matte is as fine as the photo, and what the land shows is fitted to land alone, so that neither
spills over the edge between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from irpreview.core.imaging.resize import size_within
from irpreview.core.imaging.side_by_side import both, side_by_side
from irpreview.core.imaging.srgb import luminance, stops_of_display
from irpreview.core.scene.edge_guide import EdgeGuide
from irpreview.core.scene.reference_tone import MIX_MAPS, reference_tone
from irpreview.core.scene.sky_layer import SAMPLE_STEP, SkyLayer, has_sky, sky_layer
from irpreview.errors import BadValue
from irpreview.records import (
    CLASS_ID,
    CLASS_NAMES,
    WORKING_SIDE_PX,
    ByteArray,
    FloatArray,
    Photo,
    SceneMap,
    frozen_array,
)

DARKEST_SEEN = 2.0**-9
"""Linear tone of the snap below which there is nothing but grain."""
_NEGLIGIBLE = 0.15
"""A class whose probability stays below this everywhere cannot become a label and is skipped."""

_LABEL_SIDE_PX = 2048
"""Borders of labels are decided at about this size: to two pixels of a 12-megapixel photo."""
_EVEN_SIDE_PX, _EVEN_RADIUS_SHARE, _EVEN_EPS = 192, 0.04, 3e-4
"""Even is what varies by less than 4 of 255 levels in a window of a twelfth of the long side."""


def evened(probability: FloatArray, small: ByteArray) -> FloatArray:
    """Class probabilities (9, h', w') with their mean over what the photo shows as even; sums to 1.

    Where the network wavers over an even sea, field or far shore, its patches are no edges of the picture: there a wide
    window takes the mean, and only an edge of the photo (h, w, 3) keeps two sides apart.
    """
    size = size_within(int(small.shape[0]), int(small.shape[1]), _EVEN_SIDE_PX)[::-1]
    reduced = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), np.uint8)
    guide = EdgeGuide(reduced, _EVEN_RADIUS_SHARE, _EVEN_EPS, _EVEN_SIDE_PX)
    out = np.zeros((len(probability), *guide.shape), np.float32)
    for p, mean in zip(probability, out, strict=True):
        if float(p.max()) >= _NEGLIGIBLE:
            np.clip(guide.carry(p), 0, 1, out=mean)
    return np.asarray(out / np.maximum(out.sum(axis=0), np.float32(1e-6)), np.float32)


def class_planes(probability: FloatArray, edges: EdgeGuide) -> list[FloatArray | None]:
    """The plane of each class probability (9, h, w); None for a class that is nowhere likely."""
    return side_by_side(lambda p: None if float(p.max()) < _NEGLIGIBLE else edges.plane(p), probability)


def probability_at(edges: EdgeGuide, planes: list[FloatArray | None]) -> FloatArray:
    """Class probabilities (9, H, W) at the size of the guide, along its edges, from their planes; sums to 1."""
    out = np.zeros((len(planes), *edges.shape), np.float32)
    total = np.full(edges.shape, 1e-6, np.float32)
    present = [(of_class, plane) for of_class, plane in zip(out, planes, strict=True) if plane is not None]
    side_by_side(lambda one: np.clip(edges.apply(one[1], one[0]), 0, 1, out=one[0]), present)
    for of_class, _ in present:
        total += of_class
    np.divide(1, total, out=total)
    for of_class, _ in present:
        of_class *= total
    return out


def _most_likely(probability: FloatArray) -> tuple[ByteArray, FloatArray]:
    """(index of the most likely class (h, w), its probability); classes that are nowhere cost next to nothing."""
    best = probability[0].copy()
    index = np.zeros(best.shape, np.uint8)
    for i in range(1, len(probability)):
        if not probability[i].any():
            continue
        more = cv2.compare(probability[i], best, cv2.CMP_GT)
        cv2.max(index, cv2.bitwise_and(more, i, dst=more), dst=index)  # later classes have higher numbers
        cv2.max(probability[i], best, dst=best)
    return index, best


def network_tone(small: ByteArray, mix: FloatArray, edges: EdgeGuide) -> FloatArray:
    """Display tone (h, w) of the network's mix (5, h', w'), carried along the photo's edges.

    The network's own edges are too soft for a print. edges: a guide of that size; the tone is read off the colours of
    `small` (h, w, 3). Raises BadModel for another mix.
    """
    if mix.ndim != 3 or len(mix) != MIX_MAPS or edges.reduced == edges.shape:
        return reference_tone(small, np.stack([edges.carry(m) for m in mix]))
    return edges.tone(np.stack(side_by_side(edges.plane, mix)), small, luminance(small))


@dataclass(frozen=True, slots=True)
class Layers:
    """What the network says, at the working size (h, w) and along the photo's edges."""

    probability: FloatArray
    """(9, h, w), sums to 1."""
    network_stops: FloatArray | None
    """(h, w) log2 of the tone of the research pairs' kit."""
    cloud_share: FloatArray | None
    """(h, w) how white the sky is there, by its own colour; None where there is next to no sky."""
    unmixed: ByteArray | None
    """(h, w, 3) the photo with the sky taken out of land along their border; None where there is next to no sky."""


@dataclass(frozen=True, slots=True)
class _Tones:
    """The sky and the tones of a photo, before the classes are shared out to them."""

    stops: FloatArray
    sky: SkyLayer | None

    def layers(self, fine: FloatArray) -> Layers:
        """With the class probabilities along the photo's edges (9, h, w), changed in place."""
        if self.sky is None:
            return Layers(fine, self.stops, None, None)
        _share_out(fine, self.sky.share)
        return Layers(fine, self.stops, self.sky.cloud_share, self.sky.land)


def layers_of(
    small: ByteArray, probability: FloatArray, mix: FloatArray, edges: EdgeGuide, even: FloatArray, fine: FloatArray
) -> Layers:
    """Sky and land of a photo, each with its own tones, joined along the matte of the sky.

    small: (h, w, 3) at the working size; edges: its guide. probability: (9, h', w') of the network; even: `evened`;
    fine: that along the edges, changed in place. Raises BadModel for a mix that cannot be read.
    """
    return _tones_of(small, probability, mix, edges, even).layers(fine)


def _tones_of(small: ByteArray, probability: FloatArray, mix: FloatArray, edges: EdgeGuide, even: FloatArray) -> _Tones:
    of_sky = probability[0] + probability[1]
    if not has_sky(of_sky):
        return _Tones(stops_of_display(network_tone(small, mix, edges), DARKEST_SEEN), None)
    thin = np.ascontiguousarray(small[::SAMPLE_STEP, ::SAMPLE_STEP])
    sky = sky_layer(small, probability, even[0] + even[1], stops_of_display(reference_tone(thin, mix), DARKEST_SEEN))
    # land is fitted to land alone; the weight is never nothing, so that far land speaks where there is none near
    land = np.clip((np.float32(0.35) - of_sky) / np.float32(0.3), 0, 1) ** 2 + np.float32(1e-4)
    guide = EdgeGuide(small, like=edges, weight=np.asarray(land, np.float32))
    stops = stops_of_display(network_tone(sky.land_hue, mix, guide), DARKEST_SEEN)
    toward_sky = sky.stops - stops
    toward_sky *= sky.share
    stops += toward_sky
    return _Tones(stops, sky)


_TRACE = np.float32(1e-5)
"""A pixel that the network gave wholly to the other layer is any of this layer's classes."""


def _share_out(fine: FloatArray, share: FloatArray) -> None:
    """Give the sky classes of `fine` (9, h, w) together the share (h, w) of the matte, in place."""
    for part, total in ((fine[:2], share), (fine[2:], 1 - share)):
        present = [m for m in part if m.any()]
        if not present:
            continue
        scale = np.full(share.shape, len(present) * _TRACE, np.float32)
        for m in present:
            scale += m
        np.divide(total, scale, out=scale)
        for m in present:
            m += _TRACE
            m *= scale


def working_pixels(pixels: ByteArray) -> ByteArray:
    """The photo (H, W, 3) at the working size of about 1024 px; itself where it is no larger."""
    height, width = pixels.shape[:2]
    h, w = size_within(height, width, WORKING_SIDE_PX)
    if (h, w) == (height, width):
        return pixels
    # halving is exact and a fifth of the time of the area mean; from 1.6 to 2 times no more than two pixels each way
    # are needed, as 12 and 48 megapixels leave them
    while height >= 3.2 * h and height % 2 == 0 and width % 2 == 0:
        height, width = height // 2, width // 2
        pixels = np.asarray(cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA), np.uint8)
    how = cv2.INTER_LINEAR if 1.6 * h < height < 2 * h else cv2.INTER_AREA
    return np.asarray(cv2.resize(pixels, (w, h), interpolation=how), np.uint8)


def working_of(photo: Photo) -> ByteArray:
    """The photo at the working size, from its own small copy where it has one."""
    size = size_within(photo.height, photo.width, WORKING_SIDE_PX)
    if photo.working is not None and photo.working.shape[:2] == size:
        return photo.working
    return working_pixels(photo.pixels)


def scene_from_network(
    photo: Photo, probability: FloatArray, mix: FloatArray, model_id: str = "", small: ByteArray | None = None
) -> SceneMap:
    """Label and confidence at the photo's size from the network's answer.

    probability: (9, h, w), sums to 1. mix: (k, h', w'), handed on to the tone prediction. small: the photo's
    `working_pixels` where the caller has them.
    Only the strips along label borders are decided at full size; inside a region the small answer stands.
    """
    if probability.ndim != 3 or len(probability) != len(CLASS_NAMES):
        raise BadValue(f"class probabilities must be (9, h, w), not {probability.shape}")
    height, width = photo.height, photo.width
    h, w = size_within(height, width, WORKING_SIDE_PX)
    small = working_of(photo) if small is None else small
    edges = EdgeGuide(small)
    even = evened(probability, small)

    def labelled() -> tuple[FloatArray, ByteArray, FloatArray]:
        planes = class_planes(even, edges)
        fine = probability_at(edges, planes)
        small_label, small_confidence = _most_likely(fine)
        if (h, w) == (height, width):
            return fine, small_label + 1, small_confidence
        label = _label_at_full_size(photo.pixels, edges, planes, small_label)
        return fine, label, cv2.resize(small_confidence, (width, height), interpolation=cv2.INTER_LINEAR)

    def toned() -> _Tones | None:
        # a mix that cannot be read is left to the rendering, which says so
        readable = mix.ndim == 3 and len(mix) == MIX_MAPS
        return _tones_of(small, probability, mix, edges, even) if readable else None

    # labels are worked out beside the tones; only the classes' shares hang on both. The other way round the thread
    # beside would keep 20 MB more of room that it is done with.
    tones, (fine, label, confidence) = both(toned, labelled)
    layers = Layers(fine, None, None, None) if tones is None else tones.layers(fine)
    return SceneMap(
        probability=frozen_array(probability.astype(np.float32)),
        label=frozen_array(label),
        confidence=frozen_array(np.asarray(confidence, np.float32)),
        mix=frozen_array(mix.astype(np.float32)),
        model_id=model_id,
        fine=frozen_array(fine),
        small=small,
        network_stops=None if layers.network_stops is None else frozen_array(layers.network_stops),
        cloud_share=None if layers.cloud_share is None else frozen_array(layers.cloud_share),
        unmixed=None if layers.unmixed is None else frozen_array(layers.unmixed),
    )


def at_photo_size(scene: SceneMap, photo: Photo) -> SceneMap:
    """The scene of a smaller copy of the photo, as the network saw it, with label and confidence at the photo's size.

    scene: not repainted. Raises BadValue where a person has repainted it: paint on what this gives.
    """
    if scene.label.shape == (photo.height, photo.width):
        return scene
    if scene.repainted is not None or scene.small is None:
        raise BadValue("only a scene as the network saw it can be brought to another size; repaint it there")
    edges = EdgeGuide(scene.small)
    planes = class_planes(evened(scene.probability, scene.small), edges)
    label = _label_at_full_size(photo.pixels, edges, planes, np.asarray(scene.label - 1, np.uint8))
    confidence = cv2.resize(scene.confidence, (photo.width, photo.height), interpolation=cv2.INTER_LINEAR)
    return replace(scene, label=frozen_array(label), confidence=frozen_array(np.asarray(confidence, np.float32)))


def _label_at_full_size(
    pixels: ByteArray, edges: EdgeGuide, planes: list[FloatArray | None], small_label: ByteArray
) -> ByteArray:
    full = (pixels.shape[1], pixels.shape[0])
    step = max(1, round(max(full) / _LABEL_SIDE_PX))
    pixels = np.ascontiguousarray(pixels[::step, ::step])
    height, width = pixels.shape[:2]
    label = np.asarray(cv2.resize(small_label, (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)
    kernel = np.ones((3, 3), np.uint8)
    border = cv2.compare(cv2.dilate(small_label, kernel), cv2.erode(small_label, kernel), cv2.CMP_NE)
    if border.any():
        strip = cv2.resize(border, (width, height), interpolation=cv2.INTER_NEAREST)
        at = np.flatnonzero(strip.view(np.bool_))
        row, column = np.divmod(at.astype(np.int32), np.int32(width))
        h, w = edges.reduced
        small_at = (np.arange(height) * h // height * w).take(row) + (np.arange(width) * w // width).take(column)
        colours = pixels.reshape(-1, 3).take(at, axis=0)
        red, green, blue = (np.multiply(colours[:, k], np.float32(1 / 255), dtype=np.float32) for k in range(3))
        best = np.full(at.size, -1.0, np.float32)
        winner = np.zeros(at.size, np.uint8)
        for i, plane in enumerate(planes):
            if plane is None:
                continue
            by_red, by_green, by_blue, value = (coefficient.ravel().take(small_at) for coefficient in plane)
            value += by_red * red
            value += by_green * green
            value += by_blue * blue
            winner[value > best] = i
            np.maximum(value, best, out=best)
        label.ravel()[at] = winner
    label += 1
    return label if step == 1 else np.asarray(cv2.resize(label, full, interpolation=cv2.INTER_NEAREST), np.uint8)


def repaint(scene: SceneMap, mask: NDArray[np.bool_], class_name: str) -> SceneMap:
    """The scene with every pixel of `mask` (H, W) set to a class by hand.

    Later strokes win over earlier ones. Raises BadValue for an unknown class or a mask of another size.
    """
    if class_name not in CLASS_ID:
        raise BadValue(f"there is no class '{class_name}'; take one of: {', '.join(CLASS_NAMES)}")
    if mask.shape != scene.label.shape:
        raise BadValue(
            f"the painted mask is {mask.shape[1]} x {mask.shape[0]} px but the photo "
            f"{scene.label.shape[1]} x {scene.label.shape[0]} px; paint on this photo"
        )
    mask = mask.astype(bool)
    label, confidence = scene.label.copy(), scene.confidence.copy()
    label[mask] = CLASS_ID[class_name]
    confidence[mask] = 1.0
    probability = scene.probability.copy()
    h, w = probability.shape[1:]
    covered = cv2.resize(mask.astype(np.float32), (w, h), interpolation=cv2.INTER_AREA)
    probability *= 1 - covered
    probability[CLASS_ID[class_name] - 1] += covered
    painted = mask if scene.repainted is None else scene.repainted | mask
    return SceneMap(
        probability=frozen_array(probability),
        label=frozen_array(label),
        confidence=frozen_array(confidence),
        mix=scene.mix,
        repainted=frozen_array(painted.copy()),
        model_id=scene.model_id,
        fine=scene.fine,
        small=scene.small,
        network_stops=scene.network_stops,
        cloud_share=scene.cloud_share,
        unmixed=scene.unmixed,
    )


def repaint_all(scene: SceneMap, strokes: Sequence[tuple[NDArray[np.bool_], str]]) -> SceneMap:
    """`repaint` for several (mask, class name) in order."""
    for mask, class_name in strokes:
        scene = repaint(scene, mask, class_name)
    return scene
