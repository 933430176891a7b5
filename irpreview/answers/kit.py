"""What a kit does as JSON holds it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from irpreview.answers.base import Span, Whole, only_if_given, span
from irpreview.core.light.daylight import light_spectra
from irpreview.core.light.filter_factor import filter_factor
from irpreview.core.light.optics import effective_wavelength_nm, leak_share
from irpreview.core.light.surfaces import class_factors
from irpreview.records import Kit, Light

if TYPE_CHECKING:
    from irpreview.core.light.spectra import Tables


class KitAnswer(Whole):
    """`irpreview kit ... --json`: what a kit does in clear sun 45 degrees high."""

    kind: Literal["kit"] = "kit"
    name: str
    words: str
    factor_stops: Span
    """Of neutral grey."""
    factor_parts: dict[str, Span]
    """What the factor is made of. [stops]"""
    factor_source: str
    band_centre_nm: float
    visible_leak_share: float
    """Visible light that leaks through, as a share of the infrared."""
    class_factor_stops: dict[str, Span]
    """Each class against white."""
    file: str | None = only_if_given()
    """Where it was written."""


def kit_answer(kit: Kit, tables: Tables, file: str | None = None) -> KitAnswer:
    """What a kit does; file: where it was just written."""
    light = Light()
    direct, sky = light_spectra(light, tables)
    whole, parts = filter_factor(kit, light, tables)
    answer = KitAnswer(
        name=kit.name,
        words=kit.words,
        factor_stops=span(whole, 3),
        factor_parts={name: span(one, 3) for name, one in parts.items()},
        factor_source=kit.factor_source,
        band_centre_nm=round(effective_wavelength_nm(kit, tables, direct + sky), 1),
        visible_leak_share=round(leak_share(kit, tables, direct + sky), 4),
        class_factor_stops={name: span(one, 3) for name, one in class_factors(kit, light, tables).items()},
    )
    return answer if file is None else answer.model_copy(update={"file": file})
