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
        "load_change",
        d.VOLTAGE,
        "The change of the output voltage from no load to full current; negative where it falls.",
        signed=True,
    ),
    KnownFigure(
        "load_change_ratio",
        d.RATIO,
        "The change from no load to full current as a part of the set voltage.",
        signed=True,
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
        "current_agreement",
        d.RATIO,
        "How far apart the ammeters of one current are at worst, in multiples of their own "
        "uncertainty: up to 1 they agree.",
    ),
    *(
        known
        for place in ("load", "panel")
        for known in (
            KnownFigure(
                f"gain_of_current_{place}",
                d.RATIO,
                f"By which part the {place}'s ammeter reads too much against the best ammeter of "
                "the bench.",
                signed=True,
            ),
            KnownFigure(
                f"offset_of_current_{place}",
                d.CURRENT,
                f"What the {place}'s ammeter reads too much at no current, against the best "
                "ammeter of the bench.",
                signed=True,
            ),
        )
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
        "sense_length",
        d.LENGTH,
        "The length of wire, there and back counted together, that has the resistance which the "
        "sense leads don't cover.",
        signed=True,
    ),
    KnownFigure(
        "sense_following",
        d.RATIO,
        "The part of the load leads' drop that the unit makes up for: 1 where it holds the "
        "voltage at its sense points, 0 where it does not follow its sense leads at all.",
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
        "foldback_ratio",
        d.RATIO,
        "The current with the load's voltage nearly at zero over the knee current: below 1 the "
        "limit folds back.",
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
    KnownFigure(
        "allan_deviation_1min",
        d.VOLTAGE,
        "How much one-minute means of the output voltage typically differ from one to the next.",
    ),
    KnownFigure(
        "allan_deviation_10min",
        d.VOLTAGE,
        "How much ten-minute means of the output voltage typically differ from one to the next.",
    ),
    KnownFigure(
        "allan_deviation_1h",
        d.VOLTAGE,
        "How much one-hour means of the output voltage typically differ from one to the next.",
    ),
    KnownFigure(
        "setting_error",
        d.VOLTAGE,
        "The greatest difference between the output voltage and what its controls were set to.",
    ),
    KnownFigure(
        "setting_gain_error",
        d.RATIO,
        "By which part all settings are too high or too low: the slope of the output voltage "
        "against the setting, less 1.",
        signed=True,
    ),
    KnownFigure(
        "setting_offset",
        d.VOLTAGE,
        "What the output voltage would be at a setting of zero, by a straight line through all "
        "settings.",
        signed=True,
    ),
    KnownFigure(
        "setting_linearity",
        d.VOLTAGE,
        "How far the output voltage departs at most from a straight line against its setting.",
    ),
    KnownFigure(
        "residual_voltage",
        d.VOLTAGE,
        "The voltage that is left at the output after the stated time with the output switched "
        "off.",
        signed=True,
    ),
    KnownFigure(
        "discharge_time_constant",
        d.TIME,
        "The time in which the output voltage falls to 36.8 % once the output is off and nothing "
        "is connected.",
    ),
    KnownFigure(
        "time_to_safe_voltage",
        d.TIME,
        "The time after switching the output off until its voltage has fallen from the setting to "
        "the stated low voltage, with nothing connected.",
    ),
    KnownFigure(
        "dissipation",
        d.POWER,
        "The heat that the pass element has to get rid of at full current: the voltage before it "
        "less the output, times the current.",
    ),
    KnownFigure(
        "heatsink_rise",
        d.TEMPERATURE_DIFFERENCE,
        "How much warmer than the room the heatsink gets at full current, once it is in balance.",
    ),
    KnownFigure(
        "heatsink_rise_per_watt",
        d.KELVIN_PER_WATT,
        "The heatsink's rise over the room for each watt that is turned into heat there.",
    ),
    KnownFigure(
        "heatsink_time_constant",
        d.TIME,
        "The time in which the heatsink covers 63.2 % of the way to its balance.",
    ),
)

FIGURES: Mapping[str, KnownFigure] = {figure.name: figure for figure in _ALL}

OF_THE_LIMIT = (
    "limit_current",
    "knee_current",
    "knee_onset",
    "knee_sharpness",
    "limit_change",
    "short_current",
    "foldback_ratio",
    "limit_hysteresis",
)
"""Figures of the current limit, in the order in which they are shown."""

DRIFT_DEFINITIONS: Mapping[str, str] = {
    "from start": "drift",
    "span": "drift_span",
    "about the mean": "drift_about_mean",
}
"""Which figure a drift limit is compared with, by the definition that the limit uses."""
