"""The field page as JSON holds it: what `field-page --json` prints, and what the file's own scripts read."""

from __future__ import annotations

from typing import Literal

from irpreview.answers.base import Answer, Whole
from irpreview.answers.exposure import AskedTimeAnswer, SettingAnswer, asked_time_answer, setting_answer
from irpreview.core.card.blocks import place_words, wind_cells
from irpreview.core.exposure.asked_time import AskedTime
from irpreview.core.exposure.calculator import Calculator
from irpreview.core.field_page import FieldPage, FieldPlace
from irpreview.core.units import shutter_text
from irpreview.core.words import in_words, short_words
from irpreview.core.words.card_words import wind_now
from irpreview.core.words.exposure_words import time_range_words
from irpreview.core.words.framing_words import framing_details, framing_short, pointing
from irpreview.core.words.lead_words import lead_text, why_line
from irpreview.core.words.phrases import cap
from irpreview.records import Gale, MovementLeftOut, Setting
from irpreview.records.framing import Framing


class NoiseAnswer(Answer):
    """What the noise of a mid grey hangs on."""

    grey_e_at_iso_100: float
    dark_e_per_s: float
    read_e: float
    read_high_iso_e: float
    high_iso: float


class CalculatorAnswer(Answer):
    """What the exposure is worked out from."""

    ev100: float
    factor_stops: float
    placement_stops: float
    below_stops: float
    above_stops: float
    isos: list[float]
    f_numbers: list[float]
    liked_f_number: float
    noise: NoiseAnswer
    longest_timed_s: float
    has_bulb: bool


class TestFrameAnswer(Answer):
    """A test exposure, and the long one that it stands for."""

    iso: float
    f_number: float
    shutter_s: float
    shutter_text: str
    factor_stops: float
    long_iso: float
    long_f_number: float
    long_shutter_s: float
    long_shutter_text: str


class FieldFramingAnswer(Answer):
    """One picture to make; the rectangle in shares of the picture."""

    short: str
    where: str
    details: list[str]
    left: float
    top: float
    width: float
    height: float


class WindLineAnswer(Answer):
    """What to do in some forces of wind."""

    force: str
    m_s: str
    signs: str
    lead: str
    setting: str


class SkyLineAnswer(Answer):
    """What another sky asks for."""

    when: str
    shutter_text: str


class FieldPlaceAnswer(Answer):
    """One place."""

    title: str
    snap_name: str
    snap_sha256: str
    kit: str
    kit_key: str
    kit_words: str
    width_px: int
    height_px: int
    lead: str
    why: str
    wind: str
    setting: SettingAnswer | None
    setting_range: str
    asked_time: AskedTimeAnswer | None
    note: str
    warning: str
    cautions: list[str]
    focus: list[str]
    hours: list[str]
    metered_ev100: float | None
    """None = worked out from the place, which was left out."""
    calculator: CalculatorAnswer
    tests: list[TestFrameAnswer]
    framings: list[FieldFramingAnswer]
    winds: list[WindLineAnswer]
    wind_now: str
    skies: list[SkyLineAnswer]
    order: list[str]
    red_channel: list[str]
    white_balance: str
    assumptions: list[str]
    place: str | None
    latitude_deg: float | None
    longitude_deg: float | None


class DayLineAnswer(Answer):
    """One stay of the planned day."""

    span: str
    name: str
    says: str


class FieldDayAnswer(Answer):
    """The planned day."""

    headline: str
    lines: list[DayLineAnswer]
    more: list[str]


class FieldPageAnswer(Whole):
    """`irpreview field-page --json`, and the facts inside the file."""

    kind: Literal["field_page"] = "field_page"
    page: str
    """The file's own key."""
    version: str
    with_place: bool
    day: FieldDayAnswer | None
    """None = no day plan was given."""
    places: list[FieldPlaceAnswer]


def field_page_answer(page: FieldPage) -> FieldPageAnswer:
    """The page as plain values; pictures stay out."""
    day = page.day
    told = None
    if day is not None:
        lines = [DayLineAnswer(span=one.span, name=one.name, says=one.says) for one in day.lines]
        told = FieldDayAnswer(headline=day.headline, lines=lines, more=list(day.more))
    return FieldPageAnswer(
        day=told,
        page=page.key,
        version=page.version,
        with_place=page.with_place,
        places=[field_place_answer(one) for one in page.places],
    )


