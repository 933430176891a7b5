"""The things that flow through irpreview: one frozen type per noun, units in the names, a module for each chapter.

Arrays are rows x columns, origin top left, and read-only once inside a record.
Class ids 1..9 are the ids of the label maps; index i of a probability array is id i + 1.
"""

from irpreview.records.card import ShotCard
from irpreview.records.common import ByteArray, FloatArray, Range, Spectrum, frozen_array, tone_of, zone_of
from irpreview.records.exposure import Exposure, Setting
from irpreview.records.kit import Kit
from irpreview.records.light import Conditions, Light, SkyState, SunSide, WaterKind
from irpreview.records.motion import ClassMovement, CloudDrift, Movement, WaterMovement
from irpreview.records.photo import WORKING_SIDE_PX, Photo, Place, Shot
from irpreview.records.rendering import DEFAULT_GRADE, ClassTone, Rendering
from irpreview.records.scene import CLASS_ID, CLASS_NAMES, CLASS_WORDS, SceneMap
from irpreview.records.verdict import (
    CloudLook,
    Composition,
    ContrastParts,
    Crop,
    Doubt,
    DoubtKind,
    FoliageBlur,
    Gate,
    Layer,
    LeadChoice,
    NotLandscape,
    Sentence,
    Separation,
    SeparationWord,
    Shade,
    Sky,
    StrongestEdge,
    Subject,
    SubjectKind,
    Verdict,
    WaitFor,
    WindTurn,
)

__all__ = [
    "CLASS_ID",
    "CLASS_NAMES",
    "CLASS_WORDS",
    "DEFAULT_GRADE",
    "WORKING_SIDE_PX",
    "ByteArray",
    "ClassMovement",
    "ClassTone",
    "CloudDrift",
    "CloudLook",
    "Composition",
    "Conditions",
    "ContrastParts",
    "Crop",
    "Doubt",
    "DoubtKind",
    "Exposure",
    "FloatArray",
    "FoliageBlur",
    "Gate",
    "Kit",
    "Layer",
    "LeadChoice",
    "Light",
    "Movement",
    "NotLandscape",
    "Photo",
    "Place",
    "Range",
    "Rendering",
    "SceneMap",
    "Sentence",
    "Separation",
    "SeparationWord",
    "Setting",
    "Shade",
    "Shot",
    "ShotCard",
    "Sky",
    "SkyState",
    "Spectrum",
    "StrongestEdge",
    "Subject",
    "SubjectKind",
    "SunSide",
    "Verdict",
    "WaitFor",
    "WaterKind",
    "WaterMovement",
    "WindTurn",
    "frozen_array",
    "tone_of",
    "zone_of",
]
