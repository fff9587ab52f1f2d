"""The instruments on the simulated table: true values in, honest errors, SCPI out.

May import the SCPI core and the faces of the physics; never `sequencer` or `drivers`.
"""
