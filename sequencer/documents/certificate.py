"""What a calibration certificate says about a channel: errors, their uncertainty, its coverage."""

from collections.abc import Iterator
from typing import Annotated, Self

from pydantic import Field, StrictFloat, model_validator
from scipy import special

from sequencer.documents.flaws import Flaw, raise_flaws
from sequencer.documents.quantities import (
    Amperes,
    Kelvins,
    NonNegativeAmperes,
    NonNegativeKelvins,
    NonNegativeRatio,
    NonNegativeVolts,
    Ratio,
    Volts,
)
from sequencer.documents.tables import Strict

MOST_ERROR = 0.1
"""A meter that reads a tenth wrong is broken, or its certificate was misread."""

K_FROM, K_TO = 1.0, 14.0
"""From a standard uncertainty to Student's t of one degree of freedom for 95.45 %."""

LEAST_PROBABILITY = 0.5
"""Nobody certifies an interval that is as likely wrong as right."""


class Certificate(Strict):
    """What a calibration found: errors (readings are corrected by them) and their uncertainty U.

    A reading is true · (1 + gain_error) + offset_error. `k` is the certificate's coverage factor;
    where it states a probability instead, k is that of a normal distribution.
    """

    gain_error: Ratio = 0.0
    gain_uncertainty: NonNegativeRatio = 0.0
    offset_error: float = 0.0
    offset_uncertainty: float = 0.0
    shunt_uncertainty: NonNegativeRatio = 0.0
    k: Annotated[StrictFloat, Field(gt=0)] | None = None
    probability: Ratio | None = None

    @model_validator(mode="after")
    def _one_coverage(self) -> Self:
        raise_flaws(self._flaws())
        return self

    def _flaws(self) -> Iterator[Flaw]:
        if (self.k is None) == (self.probability is None):
            found = "neither k nor probability" if self.k is None else "both k and probability"
            yield Flaw((), found, "one of them: U alone does not say how much it covers")
        stated = self.probability
        if stated is not None and not LEAST_PROBABILITY <= stated < 1:
            expected = "a coverage probability from 50 % to below 100 %"
            yield Flaw(("probability",), f"{100 * stated:g} %", expected)
        if self.k is not None and not K_FROM <= self.k <= K_TO:
            expected = f"a coverage factor from {K_FROM:g} to {K_TO:g}, such as 2"
            yield Flaw(("k",), f"{self.k:g}", expected)
        if abs(self.gain_error) > MOST_ERROR:
            expected = "at most 10 % either way: what a reading is off by, over the reading"
            yield Flaw(("gain_error",), f"{100 * self.gain_error:g} %", expected)
        for what in ("gain", "offset"):
            if getattr(self, f"{what}_error") and not getattr(self, f"{what}_uncertainty"):
                expected = f"{what}_uncertainty beside {what}_error: no calibration is exact"
                yield Flaw((f"{what}_uncertainty",), "nothing", expected)
        if not (self.gain_uncertainty or self.offset_uncertainty or self.shunt_uncertainty):
            expected = "an uncertainty above zero: no calibration is exact"
            yield Flaw((), "a certificate without uncertainty", expected)

    @property
    def factor(self) -> float:
        """The coverage factor that the uncertainties are divided by."""
        if self.k is not None:
            return float(self.k)
        return float(special.ndtri((1 + (self.probability or 0.0)) / 2))


class VoltageCertificate(Certificate):
    """The certificate of a voltmeter, in volts."""

    offset_error: Volts = 0.0
    offset_uncertainty: NonNegativeVolts = 0.0


class CurrentCertificate(Certificate):
    """The certificate of an ammeter, in amperes."""

    offset_error: Amperes = 0.0
    offset_uncertainty: NonNegativeAmperes = 0.0


class TemperatureCertificate(Certificate):
    """The certificate of a thermometer, in kelvins."""

    offset_error: Kelvins = 0.0
    offset_uncertainty: NonNegativeKelvins = 0.0
