"""Another side for webhooks: a server on this machine that keeps what it is sent and answers as it is told."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer


@dataclass
class Receiver:
    """What it was sent, and the statuses of its answers in order; the last of them is given to all that follow."""

    address: str = ""
    statuses: list[int] = field(default_factory=lambda: [200])
    location: str = ""
    got: list[tuple[dict[str, str], bytes]] = field(default_factory=list)


@contextmanager
def receiver(*statuses: int, location: str = "") -> Iterator[Receiver]:
    """One that listens for the length of the block."""
    kept = Receiver(statuses=list(statuses) or [200], location=location)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            kept.got.append((dict(self.headers.items()), body))
            self.send_response(kept.statuses.pop(0) if len(kept.statuses) > 1 else kept.statuses[0])
            if kept.location:
                self.send_header("Location", kept.location)
            self.send_header("Content-Length", "6")
            self.end_headers()
            self.wfile.write(b"heard\n")

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    kept.address = f"http://127.0.0.1:{server.server_address[1]}/notices?unit=1"
    running = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    running.start()
    try:
        yield kept
    finally:
        server.shutdown()
        running.join()
        server.server_close()
