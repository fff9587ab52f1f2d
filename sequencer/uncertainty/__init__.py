"""From meter accuracy and scatter to a figure's uncertainty budget (JCGM 100).

May import `sequencer.errors`, `sequencer.results` and `sequencer.numerics`; never documents.
"""
