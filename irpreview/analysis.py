"""One analysis: one answer, whichever way it is asked.

    analysis = analyse(photo, Request(conditions=Conditions(wind_m_s=5.5)))
    analysis.verdict.lead
    analysis.with_(shutter_s=60.0).movement

Command line, page, card, contact sheet and log read their answers off an `Analysis` and compute nothing themselves.
Each part is worked out on first use and kept; another wish redoes only what depends on it (`DEPENDS_ON`). Everything
is judged at one size, `WORKING_SIDE_PX` on the long side, from the same pixels; only the finished picture is also made
at the snap's own size (`full_rendering`), from the same answer of the network.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any, TypeVar

import numpy as np

from irpreview import installation
from irpreview.core.exposure.asked_time import AskedTime
from irpreview.core.exposure.focus import with_lens
from irpreview.core.exposure.white_balance import ReadingPatch, patch_for_white_balance
from irpreview.core.framing.search import find_framings
from irpreview.core.imaging.picture_geometry import ASSUMED_FOCAL_35MM_MM, pixels_per_radian
from irpreview.core.imaging.resize import within
from irpreview.core.light.coarse_sun import same_sun, without_its_place
from irpreview.core.light.light_plan import LightPlan, plan_light
from irpreview.core.motion.blur import in_snap_framing, movement_at
from irpreview.core.motion.motion_rendering import picture_in_motion
from irpreview.core.motion.motion_stage import Stage, prepare_stage
from irpreview.core.motion.rates import Rates, rates_of_motion
from irpreview.core.motion.scene_geometry import SceneGeometry
from irpreview.core.rendering.class_physics import water_roughness
from irpreview.core.rendering.finishing import finish, print_of
from irpreview.core.scene.scene_map import at_photo_size
from irpreview.core.verdict.judging import Parted, judge_parted, part_scene
from irpreview.dependencies import ASKED_BY, ASPECTS, WITHOUT_LIGHT, same
from irpreview.errors import BadValue, IrpreviewError
from irpreview.records import (
    WORKING_SIDE_PX,
    ByteArray,
    ClassMovement,
    Conditions,
    Doubt,
    Exposure,
    FocusAdvice,
    Kit,
    Light,
    LightBy,
    LightKnown,
    Movement,
    Photo,
    Rendering,
    SceneMap,
    Setting,
    Shot,
    ShutterUnknown,
    SunBelowHorizon,
    Taught,
    Verdict,
    frozen_array,
)
from irpreview.records.framing import Frame, Framing, Framings
from irpreview.request import Request
from irpreview.steps import (
    Hour,
    asked_time_of,
    corrected,
    exposure_of,
    hours_of,
    in_planned_light,
    light_at,
    rendering_of,
    seen,
    taught_kit,
)

T = TypeVar("T")

SHUTTER_WITHOUT_LIGHT_S = 30.0
"""Movement is told for this time where no exposure could be worked out."""
LOWEST_SUN_DEG = 1.0
"""Below this the model of daylight says nothing; a photo whose clock claims so has a wrong clock or zone."""
MOTION_SIDE_PX = 640
"""Long side of the picture that answers the sliders, small enough to answer at once."""
DAYS_AHEAD = 14


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
        changed = {f.name for f in fields(Request) if not same(getattr(request, f.name), getattr(self.request, f.name))}
        changed |= {name for name, of in ASPECTS.items() if of(request) != of(self.request)}
        kept = {name: value for name, value in self._kept.items() if not ASKED_BY[name] & changed}
        return Analysis(self.full_photo, request, kept)

    def without_place(self) -> Analysis:
        """The analysis to hand on without its place: what it says is the same wherever the snap was taken, for no place
        goes into it; only a light planned by place and hour keeps its sun, in coarse steps. The very same where there
        is no place to leave out.
        """
        photo = self.photo
        light = without_its_place(self.light, photo.heading_deg)
        if photo.place is None and same_sun(light, self.light):
            return self
        kept = {name: value for name, value in self._kept.items() if name in WITHOUT_LIGHT and name != "photo"}
        kept |= {"light": light, "snap_light": without_its_place(self.snap_light, photo.heading_deg)}
        return Analysis(replace(self.full_photo, place=None), replace(self.request, place=None), kept)

    def _once(self, name: str, work: Callable[[], T]) -> T:
        if name not in self._kept:
            self._kept[name] = work()
        answer: T = self._kept[name]
        return answer

    # ---- what is in the picture -------------------------------------------------------------------------------------

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
        return self._once("bare_scene", lambda: seen(self.photo, installation.scene_network()))

    @property
    def scene(self) -> SceneMap:
        """What is where, as corrected."""
        return self._once("scene", lambda: corrected(self.bare_scene, self.request.corrections))

    @property
    def full_scene(self) -> SceneMap:
        """What is where, as corrected, with label and confidence at the snap's own size."""
        return self._once(
            "full_scene",
            lambda: corrected(at_photo_size(self.bare_scene, self.full_photo), self.request.corrections),
        )

    # ---- light and kit ----------------------------------------------------------------------------------------------

    @property
    def snap_light(self) -> Light:
        """The light in which the snap was taken; where place and time are not known or give no sun, an assumed one."""
        return self._once("snap_light", self._snap_light)

    def _snap_light(self) -> Light:
        photo, day = self.photo, self.request.conditions
        try:
            light = light_at(photo.place, photo.taken_at, photo.heading_deg, day)
        except BadValue:
            light = None
        if light is None or light.sun_height_deg < LOWEST_SUN_DEG:
            return replace(light_at(None, None, None, day), known=LightKnown(LightBy.ASSUMED_NO_DAYLIGHT))
        return light

    @property
    def light(self) -> Light:
        """The light that everything is told in: the snap's own, or the planned one. Raises BadValue for a planned one
        without daylight.
        """
        return self._once("light", self._light)

    def _light(self) -> Light:
        return in_planned_light(self.request.planned, self.snap_light, self.photo.place, self.photo.heading_deg)

    @property
    def taught(self) -> Taught:
        """The kit, with what the field log taught where the request holds lessons, and what is to be said of them."""
        return self._once("taught", lambda: taught_kit(self.request, self.light))

    @property
    def kit(self) -> Kit:
        """The kit that everything is told for."""
        return self.taught.kit

    @property
    def lessons_used(self) -> bool:
        """Whether the field log changed the kit."""
        return self.request.lessons is not None and self.kit != (self.request.kit or installation.default_kit())

    # ---- the picture ------------------------------------------------------------------------------------------------

    @property
    def rendering(self) -> Rendering:
        """The infrared picture at the analysis' size."""
        return self._once("rendering", lambda: self._render(self.photo))

    @property
    def full_rendering(self) -> Rendering:
        """The same at the snap's own size."""
        if self.full_photo.pixels.shape == self.photo.pixels.shape:
            return self.rendering
        return self._once("full_rendering", lambda: self._render(self.full_photo))

    def _render(self, photo: Photo) -> Rendering:
        asked, here = self.request, self.photo
        photo = replace(photo, place=here.place, taken_at=here.taken_at, heading_deg=here.heading_deg)
        return rendering_of(
            photo,
            self.scene,
            self.kit,
            self.light,
            self.snap_light,
            conditions=asked.conditions,
            grade=asked.grade,
            film_look=asked.film_look,
        )

    @property
    def stage(self) -> Stage:
        """The infrared picture in layers that can move, small enough to answer a slider at once."""
        return self._once("stage", lambda: prepare_stage(within(self.rendering.tones, MOTION_SIDE_PX), self.scene))

    def motion_picture(self, side_px: int = MOTION_SIDE_PX) -> ByteArray:
        """The finished infrared picture (h, w) with its movement, in the snap's own framing and its still print.

        side_px: at most so long; beyond `MOTION_SIDE_PX` it is made from the picture at the snap's own size.
        """
        if side_px <= MOTION_SIDE_PX:
            tones, stage = self.stage.tones, self.stage
        else:
            tones, stage = within(self.full_rendering.tones, side_px), None
        movement = movement_at(in_snap_framing(self.rates), self.shutter_s)
        focal = self.photo.shot.focal_35mm_mm or ASSUMED_FOCAL_35MM_MM
        moved = picture_in_motion(tones, self.scene, movement, stage=stage, focal_35mm_mm=focal)
        return finish(np.sqrt(np.maximum(moved, 0)), grade=self.request.grade, curve=print_of(self.rendering))

    # ---- movement and exposure --------------------------------------------------------------------------------------

    @property
    def rates(self) -> Rates:
        """How fast everything moves, before any shutter time, in pixels of the snap at its own size."""
        return self._once("rates", lambda: self._rates(self.request.conditions, with_clip=True))

    def _geometry(self) -> SceneGeometry:
        height, width = size = self.photo.full_size
        focal = self.photo.shot.focal_35mm_mm or self.request.conditions.focal_35mm_mm or ASSUMED_FOCAL_35MM_MM
        return SceneGeometry(self.scene, size, pixels_per_radian(width, height, focal))

    def _rates(self, conditions: Conditions, *, with_clip: bool) -> Rates:
        return rates_of_motion(
            self.scene,
            conditions,
            self.photo,
            clip=self.request.clip if with_clip else None,
            crisp=self.request.crisp,
            size=self.photo.full_size,
            geometry=self._once("geometry", self._geometry),
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
        asked, light, photo = self.request, self.light, self.photo
        if light.planned:  # in another light than the snap's own, what its phone metered says nothing
            photo = replace(photo, shot=Shot(focal_35mm_mm=photo.shot.focal_35mm_mm))
        moves = self.rates if self.rates.wind_known or asked.clip is not None else None
        try:
            return exposure_of(
                photo,
                self.kit,
                light,
                asked,
                rendering=self.rendering,
                scene=self.scene,
                # how long each class holds is not asked there
                movement_at=None if moves is None else (lambda s: movement_at(moves, s, with_limits=False)),
            )
        except IrpreviewError as error:
            return error

    @property
    def setting(self) -> Setting | None:
        """What to set: for the shutter time asked for where the kit reaches it, else the recommended; None without."""
        if self.why_no_exposure is not None:
            return None
        asked = self.asked_time
        return self.exposure.recommended if asked is None else asked.setting

    @property
    def focus(self) -> FocusAdvice | None:
        """Where to focus for the whole snap at the aperture of `setting`; None without an exposure."""
        if self.why_no_exposure is not None:
            return None
        advice, setting = self.exposure.focus, self.setting
        if advice is None or setting is None or setting.f_number == advice.f_number:
            return advice
        return with_lens(advice, self.kit, advice.focal_mm, setting.f_number)

    @property
    def asked_time(self) -> AskedTime | None:
        """What the kit can set at the time asked for; None without an exposure or where no time was asked for."""
        if self.why_no_exposure is not None:
            return None
        return asked_time_of(self.exposure, self.kit, self.request)

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

    @property
    def foliage_movement(self) -> ClassMovement | None:
        """Movement of the leaves, of the trees or the grass, whichever moves more; None where there are none."""
        found = [self.movement.classes[name] for name in ("tree", "grass") if name in self.movement.classes]
        return max(found, key=lambda move: move.blur_px.likely) if found else None

    # ---- the verdict ------------------------------------------------------------------------------------------------

    @property
    def verdict(self) -> Verdict:
        """Layers, their tonal separation, sky and lead."""
        return self._once("verdict", self._verdict)

    def _verdict(self) -> Verdict:
        return judge_parted(self._parted, self.request.conditions, self.movement, self._movement_at_wind)

    @property
    def _parted(self) -> Parted:
        grade = self.request.grade
        return self._once("parted", lambda: part_scene(self.photo, self.scene, self.rendering, grade))

    @property
    def framings(self) -> Framings:
        """Three to five pictures to make from here with the kit's lenses, best first."""
        return self._once("framings", self._framings)

    def _framings(self) -> Framings:
        focal = self.photo.shot.focal_35mm_mm or ASSUMED_FOCAL_35MM_MM
        found = find_framings(
            self._parted,
            self.scene,
            self.rates,
            self._once("geometry", self._geometry),
            self.shutter_s,
            self.request.conditions,
            self.kit,
            focal,
            self.verdict,
        )
        return replace(found, best=tuple(replace(one, focus=self._focus_for(one.frame)) for one in found.best))

    def _focus_for(self, frame: Frame) -> FocusAdvice | None:
        """Where to focus with the lens of a framing."""
        focus = self.focus
        if focus is None:
            return None
        return with_lens(focus, self.kit, frame.lens_mm, focus.f_number, frame.sensor_share)

    def framing_picture(self, framing: Framing, side_px: int = WORKING_SIDE_PX) -> ByteArray:
        """The infrared picture (h, w) inside a framing, in the snap's own print, at most so long [px].

        Cut from the picture at the analysis' size, or, where that holds too few pixels and it was made already, from
        the one at the snap's own size.
        """
        whole = self.rendering.picture
        left, top, right, bottom = framing.frame.box_px(whole.shape[1], whole.shape[0])
        if max(right - left, bottom - top) < side_px and "full_rendering" in self._kept:
            whole = self.full_rendering.picture
            left, top, right, bottom = framing.frame.box_px(whole.shape[1], whole.shape[0])
        return frozen_array(within(np.ascontiguousarray(whole[top:bottom, left:right]), side_px))

    def _movement_at_wind(self, wind_m_s: float) -> Movement:
        """What the shutter time would make of another mean wind [m/s], by the wind table."""
        day = self.request.conditions
        if wind_m_s != day.wind_m_s:
            day = replace(day, wind_m_s=wind_m_s, gust_m_s=None)
        return movement_at(self._rates(day, with_clip=False), self.shutter_s)

    def in_wind(self, wind_m_s: float) -> Analysis:
        """The analysis of the same request in another mean wind [m/s]: what is asked again with that wind, and kept."""
        if wind_m_s == self.request.conditions.wind_m_s:
            return self
        known: dict[float, Analysis] = self._once("winds", dict)
        if wind_m_s not in known:
            day = replace(self.request.conditions, wind_m_s=wind_m_s, gust_m_s=None)
            rough = water_roughness(day)
            like = [one for one in known.values() if water_roughness(one.request.conditions) == rough]
            known[wind_m_s] = (like[0] if like else self).with_(conditions=day)
        return known[wind_m_s]

    # ---- beside the picture -----------------------------------------------------------------------------------------

    @property
    def white_patch(self) -> ReadingPatch | None:
        """Where to take the white balance, in pixels of the snap; None where nothing green stands in the sun."""
        return self._once("white_patch", self._white_patch)

    def _white_patch(self) -> ReadingPatch | None:
        found, here = patch_for_white_balance(self.photo, self.scene), self.photo
        if found is None:
            return None
        down, right = here.full_size[0] / here.height, here.full_size[1] / here.width
        return replace(
            found,
            x=round(found.x * right),
            y=round(found.y * down),
            width=max(1, int(found.width * right)),
            height=max(1, int(found.height * down)),
        )

    @property
    def doubts(self) -> tuple[Doubt, ...]:
        """Why to doubt what is told of this snap, each once."""
        said: list[Doubt] = [*self.full_photo.doubts, *self.taught.doubts, *self.rendering.doubts]
        light, photo = self.light, self.photo
        if (
            light.sun_bearing_deg is None
            and not light.planned
            and photo.place is not None
            and photo.taken_at is not None
        ):
            said.append(SunBelowHorizon())
        if self.request.shutter_s is None and self.why_no_exposure is not None:
            said.append(ShutterUnknown(str(self.why_no_exposure)))
        return tuple(dict.fromkeys(said))

    @property
    def day_plan(self) -> LightPlan | None:
        """The light of the snap's day and of the two weeks from it; None without place or day."""
        return self._once("day_plan", self._day_plan)

    def _day_plan(self) -> LightPlan | None:
        place, when, day = self.photo.place, self.photo.taken_at, self.request.conditions
        if place is None or when is None:
            return None
        return plan_light(
            place,
            when.date(),
            when.strftime("%z"),
            self.kit,
            installation.load_tables(),
            heading_deg=self.photo.heading_deg,
            days=DAYS_AHEAD,
            haze=day.haze if day.haze != "unknown" else "normal",
            focal_35mm_mm=day.focal_35mm_mm or self.photo.shot.focal_35mm_mm,
        )

    @property
    def hours(self) -> tuple[Hour, ...]:
        """The light at each full hour of the snap's day, clear sky or the sky entered; empty without place or day."""
        return self._once("hours", self._hours)

    def _hours(self) -> tuple[Hour, ...]:
        photo = self.photo
        if photo.place is None or photo.taken_at is None:
            return ()
        best = self.exposure.recommended if self.why_no_exposure is None else None
        return hours_of(photo.place, photo.taken_at, self.light, self.request.conditions, best)


def analyse(photo: Photo, request: Request | None = None) -> Analysis:
    """All answers about a snap, each worked out when it is first asked for."""
    return Analysis(photo, request or Request())
