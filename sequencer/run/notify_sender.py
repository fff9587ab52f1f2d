"""The process that delivers one message; it ends itself after a while, whatever happens.

Standard input holds one JSON object with address, title and body. The exit code says how it went.
"""

import json
import logging
import signal
import sys

from sequencer.run.notify import BAD_ADDRESS, NOT_DELIVERED, NOT_INSTALLED

LIFE_S = 30
"""An orphan whose run was killed ends by itself after that."""


def main() -> int:
    """Deliver the message and return the exit code."""
    signal.alarm(LIFE_S)
    logging.disable(logging.CRITICAL)  # the library logs addresses
    message = json.loads(sys.stdin.buffer.read())
    try:
        import apprise  # noqa: PLC0415  # an extra
    except ImportError:
        return NOT_INSTALLED
    there = apprise.Apprise()
    if not there.add(message["address"]):
        return BAD_ADDRESS
    return 0 if there.notify(title=message["title"], body=message["body"]) else NOT_DELIVERED


if __name__ == "__main__":
    sys.exit(main())
