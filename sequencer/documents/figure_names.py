"""The figures that a limit may name, with unit, dimension and meaning in plain words."""

from collections.abc import Mapping
from dataclasses import dataclass

from sequencer.documents import dimensions as d
from sequencer.documents.dimensions import Dimension


@dataclass(frozen=True, slots=True)
class KnownFigure:
    """A figure's name, dimension, meaning in one sentence and whether it may be negative."""

    name: str
    dimension: Dimension
    meaning: str
    signed: bool = False

    @property
    def unit(self) -> str:
        """The SI unit as results spell it."""
        return self.dimension.unit


_ALL = (
    KnownFigure(
        "load_regulation",
        d.VOLTAGE,
        "The greatest change of the output voltage from no load as current is drawn, before "
        "the unit has warmed by it.",
    ),
    KnownFigure(
        "output_resistance",
        d.RESISTANCE,
        "How much the output voltage falls for each ampere drawn: the slope of a straight "
        "line through the load steps.",
    ),
    KnownFigure(
        "load_linearity",
        d.VOLTAGE,
        "How far the output voltage departs at most from a straight line against current.",
    ),
    KnownFigure(
        "thermal_tail",
        d.VOLTAGE,
        "The slow change of the output voltage that follows a load step as the unit warms, "
        "after the immediate change.",
        signed=True,
    ),
    KnownFigure(
        "sense_error",
        d.VOLTAGE,
        "The change of voltage at the load from no load to full current that the sense leads "
        "don't see, and so the unit doesn't correct.",
    ),
    KnownFigure(
        "sense_resistance",
        d.RESISTANCE,
        "The resistance between the points that the unit senses and the load: a lead or "
        "connector that the sense leads don't cover.",
        signed=True,
    ),
    KnownFigure(
        "lead_drop",
        d.VOLTAGE,
        "The voltage lost in the load leads at full current, which the unit makes up for "
        "through its sense leads.",
        signed=True,
    ),
    KnownFigure(
        "limit_current",
        d.CURRENT,
        "The current that the unit holds in current limiting, at half of the set voltage.",
    ),
    KnownFigure(
        "knee_current",
        d.CURRENT,
        "Where constant voltage gives way to constant current: the current at which the "
        "straight lines of both cross.",
    ),
    KnownFigure(
        "knee_onset",
        d.CURRENT,
        "The current at which the output has fallen by the stated departure below its "
        "constant-voltage line: where the limit begins to bite.",
    ),
    KnownFigure(
        "knee_sharpness",
        d.RATIO,
        "Onset divided by knee current: 1 is a sharp corner, and the lower it is, the softer "
        "the limit sets in.",
    ),
    KnownFigure(
        "limit_change",
        d.CURRENT,
        "How much the limited current rises (or, if negative, folds back) from the knee down "
        "to the lowest voltage at the load.",
        signed=True,
    ),
    KnownFigure(
        "short_current",
        d.CURRENT,
        "The limited current with the load's voltage nearly at zero, at the low load voltage "
        "that the limit states.",
    ),
    KnownFigure(
        "limit_hysteresis",
        d.CURRENT,
        "How much the limited current differs between the way down in voltage and the way back.",
        signed=True,
    ),
    KnownFigure(
        "drift",
        d.VOLTAGE,
        "The greatest departure of the output voltage from its value just after warm-up, with"
        " load, line and setting held.",
    ),
    KnownFigure(
        "drift_span",
        d.VOLTAGE,
        "The difference between the highest and the lowest output voltage after warm-up, with"
        " load, line and setting held.",
    ),
    KnownFigure(
        "drift_about_mean",
        d.VOLTAGE,
        "The greatest departure of the output voltage from its own mean after warm-up, with "
        "load, line and setting held.",
    ),
    KnownFigure(
        "drift_rate",
        d.VOLTAGE_RATE,
        "How fast the output voltage moved on average after warm-up: the slope of a straight "
        "line through the soak.",
        signed=True,
    ),
    KnownFigure(
        "temperature_coefficient",
        d.VOLTAGE_PER_KELVIN,
        "How much the output voltage changes for each kelvin that the room warms.",
        signed=True,
    ),
    KnownFigure(
        "drift_corrected",
        d.VOLTAGE,
        "The drift that is left once the room's changes of temperature are taken out.",
    ),
    KnownFigure(
        "warm_up_time",
        d.TIME,
        "The time after switching the load on until the output voltage stays within the "
        "stated band of its settled value.",
    ),
)

FIGURES: Mapping[str, KnownFigure] = {figure.name: figure for figure in _ALL}

DRIFT_DEFINITIONS: Mapping[str, str] = {
    "from start": "drift",
    "span": "drift_span",
    "about the mean": "drift_about_mean",
}
"""Which figure a drift limit is compared with, by the definition that the limit uses."""
