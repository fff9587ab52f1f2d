"""Turn matplotlib's SVG into markup that stands inside a page: small, themed, with a text."""

import re
from xml.etree import ElementTree as ET

from sequencer.outputs.chart_style import VARIABLES

SVG = "http://www.w3.org/2000/svg"
XLINK = "http://www.w3.org/1999/xlink"
LONG_NUMBER = re.compile(r"-?\d+\.\d{3,}")
FONT = re.compile(r"font-family: [^;]*")
REFERENCE = re.compile(r"url\(#([^)]+)\)")
ROUNDED = ("d", "x", "y", "x1", "x2", "y1", "y2", "width", "height", "transform", "points")


def inline(drawing: str, *, prefix: str, title: str, description: str) -> str:
    """Return a drawing as one `<svg>` element for a page.

    Every id gets `prefix` (several charts share one page), colours become CSS variables, numbers
    keep two decimals, metadata and fixed size go; `title` and `description` are its alternative
    text.
    """
    ET.register_namespace("", SVG)
    root = ET.fromstring(drawing)  # noqa: S314 - matplotlib wrote it just now
    for child in list(root):
        if child.tag.endswith("metadata"):
            root.remove(child)
    for element in root.iter():
        _tidy(element, prefix)
    for attribute in ("width", "height", "version"):
        root.attrib.pop(attribute, None)
    root.set("role", "img")
    root.set("aria-labelledby", f"{prefix}title {prefix}description")
    for position, (tag, text) in enumerate((("title", title), ("desc", description))):
        element = ET.Element(f"{{{SVG}}}{tag}", {"id": f"{prefix}{tag[:4]}"})
        element.set("id", prefix + ("title" if tag == "title" else "description"))
        element.text = text
        root.insert(position, element)
    return ET.tostring(root, encoding="unicode")


def _tidy(element: ET.Element, prefix: str) -> None:
    attributes = element.attrib
    if "id" in attributes:
        attributes["id"] = prefix + attributes["id"]
    link = attributes.pop(f"{{{XLINK}}}href", None)
    if link is not None:
        # A plain href does in every present browser and spares the second namespace.
        attributes["href"] = f"#{prefix}{link.removeprefix('#')}"
    if "clip-path" in attributes:
        attributes["clip-path"] = REFERENCE.sub(rf"url(#{prefix}\1)", attributes["clip-path"])
    for key in ROUNDED:
        if key in attributes:
            attributes[key] = LONG_NUMBER.sub(_two_decimals, attributes[key])
    if "d" in attributes:
        attributes["d"] = " ".join(attributes["d"].split())
    if "style" in attributes:
        attributes["style"] = _themed(attributes["style"])


def _two_decimals(match: re.Match[str]) -> str:
    return f"{float(match[0]):.2f}".rstrip("0").rstrip(".")


def _themed(style: str) -> str:
    style = FONT.sub("font-family: var(--chart-font, sans-serif)", style)
    for colour, name in VARIABLES.items():
        style = style.replace(colour, f"var(--chart-{name}, {colour})")
    return style
