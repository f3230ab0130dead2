"""The templates of the pages: everything is escaped but what a renderer of ours made."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, Template


@cache
def page_template(name: str) -> Template:
    """Return a template of the folder `templates`."""
    folder = PackageLoader("airstats.documents", "templates")
    pages = Environment(loader=folder, autoescape=True, trim_blocks=True, lstrip_blocks=True)
    return pages.get_template(name)
