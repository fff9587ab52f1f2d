"""The words that outputs use for names, outcomes, units and conditions; all say the same."""

import math
import re
from collections.abc import Mapping, Sequence
from datetime import datetime

from sequencer.documents.figure_names import FIGURES
from sequencer.documents.rendering import format_quantity, format_with_uncertainty
from sequencer.results import Coverage, Figure, Verdict
from sequencer.verdicts.apart import named

UNPRINTABLE = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff\u202a-\u202e\u2066-\u2069]"
)
"""Control characters, lone surrogates and direction overrides: no text of ours needs them."""

RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
GREATEST_MARGIN = 9999
"""Beyond this nobody needs the number, and it would need more room than its column has."""
CONDITION_UNITS = {
    "voltage": "V",
    "current": "A",
    "current_from": "A",
    "current_to": "A",
    "duration": "s",
    "load_voltage": "V",
    "line_from": "%",
    "line_to": "%",
}
"""A line voltage stands as its departure from the rated one."""
CONDITION_WORDS = {
    "voltage": "set voltage",
    "current_from": "least current",
    "current_to": "greatest current",
    "duration": "time",
    "load_voltage": "voltage at the load",
    "line_from": "lowest line voltage, from the rated one",
    "line_to": "highest line voltage, from the rated one",
}


def clean(text: str) -> str:
    """Return a text without characters that can't stand in a page; each leaves a mark."""
    return UNPRINTABLE.sub("\ufffd", text)


def shortened(text: str, most: int) -> str:
    """Return a text of at most `most` characters, its end replaced by "…" where need be."""
    text = clean(text)
    return text if len(text) <= most else text[: most - 1] + "…"


def title(name: str) -> str:
    """Return a figure's or a trial's name as words: "load_regulation" is "Load regulation"."""
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:]


def listed(titles: Sequence[str]) -> str:
    """Return several titles as one: "Limit current, knee current"."""
    return ", ".join([titles[0], *(one[:1].lower() + one[1:] for one in titles[1:])])


def meaning(name: str) -> str:
    """Return what a figure is, in one sentence; empty for one that is not known here."""
    known = FIGURES.get(name)
    return known.meaning if known else ""


def condition(name: str) -> str:
    """Return a key of a limit's condition as words: "load_voltage" is "voltage at the load"."""
    return CONDITION_WORDS.get(name, title(name).lower())


def quantity(value: float, unit: str, digits: int = 4) -> str:
    """Return a quantity as people read it; a unit without a known spelling is shown as it is."""
    unit = "°C" if unit in {"degC", "degc"} else unit
    try:
        return format_quantity(value, unit, digits)
    except ValueError:
        return f"{value:.{digits}g} {unit}"


def number(value: float, digits: int) -> str:
    """Return a number in figures where these are few, else as a multiple of a power of ten."""
    if not math.isfinite(value) or value == 0.0:
        return "0" if value == 0.0 else "–"
    exponent = math.floor(math.log10(abs(value)))
    if -4 <= exponent < 6:
        text = f"{value:.{max(0, digits - 1 - exponent)}f}"
    else:
        text = f"{value / 10.0**exponent:.{digits - 1}f} × 10{str(exponent).translate(RAISED)}"
    return text.replace("-", "−")


def small_quantity(value: float, unit: str) -> str:
    """Return an uncertainty's component with two digits; a relative one in per cent or ppm."""
    if unit == "V²":  # of a variance; a prefix of a square says little
        return f"{number(value, 2)} {unit}"
    if unit != "1":
        return quantity(value, unit, 2)
    return f"{number(1e6 * value, 2)} ppm" if abs(value) < 1e-3 else f"{number(100.0 * value, 2)} %"


def spelled(unit: str) -> str:
    """Return a unit's symbol; a ratio has none."""
    return {"ohm": "Ω", "degC": "°C", "1": ""}.get(unit, unit)


def share(value: float) -> str:
    """Return a part of a whole in per cent, a very small one as a bound."""
    return "< 0.1 %" if value < 0.001 else f"{100.0 * value:.{0 if value >= 0.0995 else 1}f} %"


def margin(value: float | None) -> str:
    """Return a margin in multiples of U: plain figures, never a power of ten."""
    if value is None or not math.isfinite(value):
        return "–"
    if abs(value) >= GREATEST_MARGIN:
        return f"> {GREATEST_MARGIN}" if value > 0 else f"< −{GREATEST_MARGIN}"
    decimals = 0 if abs(value) >= 99.5 else 1 if abs(value) >= 9.95 else 2
    return f"{value:.{decimals}f}".replace("-", "−")


