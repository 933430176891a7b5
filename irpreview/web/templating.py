"""Templates of the page, autoescaped; nothing else makes markup."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape

from irpreview.core.words.phrases import held


@lru_cache(maxsize=1)
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("irpreview.web", "templates"),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["held"] = held
    return made


def filled(name: str, /, **facts: Any) -> str:
    """A template of the page with its facts filled in."""
    text: str = _environment().get_template(name).render(**facts)
    return text
