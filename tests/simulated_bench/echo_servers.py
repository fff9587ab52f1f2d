"""The simplest servers there are, to measure beside: they send back what comes."""

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

ECHO = """
import selectors, socket

ready = selectors.DefaultSelector()
server = socket.create_server(("127.0.0.1", 0))
server.setblocking(False)

def welcome(listening):
    sock, _ = listening.accept()
    sock.setblocking(False)
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    ready.register(sock, selectors.EVENT_READ, echo)

def echo(sock):
    data = sock.recv(16384)
    if data:
        sock.send(data)
    else:
        ready.unregister(sock)
        sock.close()

ready.register(server, selectors.EVENT_READ, welcome)
print(server.getsockname()[1], flush=True)
while True:
    for key, _ in ready.select():
        key.data(key.fileobj)
"""
BLOCKING_ECHO = """
import socket
server = socket.create_server(("127.0.0.1", 0))
print(server.getsockname()[1], flush=True)
sock, _ = server.accept()
sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
while data := sock.recv(16384):
    sock.send(data)
"""


@contextmanager
def echo(program: str) -> Iterator[tuple[int, int]]:
    """Serve echoes; yield port and process number."""
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as server:
        assert server.stdout is not None
        try:
            yield int(server.stdout.readline()), server.pid
        finally:
            server.kill()
