import dataclasses
import re
import subprocess
import sys
from dataclasses import fields, is_dataclass, replace
from html.parser import HTMLParser
from pathlib import Path

import made_up_result
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_up_result import made_up_result as made_up

from sequencer.documents.figure_names import FIGURES
from sequencer.errors import UsageError
from sequencer.outputs.rail import rail
from sequencer.outputs.report import report_html, write_report
from sequencer.outputs.rows import limit_rows

MOST_BYTES = 600_000
CLOSED_WORDS = {"rule", "unit", "style", "axis", "kind", "severity", "outcome", "quantity"}
"""Fields whose values come from a closed set in the code."""
NASTY = "</title></style></script><script>alert(1)</script><img src=x onerror=alert(1)>\"'&amp;"
ROWS = limit_rows(made_up(charts=()))


class Page(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.tags = []
        self.attributes = []
        self.text = ""
        self.pieces = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_data(self, data):
        self.text += data
        self.pieces += f" {data}"


def hostile(value, text, name=""):
    """Return a copy of a result with `text` in every free text field."""
    if is_dataclass(value):
        changed = {
            one.name: hostile(getattr(value, one.name), text, one.name) for one in fields(value)
        }
        return replace(value, **changed)
    if isinstance(value, tuple):
        return tuple(hostile(one, text, name) for one in value)
    if isinstance(value, dict) and name == "software":
        return {text: text}
    if isinstance(value, str) and name not in CLOSED_WORDS:
        return text
    return value


def small():
    return made_up(charts=(made_up_result.load_steps_chart(),))


@pytest.fixture(scope="module")
def html():
    return report_html(made_up())


def test_the_verdict_comes_first_in_plain_words(html):
    text = Page(html[html.index("<body") :]).text
    assert text.index("Fail") < text.index("Limits and verdicts") < text.index("Instruments")
    assert "Not kept: drift" in " ".join(text.split())
    assert "Not measured under the promised condition: short current" in " ".join(text.split())


def test_everything_that_a_reader_must_find_is_there(html):
    text = " ".join(Page(html).pieces.split()).replace("\u00a0", " ")
    for expected in (
        "36.8 mV ± 1.8 mV",
        "at most 30 mV",
        "conditional pass",
        "voltage at the load 1.4 V (promised 1 V)",
        "30 V, 0 A to 3 A",
        "Guarded acceptance",
        "TCPIP0::127.0.0.1::40002::SOCKET",
        "WORKSHOP,VOLTMETER-A,SIM0001,1.0",
        "gain 0.003 %, offset 0.4 mV, noise 20 µV, resolution 10 µV",
        "was not steady after 120 s",
        "steadyrail 0.1.0",
        "runs/w-17-2026-03-14.steadyrail",
        "thermal voltage",
        "Stored energy",
        "Local electrical codes and licensed practice",
    ):
        assert expected in text


def test_a_simulated_bench_is_said_under_the_headline_and_in_the_title():
    said = "Simulated bench, scenario healthy, seed 3: no real unit was measured"
    html = report_html(made_up(charts=(), simulated=said))
    assert said in html[html.index("<title>") : html.index("</title>")]
    assert said in html[html.index("</h1>") : html.index("Limits and verdicts")]
    assert "no real unit" not in report_html(made_up(charts=()))


def test_an_alarm_stands_before_everything_else_by_word_and_sign():
    html = report_html(made_up(charts=(), alarm="Making safe is NOT VERIFIED: 12 V remain."))
    first = html[html.index("<body>") : html.index("<header")]
    assert "<strong>Alarm.</strong> Making safe is NOT VERIFIED: 12 V remain." in first
    assert "<svg" in first


def test_the_records_digest_stands_with_its_name():
    html = report_html(made_up(charts=(), digest="sha256 " + 8 * "0123abcd"))
    assert 8 * "0123abcd" in html[html.index("runs/w-17") :]


def test_every_figure_is_explained_in_a_sentence_beside_it(html):
    text = " ".join(Page(html).pieces.split())
    for figure in made_up().figures:
        assert FIGURES[figure.name].meaning in text


def test_the_rule_says_what_is_tolerated_as_covered_and_how_to_read_the_margin(html):
    text = " ".join(Page(html).pieces.split()).replace("\u00a0", " ")
    assert "set voltage is within 1 % of the promised one" in text
    assert "greatest current reaches 99.5 % and the time 99.95 %" in text
    assert "negative outside the limit, pass from 1 upward, fail below −1" in text
    assert text.count("95.45 %") == 2
    assert "about 95" not in text
    rows = {row.verdict.figure: row.margin for row in ROWS}
    assert rows["drift"] == "−3.78"  # (30 − 36.8) mV over 1.8 mV
    assert rows["limit_current"] == "62.7"  # (3.287 − 3) A over 4.578 mA
    assert rows["short_current"] == "–"


def test_an_uncertainty_is_never_torn_from_its_sign_at_a_lines_end(html):
    assert (
        "no more than U = 0.000349 V (k = 2.18)".replace(" = ", "\u00a0=\u00a0").replace(
            "9 V", "9\u00a0V"
        )
        in Page(html).text
    )


def test_no_identifier_is_shown_where_words_belong(html):
    text = Page(html).pieces
    for figure in made_up().figures:
        assert figure.name not in text or "_" not in figure.name
    for key in ("current_to", "load_voltage", "load_steps"):
        assert key not in text


def test_every_known_figure_has_a_sentence_without_identifiers():
    for figure in FIGURES.values():
        assert re.fullmatch(r"[A-Z][^_]{40,160}\.", figure.meaning)


def test_each_chart_is_there_with_its_caption_and_an_alternative_text(html):
    page = Page(html)
    assert page.tags.count("figure") == len(made_up().charts)
    labelled = [value for tag, name, value in page.attributes if name == "aria-labelledby"]
    ids = {value for _, name, value in page.attributes if name == "id"}
    assert all(set(value.split()) <= ids for value in labelled)


def test_ids_are_unique(html):
    ids = [value for _, name, value in Page(html).attributes if name == "id"]
    assert len(ids) == len(set(ids))


def test_verdicts_are_words_and_signs_not_colours_alone(html):
    rows = re.findall(r'<span class="verdict [\w-]+">(.*?)</span></span>', html, re.DOTALL)
    assert len(rows) == len(made_up().verdicts)
    assert all("<svg" in row and re.search(r"<span>\w+", row) for row in rows)


def test_nothing_is_loaded_from_anywhere(html):
    addresses = set(re.findall(r"\w+://[^\s\"'<>]+", html))
    assert addresses == {"http://www.w3.org/2000/svg"}
    for _, name, value in Page(html).attributes:
        if name in {"href", "src", "action", "xlink:href"}:
            assert value.startswith("#")
    assert "@import" not in html
    assert "url(" not in re.sub(r"url\(#[^)]+\)", "", html)


def test_the_report_never_says_that_something_is_safe(html):
    assert not re.search(r"\bsafe(ly)?\b", Page(html).text.replace("make safe", ""))


def test_the_file_stays_small(html):
    assert len(html.encode()) < MOST_BYTES


@pytest.mark.parametrize("text", [NASTY, "{{ 7*7 }}{% raw %}", "]]><!--", "\x00\ud800\u202e"])
def test_no_text_becomes_markup(text):
    page = Page(report_html(hostile(small(), text)))
    plain = Page(report_html(small()))
    assert set(page.tags) <= set(plain.tags)
    assert page.tags.count("script") == 1
    assert {name for _, name, _ in page.attributes} <= {name for _, name, _ in plain.attributes}


@given(st.text(st.sampled_from("<>&\"'{}%/=!-[]$\\ a\x00\ud800;#"), min_size=1, max_size=30))
@settings(max_examples=40, deadline=None)
def test_any_text_comes_out_as_it_went_in(text):
    html = report_html(hostile(made_up(charts=()), text))
    html.encode()
    page = Page(html)
    shown = re.sub("[\x00\ud800]", "\ufffd", text)
    assert page.tags.count("script") == 1
    assert shown in page.text
    assert not {"img", "iframe", "link", "object", "embed", "form"} & set(page.tags)


def test_the_same_result_gives_the_same_page_in_every_process():
    here = Path(__file__).parent
    code = (
        f"import sys; sys.path.insert(0, {str(here)!r})\n"
        "from test_outputs_report import report_html, small\n"
        "sys.stdout.buffer.write(report_html(small()).encode())"
    )
    other = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        check=True,
        cwd=here.parent.parent,
        env={"PYTHONHASHSEED": "1", "PYTHONPATH": str(here.parent.parent), "PATH": ""},
    )
    assert other.stdout == report_html(small()).encode()


