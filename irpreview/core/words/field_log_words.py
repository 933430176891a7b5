"""What the field log tells, in words: what frames taught, how one differs from its prediction, a lens's hot spot."""

from __future__ import annotations

import math
from datetime import datetime

from irpreview.core.field_log.comparison import CLEAR_ZONES, Comparison, CorrectionCheck
from irpreview.core.field_log.hot_spot import LEAST_SPOT_STOPS, HotSpot
from irpreview.core.field_log.learning import LEAST_FRAMES, Learned
from irpreview.core.units import how_many
from irpreview.records import CLASS_WORDS

_CIRCUMSTANCE = {"shade": "open shade", "low_sun": "a low sun"}


def learned_words(kit_name: str, learned: Learned) -> tuple[str, ...]:
    """The factor, what circumstances change of it, and which frames do not count. kit_name: what to call the kit."""
    left = learned.left_out
    out = [*_factor_words(kit_name, learned)]
    if left.other_kit:
        out.append(f"{how_many(left.other_kit, 'frame')} of {kit_name} had another filter or sensor in the kit then")
    if left.silent:
        lack = "lacks" if left.silent == 1 else "lack"
        out.append(f"{how_many(left.silent, 'frame')} {lack} the metered light, the exposure or how it came out")
    return tuple(out)


def _factor_words(kit_name: str, learned: Learned) -> list[str]:
    if not learned.told:
        return ["no frame in the log says anything yet"]
    f, p = learned.factor_stops, learned.prior_stops
    out = [
        f"{kit_name}: {f.likely:.2f} stops ({f.low:.2f} to {f.high:.2f}), {learned.source}; "
        f"without them {p.likely:.1f} ({p.low:.1f} to {p.high:.1f})"
    ]
    if learned.frames < LEAST_FRAMES:
        out.append(f"fewer than {LEAST_FRAMES} frames: mostly the estimate for this kind of kit still")
    if learned.changed_stops is not None and learned.changed_at is not None:
        day = datetime.fromtimestamp(learned.changed_at * 86400.0).date() if learned.changed_at > 1000.0 else None
        out.append(
            f"since {day or 'some frame'} the frames say {learned.changed_stops:+.1f} stops: was filter, camera or "
            f"meter changed? The {learned.left_out.before_change} frames before are left out"
        )
    for name, value in learned.circumstances.items():
        if learned.counts.get(name, 0) >= LEAST_FRAMES and (value.low > 0.0 or value.high < 0.0):
            words = _CIRCUMSTANCE.get(name) or CLASS_WORDS[name]
            more = "more" if value.likely > 0 else "less"
            out.append(
                f"{words}: {abs(value.likely):.1f} stops {more} than the model says, by {learned.counts[name]} frames"
            )
    if learned.set_aside:
        numbers = ", ".join(str(n) for n in learned.set_aside[:8])
        out.append(f"set aside because they disagree with the rest: frame {numbers}; check what was typed")
    return out


def check_words(check: CorrectionCheck) -> str:
    """Whether the personal correction helps on frames that it was not learned from."""
    verdict = "it helps" if check.helps else "it does not help"
    return (
        f"the personal correction, learned each time from the other pairs, brings the classes of your {check.pairs} "
        f"pairs from {check.before_zones:.2f} to {check.after_zones:.2f} zone of the prediction: {verdict}"
    )


def comparison_words(found: Comparison) -> tuple[str, ...]:
    """How surely the frame lies on the snap, and where its tones differ from the prediction, the largest part first."""
    placed, contrast = found.registration, found.contrast
    sure = "surely" if placed.confidence > 0.6 else "just"
    out = [
        f"the frame lies {sure} on the snap (turned {placed.turn_deg:+.1f} degrees, {placed.zoom:.2f} times its size); "
        f"tones differ by {found.mean_error_zones:.1f} zone in the mean, their order agrees by {found.rank:.2f} of 1"
    ]
    if abs(math.log2(contrast)) > 0.3:
        more = "softer" if contrast > 1 else "harder"
        out.append(
            f"the frame is {more} than the prediction ({1 / contrast:.1f} times its contrast): its tone curve or haze"
        )
    told: list[str] = []
    for part in sorted(
        (*found.classes.values(), *found.layers), key=lambda one: -abs(one.zones.likely) * math.sqrt(one.share)
    ):
        d = part.zones.likely
        if abs(d) >= CLEAR_ZONES and not any(part.name in name for name in told):
            told.append(part.name)
            way = "brighter" if d > 0 else "darker"
            out.append(
                f"{part.name}: {abs(d):.1f} zone {way} than predicted (zone {part.taken_zone:.1f}, "
                f"predicted {part.predicted_zone:.1f})"
            )
    if not told:
        out.append(f"no class differs by more than {CLEAR_ZONES:g} zone")
    return tuple(out)


def hot_spot_words(found: HotSpot) -> tuple[str, ...]:
    """Whether the lens shows a hot spot, how strong and wide it is, and what it does beside."""
    strength = found.strength_stops
    if not found.shows:
        out = [
            f"no hot spot: none above {max(strength.high, LEAST_SPOT_STOPS):.2f} stop in "
            f"{how_many(found.frames, 'frame')}"
        ]
    else:
        where = f"half as strong at {found.radius_share:.0%} of half the diagonal from its middle"
        if found.strength_told:
            out = [f"hot spot of {strength.likely:.2f} stop ({strength.low:.2f} to {strength.high:.2f}), {where}"]
        else:
            out = [
                f"hot spot, {where}; its strength stays open: between {strength.low:.2f} and {strength.high:.2f} stop"
            ]
        if not found.curve_known:
            out.append("the camera's tone curve is unknown: two exposures a stop apart, or a raw file, would tell more")
    way = "darker" if found.vignetting_stops < 0 else "brighter"
    out.append(f"corners {abs(found.vignetting_stops):.1f} stop {way} than the middle without it")
    return tuple(out)
