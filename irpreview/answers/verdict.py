"""The verdict as JSON holds it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Literal

from pydantic import Field

from irpreview.answers.base import Answer, Asked, Span, Whole, asked_of, maybe_span, span
from irpreview.answers.exposure import AskedTimeAnswer, SettingAnswer, asked_time_answer, setting_answer
from irpreview.answers.framing import FramingAnswer, framing_answer
from irpreview.answers.movement import MovementAnswer, movement_answer
from irpreview.answers.picture import Zones, zones_of
from irpreview.core.words import long_words
from irpreview.core.words.verdict_words import headline, reasons, sentences, short_headline
from irpreview.records import (
    CloudLook,
    Doubt,
    DoubtKind,
    HowClear,
    LeadChoice,
    NotLandscape,
    Sentence,
    SeparationWord,
    SubjectKind,
    Verdict,
    WaitFor,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from irpreview.analysis import Analysis


class SentenceAnswer(Answer):
    """A sentence, what it rests on, and where in the picture, in shares of width and height."""

    text: str
    evidence: str
    x: float | None
    y: float | None


class LayerAnswer(Answer):
    """One layer, near to far."""

    index: int
    name: str
    class_name: str = Field(alias="class")
    share: float
    zone: Span
    visible_zone: float
    x: float
    y: float


class SeparationAnswer(Answer):
    """The tonal separation of two neighbouring layers."""

    a: int
    b: int
    zones: float
    low: float
    high: float
    visible_zones: float
    says: SeparationWord
    edge_zones: float
    edge_share_separating: float
    print_step: Span
    separability: float
    x: float
    y: float


class SkyAnswer(Answer):
    """What the sky shows."""

    okta: int | None
    texture_stops: float
    word: str
    clear_zone: Span | None
    clouds_after_shutter: CloudLook | None


class LeadAnswer(Answer):
    """What should lead the picture, and the wind at which that turns."""

    choice: LeadChoice
    headline: str
    short: str
    wait_for: WaitFor | None
    subject: SubjectKind | None
    clearness: HowClear
    """`about_equal`: `runner_up` is about as strong."""
    runner_up: SubjectKind | None
    """Of another kind and nearly as strong."""
    reasons: list[SentenceAnswer]
    turns_at_wind_m_s: Span | None


class GateAnswer(Answer):
    """Whether the picture is a daylight landscape; one that is none is not ranked."""

    landscape: bool
    chance: float
    reasons: list[NotLandscape]


class DoubtAnswer(Answer):
    """A rule of plausibility that found something."""

    kind: DoubtKind
    value: float | None


class StrongestEdgeAnswer(Answer):
    """The edge that parts most, between two layers by index."""

    between: list[str]
    print_step: float
    x: float
    y: float


class CropAnswer(Answer):
    """The largest frame of a format, moved towards what leads."""

    format: str
    keeps_share: float
    left: float
    top: float
    mostly_lost: list[str]


class CompositionAnswer(Answer):
    """Facts of the frame."""

    horizon_height: float | None
    sky_share: float
    ground_share: float
    strongest_edge: StrongestEdgeAnswer | None
    crops: list[CropAnswer]


class VerdictPart(Answer):
    """The verdict itself, the same in every answer that tells it."""

    layers: list[LayerAnswer]
    separations: list[SeparationAnswer]
    sky: SkyAnswer
    lead: LeadAnswer
    gate: GateAnswer
    plausibility: list[DoubtAnswer]
    composition: CompositionAnswer
    layered_contrast: float
    layered_contrast_parts: dict[str, float]
    sentences: list[SentenceAnswer]


def _sentence(one: Sentence) -> SentenceAnswer:
    at = one.at_xy
    return SentenceAnswer(
        text=one.text,
        evidence=one.evidence,
        x=None if at is None else round(at[0], 3),
        y=None if at is None else round(at[1], 3),
    )


def _composition(verdict: Verdict) -> CompositionAnswer:
    made, edge = verdict.composition, verdict.composition.strongest_edge
    return CompositionAnswer(
        horizon_height=made.horizon_height,
        sky_share=made.sky_share,
        ground_share=made.ground_share,
        strongest_edge=None
        if edge is None
        else StrongestEdgeAnswer(
            between=[verdict.layers[edge.a].name, verdict.layers[edge.b].name],
            print_step=round(edge.print_step, 1),
            x=round(edge.xy[0], 3),
            y=round(edge.xy[1], 3),
        ),
        crops=[
            CropAnswer(
                format=one.format,
                keeps_share=one.keeps_share,
                left=one.left,
                top=one.top,
                mostly_lost=list(one.mostly_lost),
            )
            for one in made.crops
        ],
    )


def verdict_part(verdict: Verdict) -> VerdictPart:
    """The verdict as plain values."""
    sky = verdict.sky
    return VerdictPart(
        layers=[
            LayerAnswer(
                index=layer.index,
                name=layer.name,
                **{"class": layer.class_name},
                share=round(layer.share, 4),
                zone=span(layer.zone, 2),
                visible_zone=round(layer.visible_zone, 2),
                x=round(layer.centre_xy[0], 3),
                y=round(layer.centre_xy[1], 3),
            )
            for layer in verdict.layers
        ],
        separations=[
            SeparationAnswer(
                a=one.a,
                b=one.b,
                zones=round(one.zones, 3),
                low=round(one.low, 3),
                high=round(one.high, 3),
                visible_zones=round(one.visible_zones, 3),
                says=one.says,
                edge_zones=round(one.edge_zones, 3),
                edge_share_separating=round(one.edge_share_separating, 3),
                print_step=span(one.print_step, 1),
                separability=round(one.separability, 2),
                x=round(one.edge_xy[0], 3),
                y=round(one.edge_xy[1], 3),
            )
            for one in verdict.separations
        ],
        sky=SkyAnswer(
            okta=sky.okta,
            texture_stops=round(sky.texture_stops, 3),
            word=sky.word,
            clear_zone=maybe_span(sky.clear_zone, 2),
            clouds_after_shutter=sky.clouds_after_shutter,
        ),
        lead=LeadAnswer(
            choice=verdict.lead,
            headline=headline(verdict),
            short=short_headline(verdict),
            wait_for=verdict.wait_for,
            subject=None if verdict.subject is None else verdict.subject.kind,
            clearness=verdict.clearness,
            runner_up=None if verdict.runner_up is None else verdict.runner_up.kind,
            reasons=[_sentence(one) for one in reasons(verdict)],
            turns_at_wind_m_s=maybe_span(verdict.turns_at_wind_m_s, 2),
        ),
        gate=GateAnswer(
            landscape=verdict.gate.landscape, chance=verdict.gate.chance, reasons=list(verdict.gate.reasons)
        ),
        plausibility=[DoubtAnswer(kind=one.kind, value=one.value) for one in verdict.doubts],
        composition=_composition(verdict),
        layered_contrast=verdict.layered_contrast,
        layered_contrast_parts=asdict(verdict.layered_contrast_parts),
        sentences=[_sentence(one) for one in sentences(verdict)],
    )


class JudgeAnswer(Whole, Asked, Zones, VerdictPart):
    """`irpreview judge --json`."""

    kind: Literal["verdict"] = "verdict"
    photo: str
    setting: SettingAnswer | None
    asked_time: AskedTimeAnswer | None
    """None = no time was asked for."""
    movement: MovementAnswer
    doubts: list[str]
    framings: list[FramingAnswer] | None = None
    """Best first; null where they were not asked for."""
    files: dict[str, str]


def judge_answer(
    analysis: Analysis,
    photo: str,
    files: Mapping[str, str],
    more_doubts: Sequence[Doubt] = (),
    *,
    with_framings: bool = False,
) -> JudgeAnswer:
    """The verdict on one photo, with its framings where they are asked for."""
    return JudgeAnswer(
        **dict(asked_of(analysis)),
        **dict(zones_of(analysis)),
        **dict(verdict_part(analysis.verdict)),
        photo=photo,
        setting=setting_answer(analysis.setting),
        asked_time=asked_time_answer(analysis.asked_time),
        movement=movement_answer(analysis.movement, analysis.rates),
        doubts=list(long_words((*analysis.doubts, *more_doubts))),
        framings=[framing_answer(one) for one in analysis.framings.best] if with_framings else None,
        files=dict(files),
    )
