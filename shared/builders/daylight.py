"""Bake clear-sky spectra of pvlib's SPECTRL2: sun height x aerosol x wavelength.

Table `daylight.csv`, W/m2/nm: `extraterrestrial`, then `direct_HH_AAA` (beam on a horizontal surface) and
`sky_HH_AAA` (diffuse on a horizontal surface), HH = sun height [degrees], AAA = 1000 x aerosol optical depth at 500 nm.
Atmosphere: water 1.5 cm, ozone 0.33 atm-cm, ground albedo 0.2, sea level, day 172 (clear mid-latitude summer).
"""

from __future__ import annotations

import numpy as np
from common import box_on_grid, write_csv
from pvlib import atmosphere, spectrum

HEIGHTS_DEG = (1, 2, 3, 5, 7, 10, 15, 20, 30, 45, 60, 75, 90)
AODS = (0.05, 0.1, 0.2, 0.3, 0.5)
WATER_CM, OZONE_ATM_CM, ALBEDO, PRESSURE_PA, DAY = 1.5, 0.33, 0.2, 101325.0, 172

SOURCE = {
    "what": "clear-sky direct and diffuse spectral irradiance, simple spectral model SPECTRL2",
    "who": "R. Bird and C. Riordan, model; pvlib 0.16.1, code",
    "year": "1984",
    "licence": "BSD-3-Clause (pvlib); values computed by us",
    "how": (
        "shared/builders/daylight.py: water 1.5 cm, ozone 0.33 atm-cm, albedo 0.2, sea level, day 172; "
        "outside comfortable validity below 10 degrees of sun height"
    ),
}


def spectra(height_deg, aod, water_cm=WATER_CM):
    zenith = 90.0 - height_deg
    airmass = float(atmosphere.get_relative_airmass(zenith, model="kasten1966"))
    return spectrum.spectrl2(
        zenith, zenith, 0.0, ALBEDO, PRESSURE_PA, airmass, water_cm, OZONE_ATM_CM, aod, dayofyear=DAY
    )


def build():
    columns = {}
    for height in HEIGHTS_DEG:
        for aod in AODS:
            s = spectra(height, aod)
            w = np.asarray(s["wavelength"])
            if not columns:
                columns["extraterrestrial"] = box_on_grid(w, np.ravel(s["dni_extra"]))
            key = f"{height:02d}_{round(1000 * aod):03d}"
            columns[f"direct_{key}"] = box_on_grid(w, np.ravel(s["poa_direct"]))
            columns[f"sky_{key}"] = box_on_grid(w, np.ravel(s["poa_sky_diffuse"]))
    write_csv("daylight.csv", columns, digits=5)
    return {"daylight": SOURCE}


if __name__ == "__main__":
    build()
