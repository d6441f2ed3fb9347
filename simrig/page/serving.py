"""Starts the server: where it listens, what it says, how it ends."""

from __future__ import annotations

import socket
from collections.abc import Callable
from typing import Any, Final

from simrig.errors import InputError, Problem
from simrig.page.app import Page
from simrig.page.desk import Desk
from simrig.page.guard import Guard, Pairing

PORT: Final = 8717
LOOPBACK: Final = "127.0.0.1"


def listening(port: int | None, *, lan: bool) -> socket.socket:
    """Return a socket that listens: on this computer alone, or with ``lan`` on its network too.

    ``port`` None takes the usual one, or any that is free.  Raises InputError
    where it cannot be had.
    """
    wanted = (PORT, 0) if port is None else (port,)
    trouble: OSError | None = None
    for number in wanted:
        made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        made.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            made.bind(("0.0.0.0" if lan else LOOPBACK, number))
            made.listen(128)
        except OSError as error:
            made.close()
            trouble = error
        else:
            return made
    reason = trouble.strerror if trouble else "no port"
    message = f"found that port {port} cannot be used ({reason}); name another with --port"
    raise InputError([Problem(file="command line", where="--port", message=message)])


def own_address() -> str | None:
    """Return this computer's address in its network; None where it has none.

    Nothing is sent: naming a peer for a datagram socket only makes the system choose the way.
    The peer is of the block kept for documentation (RFC 5737).
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))
            found = str(asking.getsockname()[0])
        except OSError:
            return None
    return None if found.startswith(("127.", "0.")) else found


def hosts(port: int, address: str | None) -> list[str]:
    """Return the names under which the page is served."""
    names = [LOOPBACK, "localhost", *([address] if address else [])]
    found = [f"{name}:{port}" for name in names]
    return [*found, *names] if port == 80 else found


def application(
    desk: Desk, *, port: int, address: str | None = None
) -> tuple[Guard, Pairing | None]:
    """Return the guarded page; with an ``address`` phones of the network can be paired."""
    pairing = None if address is None else Pairing(answers=desk.answers, clock=desk.clock)
    base = None if address is None else f"http://{address}:{port}"
    page = Page(desk, pairing=pairing, address=base)
    return Guard(page.routes(), hosts=hosts(port, address), pairing=pairing), pairing


def serve(desk: Desk, *, port: int | None, lan: bool, say: Callable[[str], Any]) -> None:
    """Serve until somebody stops it; ``say`` takes the lines that tell where."""
    import uvicorn

    from simrig.page.protocol import GuardedProtocol

    address = own_address() if lan else None
    if lan and address is None:
        message = "found no network; join one, or leave --lan out"
        raise InputError([Problem(file="command line", where="--lan", message=message)])
    opened = listening(port, lan=lan)
    number = opened.getsockname()[1]
    guard, pairing = application(desk, port=number, address=address)
    say(f"On this computer: http://{LOOPBACK}:{number}/")
    if pairing is not None:
        link = f"http://{address}:{number}/pair/{pairing.link()}"
        say(f"For one phone, within the hour, for a day: {link}")
        say(_code(link))
        say("Another phone: press 'Let another phone in' on the page. What is sent is not "
            "encrypted: use a network that you trust.")  # fmt: skip
    say("Stop with Ctrl-C.")
    config = uvicorn.Config(
        guard, http=GuardedProtocol, ws="none", lifespan="off", log_level="warning",
        access_log=False, server_header=False, date_header=False, proxy_headers=False,
        timeout_keep_alive=30, timeout_graceful_shutdown=2, h11_max_incomplete_event_size=16384,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[opened])


def _code(link: str) -> str:
    import io

    import segno

    out = io.StringIO()
    segno.make(link, error="l").terminal(out=out, compact=True)
    return out.getvalue()
