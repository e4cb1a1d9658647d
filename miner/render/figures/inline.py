"""Turns an SVG file into one that lives in a page: small, themed, and its marks can be reached."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from xml.etree import ElementTree

from markupsafe import Markup

from miner.render.figures.paper import PALETTE

_NUMBER = re.compile(r"-?\d+\.\d{3,}")
_NAMED = re.compile(r"(?:url\(#|^#)([^)]+)")
_COLOUR = {value: f"var(--{name})" for name, value in PALETTE.items()}
_FONT = re.compile(r"'[^']+'(?:, [^;]+)?")
_KEPT = {
    "id",
    "class",
    "d",
    "x",
    "y",
    "x1",
    "x2",
    "y1",
    "y2",
    "transform",
    "href",
    "clip-path",
    "viewBox",
    "width",
    "height",
}

MARK = "unit:"


@dataclass
class Styles:
    """The looks used by the figures of one page, each written once."""

    names: dict[str, str] = field(default_factory=dict)

    def name(self, style: str) -> str:
        """Return the class that stands for a look."""
        told = re.sub(r"#[0-9a-f]{6}", lambda found: _COLOUR.get(found[0], found[0]), style)
        told = _FONT.sub("var(--sans)", told) if "font" in told else told
        return self.names.setdefault(told, f"f{len(self.names)}")

    def css(self) -> str:
        """Return the rules."""
        return "\n".join(f".{name}{{{style}}}" for style, name in self.names.items())


def inline(svg: str, name: str, label: str, marks: Mapping[str, str], styles: Styles) -> Markup:
    """Return an SVG element for a page.

    Args:
        svg: as matplotlib writes it, with text as text.
        name: unlike that of any other figure of the page.
        label: what it shows, for those who cannot see it.
        marks: for each mark drawn with the id ``unit:KEY``, what it is, by KEY.
        styles: where the looks are collected.
    """
    root = ElementTree.fromstring(svg)  # noqa: S314 - written by the drawing library just now
    used = {
        found.group(1)
        for item in root.iter()
        for value in item.attrib.values()
        if (found := _NAMED.search(value)) is not None
    }
    _drop(root, {"metadata", "style"})
    for item in root.iter():
        _clean(item, name, used, styles)
    for item in root.iter("g"):
        key = item.attrib.pop("data-mark", None)
        if key is not None:
            _reachable(item, key, marks.get(key, key))
    width, height = (root.attrib.pop(side).removesuffix("pt") for side in ("width", "height"))
    root.attrib = {
        "viewBox": f"0 0 {width} {height}",
        "role": "group" if marks else "img",
        "aria-label": label,
        "class": f"figure {'marked' if marks else ''}".strip(),
    }
    text = ElementTree.tostring(root, encoding="unicode")
    return Markup(re.sub(r">\s+<", "><", text))  # noqa: S704 - drawn here, its words escaped


def _drop(root: ElementTree.Element, tags: set[str]) -> None:
    for parent in list(root.iter()):
        for child in list(parent):
            if child.tag.partition("}")[2] in tags:
                parent.remove(child)


def _clean(item: ElementTree.Element, name: str, used: set[str], styles: Styles) -> None:
    item.tag = item.tag.partition("}")[2] or item.tag
    old = {key.partition("}")[2] or key: value for key, value in item.attrib.items()}
    new = {}
    if old.get("style"):
        new["class"] = styles.name(old["style"])
    for key, value in old.items():
        if key not in _KEPT:
            continue
        if key == "id":
            if value.startswith(MARK):
                new["data-mark"] = value.removeprefix(MARK)
            if value not in used:
                continue
            new["id"] = f"{name}-{value}"
        elif key in ("href", "clip-path"):
            new[key] = _NAMED.sub(
                lambda found: found[0].replace(found[1], f"{name}-{found[1]}"), value
            )
        else:
            new[key] = _NUMBER.sub(lambda found: f"{float(found[0]):.2f}", value)
    item.attrib = new


def _reachable(item: ElementTree.Element, key: str, told: str) -> None:
    item.attrib |= {"class": "mark", "data-day": key[:10], "role": "img", "aria-label": told}
    if key[10:11] == "T":
        item.attrib["data-at"] = key[11:16]
    title = ElementTree.Element("title")
    title.text = told
    item.insert(0, title)
