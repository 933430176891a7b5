"""The infrared picture as JSON holds it: what is there, and in which zone it prints."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from irpreview.answers.base import Answer, Asked, Span, Whole, asked_of, span
from irpreview.core.light.coarse_sun import coarse_time
from irpreview.core.words import long_words
from irpreview.records import CLASS_NAMES, Doubt

if TYPE_CHECKING:
    from collections.abc import Mapping

    from irpreview.analysis import Analysis


class Zones(Answer):
    """Share of the picture and zones of each class; null where there is none of it."""

    shares: dict[str, float]
    zones: dict[str, Span | None]
    """Of the picture shown: exposure placed, grade applied."""
    scene_zones: dict[str, Span | None]
    """5 + log2(tone / 0.18), before any placement or paper grade."""


def zones_of(analysis: Analysis) -> Zones:
    """Shares and zones at the analysis' size."""
    share, tones = analysis.scene.share(), analysis.rendering.classes
    there = [name for name in CLASS_NAMES if name in tones and share[name] > 0]
    return Zones(
        shares={name: round(share[name], 4) for name in CLASS_NAMES},
        zones={name: span(tones[name].zone, 2) if name in there else None for name in CLASS_NAMES},
        scene_zones={name: span(tones[name].scene_zone, 2) if name in there else None for name in CLASS_NAMES},
    )


class RenderAnswer(Whole, Asked, Zones):
    """`irpreview render --json`. Where the photo was taken is not told."""

    kind: Literal["rendering"] = "rendering"
    photo: str
    sha256: str
    width: int
    height: int
    taken_at: str | None
    """On the half hour before it."""
    confidence: float
    doubts: list[str]
    seconds: float
    tones_full_scale: float | None
    files: dict[str, str | None]


def render_answer(
    analysis: Analysis,
    photo: str,
    files: Mapping[str, str | None],
    seconds: float,
    tones_full_scale: float | None = None,
    more_doubts: Sequence[Doubt] = (),
) -> RenderAnswer:
    """The picture of one photo and where it was written."""
    snap, taken_at = analysis.full_photo, analysis.photo.taken_at
    return RenderAnswer(
        **dict(asked_of(analysis)),
        **dict(zones_of(analysis)),
        photo=photo,
        sha256=snap.content_sha256,
        width=snap.full_size[1],
        height=snap.full_size[0],
        taken_at=None if taken_at is None else coarse_time(taken_at).isoformat(),
        confidence=round(float(analysis.scene.confidence.mean()), 3),
        doubts=list(long_words((*analysis.doubts, *more_doubts))),
        seconds=round(seconds, 3),
        tones_full_scale=tones_full_scale,
        files=dict(files),
    )
