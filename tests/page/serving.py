"""The page on a port of this computer, for tests: in a thread, or as a process of its own."""

from __future__ import annotations

import contextlib
import http.client
import os
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from simrig.host.catalogue import Catalogue
from simrig.page.answers import Answers
from simrig.page.desk import Desk
from simrig.page.serving import application, listening


class Served:
    """A running page: its port, the desk behind it, and plain requests to it."""

    def __init__(self, port: int, desk: Desk, pairing: Any) -> None:
        self.port = port
        self.desk = desk
        self.pairing = pairing
        self.base = f"http://127.0.0.1:{port}"

    def ask(
        self, method: str, path: str, body: bytes | str | None = None, **headers: str
    ) -> tuple[int, str, http.client.HTTPResponse]:
        """One request with exactly these headers (underscores stand for hyphens)."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=180)
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        if method == "POST":
            sent.setdefault("Origin", self.base)
        connection.request(method, path, body, sent)
        answer = connection.getresponse()
        text = answer.read().decode("utf-8", "replace")
        connection.close()
        return answer.status, text, answer

    def raw(self, data: bytes) -> str:
        """Send bytes as they are and return the status line of the answer."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=20) as link:
            link.sendall(data)
            return link.recv(4096).decode("latin-1").partition("\r\n")[0]

    def up(self) -> bool:
        """Whether an honest request is answered."""
        return self.ask("GET", "/")[0] == 200


@contextlib.contextmanager
def serving(folder: Path, *, address: str | None = None, **desk: Any) -> Iterator[Served]:
    """The page served from a thread; with an ``address`` phones must be paired."""
    import uvicorn

    from simrig.page.protocol import GuardedProtocol

    answers = Answers(folder / "page.sqlite")
    made = Desk(
        catalogue=Catalogue(environ={}), answers=answers, store=folder / "history.sqlite", **desk
    )
    opened = listening(0, lan=False)
    port = opened.getsockname()[1]
    guard, pairing = application(made, port=port, address=address)
    config = uvicorn.Config(guard, http=GuardedProtocol, ws="none", lifespan="off",
                            log_level="critical", proxy_headers=False,
                            timeout_graceful_shutdown=1)  # fmt: skip
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [opened]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield Served(port, made, pairing)
    finally:
        server.should_exit = True
        thread.join(10)
        answers.close()


@contextlib.contextmanager
def process(folder: Path, *words: str, port: int = 0) -> Iterator[tuple[subprocess.Popen, str]]:
    """``simrig page`` as a process; yields it and the address of the page."""
    environment = {**os.environ, "XDG_DATA_HOME": str(folder)}
    command = [sys.executable, "-m", "simrig", "page", *words]
    if port:
        command += ["--port", str(port)]
    started = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
    try:
        assert started.stdout is not None
        line = started.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+", line)
        assert found, line
        yield started, found[0]
    finally:
        started.kill()
        started.wait(10)
