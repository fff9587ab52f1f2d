"""Outputs: charts, report, terminal tables and the JSON object; all read one `Result`.

May import `sequencer.result`, `sequencer.results`, `sequencer.errors` and the formatting of
quantities; never the record, the figures' code or an instrument. Nothing here computes a result.
"""
