"""Roles of instruments, dialect tables, VISA sessions, and the operator as an instrument.

May import pyvisa; never `sequencer` (trials, limits) and never `simulated_bench`.
"""
