"""The report: one self-contained HTML page, for a phone, a desk and paper."""

import base64
import hashlib
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from sequencer.outputs import words
from sequencer.outputs.budget import budget_table
from sequencer.outputs.chart_style import NARROW, WIDE, Size
from sequencer.outputs.charts import render, thinned
from sequencer.outputs.files import write_text
from sequencer.outputs.limit_marks import with_limits
from sequencer.outputs.rail import rail
from sequencer.outputs.rows import event_counts, figures_by_trial, headline, limit_rows
from sequencer.outputs.rule_words import CONFIDENCE, rule_words
from sequencer.result import Result
from sequencer.results import Chart

HERE = Path(__file__).parent
FEW_EVENTS = 25
"""More than these are folded away on a screen; paper shows them all."""
NO_BREAK_SPACE = "\u00a0"
THIN_SPACE = "\u202f"
EQUATION = re.compile(r"\b([Uukν]) = (?=[\d−-])")
NUMBER_AND_UNIT = re.compile(r"(?<=[\d<>]) (?=[^\W\d]|[°%Ω]|\d)(?!to |of )")


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart as markup, once for wide pages and once for phones."""

    trial: str
    title: str
    caption: str
    wide: Markup
    narrow: Markup
    wide_note: str
    narrow_note: str


def report_html(result: Result) -> str:
    """Return the report of a result as one HTML page.

    The page loads nothing from anywhere, every text in it is escaped, and the same result always
    gives the same page.
    """
    script = _part("report.js")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    page = _template().render(
        result=result,
        headline=headline(result),
        limits=limit_rows(result),
        figures=figures_by_trial(result),
        pictures=[
            _picture(with_limits(chart, result.verdicts, result.figures), index)
            for index, chart in enumerate(result.charts)
        ],
        event_counts=event_counts(result),
        few_events=FEW_EVENTS,
        rule_words=rule_words(result.rule),
        confidence=CONFIDENCE,
        budget_table=budget_table,
        words=words,
        rail=rail,
        style=Markup(_part("report.css")),  # noqa: S704 - our own file
        script=Markup(script),  # noqa: S704 - our own file
        script_digest=digest,
    )
    return words.clean(page)


def write_report(result: Result, path: Path, *, overwrite: bool = False) -> None:
    """Write the report to a file.

    Raises
    ------
    UsageError
        If the file exists and `overwrite` is not given, or can't be written.
    """
    write_text(path, report_html(result), overwrite=overwrite)


def _picture(chart: Chart, index: int) -> Picture:
    return Picture(
        trial=chart.trial,
        title=chart.title,
        caption=chart.caption,
        # The drawing's own writer escapes every text that it holds.
        wide=Markup(render(chart, size=WIDE, prefix=f"c{index}w-")),  # noqa: S704
        narrow=Markup(render(chart, size=NARROW, prefix=f"c{index}n-")),  # noqa: S704
        wide_note=_thinning_note(chart, WIDE),
        narrow_note=_thinning_note(chart, NARROW),
    )


def _thinning_note(chart: Chart, size: Size) -> str:
    if not thinned(chart, size):
        return ""
    points = f"{max(len(line.x) for line in chart.lines):,}".replace(",", THIN_SPACE)
    return f"Drawn from up to {points} points per series: each short stretch's lowest and highest."


def _whole(text: str) -> str:
    """Return a text whose numbers are never torn from their units at a line's end."""
    text = EQUATION.sub(rf"\1{NO_BREAK_SPACE}={NO_BREAK_SPACE}", text)
    return NUMBER_AND_UNIT.sub(NO_BREAK_SPACE, text)


def _part(name: str) -> str:
    return (HERE / name).read_text(encoding="utf-8")


@cache
def _template() -> Template:
    environment = Environment(
        autoescape=True,
        loader=FileSystemLoader(HERE),
        lstrip_blocks=True,
        trim_blocks=True,
        undefined=StrictUndefined,
    )
    environment.filters["whole"] = _whole
    return environment.get_template("report.html.jinja")
