"""How quantities are read from a person and said to a person: shutter times, wind, shares, zones."""

from __future__ import annotations

import math
import re

from irpreview.errors import BadValue
from irpreview.records import Range

SHUTTER_MIN_S = 1.0 / 32000.0
SHUTTER_MAX_S = 24.0 * 3600.0
WIND_MAX_M_S = 60.0

# Nominal shutter times of the trade in third stops: common practice, engraved on cameras; full stops as in ISO 2721.
_NOMINAL_FRACTIONS = (
    "8000 6400 5000 4000 3200 2500 2000 1600 1250 1000 800 640 500 400 320 250 200 160 125 100 80 60 50 40 30 25 20 15 "
    "13 10 8 6 5 4"
)
_NOMINAL_SECONDS = "0.3 0.4 0.5 0.6 0.8 1 1.3 1.6 2 2.5 3.2 4 5 6 8 10 13 15 20 25 30"
# 1/8000 stands for 2^-13 s and 30 for 2^5 s: 54 third stops lie between, one per name.
_NOMINAL = tuple(f"1/{n}" for n in _NOMINAL_FRACTIONS.split()) + tuple(f"{s} s" for s in _NOMINAL_SECONDS.split())
_FIRST_THIRD = -39

# Metres per second of one unit: knot 1852 m / 3600 s and mile 1609.344 m (exact, SI Brochure 9th ed. and
# International Yard and Pound Agreement 1959).
_WIND_UNIT_M_S = {
    "m/s": 1.0,
    "ms": 1.0,
    "mps": 1.0,
    "kn": 1852.0 / 3600.0,
    "kt": 1852.0 / 3600.0,
    "kts": 1852.0 / 3600.0,
    "knots": 1852.0 / 3600.0,
    "km/h": 1.0 / 3.6,
    "kmh": 1.0 / 3.6,
    "kph": 1.0 / 3.6,
    "mph": 0.44704,
}
_NUMBER = r"([0-9]+(?:\.[0-9]*)?|\.[0-9]+)"
_HOURS_MINUTES_SECONDS = (
    rf"(?:{_NUMBER}\s*(?:h|hours?))?\s*(?:{_NUMBER}\s*(?:m|min|minutes?))?\s*(?:{_NUMBER}\s*(?:s|sec|seconds?)?)?"
)


def shutter_text(seconds: float) -> str:
    """The nominal value that a camera or a timer would be set to: "1/60", "0.5 s", "2 min 30 s".

    seconds: exact time [s], above zero. Up to 32 s it is the nearest third stop; beyond, timed by hand,
    steps of about 3 %: 1 s below a minute, 5 s to five minutes, 10 s to ten, half a minute to an hour, then minutes.
    """
    if not (math.isfinite(seconds) and seconds > 0):
        raise BadValue(f"a shutter time must be above 0 s, not {seconds!r}; give seconds such as 30 or 1/30")
    if seconds < 36.0:
        third = round(3.0 * math.log2(seconds))
        index = third - _FIRST_THIRD
        if 0 <= index < len(_NOMINAL):
            return _NOMINAL[index]
        if index < 0:
            return f"1/{_two_figures(1.0 / seconds):.0f}"
        return "30 s"
    steps = ((60.0, 1.0), (300.0, 5.0), (600.0, 10.0), (3600.0, 30.0), (math.inf, 60.0))
    step = next(step for limit, step in steps if seconds < limit)
    rounded = round(seconds / step) * step
    hours, rest = divmod(int(rounded), 3600)
    minutes, left = divmod(rest, 60)
    parts = [f"{n} {unit}" for n, unit in ((hours, "h"), (minutes, "min"), (left, "s")) if n]
    return " ".join(parts)


def _two_figures(value: float) -> float:
    scale = 10.0 ** (math.floor(math.log10(value)) - 1)
    return round(value / scale) * scale


