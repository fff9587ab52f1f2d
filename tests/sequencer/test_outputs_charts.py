import math
import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import made_up_result
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sequencer.outputs.chart_marks import shown_marks
from sequencer.outputs.chart_points import envelope
from sequencer.outputs.chart_scale import choose
from sequencer.outputs.chart_series import looks
from sequencer.outputs.chart_style import NARROW, WIDE
from sequencer.outputs.charts import render, thinned
from sequencer.outputs.limit_marks import with_limits
from sequencer.results import Chart, Coverage, Line, Mark, Shown

SVG = "{http://www.w3.org/2000/svg}"
MOST_BYTES = 150_000


def texts(svg):
    return [element.text for element in ET.fromstring(svg).iter(f"{SVG}text")]  # noqa: S314


def simple_chart(*marks, y=(0.0, 1.0, 2.0)):
    lines = (Line("measured", tuple(map(float, range(len(y)))), tuple(y)),)
    return Chart("trial", "Title", "current.shunt", "A", "voltage.sense", "V", lines, marks)


def test_eight_hours_of_seconds_stay_small_at_both_sizes():
    chart = made_up_result.soak_chart()
    assert len(chart.lines[0].x) == 28_800
    for size in (WIDE, NARROW):
        assert len(render(chart, size=size).encode()) < MOST_BYTES
    assert thinned(chart)


def test_as_many_single_points_stay_small_too():
    t = tuple(float(i) for i in range(28_800))
    line = Line("each second", t, tuple(math.sin(value) for value in t), "points", (0.1,) * len(t))
    chart = replace(made_up_result.soak_chart(), lines=(line,))
    assert len(render(chart).encode()) < MOST_BYTES


def test_the_same_chart_is_always_the_same_text():
    chart = made_up_result.limit_chart()
    assert render(chart) == render(chart)


def test_units_are_for_engineers_and_stated_in_the_label():
    shown = texts(render(made_up_result.soak_chart()))
    assert "change of voltage.sense / mV" in shown
    assert "time since the end of warm-up / h" in shown


def test_limits_are_dashed_and_carry_their_words():
    svg = render(made_up_result.load_steps_chart())
    assert {"limit −8 mV", "limit +8 mV"} <= set(texts(svg))
    dashed = [
        style
        for element in ET.fromstring(svg).iter(f"{SVG}path")  # noqa: S314
        if "--chart-limit" in (style := element.get("style", "")) and "dasharray" in style
    ]
    assert len(dashed) == 2


def test_a_limit_far_beyond_the_data_is_named_and_does_not_flatten_them():
    chart = simple_chart(Mark("limit 1 kV", "y", 1000.0, "limit"))
    shown = texts(render(chart))
    assert "↑ beyond: limit 1 kV" in shown
    assert "2.0" in shown


@pytest.mark.parametrize(
    ("limits", "beyond"),
    [
        ((-8.0, 8.0), [False, False]),  # 4 of 16: a quarter of the axis is the data's
        ((-30.0, 30.0), [True, True]),
        ((18.0,), [False]),
        ((22.0,), [True]),
        ((-9.0, 14.0), [False, True]),  # together too far: the farther one goes
    ],
)
def test_data_never_fill_less_than_a_fifth_of_an_axis_because_of_limits(limits, beyond):
    marks = tuple(Mark(f"limit {at}", "y", at, "limit") for at in limits)
    shown = shown_marks(simple_chart(*marks, y=(0.0, 1.0, 4.0)), WIDE)
    assert [mark.beyond for mark in shown] == beyond


def test_limits_beyond_are_named_once_each_at_the_edge_on_their_side():
    marks = [Mark("limit +1 kV", "y", 1000.0, "limit"), Mark("limit −1 kV", "y", -1000.0, "limit")]
    svg = render(simple_chart(*marks, marks[0]))
    heights = {
        element.text: float(element.get("y"))
        for element in ET.fromstring(svg).iter(f"{SVG}text")  # noqa: S314
        if "beyond" in element.text
    }
    assert list(heights) == ["↑ beyond: limit +1 kV", "↓ beyond: limit −1 kV"]
    assert texts(svg).count("↑ beyond: limit +1 kV") == 1
    assert heights["↓ beyond: limit −1 kV"] > heights["↑ beyond: limit +1 kV"] + 100.0


