"""A decoded snap and what its file says."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from irpreview.records.common import ByteArray, Doubt

WORKING_SIDE_PX = 1024
"""Long side at which every snap is analysed, whichever way it is asked. [px]"""


@dataclass(frozen=True, slots=True)
class Place:
    """A point on the earth [degrees, degrees, m]."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float = 0.0


@dataclass(frozen=True, slots=True)
class Shot:
    """What a camera wrote about one exposure; None = not known."""

    focal_35mm_mm: float | None = None
    f_number: float | None = None
    iso: float | None = None
    shutter_s: float | None = None
    brightness_ev: float | None = None
    exposure_bias_ev: float | None = None

    @property
    def ev100(self) -> float | None:
        """Exposure value at ISO 100 [EV]: log2(N^2 / t) - log2(ISO / 100)."""
        if self.f_number is None or self.iso is None or self.shutter_s is None:
            return None
        return math.log2(self.f_number**2 / self.shutter_s) - math.log2(self.iso / 100.0)


class PhotoDoubtKind(StrEnum):
    """What makes a snap a poor start. Beside each what `value`, `low`, `high` and `text` hold."""

    SEVERAL_PICTURES = "several_pictures"
    SEE_THROUGH = "see_through"
    """value = share of the picture."""
    DATA_SKIPPED = "data_skipped"
    DATA_SHIFTED = "data_shifted"
    PROFILE = "profile"
    """It cannot be used."""
    FACTS_DAMAGED = "facts_damaged"
    ORIENTATION = "orientation"
    """text = as written."""
    TIME_MAKES_NO_SENSE = "time_makes_no_sense"
    """text = as written."""
    YEAR_MAKES_NO_SENSE = "year_makes_no_sense"
    """value = the year."""
    OFFSET_MAKES_NO_SENSE = "offset_makes_no_sense"
    """text = as written."""
    ZONE_BY_SATELLITE = "zone_by_satellite"
    """text = the zone."""
    ZONE_NOT_KNOWN = "zone_not_known"
    """text = day and time as written."""
    PLACE_MAKES_NO_SENSE = "place_makes_no_sense"
    PLACE_IS_ZERO = "place_is_zero"
    ALTITUDE_MAKES_NO_SENSE = "altitude_makes_no_sense"
    """value [m], low, high."""
    BEARING_MAKES_NO_SENSE = "bearing_makes_no_sense"
    BEARING_IS_MAGNETIC = "bearing_is_magnetic"
    """value [degrees]."""
    FIGURE_MAKES_NO_SENSE = "figure_makes_no_sense"
    """text = which figure, value, low, high."""
    SMALL = "small"
    """value, high = width and height [px], low = least megapixels."""
    DRAWN = "drawn"
    WITHOUT_COLOUR = "without_colour"
    METERED_DARK = "metered_dark"
    """value [EV at ISO 100]."""
    NIGHT = "night"
    TOO_DARK = "too_dark"
    BLOWN_OUT = "blown_out"
    """value = share of the picture."""
    BLURRED = "blurred"
    PERHAPS_INDOORS = "perhaps_indoors"
    LITTLE_RECOGNISED = "little_recognised"
    """value = share of the picture."""


@dataclass(frozen=True, slots=True)
class PhotoDoubt(Doubt):
    """Why to doubt what is told of a snap, from its file, its pixels or what was recognised."""

    kind: PhotoDoubtKind
    value: float = 0.0
    low: float = 0.0
    high: float = 0.0
    text: str = ""


@dataclass(frozen=True, slots=True)
class Photo:
    """A decoded snap: oriented sRGB pixels and the facts in its file."""

    pixels: ByteArray
    """(H, W, 3) uint8, sRGB, upright."""
    name: str = "photo"
    taken_at: datetime | None = None
    """Aware, or None; a naive time in the file without a zone stays unknown."""
    taken_at_naive: datetime | None = None
    place: Place | None = None
    heading_deg: float | None = None
    """Bearing of the view, degrees true."""
    shot: Shot = field(default_factory=Shot)
    content_sha256: str = ""
    doubts: tuple[PhotoDoubt, ...] = ()
    working: ByteArray | None = None
    """(h, w, 3) the same at the analysis' size as the file's reader made it; None = to be made from `pixels`."""
    file_size: tuple[int, int] | None = None
    """(H, W) of the upright picture in its file [px], where `pixels` is smaller; None = as `pixels`."""

    @property
    def full_size(self) -> tuple[int, int]:
        """(H, W) of the snap itself [px], whatever size it was read at: blur is said in these pixels."""
        return self.file_size or (self.height, self.width)

    @property
    def height(self) -> int:
        """Rows [px]."""
        return int(self.pixels.shape[0])

    @property
    def width(self) -> int:
        """Columns [px]."""
        return int(self.pixels.shape[1])