def test_an_empty_result_still_makes_a_page():
    html = report_html(
        made_up(
            figures=(), verdicts=(), charts=(), events=(), notes=(), outcome="", exit=4, ended=""
        )
    )
    assert "Stopped by a guard" in html
    assert "nothing was judged" in html
    assert "did not end by itself" in html


@pytest.mark.parametrize(
    ("code", "word"),
    [
        (0, "Pass"),
        (1, "Fail"),
        (3, "Undecided"),
        (4, "Stopped by a guard"),
        (5, "Stopped by an instrument"),
        (130, "Interrupted"),
    ],
)
def test_each_exit_has_its_headline(code, word):
    html = report_html(made_up(exit=code, charts=()))
    assert f"<span>{word}</span></h1>" in html


def test_a_bench_that_is_not_safe_weighs_more_than_what_ended_the_run():
    outcome = "stopped by a guard, not made safe"
    html = report_html(made_up(exit=5, outcome=outcome, made_safe=False, charts=()))
    assert "<span>Not made safe</span></h1>" in html
    assert "An instrument or its link failed" not in html
    assert "Stopped by a guard, not made safe." in html


def test_a_figure_that_could_not_be_computed_shows_no_value():
    html = report_html(made_up(figures=(), charts=()))
    assert html.count("no value") == len(made_up().verdicts)


@given(st.floats(allow_nan=True, allow_infinity=True), st.floats(0.0, 1e3))
@settings(max_examples=60, deadline=None)
def test_a_verdicts_picture_stays_within_its_rail(value, spread):
    for row in ROWS:
        figure = dataclasses.replace(row.figure, value=value, expanded=spread)
        places = rail(figure, row.verdict)
        if places is not None:
            assert 0.0 <= places.low <= places.value <= places.high <= 100.0
            assert all(0.0 <= bound <= 100.0 for bound in places.bounds)


def test_an_existing_report_is_not_overwritten(tmp_path):
    target = tmp_path / "report.html"
    write_report(made_up(charts=()), target)
    with pytest.raises(UsageError):
        write_report(made_up(charts=(), exit=0), target)
    write_report(made_up(charts=(), exit=0), target, overwrite=True)
    assert "<span>Pass</span></h1>" in target.read_text(encoding="utf-8")