def test_one_quantity_has_one_colour_and_its_parts_differ_in_style():
    ends = {"warm-up": (0.0, 1.0), "soak": (2.0, 3.0, 4.0)}
    lines = [
        Line(f"temperature.{place}, {part}", x, x, "line")
        for place in ("heatsink", "ambient")
        for part, x in ends.items()
    ]
    sink_warm, sink, room_warm, room = looks(lines, lambda _: 100)
    assert sink_warm.colour == sink.colour != room.colour == room_warm.colour
    assert len({sink_warm.dashes, sink.dashes, room.dashes}) == 3
    named = [replace(line, label=f"series {i}", quantity="one") for i, line in enumerate(lines)]
    assert len({look.colour for look in looks(named, lambda _: 100)}) == 1


def test_series_that_lie_on_each_other_both_stay_visible():
    x = (0.0, 1.0, 2.0)
    down, back = looks([Line("way down", x, x), Line("way back", x, x)], lambda _: 100)
    assert down.hollow
    assert back.hollow
    assert abs(down.marker_size - back.marker_size) >= 3.0
    assert down.marker != back.marker


def test_only_readings_behind_their_own_means_are_drawn_faint():
    t = tuple(map(float, range(480)))
    before = tuple(map(float, range(-30, 0)))
    means = t[::60]
    apart = looks([Line("warm-up", before, before), Line("soak", t, t)], lambda _: 300)
    assert [look.faint for look in apart] == [False, False]
    over = looks([Line("readings", t, t), Line("means", means, means)], lambda _: 300)
    assert [look.faint for look in over] == [True, False]


@given(
    st.lists(st.floats(-2.0, 4.0), min_size=2, max_size=5),
    st.sampled_from(["x", "y"]),
    st.sampled_from([WIDE, NARROW]),
)
@settings(max_examples=8, deadline=None)
def test_words_of_neighbouring_marks_never_lie_on_each_other(places, axis, size):
    marks = tuple(Mark(f"mark number {i}", axis, at, "limit") for i, at in enumerate(places))
    svg = render(simple_chart(*marks), size=size)
    heights = sorted(
        float(re.search(r" ([\d.-]+)\)", element.get("transform"))[1])
        if element.get("transform")
        else float(element.get("y"))
        for element in ET.fromstring(svg).iter(f"{SVG}text")  # noqa: S314
        if (element.text or "").startswith("mark number")
    )
    assert len(heights) == len(places)
    assert min(np.diff(heights)) > size.text


def test_labels_can_neither_break_out_nor_be_read_as_mathematics():
    nasty = "</text><script>1</script> $\\frac1 0$ & \"'"
    line = Line(nasty, (0.0, 1.0), (0.0, 1.0))
    chart = Chart(nasty, nasty, nasty, "A", nasty, "V", (line, line), (), nasty)
    svg = render(chart)
    assert "<script" not in svg
    assert nasty + " / V" in texts(svg)


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_endless_labels_leave_the_plot_its_room(size):
    endless = "unbroken" * 60
    mark = Mark(endless, "x", 1.0, "limit")
    lines = (Line(endless, (0.0, 2.0), (0.0, 1.0)),) * 5
    chart = Chart(endless, endless, endless, endless, endless, endless, lines, (mark,), endless)
    svg = render(chart, size=size)
    assert all(len(text) <= size.longest for text in texts(svg))
    starts = [float(x) for x in re.findall(r'<text [^>]*\bx="([\d.-]+)"', svg)]
    assert starts
    assert max(starts) <= size.width


def test_text_is_drawn_in_the_pages_own_font():
    svg = render(made_up_result.load_steps_chart())
    assert set(re.findall(r"font-family: ([^;\"]*)", svg)) == {"var(--chart-font, sans-serif)"}
    assert "font: " not in svg


def test_nothing_measured_is_said_not_hidden():
    chart = Chart("trial", "Title", "x", "s", "y", "V", (Line("none", (), ()),))
    assert "nothing was measured" in texts(render(chart))


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_gaps_are_drawn_as_gaps(bad):
    svg = render(simple_chart(y=(0.0, bad, 2.0)))
    assert "nan" not in svg.lower().replace("financ", "")
    assert "inf" not in re.sub(r"<(title|desc).*?</\1>", "", svg)


