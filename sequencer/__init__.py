"""Documents, plan, run loop, record, trials, figures, verdicts, outputs and the command line.

May import `drivers` by its roles and its one entry `drivers.connect`; never SCPI, sockets or the
simulated bench. Data goes one way: documents, plan, run, record, figures, verdicts, outputs.
"""
