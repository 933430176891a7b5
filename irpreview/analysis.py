"""One analysis: one answer, whichever way it is asked.

    analysis = analyse(photo, Request(conditions=Conditions(wind_m_s=5.5)))
    analysis.verdict.lead
    analysis.with_(shutter_s=60.0).movement

Command line, page, card, contact sheet and log read their answers off an `Analysis` and compute nothing themselves.
Each part is worked out on first use and kept; another wish redoes only what depends on it (`DEPENDS_ON`). Everything
is judged at one size, `WORKING_SIDE_PX` on the long side, from the same pixels; only the finished picture is also made
at the snap's own size (`full_rendering`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from types import MappingProxyType
from typing import Any, TypeVar

from irpreview import session
from irpreview.core.imaging.resize import within
from irpreview.core.light.daylight import light_for
from irpreview.core.motion.blur import movement_at
from irpreview.core.motion.rates import Rates, rates_of_motion
from irpreview.core.scene.scene_map import repaint_all
from irpreview.errors import BadValue, IrpreviewError
from irpreview.records import (
    WORKING_SIDE_PX,
    Exposure,
    Kit,
    Light,
    Movement,
    Photo,
    Rendering,
    SceneMap,
    Shot,
    Verdict,
    frozen_array,
)
from irpreview.request import PlannedLight, Request

T = TypeVar("T")

SHUTTER_WITHOUT_LIGHT_S = 30.0
"""Movement is told for this time where no exposure could be worked out."""

DEPENDS_ON = MappingProxyType(
    {
        "bare_scene": (),
        "scene": ("bare_scene", "corrections"),
        "photo": ("place", "taken_at", "heading_deg"),
        "snap_light": ("photo", "conditions"),
        "light": ("snap_light", "planned"),
        "kit": ("light", "kit_asked", "lessons"),
        "rendering": ("scene", "light", "kit", "conditions", "grade", "film_look"),
        "full_rendering": ("rendering",),
        "rates": ("scene", "kit", "conditions", "clip"),
        "exposure": ("rendering", "rates", "readings", "wishes", "in_shade"),
        "shutter_s": ("exposure", "shutter_asked"),
        "movement": ("rates", "shutter_s"),
        "verdict": ("rendering", "movement"),
    }
)
"""What each answer is made of: other answers, and fields of the request (`kit` and `shutter_s` as `..._asked`)."""


def _fields_behind(name: str) -> frozenset[str]:
    """Fields of the request that an answer hangs on, through all that it is made of."""
    if name not in DEPENDS_ON:
        return frozenset({name.removesuffix("_asked")})
    return frozenset().union(*(_fields_behind(part) for part in DEPENDS_ON[name]))


FIELDS_BEHIND = MappingProxyType({name: _fields_behind(name) for name in DEPENDS_ON})


class Analysis:
    """All answers about one snap for one request. Never changed from outside: `with_` gives another."""

    def __init__(self, photo: Photo, request: Request, kept: dict[str, Any] | None = None) -> None:
        self.full_photo = photo
        """The snap as it was given, at its own size."""
        self.request = request
        self._kept: dict[str, Any] = {} if kept is None else kept

    def with_(self, **changes: Any) -> Analysis:
        """The analysis for another wish: fields of `Request` by name. What does not hang on them is not redone."""
        request = replace(self.request, **changes)
        changed = {f.name for f in fields(Request) if getattr(request, f.name) is not getattr(self.request, f.name)}
        kept = {name: value for name, value in self._kept.items() if not FIELDS_BEHIND[name] & changed}
        return Analysis(self.full_photo, request, kept)

    def _once(self, name: str, work: Callable[[], T]) -> T:
        if name not in self._kept:
            self._kept[name] = work()
        answer: T = self._kept[name]
        return answer

    # ---- what is in the picture ---------------------------------------------------------------------------------

    @property
    def photo(self) -> Photo:
        """The snap at the analysis' size, with place, time and bearing as corrected by the request."""
        return self._once("photo", self._photo)

    def _photo(self) -> Photo:
        asked, full = self.request, self.full_photo
        pixels = full.working if full.working is not None else within(full.pixels, WORKING_SIDE_PX)
        return replace(
            full,
            pixels=frozen_array(pixels),
            working=None,
            file_size=full.full_size,
            place=asked.place or full.place,
            taken_at=asked.taken_at or full.taken_at,
            heading_deg=full.heading_deg if asked.heading_deg is None else asked.heading_deg,
        )

    @property
    def bare_scene(self) -> SceneMap:
        """What the network sees, before corrections by hand."""
        return self._once("bare_scene", lambda: session.map_scene(self.photo))

    @property
    def scene(self) -> SceneMap:
        """What is where, as corrected."""
        marks = self.request.corrections
        return self._once("scene", lambda: repaint_all(self.bare_scene, marks) if marks else self.bare_scene)

    # ---- light and kit ------------------------------------------------------------------------------------------

    @property
    def snap_light(self) -> Light:
        """The light in which the snap was taken. Raises BadValue where its time and place have no daylight."""
        return self._once("snap_light", self._snap_light)

    def _snap_light(self) -> Light:
        photo, day = self.photo, self.request.conditions
        sky = "clear" if day.sky_state == "unknown" else day.sky_state
        if photo.place is None or photo.taken_at is None:
            return Light(sky_state=sky)
        try:
            light = light_for(photo.place, photo.taken_at, photo.heading_deg, day.haze, sky)
        except BadValue:
            light = None
        if light is None or light.sun_height_deg < session.LOWEST_SUN_DEG:
            return Light(
                sky_state=sky,
                how_known="assumed: clear sky, sun 45 degrees high; the photo's own time and place give no sunlight",
            )
        return light

    @property
    def light(self) -> Light:
        """The light that everything is told in: the snap's own, or the planned one."""
        return self._once("light", self._light)

    def _light(self) -> Light:
        planned: PlannedLight | None = self.request.planned
        if planned is None:
            return self.snap_light
        from irpreview.core.light.planned_light import planned_light

        return planned_light(
            self.snap_light,
            sun_height_deg=planned.sun_height_deg,
            when=planned.when,
            place=planned.place or self.photo.place,
            heading_deg=self.photo.heading_deg,
            haze=planned.haze,
        )

    @property
    def kit(self) -> Kit:
        """The kit, with what the field log taught where the request holds lessons."""
        return self._once("kit", self._kit)

    def _kit(self) -> Kit:
        kit = self.request.kit or session.default_kit()
        if self.request.lessons is None:
            return kit
        sun_known = self.light.sun_bearing_deg is not None
        return self.request.lessons(kit, self.light.sun_height_deg if sun_known else None)

    # ---- the picture --------------------------------------------------------------------------------------------

    @property
    def rendering(self) -> Rendering:
        """The infrared picture at the analysis' size."""
        return self._once("rendering", lambda: self._render(self.photo, self.scene))

    @property
    def full_rendering(self) -> Rendering:
        """The same at the snap's own size."""
        if self.full_photo.pixels.shape == self.photo.pixels.shape:
            return self.rendering
        return self._once("full_rendering", lambda: self._render(self.full_photo, self.full_scene()))

    def full_scene(self) -> SceneMap:
        """What is where, as corrected, at the snap's own size."""
        scene = session.map_scene(self.full_photo)
        marks = self.request.corrections
        return repaint_all(scene, marks) if marks else scene

    def _render(self, photo: Photo, scene: SceneMap) -> Rendering:
        asked = self.request
        return session.render(
            replace(photo, place=self.photo.place, taken_at=self.photo.taken_at, heading_deg=self.photo.heading_deg),
            scene,
            self.kit,
            self.light,
            conditions=asked.conditions,
            grade=asked.grade,
            film_look=asked.film_look,
            snap_light=self.snap_light,
        )

    # ---- movement and exposure ----------------------------------------------------------------------------------

    @property
    def rates(self) -> Rates:
        """How fast everything moves, before any shutter time."""
        asked = self.request
        return self._once(
            "rates", lambda: rates_of_motion(self.scene, self.kit, asked.conditions, self.photo, clip=asked.clip)
        )

    @property
    def exposure(self) -> Exposure:
        """What to set, and how sure it is. Raises IrpreviewError where no light is known to expose for."""
        answer = self._once("exposure", self._exposure_or_why)
        if isinstance(answer, IrpreviewError):
            raise answer
        return answer

    @property
    def why_no_exposure(self) -> IrpreviewError | None:
        """Why there is no exposure; None where there is one."""
        answer = self._once("exposure", self._exposure_or_why)
        return answer if isinstance(answer, IrpreviewError) else None

    def _exposure_or_why(self) -> Exposure | IrpreviewError:
        asked, light = self.request, self.light
        # in another light than the snap's own, what its phone metered says nothing
        photo = (
            replace(self.photo, shot=Shot(focal_35mm_mm=self.photo.shot.focal_35mm_mm)) if light.planned else self.photo
        )
        try:
            return session.expose(
                photo,
                self.scene,
                self.kit,
                light,
                asked.conditions,
                rendering=self.rendering,
                motion=self.rates if self.rates.wind_known else None,
                readings=asked.readings,
                wishes=asked.wishes,
                in_shade=asked.in_shade,
            )
        except IrpreviewError as error:
            return error

    @property
    def shutter_s(self) -> float:
        """The shutter time that movement and verdict are told for [s]: the one asked for, else the recommended."""
        return self._once("shutter_s", self._shutter_s)

    def _shutter_s(self) -> float:
        if self.request.shutter_s is not None:
            return self.request.shutter_s
        best = None if self.why_no_exposure is not None else self.exposure.recommended
        return SHUTTER_WITHOUT_LIGHT_S if best is None else best.shutter_s.likely

    @property
    def movement(self) -> Movement:
        """What that shutter time makes of the movement."""
        return self._once("movement", lambda: movement_at(self.rates, self.shutter_s))

    # ---- the verdict --------------------------------------------------------------------------------------------

    @property
    def verdict(self) -> Verdict:
        """Layers, their tonal separation, sky and lead."""
        return self._once("verdict", self._verdict)

    def _verdict(self) -> Verdict:
        from irpreview.core.verdict.judging import judge_scene

        asked = self.request
        return judge_scene(self.photo, self.scene, self.rendering, asked.conditions, self.movement, asked.grade)

    def lead_at(self, wind_m_s: float) -> Analysis:
        """The same snap and shutter time in another wind [m/s], for tables and the card."""
        day = replace(self.request.conditions, wind_m_s=wind_m_s, gust_m_s=None)
        return self.with_(conditions=day, shutter_s=self.shutter_s)


def analyse(photo: Photo, request: Request | None = None) -> Analysis:
    """All answers about a snap, each worked out when it is first asked for."""
    return Analysis(photo, request or Request())
