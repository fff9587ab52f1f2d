"""An accuracy statement as numbers: data sheet's parts resolved by range, age and certificate."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sequencer.documents.accuracy import AccuracyStatement
from sequencer.documents.rendering import format_quantity
from sequencer.errors import FigureError

DAYS_PER_YEAR = 365.25
USUAL_AGE_YEARS = 1.0
"""Where no run has taken place yet, a calibration is as old as it usually may get."""

_COMPONENTS = (
    "noise",
    "temperature_gain",
    "temperature_offset",
    "temperature_span",
    "stability_gain",
    "stability_offset",
    "thermal_emf",
    "shunt_tolerance",
    "shunt_temperature",
)


@dataclass(frozen=True, slots=True)
class Correction:
    """What a certificate found: a reading is true · (1 + gain) + offset, meter's own unit."""

    gain: float
    offset: float


def digit(statement: AccuracyStatement, span: float | None) -> float:
    """Return the display's step in the meter's own unit, 0 where it is not stated."""
    if statement.display is None:
        return statement.resolution
    return (span or 0.0) / statement.display


def components(
    statement: AccuracyStatement, span: float | None, age_years: float
) -> Mapping[str, float]:
    """Return the statement by component, keys as in `sequencer.uncertainty.statement.Accuracy`.

    Parameters
    ----------
    span
        The channel's range, meter's own unit.
    age_years
        Time since calibration; the yearly changes are multiplied by it.
    """
    step = digit(statement, span)
    found = {key: float(getattr(statement, key)) for key in _COMPONENTS}
    sheet = statement.error
    found["gain"] = statement.gain if sheet is None else sheet.of_reading
    found["offset"] = (
        statement.offset
        if sheet is None
        else sheet.fixed + sheet.of_range * (span or 0.0) + sheet.digits * step
    )
    found["resolution"] = step
    found["aged_gain"] = statement.yearly_gain * age_years
    found["aged_offset"] = statement.yearly_offset * age_years
    paper = statement.certificate
    if paper is not None:
        found["certified_gain"] = paper.gain_uncertainty / paper.factor
        found["certified_offset"] = paper.offset_uncertainty / paper.factor
        found["certified_shunt"] = paper.shunt_uncertainty / paper.factor
    return found


def correction(statement: AccuracyStatement) -> Correction | None:
    """Return what a certificate's errors do to readings; None where there is nothing to do."""
    paper = statement.certificate
    if paper is None or not (paper.gain_error or paper.offset_error):
        return None
    return Correction(paper.gain_error, paper.offset_error)


def age_years(statement: AccuracyStatement, when: date | None) -> float:
    """Return the time since calibration at a date; of none, the usual interval.

    Raises
    ------
    FigureError
        For a calibration after the run.
    """
    if statement.calibrated is None:
        return 0.0
    if when is None:
        return USUAL_AGE_YEARS
    days = (when - statement.calibrated).days
    if days < 0:
        raise FigureError(
            f"The bench document says calibrated = {statement.calibrated}, after the run of {when}:"
            " that calibration says nothing about it. State the one before."
        )
    return days / DAYS_PER_YEAR


def accuracy_words(
    statement: AccuracyStatement, unit: str, shunt: float | None, span: float | None
) -> str:
    """Return a statement in words, component by component."""
    units = {
        "gain": "%",
        "stability_gain": "%",
        "yearly_gain": "%",
        "shunt_tolerance": "%",
        "temperature_gain": "1/K",
        "shunt_temperature": "1/K",
        "temperature_span": "K",
        "temperature_offset": f"{unit}/K",
        "thermal_emf": "V",
    }
    parts = [] if shunt is None else [f"shunt {format_quantity(shunt, 'ohm')}"]
    if statement.error is not None:
        parts.append(f"error {statement.error.text()}")
    if statement.display is not None:
        step = digit(statement, span)
        parts.append(f"{statement.display} counts of {format_quantity(step, unit)}")
    for key in ("gain", "offset", "resolution", *_COMPONENTS):
        if value := getattr(statement, key):
            words = key.replace("_", " ").replace("thermal emf", "thermal EMF")
            parts.append(f"{words} {format_quantity(value, units.get(key, unit))}")
    if statement.calibrated is not None:
        parts.append(f"calibrated {statement.calibrated}")
    for key in ("yearly_gain", "yearly_offset"):
        if value := getattr(statement, key):
            size = format_quantity(value, units.get(key, unit))
            parts.append(f"{key.removeprefix('yearly_')} changes by {size} a year")
    paper = statement.certificate
    if paper is not None:
        parts.append(f"by certificate (k = {paper.factor:.3g})")
        for name, error, expanded, own in (
            ("gain error", paper.gain_error, paper.gain_uncertainty, "%"),
            ("offset error", paper.offset_error, paper.offset_uncertainty, unit),
        ):
            if error or expanded:
                parts.append(
                    f"{name} {format_quantity(error, own)} ± {format_quantity(expanded, own)}"
                )
        if paper.shunt_uncertainty:
            parts.append(f"shunt ± {format_quantity(paper.shunt_uncertainty, '%')}")
    return ", ".join(parts)
