"""The movement as JSON holds it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from irpreview.answers.base import Answer, Asked, Span, Whole, asked_of, maybe_span, span
from irpreview.core.motion.blur import HoldingSetting
from irpreview.core.motion.clip_motion import ClipMotion
from irpreview.core.motion.rates import Rates
from irpreview.core.units import shutter_text
from irpreview.core.words import in_words, long_words
from irpreview.core.words.motion_words import wind_words
from irpreview.records import ClassMovement, Doubt, Exposure, Movement

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from irpreview.analysis import Analysis


class ClassMovementAnswer(Answer):
    """How one class moves; pixels of the snap at its own size."""

    blur_px: Span
    share_of_height: Span
    print_mm: Span
    holds_until_s: Span | None
    flows_from_s: float | None
    parts: dict[str, Span]
    how_known: str
    core_px: float
    halo_px: float


class WindAnswer(Answer):
    """The wind that movement is told for."""

    m_s: Span
    known: bool
    gust_m_s: float
    words: str


class CloudsAnswer(Answer):
    """Where the clouds drift, and how fast."""

    deg_per_s: Span
    toward_deg: float | None
    image_deg: float | None
    how_known: str


class WaterAnswer(Answer):
    """How long the shutter is beside a wave."""

    periods: Span
    word: str


class MovementAnswer(Answer):
    """What one shutter time makes of the movement, the same in every answer that tells it."""

    shutter_s: float
    shutter_text: str
    wind: WindAnswer
    classes: dict[str, ClassMovementAnswer]
    tripod: ClassMovementAnswer
    clouds: CloudsAnswer | None
    water: WaterAnswer | None
    warnings: list[str]


def _class(move: ClassMovement) -> ClassMovementAnswer:
    return ClassMovementAnswer(
        blur_px=span(move.blur_px, 4),
        share_of_height=span(move.share_of_height, 6),
        print_mm=span(move.print_mm, 4),
        holds_until_s=maybe_span(move.holds_until_s, 5),
        flows_from_s=round(move.flows_from_s, 4) if move.flows_from_s is not None else None,
        parts={name: span(part, 4) for name, part in move.parts.items()},
        how_known=in_words(move.known).long,
        core_px=round(move.core_px, 4),
        halo_px=round(move.halo_px, 4),
    )


def movement_answer(moved: Movement, rates: Rates) -> MovementAnswer:
    """The movement as plain values."""
    clouds, water = moved.clouds, moved.water
    return MovementAnswer(
        shutter_s=moved.shutter_s,
        shutter_text=shutter_text(moved.shutter_s),
        wind=WindAnswer(
            m_s=span(rates.wind_m_s, 2),
            known=rates.wind_known,
            gust_m_s=round(rates.gust_m_s, 2),
            words=wind_words(rates.wind_m_s, rates.wind_known),
        ),
        classes={name: _class(move) for name, move in moved.classes.items()},
        tripod=_class(moved.tripod),
        clouds=None
        if clouds is None
        else CloudsAnswer(
            deg_per_s=span(clouds.deg_per_s, 5),
            toward_deg=clouds.toward_deg,
            image_deg=clouds.image_deg,
            how_known=in_words(clouds.known).long,
        ),
        water=None if water is None else WaterAnswer(periods=span(water.periods, 3), word=water.word),
        warnings=list(long_words(moved.notes)),
    )


class ClipClassAnswer(Answer):
    """What a clip measured of one class, in pixels of the clip."""

    amplitude_px: Span
    extent_90_px: float
    frequency_hz: Span
    direction_deg: float
    too_fast: bool
    method: str


class ClipAnswer(Answer):
    """What a clip measured."""

    length_s: float
    fps: float
    shake_px: float
    residual_px: float | None
    classes: dict[str, ClipClassAnswer]
    cloud_px_per_s: list[float] | None
    water_period_s: float | None
    doubts: list[str]


def clip_answer(measured: ClipMotion | None) -> ClipAnswer | None:
    """A clip as plain values."""
    if measured is None:
        return None
    return ClipAnswer(
        length_s=round(measured.length_s, 2),
        fps=round(measured.fps, 3),
        shake_px=round(measured.shake_px, 3),
        residual_px=round(measured.residual_px, 3) if math.isfinite(measured.residual_px) else None,
        classes={
            name: ClipClassAnswer(
                amplitude_px=span(c.amplitude_px, 3),
                extent_90_px=round(c.extent_90_px, 3),
                frequency_hz=span(c.frequency_hz, 3),
                direction_deg=round(c.direction_deg, 1),
                too_fast=c.aliased,
                method=c.method,
            )
            for name, c in measured.classes.items()
        },
        cloud_px_per_s=list(measured.cloud_px_per_s) if measured.cloud_px_per_s is not None else None,
        water_period_s=measured.water_period_s,
        doubts=list(long_words(measured.doubts)),
    )


class ChoiceAnswer(Answer):
    """An aperture and the ISO that holds the plants with it."""

    f_number: float
    iso: float
    shutter_s: float
    snr: float
    noise: str
    reaches: bool


class HoldingAnswer(Answer):
    """Which settings reach the time that holds the plants, and the noise it costs."""

    holds: str
    shutter_s: float
    shutter_text: str
    ev100: Span
    metered_by: str
    factor_stops: Span
    choices: list[ChoiceAnswer]


def holding_answer(name: str, time_s: float, exposure: Exposure, rows: Sequence[HoldingSetting]) -> HoldingAnswer:
    """What holds a class, as plain values."""
    return HoldingAnswer(
        holds=name,
        shutter_s=round(time_s, 5),
        shutter_text=shutter_text(time_s),
        ev100=span(exposure.metered_ev100, 2),
        metered_by=in_words(exposure.metered_by).long,
        factor_stops=span(exposure.factor_stops, 2),
        choices=[
            ChoiceAnswer(
                f_number=row.f_number,
                iso=round(row.iso),
                shutter_s=round(row.shutter_s, 5),
                snr=round(row.snr, 1),
                noise=row.noise,
                reaches=row.reaches,
            )
            for row in rows
        ],
    )


class MoveAnswer(Whole, Asked, MovementAnswer):
    """`irpreview movement --json`."""

    kind: Literal["movement"] = "movement"
    photo: str
    settings: HoldingAnswer | None
    clip: ClipAnswer | None
    files: dict[str, str | None]
    doubts: list[str]


def move_answer(
    analysis: Analysis,
    photo: str,
    settings: HoldingAnswer | None,
    files: Mapping[str, str | None],
    more_doubts: Sequence[Doubt] = (),
) -> MoveAnswer:
    """The movement in one photo."""
    told = dict(asked_of(analysis)) | dict(movement_answer(analysis.movement, analysis.rates))
    return MoveAnswer(
        **told,
        photo=photo,
        settings=settings,
        clip=clip_answer(analysis.request.clip),
        files=dict(files),
        doubts=list(long_words((*analysis.doubts, *analysis.rates.doubts, *more_doubts))),
    )
