"""Where the sun stands for the place and time that the file will carry."""

import math

import pandas
import pvlib


def position(place, when):
    """(height, bearing) in degrees, refraction in; pvlib, NREL SPA."""
    table = pvlib.solarposition.get_solarposition(pandas.DatetimeIndex([when]), place[0], place[1], altitude=0)
    return float(table["apparent_elevation"].iloc[0]), float(table["azimuth"].iloc[0])


def vector(height_deg, from_view_deg):
    """Unit vector to the sun in the scene's frame (x right, y ahead, z up)."""
    h, a = math.radians(height_deg), math.radians(from_view_deg)
    return math.sin(a) * math.cos(h), math.cos(a) * math.cos(h), math.sin(h)


def side(from_view_deg):
    """Where the sun stands as seen from the camera: ahead, side or behind_camera."""
    away = abs((from_view_deg + 180) % 360 - 180)
    return "ahead" if away < 45 else "behind_camera" if away > 135 else "side"
