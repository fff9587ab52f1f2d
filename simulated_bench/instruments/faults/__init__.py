"""What goes wrong with instruments and their links: when it begins, what it touches, what happened.

May import the SCPI core and bench time; never a socket, `sequencer` or `drivers`.
"""
