"""What each material reflects in the six bands of the generator, apart from every table of the prediction.

Bands [nm], box averages: red 580-660, green 510-580, blue 430-500; infrared 720-760, 760-840, 840-920.

Sources. Leaves and blades: PROSPECT-D (package progeosail) run here at leaf level with the parameters below; the
canopy comes from tracing rays through leaves that stand in space, not from a canopy model. Minerals, dry grass, bark,
slate, tile, paint: the shape of ASTER / ECOSTRESS library and USGS splib07 samples of that name, typed in from memory
to two digits and not checked against the files. Water body: pure-water absorption with a little gelbstoff, from memory.
"""

from functools import cache

import numpy as np
import progeosail

RED_GREEN_BLUE_NM = ((580, 660), (510, 580), (430, 500))
INFRARED_NM = ((720, 760), (760, 840), (840, 920))
INFRARED_CENTRE_NM = (740.0, 800.0, 880.0)

KIT_WEIGHTS = {
    # Long-pass x silicon response x photons x sunlight, rounded; an unmodified body (cut filter flat at its
    # floor beyond 700 nm) sees the same band, only many stops weaker.
    "unmodified-720": (0.40, 0.40, 0.20),
    "converted-720": (0.37, 0.41, 0.22),
    "converted-850": (0.00, 0.12, 0.88),
}

LEAVES = {
    # N layers, chlorophyll, carotenoid [ug/cm2], brown pigment, water [cm], dry matter [g/cm2], anthocyanin [ug/cm2]
    "oak": (1.6, 46.0, 9.0, 0.02, 0.011, 0.0085, 0.0),
    "hazel": (1.45, 38.0, 8.0, 0.0, 0.010, 0.0055, 0.0),
    "needle": (2.3, 52.0, 11.0, 0.25, 0.016, 0.019, 0.0),
    "blade_fresh": (1.5, 44.0, 8.0, 0.05, 0.013, 0.0050, 0.0),
    "blade_old": (1.8, 22.0, 8.0, 0.70, 0.009, 0.0060, 0.0),
    "autumn_yellow": (1.6, 7.0, 9.5, 0.15, 0.009, 0.0060, 0.5),
    "autumn_russet": (1.6, 6.0, 8.0, 0.75, 0.007, 0.0065, 4.5),
    "ivy": (1.9, 58.0, 12.0, 0.0, 0.014, 0.0100, 0.0),
}