def value_with_u(figure: Figure) -> str:
    """Return a figure's value with its expanded uncertainty."""
    try:
        return format_with_uncertainty(figure.value, figure.expanded, figure.unit)
    except ValueError:
        return f"{figure.value:.4g} ± {figure.expanded:.2g} {figure.unit}"


def judged(verdict: Verdict, name: str) -> str:
    """Return the name of a judged figure, and which of its limits this is where it has several."""
    return named(name, verdict.apart)


def limit(verdict: Verdict) -> str:
    """Return a limit in words."""
    low, high = (
        None if bound is None else promised(bound, verdict.unit)
        for bound in (verdict.lower, verdict.upper)
    )
    if low is not None and high is not None:
        return f"{low} to {high}"
    if high is not None:
        return f"at most {high}"
    return "no bound" if low is None else f"at least {low}"


def promised(bound: float, unit: str) -> str:
    """Return a limit's bound with all digits that a data sheet may have: 2.9995 A is no 3 A."""
    return quantity(bound, unit, 7)


def probability(value: float | None) -> str:
    """Return a probability of conformance in per cent, without claiming certainty."""
    if value is None:
        return "–"
    if value > 0.9995:
        return "> 99.9 %"
    if value < 0.0005:
        return "< 0.1 %"
    return f"{100.0 * value:.1f} %"


def risks(verdict: Verdict) -> str:
    """Return how often a verdict of this limit is wrong for a unit right at the limit."""
    if verdict.false_accept is None or verdict.false_reject is None:
        return "–"
    accept, reject = _risk(verdict.false_accept), _risk(verdict.false_reject)
    return f"passed wrongly {accept}, failed wrongly {reject}"


def _risk(value: float) -> str:
    return share(value) if value > 0 else "never"


def ratio(value: float | None) -> str:
    """Return limit over U, such as "12": plain figures, and never more than needed."""
    if value is None or not math.isfinite(value):
        return "–"
    return (
        f"> {GREATEST_MARGIN}"
        if value > GREATEST_MARGIN
        else f"{value:.{0 if value >= 9.95 else 1}f}"
    )


def coverage(found: Coverage | None) -> str:
    """Return how much of the promised condition was measured."""
    if found is None:
        return "–"
    reached, required = covered(found)
    return f"{condition(found.quantity)} {reached} (promised {required})"


def covered(found: Coverage) -> tuple[str, str]:
    """Return what was reached and what was promised, as quantities."""
    unit = "%" if found.quantity in {"line_from", "line_to"} else found.unit
    reached = "not measured" if found.reached is None else quantity(found.reached, unit)
    return reached, promised(found.required, unit)


def conditions(reached: Mapping[str, float]) -> str:
    """Return the condition that was really measured, by the keys of a limit's condition."""
    left = dict(reached)
    parts = []
    for span in ("current", "line"):
        low, high = left.pop(f"{span}_from", None), left.pop(f"{span}_to", None)
        unit = CONDITION_UNITS[f"{span}_to"]
        bounds = [quantity(bound, unit) for bound in (low, high) if bound is not None]
        if bounds:
            parts.append(("line " if span == "line" else "") + " to ".join(bounds))
    if "voltage" in left:
        parts.insert(0, quantity(left.pop("voltage"), "V"))
    if "duration" in left:
        parts.append(quantity(left.pop("duration"), "s"))
    for name, value in left.items():
        parts.append(f"{condition(name)} {quantity(value, CONDITION_UNITS.get(name, ''))}")
    return ", ".join(part.strip() for part in parts) or "–"


def degrees_of_freedom(dof: float) -> str:
    """Return degrees of freedom; a very large number is as good as infinite."""
    return "∞" if dof > 1e4 else f"{dof:.{0 if dof >= 100 else 1}f}".removesuffix(".0")


def bench_time(at: float) -> str:
    """Return bench time as hours, minutes and seconds, such as "8:31:30"."""
    if not math.isfinite(at):
        return "–"
    minutes, seconds = divmod(round(at), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02}:{seconds:02}"


def wall_time(text: str) -> str:
    """Return an ISO 8601 time as people read it; any other text as it is."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    zone = moment.strftime("%Z")
    return f"{moment:%Y-%m-%d %H:%M:%S}" + (f" {zone}" if zone else "")
