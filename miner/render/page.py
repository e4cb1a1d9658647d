"""Puts a page together: template, looks, script, and a policy that allows nothing else."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib import resources
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from miner.render.figures.inline import Styles
from miner.render.figures.paper import PALETTE

MARK = '<meta name="generator" content="miner">'
# The same names as the palette the figures are drawn in.
DARK = {
    "paper": "#1c1b19",
    "ink": "#ece7dc",
    "soft": "#b3ac9d",
    "line": "#4b473f",
    "one": "#a9b5f2",
    "two": "#efb36d",
}


@cache
def _environment() -> Environment:
    return Environment(
        loader=PackageLoader("miner.render", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def fill(template: str, styles: Styles, **context: Any) -> str:
    """Return a whole page.

    Args:
        template: a file of ``templates/``.
        styles: the looks its figures use.
        context: what the template asks for; text is escaped.
    """
    looks = f"{_themes()}\n{_read('page.css')}\n{styles.css()}\n"
    script = _read("page.js")
    return (
        _environment()
        .get_template(template)
        .render(
            looks=Markup(looks),  # noqa: S704 - our own files and the figures' looks
            script=Markup(script),  # noqa: S704 - our own file
            policy=_policy(looks, script),
            **context,
        )
    )


def _read(name: str) -> str:
    return (resources.files("miner.render") / "templates" / name).read_text(encoding="utf-8")


def _themes() -> str:
    light = "".join(f"--{name}:{value};" for name, value in PALETTE.items())
    dark = "".join(f"--{name}:{value};" for name, value in DARK.items())
    return (
        f":root{{{light}color-scheme:light dark}}\n"
        f"@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}"
    )


def _policy(looks: str, script: str) -> str:
    allowed = {"script-src": script, "style-src": looks}
    hashes = "; ".join(f"{kind} 'sha256-{_sha(text)}'" for kind, text in allowed.items())
    return f"default-src 'none'; {hashes}; base-uri 'none'; form-action 'none'"


def _sha(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
