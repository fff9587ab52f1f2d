"""The numbers of VXI-11 revision 1.0.

Program, procedure, flag and error numbers are written down from memory of its appendix B and C and
agree with those that pyvisa-py's client, whose authors had the specification, sends and expects.
"""

from enum import IntEnum
from typing import Final

from simulated_bench.connection import LONGEST_LINE

CORE: Final = 0x0607AF
ABORT: Final = 0x0607B0
PROGRAM_VERSION: Final = 1

LONGEST_WRITE: Final = LONGEST_LINE
"""`maxRecvSize`, what one `device_write` may carry; at least 1024."""

LONGEST_RECORD: Final = LONGEST_WRITE + 2048
"""Of a call: that, and its head with credentials."""

END_OF_MESSAGE: Final = 8
TERMINATOR_SET: Final = 128
"""Bits of `Device_Flags`."""

COUNT_REACHED: Final = 1
TERMINATOR_SEEN: Final = 2
END_SEEN: Final = 4
"""Bits of why a `device_read` ended."""


class Procedure(IntEnum):
    """Of the core channel; 0 is every program's null procedure (RFC 5531, section 12.1)."""

    NULL = 0
    CREATE_LINK = 10
    WRITE = 11
    READ = 12
    READ_STATUS = 13
    TRIGGER = 14
    CLEAR = 15
    REMOTE = 16
    LOCAL = 17
    LOCK = 18
    UNLOCK = 19
    ENABLE_SERVICE_REQUEST = 20
    COMMAND = 22
    DESTROY_LINK = 23
    CREATE_INTERRUPT_CHANNEL = 25
    DESTROY_INTERRUPT_CHANNEL = 26


DEVICE_ABORT: Final = 1
"""The abort channel's one procedure."""


class Problem(IntEnum):
    """Error codes of the core channel that this server gives."""

    NONE = 0
    NOT_ACCESSIBLE = 3
    INVALID_LINK = 4
    PARAMETER = 5
    NOT_SUPPORTED = 8
    OUT_OF_RESOURCES = 9
    NO_LOCK_HELD = 12
    TIME_OUT = 15
    ABORTED = 23
