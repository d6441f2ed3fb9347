"""A mutant in place of the living function, and how the process that tries it ends."""

from __future__ import annotations

import importlib.util
import os
import signal

import pytest

pytest.importorskip("coverage", reason="mutants are tried with the lines that tests run")

from tests.biting import run, sessions
from tests.biting.operators import mutants

SOURCE = """
def outer(value):
    return [inner for inner in range(value) if (lambda one: one > 1)(inner)]


class Made:
    @property
    def least(self):
        return min(4, 7)
"""


def test_the_living_function_is_changed(tmp_path, monkeypatch):
    """Functions and properties do as the mutant says, without the module imported anew."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "made.py").write_text(SOURCE)
    spec = importlib.util.spec_from_file_location("made", tmp_path / "made.py")
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    found = {one.change: one for one in mutants("made.py")}
    functions = sessions._functions(["made.py"])
    assert (made.outer(4), made.Made().least) == ([2, 3], 4)
    assert sessions.change_functions(found["min(4, 7) -> max(4, 7)"], functions)
    assert sessions.change_functions(found["one > 1 -> one >= 1"], functions)
    assert (made.outer(4), made.Made().least) == ([1, 2, 3], 7)
    assert not sessions.change_functions(found["one > 1 -> one <= 1"], {})


def _ended(work) -> str:
    return sessions.verdict(sessions.forked(work))


def test_how_a_process_ends():
    """In silence it survived; with a status or by a signal it was killed; past its time on
    the processor it timed out."""

    def endless():
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_PROF, 0.05)
        while True:
            pass

    assert _ended(lambda: None) == sessions.SURVIVED
    assert _ended(lambda: os._exit(sessions.FAILED)) == sessions.KILLED
    assert _ended(lambda: os.kill(os.getpid(), signal.SIGKILL)) == sessions.KILLED
    assert _ended(endless) == sessions.TIMED_OUT
    assert _ended(lambda: os._exit(sessions.NOT_HERE)) == ""


def test_the_interval_of_a_share():
    """Wilson's interval at 95 per cent: 8 of 10 is 49.0 to 94.3. Source: Wilson, Journal of
    the American Statistical Association 22 (1927); the value derived."""
    assert run.between(8, 10) == "49.0 to 94.3"
    assert run.share(1, 8) == "12.5"


def test_every_judgement_says_why():
    """The list of mutants that behave as the code does gives a reason for each."""
    judged = run.judged()
    assert judged
    assert all(len(why) > 10 for why in judged.values())
