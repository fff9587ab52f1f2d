"""The figures that a limit may name, with unit and dimension."""

from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.documents import dimensions as d
from sequencer.documents.dimensions import Dimension


@dataclass(frozen=True, slots=True)
class KnownFigure:
    """A figure's name, dimension and whether its bounds may be negative."""

    name: str
    dimension: Dimension
    signed: bool = False

    @property
    def unit(self) -> str:
        """The SI unit as results spell it."""
        return self.dimension.unit


_ALL = (
    KnownFigure("load_regulation", d.VOLTAGE),
    KnownFigure("output_resistance", d.RESISTANCE),
    KnownFigure("load_linearity", d.VOLTAGE),
    KnownFigure("thermal_tail", d.VOLTAGE, signed=True),
    KnownFigure("sense_error", d.VOLTAGE),
    KnownFigure("sense_resistance", d.RESISTANCE, signed=True),
    KnownFigure("lead_drop", d.VOLTAGE, signed=True),
    KnownFigure("limit_current", d.CURRENT),
    KnownFigure("knee_current", d.CURRENT),
    KnownFigure("knee_onset", d.CURRENT),
    KnownFigure("knee_sharpness", d.RATIO),
    KnownFigure("limit_change", d.CURRENT, signed=True),
    KnownFigure("short_current", d.CURRENT),
    KnownFigure("limit_hysteresis", d.CURRENT, signed=True),
    KnownFigure("drift", d.VOLTAGE),
    KnownFigure("drift_span", d.VOLTAGE),
    KnownFigure("drift_about_mean", d.VOLTAGE),
    KnownFigure("drift_rate", d.VOLTAGE_RATE, signed=True),
    KnownFigure("temperature_coefficient", d.VOLTAGE_PER_KELVIN, signed=True),
    KnownFigure("drift_corrected", d.VOLTAGE),
    KnownFigure("warm_up_time", d.TIME),
)

FIGURES: Mapping[str, KnownFigure] = {figure.name: figure for figure in _ALL}

DRIFT_DEFINITIONS: Mapping[str, str] = {
    "from start": "drift",
    "span": "drift_span",
    "about the mean": "drift_about_mean",
}
"""Which figure a drift limit is compared with, by the definition that the limit uses."""
