"""Depth of field, hyperfocal distance and the infrared focus shift.

Hyperfocal H = f^2 / (N c) + f and the usual near and far limits (any handbook of photographic optics). The blur allowed
on the sensor is the format's diagonal / 1500: 0.029 mm on 36 x 24 mm, sharp on a print seen from 25 cm.
"""

from __future__ import annotations

import math

import numpy as np

from irpreview.core.exposure.metering import check_f_number
from irpreview.core.light.optics import airy_diameter_um
from irpreview.errors import BadValue
from irpreview.records import FocusAdvice, Kit, Range

SHIFT_WAVELENGTH_NM = (550.0, 650.0, 720.0, 800.0, 850.0, 900.0)
SHIFT_SHARE = (0.0, 0.0005, 0.0013, 0.0024, 0.0032, 0.0040)
"""Shift over focal length for a crown and flint doublet corrected at F and C, thin lens, from Sellmeier data;
0.25 % of the focal length is the old rule of thumb. A real lens may differ by half or double, and in sign."""
FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)


def diagonal_mm(kit: Kit) -> float:
    """Diagonal of the kit's sensor [mm]."""
    return math.hypot(kit.format_width_mm, kit.format_height_mm)


def blur_circle_mm(kit: Kit) -> float:
    """Blur allowed on the sensor [mm]: diagonal / 1500."""
    return diagonal_mm(kit) / 1500.0


def focal_on_kit_mm(kit: Kit, focal_35mm_mm: float) -> float:
    """Real focal length on the kit's format that frames like `focal_35mm_mm` does on 36 x 24 mm [mm]."""
    return focal_35mm_mm * diagonal_mm(kit) / FULL_FRAME_DIAGONAL_MM


def hyperfocal_m(focal_mm: float, f_number: float, circle_mm: float) -> float:
    """Focused here, all from half of it to infinity is sharp [m]."""
    _check_focal(focal_mm)
    return (focal_mm**2 / (check_f_number(f_number) * circle_mm) + focal_mm) / 1000.0


def depth_of_field_m(focal_mm: float, f_number: float, distance_m: float, circle_mm: float) -> tuple[float, float]:
    """Near and far limit of what is sharp when focused at `distance_m` [m]; far may be infinite."""
    if not distance_m > focal_mm / 1000.0:
        raise BadValue(
            f"focus distance {distance_m:g} m is not beyond the focal length of {focal_mm:g} mm; give a distance in "
            "metres, such as 3"
        )
    hyperfocal = hyperfocal_m(focal_mm, f_number, circle_mm)
    f = focal_mm / 1000.0
    near = distance_m * (hyperfocal - f) / (hyperfocal + distance_m - 2.0 * f)
    far = math.inf if distance_m >= hyperfocal else distance_m * (hyperfocal - f) / (hyperfocal - distance_m)
    return near, far


def f_number_for_depth(focal_mm: float, near_m: float, circle_mm: float) -> float:
    """Least f-number that holds `near_m` to infinity sharp (focused at twice `near_m`)."""
    _check_focal(focal_mm)
    if not near_m > 0:
        raise BadValue(f"nearest distance {near_m:g} m must be above 0 m; give the distance to the nearest thing")
    return focal_mm**2 / (max(2000.0 * near_m - focal_mm, 1e-6) * circle_mm)


def infrared_shift_mm(focal_mm: float, wavelength_nm: float) -> Range:
    """How far the image falls behind the visible focus [mm]: a share of the focal length, from half to double."""
    _check_focal(focal_mm)
    share = float(np.interp(wavelength_nm, SHIFT_WAVELENGTH_NM, SHIFT_SHARE))
    return Range(0.5 * share * focal_mm, share * focal_mm, 2.0 * share * focal_mm)


def shift_is_covered(shift_mm: float, f_number: float, circle_mm: float) -> bool:
    """Whether depth of focus (N c to either side of the sensor) takes up the shift."""
    return abs(shift_mm) <= f_number * circle_mm


def focus_advice(
    kit: Kit,
    focal_mm: float,
    f_number: float,
    wavelength_nm: float,
    nearest_m: float | None = None,
    sensor_share: float = 1.0,
) -> FocusAdvice:
    """Where to focus and what to do about the infrared shift.

    sensor_share: long side of the picture over that of the sensor: what is cut out is enlarged more for the same
    print, so that less blur is allowed on the sensor.
    """
    circle = blur_circle_mm(kit) * sensor_share
    hyperfocal = hyperfocal_m(focal_mm, f_number, circle)
    shift = infrared_shift_mm(focal_mm, wavelength_nm)
    covered = shift_is_covered(shift.likely, f_number, circle)
    surely = shift_is_covered(shift.high, f_number, circle)
    distance = hyperfocal
    if nearest_m is not None and nearest_m < hyperfocal / 2.0:
        distance = min(hyperfocal, 2.0 * nearest_m)
    near, far = depth_of_field_m(focal_mm, f_number, distance, circle)
    wanted = None if nearest_m is None else f_number_for_depth(focal_mm, nearest_m, circle)
    return FocusAdvice(
        focal_mm=focal_mm,
        f_number=f_number,
        hyperfocal_m=hyperfocal,
        focus_at_m=distance,
        near_m=near,
        far_m=None if math.isinf(far) else far,
        blur_circle_mm=circle,
        airy_um=airy_diameter_um(wavelength_nm, f_number),
        band_nm=wavelength_nm,
        shift_mm=shift,
        shift_covered="yes" if surely else "likely" if covered else "no",
        through_filter=kit.focus == "on_sensor",
        needs_f_number=wanted,
        nearest_m=nearest_m,
    )


def with_lens(
    advice: FocusAdvice, kit: Kit, focal_mm: float, f_number: float, sensor_share: float = 1.0
) -> FocusAdvice:
    """The same advice for another lens or aperture of the kit."""
    return focus_advice(kit, focal_mm, f_number, advice.band_nm, advice.nearest_m, sensor_share)


def _check_focal(focal_mm: float) -> None:
    if not (1.0 <= focal_mm <= 3000.0):
        raise BadValue(f"focal length {focal_mm:g} mm is outside 1 to 3000 mm; give the focal length on the lens")
