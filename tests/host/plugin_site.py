"""A folder of installed plug-ins, good and bad, as an installer would leave it."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from simrig.host import entries, making

ROOT = Path(__file__).parents[2]
VERSION = "0.3"

BRINGS = """from pathlib import Path
from simrig.host import hookimpl

@hookimpl
def simrig_profiles():
    return [Path(__file__).with_name("{machine}.toml")]
"""
HOOK = """from simrig.host import hookimpl

@hookimpl
def simrig_profiles():
    {body}
"""
QUIET = HOOK.format(body="return []")

BAD = {
    "import-error": ("import no_such_module\n", "on import", "No module named 'no_such_module'"),
    "syntax-error": ("def broken(:\n", "on import", "SyntaxError in line 1 of "),
    "system-exit": ("raise SystemExit(0)\n", "on import", "it ends the whole program"),
    "os-exit": ("import os\nos._exit(0)\n", "on import", "it ended the whole process (code 0)"),
    "hang-on-import": ("while True:\n    pass\n", "on import", "it was not done within"),
    "hang-in-hook": (
        HOOK.format(body="import time; time.sleep(600)"),
        "in simrig_profiles",
        "it was not done within",
    ),
    "deep-recursion": (
        HOOK.format(body="return simrig_profiles()"),
        "in simrig_profiles",
        "it calls itself without end",
    ),
    "huge-allocation": (
        HOOK.format(body="return [bytearray(1 << 40)]"),
        "in simrig_profiles",
        "more memory than a plug-in may have",
    ),
    "junk-return": (
        HOOK.format(body="return 42"),
        "in simrig_profiles",
        "it returned int '42'; wanted a list",
    ),
    "wrong-signature": (
        HOOK.replace("profiles()", "profiles(colour)").format(body="return []"),
        "on registration",
        "found simrig_profiles(colour); wanted simrig_profiles()",
    ),
    "misspelt-hook": (
        QUIET.replace("simrig_profiles", "simrig_profile"),
        "on registration",
        "simrig_profile is not a hook; did you mean simrig_profiles?",
    ),
    "prints-on-import": ("print('hello')\n" + QUIET, "on import", "it printed 6 bytes"),
    "closes-stdout": (
        "import os\nos.close(1)\n" + QUIET,
        "on import",
        "it closed standard output",
    ),
    "changes-folder": (
        "import os\nos.chdir('/')\n" + QUIET,
        "on import",
        "it changed the working folder",
    ),
    "raises-in-hook": (
        HOOK.format(body="raise ValueError('no tide table')"),
        "in simrig_profiles",
        "ValueError: no tide table",
    ),
    "duplicate-id": (
        BRINGS.format(machine="harbour-lights"),
        "in its profiles",
        'the machine "harbour-lights" in ',
    ),
}
"""Sixteen ways to be bad: the code, the stage at which it shows, and words of what is told."""


def put(site: Path, name: str, code: str, machine: str | None = None) -> None:
    """Install a plug-in; with a machine, also a profile of that id."""
    module = name.replace("-", "_")
    metadata = site / f"{module}-{VERSION}.dist-info"
    metadata.mkdir(parents=True)
    (metadata / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: {VERSION}\n")
    (metadata / "entry_points.txt").write_text(f"[simrig]\n{name} = {module}\n")
    package = site / module
    package.mkdir()
    (package / "__init__.py").write_text(code)
    if machine is not None:
        text = (ROOT / "plugins/simrig_machines/orchard-signal.toml").read_text()
        (package / f"{machine}.toml").write_text(text.replace("orchard-signal", machine))


def bad(site: Path, name: str) -> None:
    """Install one of the bad ones."""
    put(site, name, BAD[name][0], "harbour-lights" if name == "duplicate-id" else None)


def good(site: Path, machine: str) -> None:
    """Install a plug-in that brings a machine of its own name."""
    put(site, machine, BRINGS.format(machine=machine), machine)


def alone(monkeypatch: pytest.MonkeyPatch, site: Path) -> None:
    """Have the plug-ins of this folder be the only ones installed."""
    monkeypatch.setattr(making, "installed", lambda path: entries.installed([str(site)]))


def age(site: Path) -> None:
    """Make every file old: an index is kept only for what is not being written any more."""
    for path in [site, *site.rglob("*")]:
        os.utime(path, (1_700_000_000, 1_700_000_000))
