"""What a meter's accuracy statement means for one value, a mean and a difference.

A difference of two readings of one meter in one range is much better known than either: the
offset is common and cancels, and the gain acts on the difference alone. What is left is what
changes between the two: noise, resolution, the wander over the time between, thermal EMF, and the
change of the room.
"""

import math
from dataclasses import replace

from sequencer.errors import FigureError
from sequencer.results import Component
from sequencer.uncertainty.combine import normal, rectangular
from sequencer.uncertainty.statement import Accuracy as Accuracy  # noqa: PLC0414  # public here

#: The time over which `stability_gain` and `stability_offset` are stated.
STABILITY_TIME_S = 86_400.0

#: The time in which connections come to another temperature by themselves and the thermal EMF may
#: change by all that is stated (common practice, no source).
THERMAL_EMF_TIME_S = 3600.0


def scale_components(accuracy: Accuracy, span: float, sensitivity: float = 1.0) -> list[Component]:
    """Return what makes a meter read every change in one proportion wrong.

    Gain, its temperature coefficient over the room's span, and the shunt's value, all acting on
    `span`: an absolute value or a difference, in the channel's unit. One such error is common to
    all readings of the meter in its range, so apply it once, to the final figure.
    """
    factor = sensitivity * abs(span)
    parts = [
        rectangular("gain", accuracy.gain, factor),
        rectangular(
            "gain at temperature", accuracy.temperature_gain * accuracy.temperature_span, factor
        ),
        normal("gain by certificate", accuracy.certified_gain, factor),
        rectangular("gain since calibration", accuracy.aged_gain, factor),
    ]
    if accuracy.shunt is not None:
        parts += [
            rectangular("shunt value", accuracy.shunt_tolerance, factor),
            normal("shunt value by certificate", accuracy.certified_shunt, factor),
            rectangular(
                "shunt at temperature",
                accuracy.shunt_temperature * accuracy.temperature_span,
                factor,
            ),
        ]
    return _present(accuracy, parts)


def offset_components(accuracy: Accuracy, sensitivity: float = 1.0) -> list[Component]:
    """Return what makes a meter read every value wrong by one amount; common to its readings."""
    factor = sensitivity * accuracy.per_volt
    parts = [
        rectangular("offset", accuracy.offset, factor),
        normal("offset by certificate", accuracy.certified_offset, factor),
        rectangular("offset since calibration", accuracy.aged_offset, factor),
        rectangular(
            "offset at temperature",
            accuracy.temperature_offset * accuracy.temperature_span,
            factor,
        ),
    ]
    return _present(accuracy, parts)


def is_dithered(accuracy: Accuracy) -> bool:
    """Tell whether noise of at least half a step makes rounding differ from repeat to repeat."""
    return accuracy.noise >= accuracy.resolution / 2


def beside_scatter(accuracy: Accuracy) -> Accuracy:
    """Return the meter without what the scatter of readings holds: noise, and steps it dithers."""
    return replace(
        accuracy, noise=0.0, resolution=0.0 if is_dithered(accuracy) else accuracy.resolution
    )


def reading_components(
    accuracy: Accuracy,
    readings: int,
    scatter: Component | None = None,
    sensitivity: float = 1.0,
) -> list[Component]:
    """Return what differs from reading to reading, for a mean of `readings`.

    Parameters
    ----------
    scatter
        A type A component of the same mean, evaluated from these or pooled repeats. Stands in
        place of the stated noise, which it contains; few repeats that look quieter than they are
        pay by their few degrees of freedom.
    sensitivity
        Factor from the channel's unit to the figure's; `scatter` carries its own.

    Notes
    -----
    Rounding averages away like noise only where noise of at least half a step dithers it.
    """
    if readings < 1:
        raise FigureError(f"readings: found {readings}, expected at least 1.")
    factor = sensitivity * accuracy.per_volt
    noise = normal("noise", accuracy.noise / math.sqrt(readings), factor)
    step = accuracy.resolution / 2 / (math.sqrt(readings) if is_dithered(accuracy) else 1.0)
    first = noise if scatter is None else scatter
    return _present(accuracy, [first, rectangular("resolution", step, factor)])


def absolute(accuracy: Accuracy, value: float, sensitivity: float = 1.0) -> list[Component]:
    """Return the components of one absolute reading of `value` (channel's unit)."""
    return mean_of(accuracy, value, 1, sensitivity=sensitivity)


def mean_of(
    accuracy: Accuracy,
    value: float,
    readings: int,
    *,
    scatter: Component | None = None,
    sensitivity: float = 1.0,
) -> list[Component]:
    """Return the components of a mean of `readings` readings of about `value`.

    Parameters
    ----------
    value
        Channel's unit.
    readings
        Number of independent readings (see `sequencer.numerics.effective` for correlated ones).
    scatter
        Type A component of the mean, see `reading_components`.
    sensitivity
        Factor from the channel's unit to the figure's.
    """
    factor = sensitivity * accuracy.per_volt
    parts = [
        *scale_components(accuracy, value, sensitivity),
        *offset_components(accuracy, sensitivity),
        rectangular("gain stability", accuracy.stability_gain, sensitivity * abs(value)),
        rectangular("offset stability", accuracy.stability_offset, factor),
        rectangular("thermal EMF", accuracy.thermal_emf, factor),
        *reading_components(accuracy, readings, scatter, sensitivity),
    ]
    return _present(accuracy, parts)


