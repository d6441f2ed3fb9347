"""What the page shows is what the commands answer, for random observations."""

from __future__ import annotations

import html
import json
import os
import random
import re
from pathlib import Path

import pytest

from simrig import expect, load
from simrig.cli.main import main
from simrig.reports.wording import balls_at
from simrig.world.phases import Conditions, legal_placements

pytest.importorskip("starlette", reason="the page needs Starlette")

from tests.page.serving import Served, serving

MACHINES = ("tidal-clockwork", "basalt-freight", "orchard-signal")


def _plain(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).replace(" .", ".").split())


def _section(text: str, start: str, end: str) -> str:
    return text.partition(start)[2].partition(end)[0]


def _random_sheet(machine: str, dice: random.Random) -> tuple[str, int, dict[str, str]]:
    """A phase, a count, and readings near those expected: some turned, some not looked at."""
    profile = load(machine)
    while True:
        phase = dice.choice(profile.phase).id
        balls = dice.randint(0, profile.balls.installed + 1)
        if legal_placements(profile, Conditions(phase=phase, balls=balls)):
            break
    seen = {}
    for one in expect(profile, phase=phase, balls=balls).readings:
        if one.place is None or dice.random() < 0.15:
            continue
        reading = one.reading if one.reading != "either" else dice.choice(("open", "closed"))
        roll = dice.random()
        if roll < 0.12:
            reading = "open" if reading == "closed" else "closed"
        elif roll < 0.15:
            reading = "flickers"
        seen[one.sensor] = reading
    if dice.random() < 0.15:
        turned = {"open": "closed", "closed": "open", "flickers": "flickers"}
        seen = {name: turned[reading] for name, reading in seen.items()}
    return phase, balls, seen or {profile.ball_sensors()[0].id: "open"}


def _words(phase: str, balls: int, seen: dict[str, str]) -> list[str]:
    def named(reading: str) -> str:
        return ",".join(name for name, one in seen.items() if one == reading)

    return ["--phase", phase, "--balls", str(balls), "--closed", named("closed"),
            "--open", named("open"), "--flicker", named("flickers")]  # fmt: skip


def _shown(served: Served, machine: str, phase: str, balls: int, seen: dict[str, str]) -> str:
    _, _, answer = served.ask("POST", "/begin", f"machine={machine}")
    job = answer.headers["location"].rpartition("/")[2]
    taps = [("p", "phase", phase), ("n", "balls", balls), ("s", "see", seen)]
    body = json.dumps([{"key": key, "kind": kind, "value": value} for key, kind, value in taps])
    assert served.ask("POST", f"/job/{job}/taps", body)[0] == 200
    return job


def test_fifty_random_observations(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Expected readings, verdict, differences, fits and where the balls can be are the commands'."""
    dice = random.Random(20)
    with serving(tmp_path) as served:
        for number in range(50):
            machine = MACHINES[number % 3]
            phase, balls, seen = _random_sheet(machine, dice)
            words = _words(phase, balls, seen)
            job = _shown(served, machine, phase, balls, seen)
            page = served.ask("GET", f"/job/{job}")[1]

            main(["expect", machine, "--phase", phase, "--balls", str(balls), "--json"])
            readings = json.loads(capsys.readouterr().out)["readings"]
            shown = dict(
                re.findall(r'data-expected="(\w+)">.*?data-sensor="([^"]+)"', page, re.S)[i][::-1]
                for i in range(page.count("data-expected"))
            )
            watched = {one["sensor"]: one["reading"] for one in readings if one["place"]}
            assert shown == watched

            main(["compare", machine, *words, "--json"])
            answer = json.loads(capsys.readouterr().out)
            result = _section(page, 'id="h-answer"', "<h3>")
            listed = re.findall(r"must read <strong>(\w+)</strong>, you saw <strong>(\w+)<", result)
            assert listed == [(one["expected"], one["seen"]) for one in answer["differences"]]
            verdict = _plain(_section(result, 'class="verdict', "</p>").partition(">")[2])
            assert ("It agrees" in verdict) == answer["agrees"]
            turned = [fit["inverted"] for fit in answer["fits"] if fit["inverted"]]
            wrong = "symbols may be the wrong way round" in result
            assert wrong == (bool(turned) and len(answer["differences"]) > 1)

            main(["locate", machine, *words, "--json"])
            placements = json.loads(capsys.readouterr().out)["placements"]
            where = re.findall(r"<li>(.*?)</li>", _section(page, "the readings</h3>", "</ul>"))
            assert len(where) == min(3, len(placements))
            for line, one in zip(where, placements, strict=False):
                assert _plain(line).startswith(balls_at(load(machine), one["at"]))
                assert (f"{one['missing']} missing" in line) == bool(one["missing"])

            if number % 5 == 0:
                main(["compare", machine, *words])
                told = _plain(capsys.readouterr().out)
                assert verdict in told
                for line in re.findall(r"<p>(.*?)</p>", result.partition('class="verdict')[2]):
                    assert _plain(line).rstrip(":") in told


def test_the_proof(tmp_path: Path) -> None:
    """The steps to tick are those of the proving plan, with their cautions, in its order."""
    from simrig.proving.plan import prove

    with serving(tmp_path) as served:
        for machine in MACHINES:
            _, _, answer = served.ask("POST", "/begin", f"machine={machine}")
            job = answer.headers["location"].rpartition("/")[2]
            page = served.ask("GET", f"/job/{job}/steps")[1]
            plan = prove(load(machine))
            shown = re.findall(r"<li>(.*?)</li>", page, re.S)
            assert len(shown) == len(plan.steps) > 20
            for text, step in zip(shown, plan.steps, strict=True):
                words = _plain(text)
                for said in (step.caution, step.do, step.expect):
                    assert " ".join(said.split()) in words


@pytest.mark.skipif(not os.environ.get("SIMRIG_FULL"), reason="long; set SIMRIG_FULL to run it")
@pytest.mark.parametrize("machine", MACHINES)
def test_what_can_be_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], machine: str
) -> None:
    """Verdict, groups and next check are those of the command, before and after a check."""
    dice = random.Random(7)
    with serving(tmp_path) as served:
        for _ in range(3):
            phase, balls, seen = _random_sheet(machine, dice)
            words = _words(phase, balls, seen)
            job = _shown(served, machine, phase, balls, seen)
            for step in range(2):
                page = served.ask("GET", f"/job/{job}/causes")[1]
                main(["diagnose", machine, *words])
                told = _plain(capsys.readouterr().out)
                verdict = _plain(_section(page, 'class="verdict', "</p>").partition(">")[2])
                assert verdict
                assert verdict in told
                for title in re.findall(r'id="group-\d+"><p><strong>(.*?)</strong>', page):
                    assert _plain(title).split(",")[0] in told
                main(["diagnose", machine, *words, "--json"])
                following = json.loads(capsys.readouterr().out)["next_check"]
                shown = re.search(r'data-check="([^"]+)"', page)
                assert (shown and shown[1]) == (following and following["id"])
                if not shown:
                    break
                result = re.findall(r'data-result="([^"]+)"', page)[0]
                tap = {"key": f"c{step}", "kind": "check",
                       "value": {"check": shown[1], "result": result}}  # fmt: skip
                assert served.ask("POST", f"/job/{job}/taps", json.dumps([tap]))[0] == 200
                words += ["--found", f"{shown[1]}={result}"]
