"""Who gets in, and what is refused: each guard of the page, met from outside by a real connection."""

from __future__ import annotations

import datetime
import json
import re
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the page needs Starlette")
pytest.importorskip("uvicorn", reason="the page needs Uvicorn")

from simrig.page import guard, protocol
from simrig.page.answers import Answers
from simrig.page.guard import Guard, Pairing
from simrig.page.serving import hosts
from tests.page.serving import Served, serving


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The page, for this computer alone."""
    with serving(tmp_path_factory.mktemp("page")) as found:
        yield found


def _begin(served: Served, machine: str = "tidal-clockwork") -> str:
    _, _, answer = served.ask("POST", "/begin", f"machine={machine}")
    return answer.headers["location"].rpartition("/")[2]


def test_it_listens_on_this_computer_alone(served: Served) -> None:
    """The socket is bound to the loopback address, so no other computer reaches it."""
    from simrig.page.serving import listening

    opened = listening(0, lan=False)
    assert opened.getsockname()[0] == "127.0.0.1"
    opened.close()


HOSTS = {
    "127.0.0.1:{port}": 200,
    "localhost:{port}": 200,
    "LOCALHOST:{port}": 200,
    "rebinding.example:{port}": 421,
    "127.0.0.1.rebinding.example:{port}": 421,
    "127.0.0.1:1": 421,
    "127.0.0.1": 421,
    "localhost.:{port}": 421,
    "someone@127.0.0.1:{port}": 421,
    "[::1]:{port}": 421,
    "0.0.0.0:{port}": 421,
    "2130706433:{port}": 421,
    "": 421,
}


@pytest.mark.parametrize("form", HOSTS)
def test_only_our_own_names_are_served(served: Served, form: str) -> None:
    """A foreign name that resolves to this computer reaches nothing, whatever its form."""
    status, text, _ = served.ask("GET", "/", Host=form.format(port=served.port))
    assert status == HOSTS[form]
    assert ("Which machine" in text) == (status == 200)


def test_two_hosts_or_none_are_refused(served: Served) -> None:
    """A request that names two hosts, or none, is refused."""
    ours = f"Host: 127.0.0.1:{served.port}\r\n"
    twice = served.raw(f"GET / HTTP/1.1\r\n{ours}Host: other.example\r\n\r\n".encode())
    none = served.raw(b"GET / HTTP/1.1\r\n\r\n")
    old = served.raw(b"GET / HTTP/1.0\r\n\r\n")
    assert all(int(line.split()[1]) in (400, 421) for line in (twice, none, old))
    assert served.up()


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "", "http://localhost:{port}.evil.example",
               "https://127.0.0.1:{port}", "http://127.0.0.1:1"],
)  # fmt: skip
def test_a_post_from_another_site_is_refused(served: Served, origin: str) -> None:
    """What changes something must come from our own page, on every route that posts."""
    job = _begin(served)
    tap = json.dumps([{"key": "k", "kind": "see", "value": {"trough-1": "closed"}}])
    for path, body in ((f"/job/{job}/taps", tap), (f"/job/{job}/do", "do={}"),
                       ("/begin", "machine=tidal-clockwork"),
                       (f"/job/{job}/file", "serial=1")):  # fmt: skip
        status, _, _ = served.ask("POST", path, body, Origin=origin.format(port=served.port))
        assert status == 403
    assert served.desk.answers.events(job) == []
    assert served.desk.answers.session(job).job is None


def test_a_post_without_origin_is_refused(served: Served) -> None:
    """A form of an old browser that does not say where it comes from is not taken."""
    host = f"127.0.0.1:{served.port}"
    head = f"POST /begin HTTP/1.1\r\nHost: {host}\r\nContent-Length: 0\r\n\r\n"
    assert served.raw(head.encode()).split()[1] == "403"


def test_a_foreign_page_cannot_read(served: Served) -> None:
    """What another site asks for in the background is refused; a plain link to the page works."""
    asked = served.ask("GET", "/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="no-cors")
    linked = served.ask("GET", "/", Sec_Fetch_Site="cross-site", Sec_Fetch_Mode="navigate")
    assert (asked[0], linked[0]) == (403, 200)


def test_every_answer_carries_the_policy(served: Served) -> None:
    """Pages, files, refusals and errors all forbid scripts and frames from elsewhere."""
    for path in ("/", "/static/page.js", "/nothing", "/job/none", "/static/../app.py"):
        _, _, answer = served.ask("GET", path)
        assert "script-src 'self'" in answer.headers["content-security-policy"]
        assert "frame-ancestors 'none'" in answer.headers["content-security-policy"]
        assert answer.headers["x-content-type-options"] == "nosniff"
    _, _, refused = served.ask("GET", "/", Host="other.example")
    assert "default-src 'none'" in refused.headers["content-security-policy"]


def test_a_body_of_ten_mebibytes_is_refused(served: Served) -> None:
    """A body beyond the bound is refused, stated or not, and the page stays up."""
    job = _begin(served)
    size = 10 * 1024 * 1024
    host = f"127.0.0.1:{served.port}"
    head = f"POST /job/{job}/taps HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
    assert served.raw(f"{head}Content-Length: {size}\r\n\r\n".encode()).split()[1] == "413"
    with socket.create_connection(("127.0.0.1", served.port), timeout=20) as link:
        link.sendall(f"{head}Transfer-Encoding: chunked\r\n\r\n".encode())
        piece = b"10000\r\n" + b"x" * 0x10000 + b"\r\n"
        try:
            for _ in range(size // 0x10000):
                link.sendall(piece)
        except OSError:
            pass  # refused and closed before all was sent
        status = _status(link)
    assert status in ("413", "")
    assert served.desk.answers.events(job) == []
    assert served.up()


def _status(link: socket.socket) -> str:
    try:
        return link.recv(4096).decode("latin-1").split()[1]
    except (OSError, IndexError):
        return ""


def test_a_slow_client_is_let_go(served: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who sends a head or a body too slowly is let go, and others are served meanwhile."""
    monkeypatch.setattr(protocol, "FIRST_REQUEST_SECONDS", 1.5)
    monkeypatch.setattr(guard, "BODY_SECONDS", 1.5)
    host = f"127.0.0.1:{served.port}"
    head = socket.create_connection(("127.0.0.1", served.port), timeout=20)
    head.sendall(b"GET / HTTP/1.1\r\nHost: ")
    body = socket.create_connection(("127.0.0.1", served.port), timeout=20)
    body.sendall(f"POST /begin HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
                 "Content-Length: 100\r\n\r\nmachine".encode())  # fmt: skip
    assert served.up()
    assert head.recv(100) == b""
    assert body.recv(4096).startswith(b"HTTP/1.1 408")
    head.close()
    body.close()
    assert served.up()