def how_many(number: int, one: str, many: str = "") -> str:
    """ "1 snap", "12 snaps"; many: where it is not `one` with an s."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def size_text(size_bytes: float) -> str:
    """The size of a file: "64 kB", "1.2 MB", "600 MB"; kB and MB of thousands (ISO 80000-13)."""
    if size_bytes < 1000:
        return f"{size_bytes:.0f} bytes"
    unit, name = (1e3, "kB") if size_bytes < 1e6 else (1e6, "MB") if size_bytes < 1e9 else (1e9, "GB")
    value = size_bytes / unit
    return f"{value:.0f} {name}" if value >= 10 or value == round(value) else f"{value:.1f} {name}"


def parse_shutter(text: str) -> float:
    """Seconds of "30", "0.5", "1/30", "30s", "2m30s", "2 min 30 s" or "1h". [s]

    Raises BadValue if it is none of these or outside 1/32000 s to 24 h.
    """
    cleaned = text.strip().lower().replace(",", ".")
    seconds: float | None = None
    if match := re.fullmatch(rf"{_NUMBER}\s*/\s*{_NUMBER}\s*(?:s|sec|seconds?)?", cleaned):
        bottom = float(match[2])
        seconds = float(match[1]) / bottom if bottom else None
    elif (match := re.fullmatch(_HOURS_MINUTES_SECONDS, cleaned)) and any(match.groups()):
        hours, minutes, rest = (float(part) if part else 0.0 for part in match.groups())
        seconds = hours * 3600.0 + minutes * 60.0 + rest
    if seconds is None:
        raise BadValue(f"shutter time {text[:40]!r} was not understood; write seconds (30), a fraction (1/30) or 2m30s")
    if not SHUTTER_MIN_S <= seconds <= SHUTTER_MAX_S:
        raise BadValue(f"shutter time {text[:40]!r} is {seconds:g} s; it must lie between 1/32000 s and 24 h")
    return seconds


_PLAIN_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")


def parse_number(text: str, low: float, high: float, unit: str = "", *, whole: bool = False) -> float:
    """A number as a person types it, within low..high: digits 0 to 9, a point, no words. Raises BadValue."""
    cleaned, unit = text.strip(), f" {unit}" if unit else ""
    kind = "a whole number" if whole else "a number"
    understood = _PLAIN_NUMBER.fullmatch(cleaned) is not None and (not whole or cleaned.lstrip("+-").isdigit())
    if not understood or len(cleaned) > 60:
        raise BadValue(f"{text[:40]!r} is not {kind}; give {kind} from {low:g} to {high:g}{unit}")
    value = float(cleaned)
    if not low <= value <= high:
        raise BadValue(f"{text[:40]} is outside {low:g} to {high:g}{unit}; give {kind} in that range")
    return int(cleaned) if whole else value


def beaufort_m_s(force: float) -> float:
    """Mean wind at 10 m of a Beaufort force: 0.836 B^1.5 (WMO code 1100, Beaufort's scale of 1946). [m/s]"""
    return float(0.836 * force**1.5)


def parse_wind(text: str) -> float:
    """Wind of "4" (m/s), "4m/s", "5bft", "12kn", "20km/h" or "10mph", as the 10 m mean. [m/s]

    Raises BadValue if it is none of these or above 60 m/s (Beaufort 12).
    """
    cleaned = text.strip().lower().replace(",", ".")
    match = re.fullmatch(rf"{_NUMBER}\s*([a-z/]*)", cleaned)
    if match is None and (reverse := re.fullmatch(rf"(bft|beaufort|force)\s*{_NUMBER}", cleaned)):
        number, unit = float(reverse[2]), "bft"
    elif match is not None:
        number, unit = float(match[1]), match[2] or "m/s"
    else:
        raise BadValue(
            f"wind {text[:40]!r} was not understood; write metres per second (4), or 5bft, 12kn, 20km/h, 10mph"
        )
    if unit in ("bft", "beaufort", "force"):
        if number > 12:
            raise BadValue(f"wind {text[:40]!r} is beyond the Beaufort scale; it runs from 0 to 12")
        return beaufort_m_s(number)
    if unit not in _WIND_UNIT_M_S:
        raise BadValue(f"wind unit {unit!r} in {text[:40]!r} is not known; write 4 (m/s), 5bft, 12kn, 20km/h or 10mph")
    speed = number * _WIND_UNIT_M_S[unit]
    if speed > WIND_MAX_M_S:
        raise BadValue(f"wind {text[:40]!r} is {speed:.0f} m/s; it must lie between 0 and {WIND_MAX_M_S:.0f} m/s")
    return speed


def share_text(share: float) -> str:
    """A share 0..1 in words: "34 %", "under 1 %"."""
    if share <= 0.0:
        return "0 %"
    if share < 0.01:
        return "under 1 %"
    return f"{100.0 * share:.0f} %"


_ROMAN = ("0", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X")
_ZONE_WORDS = (
    "black",
    "nearly black",
    "very dark, first texture",
    "dark, with full texture",
    "dark middle tone",
    "middle grey",
    "light middle tone",
    "light, with full texture",
    "very light, last texture",
    "nearly white",
    "white",
)


def zone_text(zone: Range) -> str:
    """A zone with its doubt: "zone VII (6.2 to 7.7)"."""
    index = min(max(round(zone.likely), 0), 10)
    return f"zone {_ROMAN[index]} ({zone.low:.1f} to {zone.high:.1f})"


def tone_word(lightness: float) -> str:
    """What a print L* looks like."""
    for limit, word in ((12, "black"), (32, "dark"), (58, "mid-grey"), (80, "light")):
        if lightness < limit:
            return word
    return "white"


def zone_word(zone: float) -> str:
    """What a zone looks like in a print; common practice since Adams, The Negative (1981), ch. 4."""
    return _ZONE_WORDS[min(max(round(zone), 0), 10)]
