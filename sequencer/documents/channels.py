"""Channels of a bench: which instrument provides a quantity, and how accurately.

The accuracy statement stays apart by component, because a difference of two readings loses some
components and keeps others. All but the noise are half-widths of rectangular distributions; all
are in the unit of the instrument's own answer (volts for a current taken over a shunt).
"""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.quantities import (
    NonNegativeAmperes,
    NonNegativeAmperesPerKelvin,
    NonNegativeKelvins,
    NonNegativeKelvinsPerKelvin,
    NonNegativePerKelvin,
    NonNegativeRatio,
    NonNegativeVolts,
    NonNegativeVoltsPerKelvin,
    PositiveAmperes,
    PositiveKelvins,
    PositiveOhms,
    PositiveSeconds,
    PositiveVolts,
)
from sequencer.documents.tables import Strict


class AccuracyStatement(Strict):
    """What the maker, or a calibration, says about a channel; what is not said counts as zero.

    `noise` is the standard deviation of one reading. `temperature_span` is the room's half-span
    about the temperature at calibration; the stability parts are the change over a day.
    """

    gain: NonNegativeRatio = 0.0
    offset: float = 0.0
    noise: float = 0.0
    resolution: float = 0.0
    temperature_gain: NonNegativePerKelvin = 0.0
    temperature_offset: float = 0.0
    temperature_span: NonNegativeKelvins = 0.0
    stability_gain: NonNegativeRatio = 0.0
    stability_offset: float = 0.0
    thermal_emf: NonNegativeVolts = 0.0
    shunt_tolerance: NonNegativeRatio = 0.0
    shunt_temperature: NonNegativePerKelvin = 0.0


class VoltageAccuracy(AccuracyStatement):
    """The accuracy of a voltmeter, in volts."""

    offset: NonNegativeVolts = 0.0
    noise: NonNegativeVolts = 0.0
    resolution: NonNegativeVolts = 0.0
    temperature_offset: NonNegativeVoltsPerKelvin = 0.0
    stability_offset: NonNegativeVolts = 0.0


class CurrentAccuracy(AccuracyStatement):
    """The accuracy of an ammeter or of a load's own readback, in amperes."""

    offset: NonNegativeAmperes = 0.0
    noise: NonNegativeAmperes = 0.0
    resolution: NonNegativeAmperes = 0.0
    temperature_offset: NonNegativeAmperesPerKelvin = 0.0
    stability_offset: NonNegativeAmperes = 0.0


class TemperatureAccuracy(AccuracyStatement):
    """The accuracy of a thermometer, in kelvins."""

    offset: NonNegativeKelvins = 0.0
    noise: NonNegativeKelvins = 0.0
    resolution: NonNegativeKelvins = 0.0
    temperature_offset: NonNegativeKelvinsPerKelvin = 0.0
    stability_offset: NonNegativeKelvins = 0.0


class BenchChannel(Strict):
    """A named quantity at a named place.

    `range` is what the range must hold, in the unit of the instrument's own answer; `shunt` makes
    a voltmeter's channel a current.
    """

    instrument: str
    function: str
    range: float | None = None
    integration: PositiveSeconds | None = None
    input: str | None = Field(default=None, min_length=1)
    shunt: PositiveOhms | None = None
    accuracy: AccuracyStatement = AccuracyStatement()

    @model_validator(mode="after")
    def _shunt_over_a_voltmeter(self) -> Self:
        statement = self.accuracy
        if self.function != "voltage" and self.shunt is not None:
            raise_flaws([Flaw(("shunt",), "a shunt", 'a shunt only with function = "voltage"')])
        if self.shunt is None:
            raise_flaws(
                Flaw(("accuracy", key), f"{key} without a shunt", "this key only beside a shunt")
                for key in ("shunt_tolerance", "shunt_temperature")
                if getattr(statement, key)
            )
        return self

    @property
    def has_accuracy(self) -> bool:
        """Whether anything at all is said about the accuracy."""
        return bool(self.accuracy.model_fields_set)

    @property
    def unit(self) -> str:
        """The unit of the channel's values: V, A or °C."""
        if self.function == "temperature":
            return "°C"
        return "A" if self.function == "current" or self.shunt is not None else "V"

    @property
    def scale(self) -> float:
        """What the instrument's answer is multiplied by to get the channel's value."""
        return 1.0 if self.shunt is None else 1.0 / self.shunt


class VoltageChannel(BenchChannel):
    """A channel of a voltmeter, over a shunt or not."""

    function: Literal["voltage"]
    range: PositiveVolts | None = None
    accuracy: VoltageAccuracy = VoltageAccuracy()


class CurrentChannel(BenchChannel):
    """A channel that is answered in amperes."""

    function: Literal["current"]
    range: PositiveAmperes | None = None
    accuracy: CurrentAccuracy = CurrentAccuracy()


class TemperatureChannel(BenchChannel):
    """A channel of a thermometer; its range is the greatest difference from 0 °C."""

    function: Literal["temperature"]
    range: PositiveKelvins | None = None
    accuracy: TemperatureAccuracy = TemperatureAccuracy()


Channel = Annotated[
    VoltageChannel | CurrentChannel | TemperatureChannel, Field(discriminator="function")
]
