"""What goes into the file that is taken outdoors on a phone: for each place the card, its framings, the arithmetic.

Pure: records in, one record out. `answers.field_page` tells it as plain values, `io.field_page` writes the file. The
place stays out unless asked for, by the card's own rule: with it, what was worked out from place and time.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from irpreview.core.card.shot_card import ShotCard
from irpreview.core.exposure.calculator import Calculator
from irpreview.errors import BadValue
from irpreview.records import ByteArray, Caution, CautionKind, SunReading
from irpreview.records.framing import Framings

MOST_PLACES = 24
"""More would leave less than 80 kB for each picture."""


@dataclass(frozen=True, slots=True)
class FieldPlace:
    """One snap as it is worked from outdoors."""

    card: ShotCard
    framings: Framings
    calculator: Calculator
    picture: ByteArray
    """The infrared picture, (h, w) uint8; the file's writer makes it as small as it has to be."""
    snap_name: str
    snap_sha256: str
    kit_key: str
    """Tells in the log when filter or sensor of the kit changed."""

    @property
    def warning(self) -> Caution | None:
        """The one caution that stands with the setting; the others stand below."""
        said = [one for one in self.card.exposure.cautions if one.kind is not CautionKind.LOCAL_RULES]
        return said[0] if said else None

    @property
    def metered_ev100(self) -> float | None:
        """The light that was metered [EV at ISO 100]; None where it was worked out from the place, which stays out."""
        if isinstance(self.card.exposure.metered_by, SunReading) and self.card.place is None:
            return None
        return self.card.exposure.metered_ev100.likely


@dataclass(frozen=True, slots=True)
class DayLine:
    """One stay of a planned day."""

    span: str
    """From when to when, by the clock."""
    name: str
    says: str
    """The way there, the light, the time in hand."""


@dataclass(frozen=True, slots=True)
class FieldDay:
    """The day that was planned for the places of the file."""

    headline: str
    lines: tuple[DayLine, ...]
    more: tuple[str, ...] = ()
    """What is left out and why, and what the plan leaves to the photographer."""


@dataclass(frozen=True, slots=True)
class FieldPage:
    """All places of one file."""

    places: tuple[FieldPlace, ...]
    with_place: bool
    version: str = ""
    day: FieldDay | None = None

    @property
    def key(self) -> str:
        """Sixteen letters that tell this file from others: what is noted in it is kept under them."""
        parts = [self.version, *(_told_apart(one) for one in self.places)]
        return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:16]


def _told_apart(place: FieldPlace) -> str:
    calculator = place.calculator
    known = (place.card.title, place.snap_sha256, place.kit_key, calculator.ev100, calculator.factor_stops)
    return repr((*known, place.card.exposure.recommended))


def field_page(
    places: tuple[FieldPlace, ...], *, with_place: bool, version: str = "", day: FieldDay | None = None
) -> FieldPage:
    """The page of these places. Raises BadValue for none or too many."""
    if not places:
        raise BadValue("a field page needs at least one place; give a daylight snap")
    if len(places) > MOST_PLACES:
        raise BadValue(f"a field page holds {MOST_PLACES} places, not {len(places)}; make two")
    return FieldPage(places, with_place, version, day)