def field_place_answer(one: FieldPlace) -> FieldPlaceAnswer:
    """One place as plain values."""
    card = one.card
    verdict, facts, best, place = card.verdict, card.facts, card.exposure.recommended, card.place
    height, width = one.picture.shape
    gale = [in_words(said).short for said in facts.movement if isinstance(said, Gale)]
    moves = short_words(said for said in facts.movement if not isinstance(said, (Gale, MovementLeftOut)))
    asked = facts.asked_time
    warning = one.warning
    return FieldPlaceAnswer(
        title=card.title,
        snap_name=one.snap_name,
        snap_sha256=one.snap_sha256,
        kit=card.kit.name,
        kit_key=one.kit_key,
        kit_words=card.kit.words,
        width_px=width,
        height_px=height,
        lead=cap(lead_text(verdict)),
        why=why_line(verdict),
        wind=" ".join(moves[:1]),
        setting=setting_answer(best),
        setting_range="" if best is None else time_range_words(best.shutter_s),
        asked_time=asked_time_answer(asked) if isinstance(asked, AskedTime) else None,
        note=_note(asked, best),
        warning=(gale or [in_words(warning).short if warning is not None else ""])[0],
        cautions=[words.long for words in facts.cautions],
        focus=[words.short for words in facts.focus],
        hours=[] if facts.hours_left_out else [line.long for line in facts.light_lines],
        metered_ev100=None if one.metered_ev100 is None else round(one.metered_ev100, 3),
        calculator=_calculator(one.calculator),
        tests=[
            TestFrameAnswer(
                iso=test.iso,
                f_number=test.f_number,
                shutter_s=test.shutter_s,
                shutter_text=shutter_text(test.shutter_s),
                factor_stops=test.factor_stops,
                long_iso=test.long_iso,
                long_f_number=test.long_f_number,
                long_shutter_s=test.long_shutter_s,
                long_shutter_text=shutter_text(test.long_shutter_s),
            )
            for test in card.exposure.test_exposures
        ],
        framings=[_framing(framing) for framing in one.framings.best],
        winds=[
            WindLineAnswer(force=force, m_s=m_s, signs=signs, lead=lead, setting=setting)
            for force, m_s, signs, lead, setting in wind_cells(facts.wind_table, best)[1:]
        ],
        wind_now=f"{wind_now(facts.wind_m_s)}.",
        skies=[SkyLineAnswer(when=sky.when, shutter_text=sky.shutter_text) for sky in facts.corrections],
        order=[words.long for words in facts.order_of_work],
        red_channel=[words.long for words in facts.red_channel],
        white_balance=facts.white_balance.long,
        assumptions=[words.short for words in facts.assumptions],
        place=None if place is None else place_words(place),
        latitude_deg=None if place is None else place.latitude_deg,
        longitude_deg=None if place is None else place.longitude_deg,
    )


def _note(asked: object, best: Setting | None) -> str:
    """What stands against the setting, or what a time that was asked for came to."""
    if isinstance(asked, AskedTime):
        return in_words(asked).long
    return "; ".join(short_words(best.limits)) if best is not None else ""


def _calculator(one: Calculator) -> CalculatorAnswer:
    noise = one.noise
    return CalculatorAnswer(
        ev100=one.ev100,
        factor_stops=one.factor_stops,
        placement_stops=one.placement_stops,
        below_stops=one.below_stops,
        above_stops=one.above_stops,
        isos=list(one.isos),
        f_numbers=list(one.f_numbers),
        liked_f_number=one.liked_f_number,
        noise=NoiseAnswer(
            grey_e_at_iso_100=noise.grey_e_at_iso_100,
            dark_e_per_s=noise.dark_e_per_s,
            read_e=noise.read_e,
            read_high_iso_e=noise.read_high_iso_e,
            high_iso=noise.high_iso,
        ),
        longest_timed_s=one.longest_timed_s,
        has_bulb=one.has_bulb,
    )


def _framing(one: Framing) -> FieldFramingAnswer:
    frame = one.frame
    return FieldFramingAnswer(
        short=framing_short(one),
        where=pointing(frame),
        details=framing_details(one),
        left=round(frame.left, 4),
        top=round(frame.top, 4),
        width=round(frame.width, 4),
        height=round(frame.height, 4),
    )
