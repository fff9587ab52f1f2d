"""A SCPI core: messages are read, compiled against a table of commands, and carried out.

Knows IEEE 488.2 and SCPI-1999, no instrument and no socket.
"""
