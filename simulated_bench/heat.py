"""The heat network: junction, case, heatsink, ambient, and the reference on its own node.

A ladder of thermal resistances and capacities (the electrical analogue, JEDEC JESD51-1)::

    C_j·dT_j/dt = P − (T_j − T_c)/R_jc            C_c·dT_c/dt = (T_j − T_c)/R_jc − (T_c − T_h)/R_ch
    C_h·dT_h/dt = P_h + (T_c − T_h)/R_ch − (T_h − T_a)/R_ha
    τ_r·dT_r/dt = T_a + f·(T_h − T_a) − T_r

The small reference board does not load the heatsink. The linear system is taken apart into its
modes once; a step with constant power and ambient is then exact for any length.
"""

from dataclasses import dataclass
from math import exp
from typing import Final, NamedTuple

import numpy as np

NODES: Final = 4


class Temperatures(NamedTuple):
    """Temperatures of the nodes, degrees Celsius."""

    junction: float
    case: float
    heatsink: float
    reference: float


@dataclass(frozen=True, slots=True)
class HeatParts:
    """Thermal resistances in K/W, capacities in J/K."""

    junction_case: float
    case_sink: float
    sink_ambient: float
    junction_capacity: float
    case_capacity: float
    sink_capacity: float
    reference_fraction: float
    reference_time_s: float


class HeatNetwork:
    """The network's modes; holds no temperatures."""

    def __init__(self, parts: HeatParts) -> None:
        self.parts = parts
        g_jc, g_ch = 1.0 / parts.junction_case, 1.0 / parts.case_sink
        g_ha = 1.0 / parts.sink_ambient
        capacity = np.array([parts.junction_capacity, parts.case_capacity, parts.sink_capacity])
        conduct = np.array(
            [[-g_jc, g_jc, 0.0], [g_jc, -g_jc - g_ch, g_ch], [0.0, g_ch, -g_ch - g_ha]]
        )
        system = np.zeros((NODES, NODES))
        system[:3, :3] = conduct / capacity[:, None]
        system[3, 2] = parts.reference_fraction / parts.reference_time_s
        system[3, 3] = -1.0 / parts.reference_time_s
        # Columns: power in the junction, power straight into the heatsink.
        drive = np.zeros((NODES, 2))
        drive[0, 0] = 1.0 / parts.junction_capacity
        drive[2, 1] = 1.0 / parts.sink_capacity
        rates, shapes = np.linalg.eig(system)
        if np.iscomplexobj(rates):
            rates, shapes = rates.real, shapes.real  # a ladder's modes are real
        back = np.linalg.inv(shapes)
        steady = -(back @ drive) / rates[:, None]
        self._rates: tuple[float, ...] = tuple(rates.tolist())
        self._shapes = tuple(tuple(row) for row in shapes.tolist())
        self._modes = tuple(tuple(row) for row in np.hstack([back, steady]).tolist())
        self._decays: dict[float, tuple[float, ...]] = {}

    def step(
        self,
        start: Temperatures,
        junction_w: float,
        sink_w: float,
        ambient_degc: float,
        step_s: float,
    ) -> Temperatures:
        """Return the temperatures after a step of constant power and ambient, exactly."""
        decays = self._decays.get(step_s)
        if decays is None:
            decays = tuple(exp(rate * step_s) for rate in self._rates)
            if len(self._decays) < 64:  # the grid step and a few more; others are seldom met again
                self._decays[step_s] = decays
        # All temperatures as rises over ambient: ambient then drives nothing else.
        r0, r1 = start[0] - ambient_degc, start[1] - ambient_degc
        r2, r3 = start[2] - ambient_degc, start[3] - ambient_degc
        modes = []
        for (b0, b1, b2, b3, by_junction, by_sink), decay in zip(self._modes, decays, strict=True):
            rest = by_junction * junction_w + by_sink * sink_w
            modes.append(rest + (b0 * r0 + b1 * r1 + b2 * r2 + b3 * r3 - rest) * decay)
        m0, m1, m2, m3 = modes
        (a0, a1, a2, a3), (b0, b1, b2, b3), (c0, c1, c2, c3), (d0, d1, d2, d3) = self._shapes
        return Temperatures(
            ambient_degc + a0 * m0 + a1 * m1 + a2 * m2 + a3 * m3,
            ambient_degc + b0 * m0 + b1 * m1 + b2 * m2 + b3 * m3,
            ambient_degc + c0 * m0 + c1 * m1 + c2 * m2 + c3 * m3,
            ambient_degc + d0 * m0 + d1 * m1 + d2 * m2 + d3 * m3,
        )
