"""What the card says besides the answers: order of work, red channel, standing cautions, where figures are from.

Each in full for the JSON and in few words for paper.
"""

from __future__ import annotations

from irpreview.core.exposure.red_channel import FINE_RED_SHARE, red_channel_rows
from irpreview.core.words.phrases import cap, wind_text
from irpreview.core.words.saying import both
from irpreview.records import Exposure, Kit, Words

STANDING = Words(
    "Never look at the sun through finder or lens; do not leave the camera pointing at it.",
    "Never look at the sun through finder or lens, nor leave the camera on it.",
)
STANDING_CAMERA = both("Never leave the camera pointing at the sun.")
"""Where the day's own cautions say the rest."""
STAYING = Words(
    "Long exposures keep you standing: mind steep drops, tide, falling branches, private land.",
    "Mind steep drops, tide, falling branches, private land.",
)
LOCAL_RULES = both("Local rules come first.")
WHITE_BALANCE = Words(
    "Custom white balance: sunlit grass or leaves through the filter; without, a grey card in the same sun. Raw files "
    "can be set later.",
    "Custom white balance: sunlit grass, else a grey card in the sun, filter on.",
)
SOURCES = (
    Words(
        "Exposure: ISO 2720. Wind: Beaufort scale, WMO-No. 306. Screen curve: IEC 61966-2-1.",
        "ISO 2720, WMO-No. 306, IEC 61966-2-1.",
    ),
    Words(
        "Sunlight: SPECTRL2 (Bird and Riordan 1986), NREL sun position, as in pvlib.",
        "SPECTRL2, NREL sun position.",
    ),
    Words(
        "Cloudy skies, zones, focus marks: common practice, no source.", "Skies, zones, focus marks: common practice."
    ),
)
HOURS_LEFT_OUT = Words(
    "The hours of good light stay off a card without its place: they would tell where it is.",
    "Left out with the place.",
)
SUN_LEFT_OUT = Words("from place and time, left out with the place", "Sun: left out with the place")
SUN_TAKEN_MIDDLE = Words("left out with the place, the sun taken as 45° high", "Sun: left out, taken as 45° high")


def wind_now(wind_m_s: float | None) -> str:
    """The wind that the card is made for."""
    return "Made for wind not given" if wind_m_s is None else f"Made for a {wind_text(wind_m_s)}, {wind_m_s:.1f} m/s"


def order_of_work(kit: Kit, exposure: Exposure) -> tuple[Words, ...]:
    """The hand movements in order, from an open lens to the frame."""
    setting = exposure.recommended
    f_number = f"f/{setting.f_number:g}" if setting is not None else "the working aperture"
    live = " in live view" if kit.sensor == "converted" or kit.focus == "on_sensor" else ""
    return (
        Words(
            "Frame without the filter: tripod low and weighted, strap and stabilisation off.",
            "No filter: frame. Tripod low, weighted.",
        ),
        Words(f"Focus without the filter at {f_number}.", f"No filter: focus at {f_number}."),
        both("Autofocus off, tape the ring."),
        Words(
            "Meter without the filter: manual mode, raw, eyepiece shaded.",
            "No filter: meter. Manual, raw.",
        ),
        Words(
            "Fit the filter, ring untouched; cloth round the mount against stray light.",
            "Fit the filter; cloth round the mount.",
        ),
        Words(
            "Take the test exposures, read the red channel, keep the exposure that fits.",
            "Test exposures: read red.",
        ),
        Words(
            f"Check magnified{live}: near edge, far edge, bright spot in the middle.",
            "Check magnified: near, far, middle.",
        ),
    )


def red_channel(kit: Kit) -> tuple[Words, ...]:
    """How to read a test exposure: which channel, where the leaves should end, what to change."""
    steps = "; ".join(f"{_PARTS[share]}: {_times(stops)}" for share, stops in red_channel_rows())
    alone = kit.sensor == "unmodified" and kit.filter_cut_on_nm >= 665
    return (
        Words(
            f"Judge the histogram's red channel {'alone: the other two see next to nothing' if alone else 'first'}.",
            f"Judge red {'alone' if alone else 'first'}.",
        ),
        both(f"Sunlit leaves should end near {100 * FINE_RED_SHARE:.0f} % of its width, off the right edge."),
        Words(
            f"They end elsewhere? Change the exposure: {steps}; piled up at the right edge: a quarter, look again.",
            "",  # the table says it
        ),
        Words("The overall histogram reads too low; do not chase it.", "The overall histogram reads too low."),
    )


_PARTS = {0.25: "a quarter across", 0.5: "half across", 0.75: "three quarters across"}


def _times(stops: float) -> str:
    factor = 2.0**stops
    return f"{factor:.0f} times" if factor >= 9.5 else f"{factor:.1f} times".replace(".0 times", " times")


def sky_change(when: str) -> str:
    """The sky of a correction, in few words."""
    return cap(when.removeprefix("Full "))
