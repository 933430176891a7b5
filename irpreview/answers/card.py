"""The card as JSON holds it; pictures stay out."""

from __future__ import annotations

from typing import Any, Literal

from irpreview.answers.base import Answer, Span, Whole
from irpreview.answers.exposure import AskedTimeAnswer, SettingAnswer, asked_time_answer, setting_answer
from irpreview.answers.framing import FramingAnswer, framing_answer
from irpreview.answers.verdict import VerdictPart, verdict_part
from irpreview.core.card.card import card_dict
from irpreview.core.card.field_tables import setting_choices
from irpreview.core.card.shot_card import ShotCard
from irpreview.core.exposure.asked_time import AskedTime
from irpreview.records import LeadChoice


class CardKit(Answer):
    """The kit on the card."""

    name: str
    words: str
    factor_source: str


class CardPlace(Answer):
    """Where the snap was taken, on the card only when asked for."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float


class CardLight(Answer):
    """The light that the card is made for."""

    sun_height_deg: float | None
    """None = left out with the place."""
    sun_side: str
    sky_state: str
    planned: bool
    window: list[str]


class CardClass(Answer):
    """Share and zone of a class."""

    share: float
    zone: Span | None


class CardExposure(Answer):
    """What to set, in few settings."""

    factor_stops: Span
    recommended: SettingAnswer | None
    asked_time: AskedTimeAnswer | None
    """None = no time was asked for."""
    freezes: SettingAnswer | None
    streaks: SettingAnswer | None
    settings: list[SettingAnswer]
    test_frames: list[str]
    focus: list[str]
    minutes_per_frame: float | None


class WindRowAnswer(Answer):
    """What to do in one force of wind: what `judge` says when it is asked with that wind."""

    beaufort: int
    from_m_s: float
    to_m_s: float
    signs: str
    lead: LeadChoice
    shutter_text: str
    iso: float | None
    f_number: float | None
    blur_px: Span | None
    foliage_holds: bool


class CorrectionAnswer(Answer):
    """How much more or less light a change of the sky asks for."""

    when: str
    times_low: float
    times_high: float
    shutter_text: str


class CardAnswer(Whole):
    """`irpreview card --json`, and the card's own JSON file."""

    kind: Literal["card"] = "card"
    title: str
    version: str
    model_id: str
    kit: CardKit
    place: CardPlace | None
    light: CardLight
    classes: dict[str, CardClass]
    verdict: VerdictPart
    framing: FramingAnswer | None
    """The best framing; null where the kit's lenses leave none."""
    exposure: CardExposure
    wind_now: str
    wind_table: list[WindRowAnswer]
    corrections: list[CorrectionAnswer]
    order_of_work: list[str]
    red_channel: list[str]
    white_balance: str
    movement: list[str]
    cautions: list[str]
    assumptions: list[str]
    sources: list[str]


def card_answer(card: ShotCard) -> CardAnswer:
    """The card as plain values."""
    told: dict[str, Any] = card_dict(card)
    exposure, asked = card.exposure, card.facts.asked_time
    told["verdict"] = verdict_part(card.verdict)
    told["framing"] = None if card.framing is None else framing_answer(card.framing)
    told["exposure"] |= {
        "recommended": setting_answer(exposure.recommended),
        "asked_time": asked_time_answer(asked) if isinstance(asked, AskedTime) else None,
        "freezes": setting_answer(exposure.freezes),
        "streaks": setting_answer(exposure.streaks),
        "settings": [setting_answer(one) for one in setting_choices(exposure)],
    }
    return CardAnswer.model_validate(told)
