"""Every sentence: typed answers in, plain English out. Nothing reads a sentence back."""

from irpreview.core.words import caution_words, door_words, exposure_words, light_words, motion_words, photo_words
from irpreview.core.words.saying import in_words, long_words, short_words

__all__ = [
    "caution_words",
    "door_words",
    "exposure_words",
    "in_words",
    "light_words",
    "long_words",
    "motion_words",
    "photo_words",
    "short_words",
]
