"""The card to take along from an analysis."""

from __future__ import annotations

from dataclasses import replace

from irpreview import __version__
from irpreview.analysis import Analysis
from irpreview.core.card.card import build_card
from irpreview.core.card.field_tables import WindCase
from irpreview.core.words import in_words
from irpreview.core.words.light_words import day_lines
from irpreview.errors import BadValue
from irpreview.io.card_files import small_picture
from irpreview.records import ShotCard
from irpreview.records.framing import CardFraming

SOURCES = (
    "Exposure: ISO 2720. Wind: Beaufort scale, WMO-No. 306. Screen curve: IEC 61966-2-1.",
    "Sunlight: SPECTRL2 (Bird and Riordan 1986), NREL sun position, as in pvlib.",
    "Cloudy skies, zones, focus marks: common practice, no source.",
)


def card_of(analysis: Analysis, title: str, with_place: bool) -> ShotCard:
    """The card. Raises BadValue when there is no exposure to carry.

    Without its place it is worked out with the sun in coarse steps (`Analysis.without_place`).
    """
    if not with_place:
        analysis = analysis.without_place()
    if analysis.why_no_exposure is not None:
        raise BadValue(f"a card needs an exposure, and there is none: {analysis.why_no_exposure}")

    def in_wind(wind_m_s: float) -> WindCase:
        there = analysis.in_wind(wind_m_s)
        moves = there.foliage_movement
        return WindCase(
            lead=there.verdict.lead,
            setting=there.setting,
            shutter_s=there.shutter_s,
            blur_px=moves.blur_px if moves is not None else None,
        )

    exposure, patch = analysis.exposure, analysis.white_patch
    if analysis.setting is not None:  # for the time asked for
        exposure = replace(exposure, recommended=analysis.setting)
    card = build_card(
        title=title,
        snap=small_picture(analysis.photo.pixels),
        infrared=small_picture(analysis.rendering.picture),
        scene=analysis.scene,
        rendering=analysis.rendering,
        verdict=analysis.verdict,
        exposure=exposure,
        movement=analysis.movement,
        conditions=analysis.request.conditions,
        in_wind=in_wind,
        pixels_wide=analysis.photo.full_size[1],
        light_window=tuple(words.long for words in day_lines(analysis.day_plan)),
        white_balance=in_words(patch).long if patch is not None else "",
        assumptions=analysis.doubts,
        sources=SOURCES,
        place=analysis.photo.place,
        with_place=with_place,
        version=__version__,
        asked_time=analysis.asked_time,
    )
    return replace(card, framing=card_framing(analysis))


def card_framing(analysis: Analysis) -> CardFraming | None:
    """The best framing of the snap in which something leads, small; None where there is none."""
    best = next(iter(analysis.framings.best), None)
    if best is None or not analysis.framings.leads:
        return None
    return CardFraming(best, small_picture(analysis.framing_picture(best)))
