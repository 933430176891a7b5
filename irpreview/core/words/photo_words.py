"""What is wrong with a snap, in words: what happened, what it means, what to do."""

from __future__ import annotations

from irpreview.core.words.saying import both, in_words
from irpreview.records import PhotoDoubt, PhotoDoubtKind, Words


@in_words.register
def _(doubt: PhotoDoubt) -> Words:
    value, low, high, text = doubt.value, doubt.low, doubt.high, doubt.text
    match doubt.kind:
        case PhotoDoubtKind.SEVERAL_PICTURES:
            return both("The file holds several pictures: only the first is used.")
        case PhotoDoubtKind.SEE_THROUGH:
            return both(f"{100 * value:.0f} % of the picture is see-through: it is put on white.")
        case PhotoDoubtKind.DATA_SKIPPED:
            return Words(
                "The file may be damaged: parts of its data could not be used. Look at it, or copy it again.",
                "The file may be damaged: copy it again.",
            )
        case PhotoDoubtKind.DATA_SHIFTED:
            return Words(
                "The file may be damaged: from one place on, its picture is shifted in brightness or colour. Look at "
                "it, or copy it again.",
                "The file may be damaged: copy it again.",
            )
        case PhotoDoubtKind.PROFILE:
            return both("The colour profile in the photo cannot be used; its colours were taken as sRGB.")
        case PhotoDoubtKind.FACTS_DAMAGED:
            return Words(
                "The photo's own facts (Exif: time, place, exposure) are damaged: what could not be read is not known.",
                "The photo's own facts are damaged.",
            )
        case PhotoDoubtKind.SMALL:
            return Words(
                f"The picture is small, {value:.0f} x {high:.0f} pixels: fine parts are guessed. Use the original "
                f"({low:g} megapixels or more).",
                "The picture is small: use the original.",
            )
        case PhotoDoubtKind.DRAWN:
            return both("This looks like a screenshot or a drawing, not a daylight photo.")
        case PhotoDoubtKind.WITHOUT_COLOUR:
            return Words(
                "The picture is already black-and-white or toned: without colour, foliage, water and stone look alike. "
                "Use the colour original.",
                "Already black-and-white: use the colour original.",
            )
        case PhotoDoubtKind.METERED_DARK:
            return Words(
                f"The phone metered EV {value:.1f} at ISO 100, as at night or indoors: the preview is for daylight.",
                "The phone metered night or indoor light: the preview is for daylight.",
            )
        case PhotoDoubtKind.NIGHT:
            return both("Mostly black with a few lights, as at night: the preview is for daylight.")
        case PhotoDoubtKind.TOO_DARK:
            return both("Much too dark: colours in the shadows are uncertain. Take it again, brighter.")
        case PhotoDoubtKind.BLOWN_OUT:
            return both(
                f"{100 * value:.0f} % of the picture is plain white: nothing shows there. Take it again, darker."
            )
        case PhotoDoubtKind.BLURRED:
            return both("The picture is very blurred: edges are guessed. Take it again.")
        case PhotoDoubtKind.PERHAPS_INDOORS:
            return both("Hardly any sky, foliage or water found: this may be no landscape.")
        case PhotoDoubtKind.LITTLE_RECOGNISED:
            return Words(
                f"{100 * value:.0f} % of the picture was recognised with little confidence: check what is where before "
                "you trust the tones.",
                f"{100 * value:.0f} % of the picture is uncertain: check what is where.",
            )
        case PhotoDoubtKind.ORIENTATION:
            return both(f"The photo says orientation {text}, which must be 1 to 8: it is left as it is.")
        case _:
            return _facts(doubt.kind, value, low, high, text)


def _facts(kind: PhotoDoubtKind, value: float, low: float, high: float, text: str) -> Words:
    """What the file says of time, place and exposure and cannot be so."""
    match kind:
        case PhotoDoubtKind.TIME_MAKES_NO_SENSE:
            return both(f"The photo's time ({text!r}) makes no sense: taken as not known.")
        case PhotoDoubtKind.YEAR_MAKES_NO_SENSE:
            return both(f"The photo says the year {value:.0f}: its time is taken as not known.")
        case PhotoDoubtKind.OFFSET_MAKES_NO_SENSE:
            return both(f"The photo's time offset ({text}) makes no sense: it is not used.")
        case PhotoDoubtKind.ZONE_BY_SATELLITE:
            return both(f"The photo's time zone, {text}, comes from its satellite time.")
        case PhotoDoubtKind.ZONE_NOT_KNOWN:
            return Words(
                f"The photo says {text} without a time zone, so sun and light are not known: give its zone.",
                "The photo says no time zone: sun and light are not known.",
            )
        case PhotoDoubtKind.PLACE_MAKES_NO_SENSE:
            return both("The photo's place makes no sense: taken as not known.")
        case PhotoDoubtKind.PLACE_IS_ZERO:
            return both("The photo's place is 0, 0, as phones write without a fix: taken as not known.")
        case PhotoDoubtKind.ALTITUDE_MAKES_NO_SENSE:
            return both(f"The photo's altitude is {value:.0f} m, outside {low:.0f} to {high:.0f} m: taken as 0 m.")
        case PhotoDoubtKind.BEARING_MAKES_NO_SENSE:
            return both("The photo's bearing makes no sense (0 to 360°): taken as not known.")
        case PhotoDoubtKind.BEARING_IS_MAGNETIC:
            return both(f"The photo's bearing, {value:.0f}°, is magnetic but taken as true: off by the declination.")
        case _:
            return both(f"{text} in the photo is {value:g}, outside {low:g} to {high:g}: taken as not known.")
