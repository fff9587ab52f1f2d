"""Time of a query through a socket, beside a bare echo server; prints the ratio.

Both servers are processes of their own; rounds alternate and the best of each counts.
"""

import json
import socket
import subprocess
import sys
import time

ROUNDS, QUERIES = 9, 4000
ECHO = """
import socket
server = socket.create_server(("127.0.0.1", 0))
print(server.getsockname()[1], flush=True)
sock, _ = server.accept()
sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
while data := sock.recv(65536):
    sock.send(data)
"""


def opened(port: int) -> socket.socket:
    sock = socket.create_connection(("127.0.0.1", port))
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return sock


def seconds_per_query(sock: socket.socket, message: bytes) -> float:
    start = time.perf_counter()
    for _ in range(QUERIES):
        sock.send(message)
        sock.recv(4096)
    return (time.perf_counter() - start) / QUERIES


def main() -> None:
    words = [sys.executable, "-m", "simulated_bench", "serve", "--until-stdin-closes"]
    with (
        subprocess.Popen([sys.executable, "-c", ECHO], stdout=subprocess.PIPE) as echo,
        subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as bench,
    ):
        assert echo.stdout is not None
        assert bench.stdout is not None
        assert bench.stdin is not None
        where = json.loads(bench.stdout.readline())["instruments"]
        with (
            opened(int(echo.stdout.readline())) as bare,
            opened(int(where["voltmeter_sense"].split("::")[2])) as meter,
        ):
            questions = {"*IDN?": meter, "VOLT:RANG?": meter, "READ?": meter}
            best_bare = float("inf")
            best = dict.fromkeys(questions, float("inf"))
            for _ in range(ROUNDS):
                best_bare = min(best_bare, seconds_per_query(bare, b"*IDN?\n"))
                for text, sock in questions.items():
                    best[text] = min(best[text], seconds_per_query(sock, f"{text}\n".encode()))
        bench.stdin.close()
    print(f"bare echo {best_bare * 1e6:.1f} µs")
    for text, taken in best.items():
        print(f"{text} {taken * 1e6:.1f} µs, ratio {taken / best_bare:.2f}")


if __name__ == "__main__":
    main()