# (red, green, blue), (740, 800, 880)
MINERALS = {
    "sandstone_dark": ((0.20, 0.170, 0.130), (0.265, 0.275, 0.285)),
    "sandstone_middle": ((0.30, 0.260, 0.205), (0.370, 0.380, 0.390)),
    "sandstone_light": ((0.40, 0.345, 0.270), (0.475, 0.485, 0.495)),
    "granite_dark": ((0.15, 0.145, 0.135), (0.170, 0.175, 0.180)),
    "granite_light": ((0.31, 0.295, 0.270), (0.345, 0.350, 0.355)),
    "lichen": ((0.33, 0.330, 0.260), (0.450, 0.480, 0.500)),
    "mortar_dark": ((0.23, 0.210, 0.170), (0.285, 0.295, 0.300)),
    "mortar_light": ((0.37, 0.340, 0.290), (0.425, 0.435, 0.440)),
    "chalk_dark": ((0.58, 0.560, 0.500), (0.620, 0.625, 0.630)),
    "chalk_light": ((0.74, 0.725, 0.680), (0.765, 0.770, 0.775)),
    "limewash": ((0.70, 0.680, 0.630), (0.725, 0.730, 0.735)),
    "limewash_worn": ((0.52, 0.490, 0.430), (0.560, 0.565, 0.570)),
    "slate": ((0.105, 0.105, 0.110), (0.115, 0.120, 0.125)),
    "slate_light": ((0.17, 0.172, 0.178), (0.185, 0.190, 0.195)),
    "tile": ((0.27, 0.125, 0.075), (0.350, 0.360, 0.355)),
    "tile_dark": ((0.17, 0.085, 0.055), (0.240, 0.250, 0.250)),
    "timber": ((0.13, 0.095, 0.065), (0.270, 0.320, 0.370)),
    "paint_green": ((0.03, 0.075, 0.050), (0.300, 0.420, 0.480)),
    "glass": ((0.030, 0.032, 0.035), (0.030, 0.030, 0.030)),
    "soil_dark": ((0.15, 0.112, 0.074), (0.215, 0.240, 0.265)),
    "soil_light": ((0.31, 0.255, 0.185), (0.385, 0.410, 0.435)),
    "gravel_dark": ((0.20, 0.185, 0.160), (0.235, 0.240, 0.245)),
    "gravel_light": ((0.37, 0.345, 0.300), (0.420, 0.425, 0.430)),
    "asphalt_dark": ((0.085, 0.083, 0.080), (0.098, 0.101, 0.105)),
    "asphalt_light": ((0.15, 0.147, 0.140), (0.170, 0.173, 0.178)),
    "mud_dark": ((0.10, 0.085, 0.062), (0.125, 0.130, 0.135)),
    "mud_light": ((0.19, 0.165, 0.130), (0.240, 0.250, 0.255)),
    "bark_dark": ((0.060, 0.050, 0.040), (0.190, 0.230, 0.280)),
    "bark_light": ((0.150, 0.130, 0.105), (0.300, 0.345, 0.400)),
    "straw": ((0.36, 0.285, 0.165), (0.430, 0.465, 0.500)),
    "straw_dark": ((0.20, 0.155, 0.090), (0.285, 0.325, 0.370)),
    "heather": ((0.085, 0.062, 0.060), (0.210, 0.250, 0.280)),
    "petal_white": ((0.62, 0.600, 0.560), (0.640, 0.650, 0.650)),
    "petal_yellow": ((0.62, 0.480, 0.050), (0.660, 0.670, 0.670)),
    "petal_violet": ((0.28, 0.110, 0.330), (0.560, 0.600, 0.610)),
    "water_body": ((0.010, 0.022, 0.026), (0.0040, 0.0030, 0.0015)),
    "sea_body": ((0.009, 0.030, 0.046), (0.0040, 0.0030, 0.0015)),
    # ground under far woods and meadows, where no leaf is drawn: a mean of crown and shade
    "far_wood_dark": ((0.016, 0.026, 0.012), (0.180, 0.230, 0.250)),
    "far_wood_light": ((0.040, 0.060, 0.024), (0.290, 0.350, 0.370)),
    "far_meadow_dark": ((0.060, 0.082, 0.032), (0.290, 0.380, 0.400)),
    "far_meadow_light": ((0.125, 0.130, 0.058), (0.350, 0.420, 0.445)),
    "far_straw_dark": ((0.190, 0.150, 0.082), (0.270, 0.310, 0.345)),
    "far_straw_light": ((0.300, 0.245, 0.140), (0.370, 0.405, 0.440)),
    "far_autumn_dark": ((0.070, 0.040, 0.014), (0.210, 0.260, 0.290)),
    "far_autumn_light": ((0.170, 0.105, 0.030), (0.320, 0.360, 0.390)),
}


def _band_means(wavelength_nm, value, bands):
    return tuple(float(value[(wavelength_nm >= a) & (wavelength_nm <= b)].mean()) for a, b in bands)


@cache
def leaf(name):
    """((visible reflectance, infrared reflectance), (visible transmittance, infrared transmittance)) of one leaf."""
    n, chlorophyll, carotenoid, brown, water, dry, anthocyanin = LEAVES[name]
    wavelength, reflected, passed = progeosail.run_prospect(
        n, chlorophyll, carotenoid, brown, water, dry, ant=anthocyanin, prospect_version="D"
    )
    wavelength = np.asarray(wavelength)
    return tuple(
        (_band_means(wavelength, np.asarray(v), RED_GREEN_BLUE_NM), _band_means(wavelength, np.asarray(v), INFRARED_NM))
        for v in (reflected, passed)
    )


def mineral(name):
    """(visible RGB, infrared three bands) reflectance of an opaque material."""
    return MINERALS[name]


def scaled(pair, factor):
    """The same material lighter or darker by a factor, in all bands."""
    return tuple(tuple(min(0.95, v * factor) for v in band) for band in pair)
