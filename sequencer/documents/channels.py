"""Channels of a bench: which instrument provides a quantity, and how accurately.

Accuracy statements are in `sequencer.documents.accuracy`.
"""

from collections.abc import Iterator, Mapping
from datetime import date
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from sequencer.documents.accuracy import (
    AccuracyStatement,
    CurrentAccuracy,
    TemperatureAccuracy,
    VoltageAccuracy,
)
from sequencer.documents.accuracy_resolved import (
    Correction,
    accuracy_words,
    age_years,
    components,
    correction,
)
from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.quantities import (
    PositiveAmperes,
    PositiveKelvins,
    PositiveOhms,
    PositiveRatio,
    PositiveSeconds,
    PositiveVolts,
)
from sequencer.documents.tables import Strict

USUAL_SETTLING_S = 0.05
"""A relay's bounce and a meter's input filter together (common practice, no source)."""


TYPED_PERIOD_S = 30.0
"""A person can type a value every half minute; where more are wanted, one has to do."""

Leads = Literal["sense terminals", "load terminals", "output terminals"]


class BenchChannel(Strict):
    """A named quantity at a named place.

    `range` is what the range must hold, in the unit of the instrument's own answer; `shunt` makes
    a voltmeter's channel a current. With `through`, a scanner stands before the instrument, `input`
    is the scanner's, and `settling` is what the meter is given after its relays have moved.
    `reference` is the channel that knows the temperature of a thermocouple's terminals.
    `leads` says where a person puts the leads of a meter that is moved between several places.
    """

    instrument: str
    function: str
    range: float | None = None
    integration: PositiveSeconds | None = None
    input: str | None = Field(default=None, min_length=1)
    through: str | None = None
    leads: Leads | None = None
    settling: PositiveSeconds | None = None
    reference: str | None = None
    shunt: PositiveOhms | None = None
    accuracy: AccuracyStatement = AccuracyStatement()

    @model_validator(mode="after")
    def _statement_fits(self) -> Self:
        raise_flaws(self._flaws())
        return self

    def _flaws(self) -> Iterator[Flaw]:
        statement = self.accuracy
        if self.function != "temperature" and self.reference is not None:
            expected = 'this key only for a thermocouple, with function = "temperature"'
            yield Flaw(("reference",), "a reference junction", expected)
        if self.function != "voltage" and self.shunt is not None:
            yield Flaw(("shunt",), "a shunt", 'a shunt only with function = "voltage"')
        if self.shunt is None:
            for key in ("shunt_tolerance", "shunt_temperature"):
                if getattr(statement, key):
                    expected = "this key only beside a shunt"
                    yield Flaw(("accuracy", key), f"{key} without a shunt", expected)
            if statement.certificate is not None and statement.certificate.shunt_uncertainty:
                path = ("accuracy", "certificate", "shunt_uncertainty")
                yield Flaw(path, "a certificate of no shunt", "this key only beside a shunt")
        if self.through is not None and self.input is None:
            yield Flaw(("input",), "nothing", f"the input of {self.through} that is to be closed")
        if self.through is None and self.settling is not None:
            yield Flaw(("settling",), "a settling time", "this key only beside 'through'")
        of_range = statement.error is not None and statement.error.of_range
        if self.range is None and (of_range or statement.display):
            key = "error" if of_range else "display"
            expected = f"the range that accuracy.{key} is stated in parts of"
            yield Flaw(("range",), "nothing", expected)

    @property
    def has_accuracy(self) -> bool:
        """Whether the statement holds any error at all; one of nothing but zeros says nothing."""
        parts = dict(components(self.accuracy, self.range, 1.0))
        parts.pop("temperature_span")
        return any(parts.values())

    def accuracy_at(self, when: date | None) -> Mapping[str, float]:
        """Return the accuracy by component at a date; of none, at the usual age of a calibration.

        Raises
        ------
        FigureError
            For a calibration after that date.
        """
        return components(self.accuracy, self.range, age_years(self.accuracy, when))

    @property
    def correction(self) -> Correction | None:
        """What a certificate says is wrong with the instrument's own answers."""
        return correction(self.accuracy)

    @property
    def accuracy_words(self) -> str:
        """The accuracy statement in words, empty where nothing is stated."""
        own = {"voltage": "V", "current": "A", "temperature": "K"}.get(self.function, "1")
        return accuracy_words(self.accuracy, own, self.shunt, self.range)

    @property
    def unit(self) -> str:
        """The unit of the channel's values: V, A or °C."""
        if self.function == "temperature":
            return "°C"
        if self.function == "state":
            return "1"
        return "A" if self.function == "current" or self.shunt is not None else "V"

    @property
    def settling_s(self) -> float:
        """How long the meter is given after a scanner's relays have moved; 0 without one."""
        if self.through is None:
            return 0.0
        return USUAL_SETTLING_S if self.settling is None else self.settling

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


class StateChannel(BenchChannel):
    """A safety input, such as a smoke detector or an emergency stop: 0 at rest, 1 raised."""

    function: Literal["state"]
    range: PositiveRatio | None = None


Channel = Annotated[
    VoltageChannel | CurrentChannel | TemperatureChannel | StateChannel,
    Field(discriminator="function"),
]
