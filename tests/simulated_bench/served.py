"""Runs a server in a thread while a test talks to it."""

import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

from simulated_bench.server import Server


@contextmanager
def serving(server: Server) -> Iterator[Server]:
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        yield server
    finally:
        server.stop()
        # It looks at `stop` after a round of its loop; a visit makes one.
        with socket.create_connection(server.at()):
            thread.join(10)
        server.close()
