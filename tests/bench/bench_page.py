"""Six phones at once, each tapping twice a second for half a minute, as the page's script does.

Run: python tests/bench/bench_page.py [SECONDS]

Each phone taps and waits for the acknowledgement; every four seconds it asks for
other people's taps and for the answer.  The goal:
the median acknowledgement under 150 ms, and none of the taps lost.  As a peer in
the same run, the same server is asked for its style sheet, which keeps nothing.
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
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from simrig import load
from simrig.page.answers import Answers
from tests.page.serving import process

PHONES = 6
PAUSE = 0.5
GOAL_MS = 150.0
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


def main() -> int:
    """Measure, say what was found, and return 1 where the goal is missed."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 30.0
    with tempfile.TemporaryDirectory() as folder:
        with process(Path(folder)) as (_, base):
            phones = [Phone(number, base, seconds) for number in range(PHONES)]
            for phone in phones:
                phone.start()
            for phone in phones:
                phone.join()
        answers = Answers(next(Path(folder).rglob("page.sqlite")))
        lost = sum(
            len(set(phone.sent) - {one.key for one in answers.events(phone.job)})
            for phone in phones
        )
        answers.close()
    times = sorted(1000 * one for phone in phones for one in phone.times)
    plain = statistics.median(1000 * one for phone in phones for one in phone.plain)
    median = statistics.median(times)
    late = times[int(len(times) * 0.95)]
    print(f"{PHONES} phones, {seconds:g} s, {len(times)} taps, {lost} lost")
    print(f"acknowledged, each on the disk: median {median:.1f} ms, 95 of 100 within {late:.1f} ms")
    print(f"peer, the style sheet of the same server: median {plain:.1f} ms, "
          f"ratio {median / plain:.1f}")  # fmt: skip
    good = median < GOAL_MS and not lost
    print(f"goal, median under {GOAL_MS:g} ms and none lost: {'held' if good else 'MISSED'}")
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
