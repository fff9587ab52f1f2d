"""The record: one SQLite file per run, append-only, sealed with a digest when finished.

May import the requests, the results, the errors and `drivers.roles`; never documents, trials or
the run loop. Whatever a run knows passes through here; whatever judges it reads from here alone.
"""
