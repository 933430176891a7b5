"""What the documents tell a person to type, taken out of them."""

from __future__ import annotations

import re
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
DOCS = CHECKOUT / "irpreview" / "docs"
README = CHECKOUT / "README.md"
GUIDE = DOCS / "guide.md"


def typed_commands(path: Path) -> list[str]:
    """Whole `irpreview ...` commands in the order in which they stand: lines of blocks, and code in table cells."""
    found, in_block = [], False
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("```"):
            in_block = not in_block
        elif in_block and line.startswith("irpreview "):
            found.append(line.strip())
        elif line.startswith("|"):
            found += [code for code in re.findall(r"`([^`]+)`", line) if code.startswith("irpreview ")]
    return found


def links(path: Path) -> list[str]:
    """Targets of links and pictures inside the project."""
    text = path.read_text(encoding="utf-8")
    found = re.findall(r"\]\(([^)#\s]+)\)", text) + re.findall(r'src="([^"]+)"', text)
    return [target for target in found if "://" not in target]
