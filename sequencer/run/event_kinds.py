"""Kinds of events that others than their writer look for."""

MAKE_SAFE = "make safe"
"""How making safe went; its detail holds whether it was verified."""

STOPPED = "stopped"
"""Why a run did not end by itself; its detail holds the exit code."""

GUARDIAN = "guardian"
"""What the guardian did, or that it is lost."""

NO_NUMBER = "no number"
"""A meter's answer was overload or no number; no mean holds it."""

RANGE = "range in use"
"""A meter's range is not the one asked for; its detail holds channel and range."""

RESUMED = "resumed"
"""A run goes on; what was said before of stopping and making safe is history."""
