"""The run loop, what answers it (live bench, record, rehearsal), guards and make-safe.

May import documents, requests, the record and `drivers.roles`; never a trial's figures.
"""