def test_ids_of_two_charts_on_a_page_differ():
    chart = made_up_result.load_steps_chart()
    ids = [set(re.findall(r'id="([^"]+)"', render(chart, prefix=p))) for p in ("a-", "b-")]
    assert not ids[0] & ids[1]
    svg = render(chart, prefix="a-")
    for used in re.findall(r'(?:href="#|url\(#)([^")]+)', svg):
        assert used in ids[0]


@given(
    st.lists(st.floats(-1e6, 1e6) | st.just(math.nan), min_size=1, max_size=400),
    st.integers(4, 60),
)
def test_thinning_keeps_every_extreme_and_the_order(values, most):
    y = np.array(values)
    keep = envelope(np.arange(y.size, dtype=float), y, most)
    assert keep.size <= max(most, 1)
    assert np.all(np.diff(keep) > 0)
    if np.any(np.isfinite(y)):
        assert np.nanmin(y[keep]) == np.nanmin(y)
        assert np.nanmax(y[keep]) == np.nanmax(y)


@pytest.mark.parametrize(
    ("unit", "values", "label"),
    [
        ("V", (0.0, 0.0034), "quantity / mV"),
        ("V", (-30e-6, 10e-6), "quantity / µV"),
        ("A", (0.0, 3.2), "quantity / A"),
        ("ohm", (0.001, 0.005), "quantity / mΩ"),
        ("V", (29.9981, 30.0004), "quantity − 30.00 V / mV"),
        ("degC", (20.0, 61.0), "quantity / °C"),
        ("s", (0.0, 28_800.0), "quantity / h"),
        ("s", (0.0, 600.0), "quantity / min"),
        ("s", (0.0, 30.0), "quantity / s"),
        ("1", (0.1, 0.9), "quantity"),
        ("V", (), "quantity / V"),
    ],
)
def test_scales_are_chosen_and_said(unit, values, label):
    assert choose("quantity", unit, values).label == label


@given(st.lists(st.floats(-1e4, 1e4), min_size=1, max_size=20))
def test_a_scale_loses_nothing(values):
    scale = choose("quantity", "V", values)
    for value in values:
        back = scale.of(value) * scale.factor + scale.offset
        assert back == pytest.approx(value, rel=1e-9, abs=1e-12)


def test_judged_limits_are_drawn_where_a_chart_asks_for_them():
    chart = replace(
        made_up_result.limit_chart(),
        marks=(),
        shows=tuple(
            Shown(name, "x") for name in ("limit_current", "knee_current", "knee_onset", "drift")
        ),
    )
    marks = with_limits(chart, made_up_result.VERDICTS).marks
    assert [(mark.label, mark.axis, mark.at, mark.kind) for mark in marks] == [
        ("limit current, knee current, knee onset ≥ 3 A", "x", 3.0, "limit"),
        ("limit current ≤ 3.6 A", "x", 3.6, "limit"),
    ]


def test_the_limit_of_a_magnitude_stands_on_both_sides_of_zero():
    shows = (Shown("load_regulation", "y", mirrored=True),)
    chart = replace(made_up_result.load_steps_chart(), marks=(), shows=shows)
    marks = with_limits(chart, made_up_result.VERDICTS).marks
    assert [(mark.label, mark.at) for mark in marks] == [
        ("load regulation limit +8 mV", 8e-3),
        ("load regulation limit −8 mV", -8e-3),
    ]


def judged(figure, *, outcome="pass", limit=3e-3):
    """Return a chart of three levels with bars of its own, judged by a figure with a wider U."""
    fall = (0.0, -0.001, -0.002)
    bars = Line("measured", (0.0, 1.0, 2.0), fall, y_error=(1e-5,) * 3)
    line = Line("straight line", (0.0, 2.0), (0.0, 0.003), style="line")
    shows = (Shown("load_regulation", "y", mirrored=True),)
    words = ("load_steps", "Title", "current", "A", "change", "V")
    chart = Chart(*words, (bars, line), (), "Bars.", shows)
    verdict = made_up_result.verdict(
        "load_regulation", "load_steps", None, limit, "V", outcome, 1.0, 1.0
    )
    return with_limits(chart, (verdict,), (figure,))


def load_regulation(u):
    return made_up_result.figure("load_steps", "load_regulation", 2e-3, "V", u, k=2.0)


