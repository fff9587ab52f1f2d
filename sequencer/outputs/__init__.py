"""Outputs: charts, report, terminal tables and the JSON object; all read one `Result`.

May import `sequencer.result`, `sequencer.results`, `sequencer.errors`, the names and formatting of
quantities and the constants that the report has to state; never the record, the figures' code or
an instrument. Nothing here computes a result.
"""
