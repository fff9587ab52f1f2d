"""Pure functions on arrays: straight lines, the knee, drift, pairs, settling, Allan deviation.

May import `sequencer.errors`, numpy and scipy; knows no document, no record, no instrument.
"""
