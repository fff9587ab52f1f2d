"""Trials: one module each, with its settings, its procedure, its figures and its chart.

A procedure yields requests and gets replies (`sequencer.requests`); figures are pure functions of
the evidence that the record holds. No instrument, clock or file is touched here.
"""