def test_two_hundred_connections_at_once(served: Served) -> None:
    """Two hundred connections at once are borne, each is answered; beyond the bound newcomers go."""
    statuses: list[int] = []

    def ask() -> None:
        statuses.append(served.ask("GET", "/static/page.css")[0])

    threads = [threading.Thread(target=ask) for _ in range(200)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(30)
    assert statuses == [200] * 200
    held = [socket.create_connection(("127.0.0.1", served.port), timeout=20)
            for _ in range(protocol.MOST_CONNECTIONS + 20)]  # fmt: skip
    held[-1].settimeout(5)
    assert held[-1].recv(10) == b""
    for one in held:
        one.close()
    end = time.monotonic() + 10
    while time.monotonic() < end:
        try:
            if served.up():
                break
        except OSError:
            time.sleep(0.05)
    assert served.up()


def test_nonsense_is_refused_and_nothing_kept(served: Served) -> None:
    """Taps that are no taps are refused in words, and none of a batch is kept."""
    job = _begin(served)
    good = {"key": "a", "kind": "see", "value": {"trough-1": "closed"}}
    bad = [
        {"key": "b", "kind": "see", "value": {"no-such": "closed"}},
        {"key": "b", "kind": "see", "value": {"trough-1": "ajar"}},
        {"key": "b", "kind": "see", "value": []},
        {"key": "b", "kind": "phase", "value": "no-such"},
        {"key": "b", "kind": "phase", "value": ["idle"]},
        {"key": "b", "kind": "balls", "value": 99},
        {"key": "b", "kind": "balls", "value": True},
        {"key": "b", "kind": "fed", "value": {"step": -1, "right": True}},
        {"key": "b", "kind": "check", "value": {"check": "x" * 999, "result": "y"}},
        {"key": "b", "kind": "drop table", "value": None},
    ]
    for one in bad:
        status, text, _ = served.ask("POST", f"/job/{job}/taps", json.dumps([good, one]))
        assert status == 422
        assert text.startswith("Not taken: ")
    for body in ("", "{", "[]x", "17", '[{"key": 1}]', "[" * 5000, "[[[]]]", b"\xff\xfe"):
        assert served.ask("POST", f"/job/{job}/taps", body)[0] == 400
    assert served.desk.answers.events(job) == []


def test_methods_and_paths_that_are_not_there(served: Served) -> None:
    """Other methods and other paths are refused in words, never with a traceback."""
    for method in ("PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"):
        assert served.ask(method, "/")[0] == 405
    for path in ("/static/../guard.py", "/static/%2e%2e/guard.py", "/job/x/../..", "/pairing",
                 "/pair/x", "/job/%00", "/static/page.css/"):  # fmt: skip
        status, text, _ = served.ask("GET", path)
        assert status in (404, 405, 307)
        assert "Traceback" not in text


# --- phones of the network ------------------------------------------------------------------


class _Clock:
    def __init__(self) -> None:
        self.now = datetime.datetime(2026, 1, 5, 9, tzinfo=datetime.UTC)

    def __call__(self) -> datetime.datetime:
        return self.now


def _gate(tmp_path: Path) -> tuple[Guard, Pairing, _Clock]:
    clock = _Clock()
    pairing = Pairing(answers=Answers(tmp_path / "page.sqlite"), clock=clock)

    async def inside(scope: object, receive: object, send: object) -> None:
        raise AssertionError("not asked in these tests")

    return Guard(inside, hosts=hosts(8717, "192.0.2.7"), pairing=pairing), pairing, clock


def _refused(gate: Guard, *, cookie: str | None = None, client: str = "192.0.2.9") -> int | None:
    headers = [(b"host", b"192.0.2.7:8717")]
    if cookie is not None:
        headers.append((b"cookie", cookie.encode()))
    scope = {"type": "http", "method": "GET", "path": "/", "headers": headers,
             "client": (client, 40000)}  # fmt: skip
    found = gate._refusal(scope)
    return None if found is None else found[0]


def test_only_paired_phones_get_in(tmp_path: Path) -> None:
    """Without a token, or with a wrong one, a phone of the network is not let in; paired, it is."""
    gate, pairing, _ = _gate(tmp_path)
    assert _refused(gate) == 401
    for cookie in ("", "simrig-visitor=", "simrig-visitor=wrong", "other=1", "=;;=", "\x00"):
        assert _refused(gate, cookie=cookie) == 401
    kept = pairing.pair(pairing.link())
    assert kept is not None
    assert _refused(gate, cookie=f"a=b; simrig-visitor={kept}") is None
    assert _refused(gate, client="127.0.0.1") is None


def test_a_link_is_good_once_and_for_an_hour(tmp_path: Path) -> None:
    """A link that was used, is old or was never given pairs nobody."""
    _, pairing, clock = _gate(tmp_path)
    link = pairing.link()
    assert pairing.pair(link) is not None
    assert pairing.pair(link) is None
    late = pairing.link()
    clock.now += datetime.timedelta(minutes=61)
    assert pairing.pair(late) is None
    assert pairing.pair("never-given") is None
    assert pairing.pair("") is None


def test_a_phone_is_let_in_for_a_day_and_over_a_restart(tmp_path: Path) -> None:
    """A paired phone stays paired when the server starts again, until a day has passed."""
    gate, pairing, clock = _gate(tmp_path)
    kept = pairing.pair(pairing.link())
    again = Pairing(answers=Answers(tmp_path / "page.sqlite"), clock=clock)
    gate.pairing = again
    clock.now += datetime.timedelta(hours=23)
    assert _refused(gate, cookie=f"simrig-visitor={kept}") is None
    clock.now += datetime.timedelta(hours=2)
    assert _refused(gate, cookie=f"simrig-visitor={kept}") == 401


def test_the_token_itself_is_not_kept(tmp_path: Path) -> None:
    """Who reads the file of answers cannot come in with what stands there."""
    _, pairing, _ = _gate(tmp_path)
    kept = pairing.pair(pairing.link())
    assert kept is not None
    pairing.answers.close()
    assert all(kept.encode() not in path.read_bytes() for path in tmp_path.iterdir())


def test_pairing_by_the_link(tmp_path: Path) -> None:
    """Opening the link uses nothing up; its button does, and sets a cookie no script can read."""
    with serving(tmp_path, address="192.0.2.7") as served:
        link = f"/pair/{served.pairing.link()}"
        assert served.ask("GET", link)[0] == 200
        assert served.ask("GET", link)[0] == 200
        status, _, answer = served.ask("POST", link, "")
        cookie = answer.headers["set-cookie"]
        assert status == 303
        assert "HttpOnly" in cookie
        assert "SameSite=strict" in cookie
        assert served.ask("POST", link, "")[0] == 403
        assert served.ask("GET", link)[0] == 403
        _, text, _ = served.ask("POST", "/pairing", "")
        other = re.search(r"/pair/([\w-]+)", text)
        assert other
        assert "<svg" in text
        assert served.pairing.pair(other[1]) is not None
