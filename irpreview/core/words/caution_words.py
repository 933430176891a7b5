"""Cautions in words. The long ones say why, the short ones fit the front of a card."""

from __future__ import annotations

from irpreview.core.units import shutter_text
from irpreview.core.words.saying import in_words
from irpreview.records import Caution, CautionKind, Words


@in_words.register
def _(caution: Caution) -> Words:
    gust = f"{caution.gust_m_s or 0.0:.0f} m/s"
    time = "a long exposure" if caution.shutter_s is None else f"an exposure of {shutter_text(caution.shutter_s)}"
    match caution.kind:
        case CautionKind.SUN_EYES:
            return Words(
                "This is no solar filter: never look at the sun through it or an optical finder. What it lets through "
                "burns unseen.",
                "Never look at the sun through filter or finder.",
            )
        case CautionKind.SUN_FRAME:
            if caution.sun_in_frame is not None:
                first, last = caution.sun_in_frame
                days = (last.date() - first.date()).days + 1
                span = f"{first:%H:%M} to {last:%H:%M}" if days == 1 else f"on {days} days"
                return Words(
                    f"The sun stands in a level frame {span}: minutes of it can damage sensor and shutter. Keep it out "
                    "of the frame or behind something; cap the lens between frames.",
                    f"Sun in a level frame {span}: keep it out, cap the lens between frames.",
                )
            return Words(
                f"The sun in the frame for {time} can damage sensor and shutter. Keep it out of the frame or behind "
                "something; cap the lens between frames.",
                "Keep the sun out of the frame.",
            )
        case CautionKind.TIDE:
            return Words(
                "Check tide and swell for the whole stay, not only the start; keep the way back open.",
                "Check the tide for the whole stay.",
            )
        case CautionKind.TIDE_IF_TIDAL:
            return Words(
                "By tidal water, check tide and swell for the whole stay; keep the way back open.",
                "Tidal water? Check the tide for the whole stay.",
            )
        case CautionKind.STREAM:
            return Words(
                "Wet rock is slippery and the water can rise fast: keep the way back open.",
                "Wet rock is slippery; the water can rise fast.",
            )
        case CautionKind.EDGE:
            return Words(
                f"Gusts to about {gust}: stay well back from steep drops, weigh the tripod down.",
                f"Gusts to {gust}: keep back from steep drops.",
            )
        case CautionKind.EDGE_WIND_UNKNOWN:
            return Words(
                "Wind not given: expect gusts, stay back from steep drops, weigh the tripod down.",
                "Gusts: keep back from steep drops.",
            )
        case CautionKind.RUIN:
            return Words(
                "Old walls and floors give way: stay out of closed or unstable ruins; ask on private land.",
                "Old walls give way: stay out of closed ruins.",
            )
        case CautionKind.BRANCH:
            return Words(
                f"Gusts to about {gust}: do not stand under trees.", f"Gusts to {gust}: do not stand under trees."
            )
        case CautionKind.LOCAL_RULES:
            return Words(
                "Local rules, warnings and licensed guides come first.",
                "Local rules and warnings come first.",
            )
        case CautionKind.DARK_START | CautionKind.DUSK | CautionKind.DUSK_BACK:
            return _in_the_dark(caution)


def _in_the_dark(caution: Caution) -> Words:
    """Ways and stays beyond sunrise or sunset; without their times where those would tell the place."""
    line_at = at = ""
    if caution.sun_line is not None:
        line, moment = caution.sun_line
        line_at = f" at {line:%H:%M}"
        at = f" at {moment:%H:%M}"
    match caution.kind:
        case CautionKind.DARK_START:
            said = f"The way to the first place begins{at}, before sunrise{line_at}"
        case CautionKind.DUSK:
            said = f"The last stay ends{at}, after sunset{line_at}"
        case _:
            said = f"The way straight back from the last place ends{at}, after sunset{line_at}"
    return Words(
        f"{said}: carry a lamp, know that way by daylight, and keep off steep drops and wet rock in the dark.",
        f"{said}: carry a lamp.",
    )
