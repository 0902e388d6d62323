"""What the pages for people have in common: templates, their escaping, their hashes.

All foreign text is cleaned and escaped. The signs and the headline stand in ``signs.html``.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING, Any

from grouper.write.clean import shown
from grouper.write.verdict import many, sure_percent

if TYPE_CHECKING:
    from jinja2 import Template


def source_hash(text: str) -> str:
    """A style or script as a content security policy names it (W3C CSP Level 3)."""
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"'sha256-{digest}'"


@cache
def page_text(package: str, name: str) -> str:
    """A file that ships with a package."""
    return resources.files(package).joinpath(name).read_text("utf-8")


@cache
def page_template(package: str, name: str) -> Template:
    """A page's template; it may import what stands in ``grouper.write``."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined  # late: --help needs none

    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=FunctionLoader(lambda shared: page_text("grouper.write", shared)),
    )
    # What a page shows of foreign text is cleaned first and escaped after.
    environment.finalize = _clean
    environment.filters["many"] = many
    environment.filters["sure_percent"] = sure_percent
    return environment.from_string(page_text(package, name))


def _clean(value: Any) -> Any:
    """Plain strings with hidden characters made visible; trusted markup stays."""
    return shown(value) if type(value) is str else value
