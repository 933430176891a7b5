"""A measured filter factor in words."""

from __future__ import annotations

from irpreview.core.exposure.calibration import Calibration
from irpreview.core.words.saying import both, in_words
from irpreview.records import CalibrationDoubt, CalibrationDoubtKind, Words


@in_words.register
def _(doubt: CalibrationDoubt) -> Words:
    text = {
        CalibrationDoubtKind.RED_ONLY: "green and blue of the filtered frame are crushed: only its red channel is used",
        CalibrationDoubtKind.CUSTOM_BALANCE: "the filtered frame looks balanced to grey: a custom white balance was "
        "set and its gains are not known",
        CalibrationDoubtKind.MINUTES_APART: f"the frames were taken {doubt.value:.0f} min apart: the light may have "
        "changed",
        CalibrationDoubtKind.BY_EYE: "it looked right by eye: two frames of one scene would tell it more surely",
    }
    return both(text[doubt.kind])


def calibration_words(found: Calibration) -> tuple[str, ...]:
    """The factor, from what it was found, and which channel fills first."""
    factor = found.factor_stops
    stops = f"{factor.likely:.1f} stops ({factor.low:.1f} to {factor.high:.1f})"
    if found.typed is not None:
        without, behind = found.typed
        return (f"{without} without, {behind} with the filter: {stops}",)
    kinds = ", ".join(f"{name} ({int(group['patches'])})" for name, group in found.surfaces.items())
    out = [f"factor of neutral grey {stops} from {found.patches} patches of {kinds}"]
    if found.clips_first is not None and found.clips_in_stops is not None:
        out.append(f"the {found.clips_first} channel fills first: {found.clips_in_stops:.1f} stops more would clip it")
    if found.shift_share > 0.002:
        out.append(f"the frames were {found.shift_share:.1%} of the width apart and were laid over each other")
    if found.curves_apart_stops is not None:
        out.append(
            f"the camera's tone curve is not known: the curves tried differ by {found.curves_apart_stops:.1f} stops"
        )
    return tuple(out)
