"""Declared documents: the unit, the bench and the profile, read from TOML and checked.

Text such as "30 mV" exists only here; everything that leaves is SI. May import `sequencer.errors`;
knows no trial, no figure's code and no instrument: what it needs of them is passed in.
"""
