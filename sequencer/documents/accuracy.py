"""Accuracy statements of channels: from a data sheet, by component, or from a certificate.

The components stay apart, because a difference of two readings loses some and keeps others. All
but the noise and what a certificate states are half-widths of rectangular distributions; all are
in the unit of the instrument's own answer (volts for a current taken over a shunt).
"""

from collections.abc import Iterator
from datetime import date
from typing import Annotated, Self

from pydantic import BeforeValidator, model_validator
from pydantic_core import PydanticKnownError

from sequencer.documents import dimensions as d
from sequencer.documents.accuracy_texts import ErrorTerms, ErrorText
from sequencer.documents.certificate import (
    Certificate,
    CurrentCertificate,
    TemperatureCertificate,
    VoltageCertificate,
)
from sequencer.documents.display_texts import DisplayText
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
)
from sequencer.documents.tables import Strict


def _no_count(value: object) -> object:
    """Refuse what would pass for seconds since 1970: 0 is no day of calibration."""
    if isinstance(value, int | float) or (isinstance(value, str) and "-" not in value[1:]):
        raise PydanticKnownError("date_type")
    return value


class AccuracyStatement(Strict):
    """What the maker, or a calibration, says about a channel; what is not said counts as zero.

    `error` is the data sheet's line, such as "0.5 % + 3 digits" or "0.02 % of reading + 0.005 % of
    range": a gain and an offset in one. `display` ("6000 counts", "4.5 digits") gives the
    resolution from the channel's range. `noise` is the standard deviation of one reading.
    `temperature_span` is the room's half-span about the temperature at calibration; the stability
    parts are the change over a day, the yearly ones the change per year since `calibrated`.
    """

    error: ErrorTerms | None = None
    display: Annotated[int, DisplayText()] | None = None
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
    calibrated: Annotated[date | None, BeforeValidator(_no_count)] = None
    yearly_gain: NonNegativeRatio = 0.0
    yearly_offset: float = 0.0
    certificate: Certificate | None = None

    @model_validator(mode="after")
    def _said_once(self) -> Self:
        raise_flaws(self._flaws())
        return self

    def _flaws(self) -> Iterator[Flaw]:
        sheet = self.error
        if sheet is not None:
            for key in ("gain", "offset"):
                if getattr(self, key):
                    yield Flaw((key,), f"{key} beside error", "one of them: error holds both")
            if sheet.digits and not (self.display or self.resolution):
                expected = 'how fine the display is, such as "6000 counts": error counts digits'
                yield Flaw(("display",), "nothing", expected)
        for key, part in (
            ("error", sheet.of_reading if sheet is not None else 0.0),
            ("gain", self.gain),
            ("shunt_tolerance", self.shunt_tolerance),
        ):
            if part >= 1.0:
                expected = "less than 100 %: such a meter tells nothing"
                yield Flaw((key,), f"{100 * part:g} % of the reading", expected)
        if self.display and self.resolution:
            yield Flaw(("resolution",), "resolution beside display", "one of them")
        yield from self._without_span()
        found = self.certificate
        if found is not None:
            yield from self._beside_certificate(found)
        if self.calibrated is None:
            for key in ("yearly_gain", "yearly_offset", "certificate"):
                if getattr(self, key):
                    expected = f"the date of calibration, such as 2026-05-01, for {key}"
                    yield Flaw(("calibrated",), "nothing", expected)
                    break

    def _without_span(self) -> Iterator[Flaw]:
        if "temperature_span" in self.model_fields_set:
            return
        for key in ("temperature_gain", "temperature_offset", "shunt_temperature"):
            if getattr(self, key):
                expected = (
                    "how far the room may be from the temperature at calibration, such as "
                    f'"3 K": {key} counts by it'
                )
                yield Flaw(("temperature_span",), "nothing", expected)
                return

    def _beside_certificate(self, found: Certificate) -> Iterator[Flaw]:
        parts = (
            ("gain", self.gain or (self.error and self.error.of_reading), found.gain_uncertainty),
            ("offset", self.offset or (self.error and self.error.offset), found.offset_uncertainty),
            ("shunt_tolerance", self.shunt_tolerance, found.shunt_uncertainty),
        )
        for key, stated, certified in parts:
            if stated and certified:
                place = "error" if self.error and key in {"gain", "offset"} else key
                expected = "the certificate's alone; give the change since as yearly_…"
                yield Flaw((place,), f"{key} beside the certificate's", expected)


class VoltageAccuracy(AccuracyStatement):
    """The accuracy of a voltmeter, in volts."""

    error: Annotated[ErrorTerms, ErrorText(d.VOLTAGE)] | None = None
    offset: NonNegativeVolts = 0.0
    noise: NonNegativeVolts = 0.0
    resolution: NonNegativeVolts = 0.0
    temperature_offset: NonNegativeVoltsPerKelvin = 0.0
    stability_offset: NonNegativeVolts = 0.0
    yearly_offset: NonNegativeVolts = 0.0
    certificate: VoltageCertificate | None = None


class CurrentAccuracy(AccuracyStatement):
    """The accuracy of an ammeter or of a load's own readback, in amperes."""

    error: Annotated[ErrorTerms, ErrorText(d.CURRENT)] | None = None
    offset: NonNegativeAmperes = 0.0
    noise: NonNegativeAmperes = 0.0
    resolution: NonNegativeAmperes = 0.0
    temperature_offset: NonNegativeAmperesPerKelvin = 0.0
    stability_offset: NonNegativeAmperes = 0.0
    yearly_offset: NonNegativeAmperes = 0.0
    certificate: CurrentCertificate | None = None


class TemperatureAccuracy(AccuracyStatement):
    """The accuracy of a thermometer, in kelvins."""

    error: Annotated[ErrorTerms, ErrorText(d.TEMPERATURE_DIFFERENCE)] | None = None
    offset: NonNegativeKelvins = 0.0
    noise: NonNegativeKelvins = 0.0
    resolution: NonNegativeKelvins = 0.0
    temperature_offset: NonNegativeKelvinsPerKelvin = 0.0
    stability_offset: NonNegativeKelvins = 0.0
    yearly_offset: NonNegativeKelvins = 0.0
    certificate: TemperatureCertificate | None = None
