"""How making safe went, step by step, and what a person has to do where it was not proven."""

from dataclasses import dataclass

CURRENT_BOUND_A = 0.05
"""Under 50 mA nothing heats up any more; the meters' offsets stay below it."""

VOLTAGE_BOUND_V = 2.0
"""Under 2 V little is left in the output capacitor. Not a statement about touching anything."""

LAST_RESORT = (
    "Switch the unit off at the line yourself, and keep away from its terminals until a meter "
    "shows that no voltage is left."
)


@dataclass(frozen=True, slots=True)
class SafeStep:
    """One step of making safe, what became of it, and what a person should do if it failed."""

    what: str
    verified: bool
    detail: str
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class SafeReport:
    """The whole of making safe; `verified` only when every step was proven by readings.

    `reached` is False where not one instrument could be opened.
    """

    steps: tuple[SafeStep, ...]
    reached: bool = True

    @property
    def verified(self) -> bool:
        """Whether every step was proven."""
        return bool(self.steps) and all(step.verified for step in self.steps)

    def __str__(self) -> str:
        """Return the line for the record and the terminal; what a person has to do comes first."""
        text = "; ".join(f"{step.what}: {step.detail.rstrip('.')}" for step in self.steps)
        text = text or "nothing was declared to be switched off"
        if self.verified:
            return (
                f"Made safe, verified by readings below {CURRENT_BOUND_A * 1e3:.0f} mA and "
                f"{VOLTAGE_BOUND_V:.0f} V: {text}."
            )
        remedies = dict.fromkeys(s.remedy for s in self.steps if not s.verified and s.remedy)
        first = " ".join((*remedies, LAST_RESORT))
        return f"Making safe is NOT VERIFIED. {first} What was tried: {text}."
