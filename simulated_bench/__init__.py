"""A bench made of physics with a known truth, whose instruments speak SCPI on real sockets.

Imports neither `sequencer` nor `drivers`: they meet only on the wire.
"""
