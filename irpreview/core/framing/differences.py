"""Where a framing says of two neighbours what the whole snap does not, and why.

Both are judged by the same rule; what differs is what they are judged on. A frame holds only part of a layer, whose
tone may be another; it is printed by itself, so that the same step in zones makes another step on the paper; and what
lies near the limit may fall to either side.
"""

from __future__ import annotations

import cv2
import numpy as np

from irpreview.records import Separation, Verdict
from irpreview.records.framing import DifferenceReason, Frame, PairDiffers

_THE_SAME_LAYER = 0.5
"""Share of a frame's layer that one layer of the snap must hold to be its counterpart (chosen, no source)."""
_WHOLE = 0.98
_ANOTHER_TONE_ZONES = 0.1
"""Another step by that much comes of another part of the layers (chosen: a third of a third of a stop)."""
_ANOTHER_CONTRAST = 1.08
"""Ratio of the print's L* for a zone from which the frame's print is harder or softer (chosen, no source)."""


def pairs_that_differ(frame: Frame, verdict: Verdict, snap: Verdict) -> tuple[PairDiffers, ...]:
    """The neighbours of a frame that the verdict on the whole snap has another word for. snap: with its layer map."""
    where, in_frame = _counterparts(frame, verdict, snap)
    there = {frozenset((one.a, one.b)): one for one in snap.separations}
    out = []
    for one in verdict.separations:
        a, b = where.get(one.a), where.get(one.b)
        other = None if a is None or b is None or a == b else there.get(frozenset((a, b)))
        if other is not None and other.says != one.says:
            assert a is not None
            assert b is not None
            signed = other.zones if other.a == a else -other.zones
            because, layer = _why(one, signed, other, (in_frame[a], in_frame[b]))
            out.append(PairDiffers(one.a, one.b, one.says, other.says, because, layer))
    return tuple(out)


def _counterparts(frame: Frame, verdict: Verdict, snap: Verdict) -> tuple[dict[int, int], dict[int, float]]:
    """(layer of the snap that each layer of the frame is, share of each layer of the snap that the frame holds)."""
    height, width = snap.layer_map.shape
    left, top, right, bottom = frame.box_px(width, height)
    cut = snap.layer_map[top:bottom, left:right]
    whole = np.bincount(snap.layer_map[snap.layer_map >= 0].ravel(), minlength=len(snap.layers))
    held = np.bincount(cut[cut >= 0].ravel(), minlength=len(snap.layers))
    in_frame = {i: float(held[i] / max(whole[i], 1)) for i in range(len(snap.layers))}
    rows, columns = verdict.layer_map.shape
    small = cv2.resize(cut, (columns, rows), interpolation=cv2.INTER_NEAREST)
    where = {}
    for layer in verdict.layers:
        under = small[verdict.layer_map == layer.index]
        if not (under >= 0).any():
            continue
        counts = np.bincount(under[under >= 0], minlength=len(snap.layers))
        best = int(counts.argmax())
        if counts[best] >= _THE_SAME_LAYER * under.size and snap.layers[best].class_name == layer.class_name:
            where[layer.index] = best
    return where, in_frame


def _why(
    one: Separation, zones_there: float, other: Separation, in_frame: tuple[float, float]
) -> tuple[DifferenceReason, int | None]:
    """The reason, and the layer of the frame that is cut where that is the reason."""
    cut = one.a if in_frame[0] <= in_frame[1] else one.b
    if abs(one.zones - zones_there) >= _ANOTHER_TONE_ZONES and min(in_frame) < _WHOLE:
        return "part_of_it", cut
    ratio = _l_per_zone(one) / max(_l_per_zone(other), 1e-6)
    if ratio >= _ANOTHER_CONTRAST:
        return "harder_print", None
    if ratio <= 1 / _ANOTHER_CONTRAST:
        return "softer_print", None
    return "near_the_limit", None


def _l_per_zone(one: Separation) -> float:
    """L* on the print for a zone, about the middle of the two tones, by the wide ends: never a division by nothing."""
    return (one.print_step.high - one.print_step.low) / max(one.high - one.low, 1e-6)
