"""Six phones at once, each tapping twice a second for half a minute, as the page's script does.

Each phone taps and waits for the acknowledgement; every four seconds it asks for other
people's taps and for the answer.  Every tap must be on the disk: where one is lost, the
bench fails.  The peer is the same server's style sheet, which keeps nothing.
"""

from __future__ import annotations

import http.client
import json
import random
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from simrig import load
from simrig.page.answers import Answers
from tests.bench.measuring import Effort, equal
from tests.bench.program import alone
from tests.bench.rows import Claim, Found
from tests.page.serving import process

TITLE = "The phone page: six phones tapping, every tap kept"
MEDIAN = Claim(done="a tap kept and acknowledged", peer="absolute", measure="seconds", goal=0.15)
BESIDE = Claim(
    done="a tap kept and acknowledged", peer="uvicorn, static", package="uvicorn",
    measure="longer",
)  # fmt: skip
CLAIMS = (MEDIAN, BESIDE)

PHONES = 6
PAUSE = 0.5
MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")


class Phone(threading.Thread):
    """One phone at a job of its own."""

    def __init__(self, number: int, base: str, seconds: float) -> None:
        super().__init__()
        self.base, self.seconds = base, seconds
        self.dice = random.Random(number)
        self.machine = MACHINES[number % len(MACHINES)]
        self.link = http.client.HTTPConnection(base.removeprefix("http://"), timeout=60)
        self.times: list[float] = []
        self.plain: list[float] = []
        self.sent: list[str] = []
        self.job = self._begin()

    def _ask(self, method: str, path: str, body: str | None = None) -> tuple[int, str, str | None]:
        self.link.request(method, path, body, {"Origin": self.base})
        answer = self.link.getresponse()
        return answer.status, answer.read().decode(), answer.headers.get("location")

    def _begin(self) -> str:
        _, _, where = self._ask("POST", "/begin", f"machine={self.machine}")
        assert where is not None
        return where.rpartition("/")[2]

    def run(self) -> None:
        """Tap until the time is over; a second connection looks on, as the script does."""
        sensors = [one.id for one in load(self.machine).ball_sensors()]
        begin = time.monotonic()
        looking = threading.Thread(target=self._look, args=(begin + self.seconds,))
        looking.start()
        number = 0
        while (now := time.monotonic()) < begin + self.seconds:
            key = f"{self.machine}-{self.dice.getrandbits(64):x}"
            value = {self.dice.choice(sensors): self.dice.choice(("closed", "open", "flickers"))}
            body = json.dumps([{"key": key, "kind": "see", "value": value}])
            status, text, _ = self._ask("POST", f"/job/{self.job}/taps", body)
            assert status == 200, text
            self.times.append(time.monotonic() - now)
            self.sent.append(key)
            number += 1
            time.sleep(max(0.0, begin + number * PAUSE - time.monotonic()))
        looking.join()

    def _look(self, end: float) -> None:
        """Ask for the answer every four seconds, and for the style sheet as the peer."""
        link = http.client.HTTPConnection(self.base.removeprefix("http://"), timeout=60)
        while time.monotonic() < end:
            for path in (f"/job/{self.job}/seq", f"/job/{self.job}/part?what=answer"):
                link.request("GET", path)
                link.getresponse().read()
            before = time.monotonic()
            link.request("GET", "/static/page.css")
            link.getresponse().read()
            self.plain.append(time.monotonic() - before)
            time.sleep(4)


def run(effort: Effort) -> Iterator[Found]:
    """Tap, then look whether every tap was kept."""
    with tempfile.TemporaryDirectory() as folder:
        with process(Path(folder)) as (_, base):
            phones = [
                Phone(number, base, effort.of(30.0, 2.0)) for number in range(effort.of(PHONES, 1))
            ]
            for phone in phones:
                phone.start()
            for phone in phones:
                phone.join()
        answers = Answers(next(Path(folder).rglob("page.sqlite")))
        for phone in phones:
            kept = {one.key for one in answers.events(phone.job)}
            equal("taps that are not kept", set(phone.sent) - kept, set())
        answers.close()
    times = sorted(one for phone in phones for one in phone.times)
    median = statistics.median(times)
    plain = statistics.median(one for phone in phones for one in phone.plain)
    details = {"taps": len(times), "of_100_95_within_s": times[int(len(times) * 0.95)]}
    yield MEDIAN.row(median, **details)
    yield BESIDE.row(median / plain, ours_s=median, peer_s=plain, **details)


if __name__ == "__main__":
    sys.exit(alone(__file__, __doc__))
