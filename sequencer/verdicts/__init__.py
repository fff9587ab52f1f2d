"""Figure against limit under a stated decision rule, and only for what was measured.

May import `sequencer.errors`, `sequencer.results` and `sequencer.uncertainty`; measures nothing.
"""