def test_what_a_limit_is_held_against_is_drawn_with_its_u_on_the_side_of_the_points():
    chart = judged(load_regulation(1e-4))
    (band,) = (mark for mark in chart.marks if mark.kind == "figure")
    assert (band.label, band.axis) == ("load regulation ± U", "y")
    assert (band.at, band.expanded) == (-2e-3, 2e-4)
    assert chart.caption == (
        "Bars. Verdicts go by value ± U, which holds what the meters may be wrong by, too: "
        "load regulation 2.00 mV ± 0.20 mV."
    )


def band_of(svg):
    """Return the heights of the band's lower and upper edge in pixels."""
    (path,) = (
        element.get("d")
        for element in ET.fromstring(svg).iter(f"{SVG}path")  # noqa: S314
        if "fill: var(--chart-figure" in element.get("style", "")
    )
    heights = [float(y) for _, y in re.findall(r"[ML] ([\d.-]+) ([\d.-]+)", path)]
    return max(heights), min(heights)


@pytest.mark.parametrize("size", [WIDE, NARROW])
def test_the_band_is_as_high_as_two_u_on_the_axis(size):
    svg = render(judged(load_regulation(1e-4)), size=size)
    low, high = band_of(svg)
    lines = {}
    for element in ET.fromstring(svg).iter(f"{SVG}path"):  # noqa: S314
        style, path = element.get("style", ""), element.get("d", "")
        if "dasharray" in style and "--chart-limit" in style:
            height = float(re.match(r"M [\d.-]+ ([\d.-]+)", path)[1])
            lines[height] = path
    below, above = max(lines), min(lines)
    # From the limits' lines at ±3 mV: how many pixels are 2 U = 0.4 mV.
    assert low - high == pytest.approx((below - above) * 0.4 / 6.0, abs=0.05)


def test_a_u_much_wider_than_the_data_does_not_flatten_them():
    narrow, wide = (band_of(render(judged(load_regulation(u), limit=1e-2))) for u in (1e-4, 1.0))
    assert narrow[0] - narrow[1] < 50
    assert wide[0] - wide[1] > WIDE.height  # runs out of the picture on both sides


def test_what_was_not_judged_is_not_drawn_as_if_it_were():
    chart = judged(load_regulation(1e-4), outcome="not covered")
    assert [mark.kind for mark in chart.marks] == ["limit", "limit"]
    assert chart.caption == "Bars."


def test_a_limit_of_another_voltage_is_not_drawn_into_a_chart():
    chart = replace(made_up_result.load_steps_chart(), marks=())
    shown = replace(chart, shows=(Shown("load_regulation", "y"),))
    one = made_up_result.verdict("load_regulation", "load_steps", None, 8e-3, "V", "pass", 1.0, 9.0)
    of_10_v = replace(one, outcome="not covered", coverage=Coverage("voltage", 10.0, 30.0, "V"))
    assert with_limits(shown, (of_10_v,)).marks == ()
    to_6_a = replace(of_10_v, coverage=Coverage("current_to", 6.0, 3.0, "A"))
    assert len(with_limits(shown, (to_6_a,)).marks) == 1


def test_two_limits_on_one_figure_are_told_apart_and_the_figure_is_drawn_once():
    chart = replace(made_up_result.load_steps_chart(), marks=(), caption="")
    shown = replace(chart, shows=(Shown("load_regulation", "y"),))
    one = made_up_result.verdict("load_regulation", "load_steps", None, 8e-3, "V", "pass", 1.0, 9.0)
    two = replace(one, upper=5e-3, apart="to 1.5 A")
    drawn = with_limits(shown, (replace(one, apart="to 3 A"), two), made_up_result.FIGURES)
    assert [mark.label for mark in drawn.marks] == [
        "load regulation ± U",
        "load regulation to 3 A ≤ 8 mV",
        "load regulation to 1.5 A ≤ 5 mV",
    ]
    assert drawn.caption.count("load regulation") == 1


def test_figures_of_the_current_axis_are_told_in_words():
    chart = replace(made_up_result.limit_chart(), marks=(), shows=(Shown("knee_onset", "x"),))
    shown = with_limits(chart, made_up_result.VERDICTS, made_up_result.FIGURES)
    assert [mark.kind for mark in shown.marks] == ["limit"]
    assert shown.caption.endswith("too: knee onset 3.1800 A ± 0.0087 A.")
