"""What the field log tells as JSON: a frame, what the frames taught, a comparison, a hot spot."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from irpreview.answers.base import Answer, Span, Whole, only_if_given, span
from irpreview.core.words.field_log_words import comparison_words, hot_spot_words, learned_words

if TYPE_CHECKING:
    from irpreview.core.field_log.comparison import Comparison, Correction, CorrectionCheck, PartDifference
    from irpreview.core.field_log.entries import SpotRecord
    from irpreview.core.field_log.hot_spot import HotSpot
    from irpreview.core.field_log.learning import Learned


class LogFrameAnswer(Whole):
    """One frame: `irpreview log list --json` and the like. On one's own screen its place is shown."""

    kind: Literal["log_frame"] = "log_frame"
    number: int
    kit_name: str
    kit_key: str
    taken_at: str | None
    taken_on: str | None
    place_name: str | None
    snap_path: str | None
    snap_sha256: str | None
    planned_iso: float | None
    planned_f_number: float | None
    planned_shutter_s: float | None
    frame_path: str | None
    frame_sha256: str | None = only_if_given()
    iso: float | None
    f_number: float | None
    shutter_s: float | None
    focal_mm: float | None
    lens: str | None
    metered_ev100: float | None
    came_out_stops: float | None
    outcome: str
    subject: str | None
    in_shade: bool
    sun_height_deg: float | None
    notes: str
    batch: str | None = only_if_given()
    uid: str
    latitude_deg: float | None
    longitude_deg: float | None
    altitude_m: float | None
    raw_factor_stops: float | None
    """What this frame alone says of the factor."""


class CorrectionAnswer(Answer):
    """What to add to one class factor of a kit. [stops]"""

    low: float
    likely: float
    high: float
    pairs: int
    unshrunk: float


class CorrectionCheckAnswer(Answer):
    """The personal correction tried on frames that it was not learned from."""

    pairs: int
    before_zones: float
    after_zones: float
    helps: bool


class UsesAnswer(Answer):
    """What of it is switched on."""

    learned: bool
    correction: bool


class LearnedAnswer(Whole):
    """`irpreview log learn --json`."""

    kind: Literal["learned"] = "learned"
    kit: str
    factor_stops: Span
    prior_stops: Span
    frames: int
    set_aside: list[int]
    """Numbers of the frames that disagree too much to count."""
    error_stops: float | None
    circumstances: dict[str, Span]
    counts: dict[str, int]
    changed_stops: float | None
    corrections: dict[str, CorrectionAnswer]
    correction_check: CorrectionCheckAnswer | None
    uses: UsesAnswer
    says: list[str]


class PartAnswer(Answer):
    """One class or layer, predicted against taken."""

    name: str
    share: float
    zones: Span
    predicted_zone: float
    taken_zone: float


class PlacementAnswer(Answer):
    """How the frame was laid on the snap."""

    turn_deg: float
    zoom: float
    shift_share: float
    overlap: float
    confidence: float


class ComparisonAnswer(Whole):
    """`irpreview log compare --json`."""

    kind: Literal["comparison"] = "comparison"
    snap: str
    frame: str
    kit: str
    classes: dict[str, PartAnswer]
    layers: list[PartAnswer]
    rank: float | None
    mean_error_zones: float | None
    exposure_zones: float
    contrast: float
    compared_share: float
    placement: PlacementAnswer
    says: list[str]
    picture: str


class HotSpotAnswer(Whole):
    """`irpreview log hot-spot --json`. The last four are there only where frames were just measured."""

    kind: Literal["hot_spot"] = "hot_spot"
    kit: str
    lens: str
    focal_mm: float
    f_number: float
    strength_stops: Span
    radius_share: float
    frames: int
    strength_told: bool | None = only_if_given()
    confidence: float | None = only_if_given()
    vignetting_stops: float | None = only_if_given()
    says: list[str] | None = only_if_given()


def log_frame_answer(number: int, facts: Mapping[str, Any], raw_factor_stops: float | None) -> LogFrameAnswer:
    """One frame; facts: `io.log_exchange.facts_of`."""
    raw = None if raw_factor_stops is None else round(raw_factor_stops, 3)
    return LogFrameAnswer.model_validate({"number": number, **facts, "raw_factor_stops": raw})


def learned_answer(
    learned: Learned,
    kit: str,
    corrections: Mapping[str, Correction],
    check: CorrectionCheck | None,
    uses: tuple[bool, bool],
) -> LearnedAnswer:
    """What the frames taught; uses: whether the learned factor and the correction are switched on."""
    return LearnedAnswer(
        kit=kit,
        factor_stops=span(learned.factor_stops, 3),
        prior_stops=span(learned.prior_stops, 3),
        frames=learned.frames,
        set_aside=list(learned.set_aside),
        error_stops=round(learned.error_stops, 3),
        circumstances={name: span(value, 3) for name, value in learned.circumstances.items()},
        counts=dict(learned.counts),
        changed_stops=learned.changed_stops,
        corrections={
            name: CorrectionAnswer(**one.stops.as_dict(), pairs=one.pairs, unshrunk=one.unshrunk_stops)
            for name, one in corrections.items()
        },
        correction_check=None
        if check is None
        else CorrectionCheckAnswer(
            pairs=check.pairs,
            before_zones=round(check.before_zones, 3),
            after_zones=round(check.after_zones, 3),
            helps=check.helps,
        ),
        uses=UsesAnswer(learned=uses[0], correction=uses[1]),
        says=list(learned_words(kit, learned)),
    )


def _part(part: PartDifference) -> PartAnswer:
    return PartAnswer(
        name=part.name,
        share=round(part.share, 4),
        zones=span(part.zones, 3),
        predicted_zone=round(part.predicted_zone, 2),
        taken_zone=round(part.taken_zone, 2),
    )


def comparison_answer(result: Comparison, snap: Path, frame: Path, picture: Path, kit: str) -> ComparisonAnswer:
    """Predicted against taken; picture: where the difference was drawn to."""
    placed = result.registration
    return ComparisonAnswer(
        snap=str(snap),
        frame=str(frame),
        kit=kit,
        classes={name: _part(part) for name, part in result.classes.items()},
        layers=[_part(part) for part in result.layers],
        rank=round(result.rank, 4),
        mean_error_zones=round(result.mean_error_zones, 3),
        exposure_zones=round(result.exposure_zones, 3),
        contrast=round(result.contrast, 3),
        compared_share=round(result.compared_share, 3),
        placement=PlacementAnswer(
            turn_deg=round(placed.turn_deg, 2),
            zoom=round(placed.zoom, 4),
            shift_share=round(placed.shift_share, 4),
            overlap=round(placed.overlap, 3),
            confidence=round(placed.confidence, 3),
        ),
        says=list(comparison_words(result)),
        picture=str(picture),
    )


def hot_spot_answer(spot: SpotRecord, found: HotSpot | None = None) -> HotSpotAnswer:
    """A row of the lens table; found: what was just measured."""
    told: dict[str, Any] = {}
    if found is not None:
        told = {
            "strength_told": found.strength_told,
            "confidence": found.confidence,
            "vignetting_stops": found.vignetting_stops,
            "says": list(hot_spot_words(found)),
        }
    return HotSpotAnswer(
        kit=spot.kit_name,
        lens=spot.lens,
        focal_mm=spot.focal_mm,
        f_number=spot.f_number,
        strength_stops=span(spot.strength_stops, 3),
        radius_share=round(spot.radius_share, 4),
        frames=spot.frames,
        **told,
    )
