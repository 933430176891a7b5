"""One scale from blur on the print to words: sharp, slightly soft, soft shapes, plain tone.

A print 30 x 40 cm in the hand is looked at from 0.5 to 0.7 m. A good eye resolves one minute of arc (decimal acuity 1,
ISO 8596), 0.15 to 0.20 mm there: what lies below is not seen. Trade practice allows the picture's diagonal over 1500
(circle of confusion of depth-of-field tables): 0.33 mm on this print. So leaves are called sharp where the likely blur
stays below 0.2 mm and the cautious one (95 %) below 0.35 mm. The two limits above are three and twelve times the eye's:
a leaf of 5 cm at 20 m through 26 mm prints 0.7 mm wide and is lost in 0.6 mm of blur; a bough of 30 cm prints 4 mm
wide and is lost in 2.4 mm (arithmetic; the factors are chosen, no source).
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Literal, get_args

from irpreview.records import Range

BlurWord = Literal["sharp", "slightly_soft", "soft_shapes", "plain_tone"]
BLUR_WORDS: tuple[BlurWord, ...] = get_args(BlurWord)
SHARP_MM, SOFT_MM, TONE_MM = 0.2, 0.6, 2.4
"""Up to the first sharp, up to the second slightly soft, up to the third soft shapes, beyond plain tone. [mm]"""
CAUTIOUS_SHARP_MM = 0.35
"""What the 95 % end must stay below for sharp. [mm]"""
CAUTION = CAUTIOUS_SHARP_MM / SHARP_MM


def felt_mm(print_mm: Range) -> float:
    """The one figure that word and weight hang on: the likely blur, or the cautious one where that is much larger."""
    return max(print_mm.likely, print_mm.high / CAUTION)


def blur_word(print_mm: Range) -> BlurWord:
    """What a blur on the print [mm] looks like."""
    felt = felt_mm(print_mm)
    return BLUR_WORDS[sum(felt > limit for limit in (SHARP_MM, SOFT_MM, TONE_MM))]


def kept_by(felt: float) -> float:
    """What blur [mm] leaves of leaves as a lead, 1..0: 1 sharp, 0.75 where leaves are lost, 0.2 where boughs are."""
    x = math.log(max(felt, 1e-6))
    marks = ((SHARP_MM, 1.0), (SOFT_MM, 0.75), (TONE_MM, 0.2), (2 * TONE_MM, 0.0))
    for (left, high), (right, low) in pairwise(marks):
        if felt <= left:
            return high
        if felt <= right:
            return high + (low - high) * (x - math.log(left)) / (math.log(right) - math.log(left))
    return 0.0
