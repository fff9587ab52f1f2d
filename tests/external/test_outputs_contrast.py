"""Colours of the report against WCAG 2.2, success criterion 1.4.3 (contrast, minimum, AA).

Source: W3C Recommendation "Web Content Accessibility Guidelines 2.2", definitions "contrast ratio"
and "relative luminance"; AA asks 4.5 for text and 3 for parts of graphics (1.4.11). The formula is
checked first with the ratio of black to white, which the definition gives as 21.
"""

import re
from pathlib import Path

import pytest

import sequencer.outputs
from sequencer.outputs import chart_style

pytestmark = pytest.mark.external
CSS = (Path(sequencer.outputs.__file__).parent / "report.css").read_text(encoding="utf-8")
TEXT_AA = 4.5
GRAPHICS_AA = 3.0
TEXTS = ("ink", "muted", "accent", "pass", "warn", "fail", "open")


def luminance(colour):
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one, other):
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def palette(start):
    block = CSS[CSS.index(start) :]
    block = block[: block.index("}")]
    short = {"#fff": "#ffffff"}
    found = re.findall(r"--([\w-]+): (#[0-9a-f]{3,6})", block)
    return {name: short.get(value, value) for name, value in found}


PALETTES = {
    "light": palette(":root {\n  color-scheme"),
    "dark": palette("@media (prefers-color-scheme: dark)"),
    "paper, dark preferred": palette("@media print and (prefers-color-scheme: dark)"),
}


def test_the_formula_gives_the_definitions_own_extremes():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#123456", "#123456") == 1.0


@pytest.mark.parametrize("name", PALETTES)
@pytest.mark.parametrize("ground", ["paper", "panel"])
def test_every_text_colour_reads_on_every_ground(name, ground):
    colours = PALETTES[name]
    for text in TEXTS:
        assert contrast(colours[text], colours[ground]) >= TEXT_AA, (text, ground)


@pytest.mark.parametrize("name", ["dark", "paper, dark preferred"])
def test_charts_read_in_every_theme(name):
    colours = PALETTES[name]
    for part in ("ink", "muted", "limit", "figure"):
        assert contrast(colours[f"chart-{part}"], colours["chart-paper"]) >= TEXT_AA, part
    for index in range(1, 6):
        colour = colours[f"chart-series-{index}"]
        assert contrast(colour, colours["chart-paper"]) >= GRAPHICS_AA


def test_charts_fallback_colours_read_too():
    for colour in (chart_style.INK, chart_style.MUTED, chart_style.LIMIT, chart_style.FIGURE):
        assert contrast(colour, chart_style.PAPER) >= TEXT_AA
    for colour in chart_style.SERIES:
        assert contrast(colour, chart_style.PAPER) >= GRAPHICS_AA