def wander_components(
    accuracy: Accuracy,
    level: float,
    *,
    lag_s: float,
    temperature_change_k: float = 0.0,
    heating_change: float = 1.0,
    sensitivity: float = 1.0,
) -> list[Component]:
    """Return how far the meter itself may move between two readings `lag_s` apart.

    Parameters
    ----------
    level
        The value read, channel's unit: a change of gain acts on all of it.
    temperature_change_k
        Greatest change of the room between the readings, K.
    heating_change
        Share of the current by which both readings differ, 0 to 1: the current warms the
        connections. What is the same at both cancels; 1 is from no load to load, or unknown.

    Notes
    -----
    The thermal EMF in full where the current comes or goes. Where the same leads go on carrying
    nearly the same current, what the current makes of it changes only with it, and beside that
    there is the slow change of the connections' temperature, all of the stated EMF within
    `THERMAL_EMF_TIME_S`.

    The stated change over a day is scaled with the square root of the time, as for a random walk:
    for times below a day this is more than a steady ageing would give. Common practice, no source.
    """
    if lag_s < 0 or temperature_change_k < 0:
        raise FigureError(
            f"lag {lag_s:g} s, temperature change {temperature_change_k:g} K: expected numbers not "
            "below zero."
        )
    factor = sensitivity * accuracy.per_volt
    share = math.sqrt(lag_s / STABILITY_TIME_S)
    on_level = sensitivity * abs(level)
    parts = [
        rectangular("gain stability", accuracy.stability_gain * share, on_level),
        rectangular("offset stability", accuracy.stability_offset * share, factor),
        *following_components(accuracy, level, temperature_change_k, sensitivity),
        *_changed_emf(accuracy, lag_s, heating_change, factor),
    ]
    return _present(accuracy, parts)


def _changed_emf(
    accuracy: Accuracy, lag_s: float, heating_change: float, factor: float
) -> list[Component]:
    """Return the thermal EMF that two readings do not have in common."""
    emf = accuracy.thermal_emf
    if heating_change >= 1.0:
        return [rectangular("thermal EMF", emf, factor)]
    slow = min(lag_s / THERMAL_EMF_TIME_S, 1.0)
    return [
        rectangular("thermal EMF", emf * heating_change, factor),
        rectangular("thermal EMF, slow change", emf * slow, factor),
    ]


def following_components(
    accuracy: Accuracy, level: float, temperature_change_k: float, sensitivity: float = 1.0
) -> list[Component]:
    """Return how far a meter that reads `level` follows a change of the room, K.

    The change may also be one per time (K/s), where the figure is a rate.
    """
    factor = sensitivity * accuracy.per_volt * temperature_change_k
    on_level = sensitivity * abs(level) * temperature_change_k
    parts = [
        rectangular("gain following the room", accuracy.temperature_gain, on_level),
        rectangular("offset following the room", accuracy.temperature_offset, factor),
    ]
    if accuracy.shunt is not None:
        parts.append(rectangular("shunt following the room", accuracy.shunt_temperature, on_level))
    return _present(accuracy, parts)


def difference(
    accuracy: Accuracy,
    first: float,
    second: float,
    *,
    lag_s: float,
    readings: int = 1,
    temperature_change_k: float = 0.0,
    heating_change: float = 1.0,
    scatter: Component | None = None,
    sensitivity: float = 1.0,
) -> list[Component]:
    """Return the components of `second` − `first`, read by one meter in one range.

    The offset cancels, the gain acts on the difference alone.

    Parameters
    ----------
    first, second
        Values in the channel's unit.
    lag_s
        Time between the two, s; with points visited up and down, the time from one point to the
        next, since slower wander is removed with the drift.
    readings
        Readings averaged at each of the two.
    temperature_change_k
        Greatest change of the room between them, K.
    heating_change
        See `wander_components`.
    scatter
        Type A component of the difference (for instance from `drift_free_differences`); stands in
        place of the stated noise of both means.
    sensitivity
        Factor from the channel's unit to the figure's.
    """
    level = max(abs(first), abs(second))
    both = math.sqrt(2) * sensitivity
    return [
        *scale_components(accuracy, second - first, sensitivity),
        *wander_components(
            accuracy,
            level,
            lag_s=lag_s,
            temperature_change_k=temperature_change_k,
            heating_change=heating_change,
            sensitivity=sensitivity,
        ),
        *reading_components(accuracy, readings, scatter, both),
    ]


def _present(accuracy: Accuracy, parts: list[Component]) -> list[Component]:
    """Leave out components that the statement does not have, and name the channel in the others."""
    return [_of(accuracy, part) for part in parts if part.contribution > 0]


def _of(accuracy: Accuracy, part: Component) -> Component:
    label = f" ({accuracy.channel})" if accuracy.channel else ""
    if part.name.endswith(label) and label:
        return part
    if math.isfinite(part.dof):
        return replace(part, name=part.name + label)  # a scatter has its unit from the figure
    relative = part.name.startswith(("gain", "shunt"))
    return replace(part, name=part.name + label, unit="1" if relative else accuracy.unit)
