"""The guardian: a second process that makes the bench safe if the sequencer can't.

`keeper` is the sequencer's side; `python -m sequencer.guardian` is the process. Both may import
the run's make-safe and the record's writer; never documents or trials.
"""
