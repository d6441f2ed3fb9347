"""What the door says of a plug-in that comes near to being good: one problem, in exact words."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from simrig.errors import PluginError
from simrig.host import index, making
from simrig.host.catalogue import Catalogue
from simrig.host.entries import Entry, installed
from simrig.host.guards import guarded
from simrig.host.index import Index
from simrig.host.manager import Host
from simrig.profile.components import SENSOR_KINDS
from tests.host import plugin_site
from tests.host.plugin_site import BRINGS, HOOK, QUIET, ROOT

REED = 'SensorKind(id="reed", title="reed contact", technology="contact")'
KINDS = """from simrig.host import hookimpl
from simrig.profile.components import SensorKind

@hookimpl
def simrig_sensor_kinds():
    return [{}]
"""
RULE = """from simrig.host import hookimpl
from simrig.vetting.rule import Rule

@hookimpl
def simrig_rules():
    return [Rule(code="HL-01", name="no-beacon", level="warning", what="A beacon.", why="Ships.",
                 example="none", mend="Add it.", limits="None.")]
"""
QUESTION = """from simrig.host import Question, hookimpl

@hookimpl
def simrig_questions(profile):
    return [{}]
"""
ASKED = (
    'Question(id="why-a-reed", topic="reeds", level=1, form="number", text="How many?", '
    'right=frozenset(("1",)), why="there is one")'
)
MUTE = HOOK.format(body="raise Mute()") + (
    "\nclass Mute(Exception):\n    def __str__(self):\n        raise ValueError\n"
)
TORN = (
    "import json, os, sys\n"
    "with open(json.loads(sys.argv[1])['report'], 'a') as file:\n"
    '    file.write(\'{"stage": "on regi\')\n'
    "os._exit(3)\n"
)

REFUSED = {
    "marks-nothing": (
        QUIET.replace("@hookimpl\n", ""),
        "on registration",
        "simrig_profiles is not marked; put @hookimpl above it",
    ),
    "fills-nothing": (
        "x = 1\n",
        "on registration",
        "it fills no hook; mark its functions with @hookimpl, or take the entry point out",
    ),
    "far-from-a-hook": (
        QUIET.replace("simrig_profiles", "simrig_weather_of_tomorrow"),
        "on registration",
        "simrig_weather_of_tomorrow is not a hook; known: simrig_profiles, simrig_sensor_kinds, "
        "simrig_fault_kinds, simrig_checks, simrig_rules, simrig_questions, simrig_readers",
    ),
    "no-path": (
        HOOK.format(body="return [None, 5]"),
        "in simrig_profiles",
        "it returned None as number 1; wanted the path of a profile file; it returned int '5' as "
        "number 2; wanted the path of a profile file",
    ),
    "no-file": (
        HOOK.format(body="return ['/no/such.toml']"),
        "in simrig_profiles",
        "it returned str '/no/such.toml' as number 1; there is no profile file '/no/such.toml'; "
        "wanted the path of a TOML file",
    ),
    "returns-none": (
        HOOK.format(body="pass"),
        "in simrig_profiles",
        "it returned None; wanted a list",
    ),
    "too-many": (
        HOOK.format(body="return (name for name in [__file__] * 2000)").replace(
            "__file__", "__file__.replace('__init__.py', 'too-many.toml')"
        ),
        "in simrig_profiles",
        "it returned more than 1000 things; return no more than that",
    ),
    "no-kind": (
        KINDS.format("'reed'"),
        "in simrig_sensor_kinds",
        "it returned str 'reed' as number 1; wanted a SensorKind",
    ),
    "built-in-kind": (
        KINDS.format(REED.replace('"reed"', '"micro-switch"')),
        "in simrig_sensor_kinds",
        'it returned a SensorKind as number 1; the kind "micro-switch" is built in; give yours '
        "another id",
    ),
    "no-question": (
        QUESTION.format("7"),
        "in simrig_questions",
        "it returned int '7' as number 1; wanted a Question",
    ),
    "question-without-an-id": (
        QUESTION.format(ASKED.replace("why-a-reed", "Why a reed?")),
        "in simrig_questions",
        "it returned a Question as number 1; its id is 'Why a reed?'; wanted small letters, digits "
        "and hyphens",
    ),
    "question-of-a-topic-that-is-taken": (
        QUESTION.format(ASKED.replace('"reeds"', '"hands-on"')),
        "in simrig_questions",
        'it returned a Question as number 1; a drill takes "hands-on" for something else; give the '
        "topic another name",
    ),
    "rule-that-looks-at-nothing": (
        RULE,
        "in simrig_rules",
        "it returned a Rule as number 1; HL-01 finds nothing; give it in look the function that "
        "finds its breaches",
    ),
    "removes-the-folder": (
        "import os\nos.rmdir(os.getcwd())\n" + QUIET,
        "on import",
        "it changed the working folder; leave that alone",
    ),
    "takes-stdout-away": (
        "import sys\nsys.stdout = None\n" + QUIET,
        "while it was tried out",
        "AttributeError: 'NoneType' object has no attribute 'flush'",
    ),
    "mute-error": (MUTE, "in simrig_profiles", "Mute"),
    "torn-report": (
        TORN,
        "on import",
        "it ended the whole process (code 3); raise an error instead",
    ),
    "broken-profile": (
        BRINGS.format(machine="broken-profile"),
        "in its profiles",
        "PROFILE:2: found installed 2: no = after the key; wanted key = value; put in the =, or "
        "quotes round a key of other signs than a to z, digits, - and _",
    ),
    "another-table": (
        BRINGS.format(machine="another-table"),
        "in its profiles",
        "PROFILE: found no id in quotes with a whole number as balls.installed; wanted both, as "
        "every profile has them; put them in",
    ),
    "reed-two": (
        KINDS.format(REED.replace("contact", "another contact", 1)),
        "in simrig_sensor_kinds",
        'another plug-in already brings the kind "reed"; that one is used; give yours another id',
    ),
}
"""The code, the stage at which it shows, and the whole of what is told."""

PROFILES = {
    "broken-profile": "[balls]\ninstalled 2\n",
    "another-table": "[[sheet]]\nreadings = {}\n",
    "too-many": 'id = "x"\n',
}


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with all of them, and a good one that brings a kind of sensor."""
    folder = tmp_path_factory.mktemp("site")
    for name, (code, _, _) in REFUSED.items():
        plugin_site.put(folder, name, code)
        if name in PROFILES:
            (folder / name.replace("-", "_") / f"{name}.toml").write_text(PROFILES[name])
    plugin_site.put(folder, "reed-one", KINDS.format(REED))
    return folder


@pytest.fixture(scope="module")
def tried(site: Path) -> Index:
    """The index of the folder, each plug-in tried out in a process of its own."""
    return making.make([str(site), str(ROOT), *sys.path], seconds=20).found


@pytest.mark.parametrize("name", REFUSED)
def test_each_is_told_in_exact_words(name: str, tried: Index, site: Path) -> None:
    """One problem: distribution, version, stage; what was found, what is wanted, what to do."""
    _, stage, says = REFUSED[name]
    (problem,) = [one for one in tried.problems if one.file == f"{name} {plugin_site.VERSION}"]
    assert problem.where == f"plug-in {name}, {stage}"
    profile = str(site / name.replace("-", "_") / f"{name}.toml")
    assert problem.message == says.replace("PROFILE", profile)


def test_a_kind_of_sensor_comes_in(tried: Index) -> None:
    """Of two that bring one kind the first is used; a profile may name it."""
    kinds = Catalogue(environ={}, known=tried).kinds()
    assert kinds[: len(SENSOR_KINDS)] == SENSOR_KINDS
    (reed,) = kinds[len(SENSOR_KINDS) :]
    assert (reed.id, reed.title, reed.technology) == ("reed", "reed contact", "contact")


def test_an_entry_point_that_names_something_in_a_module(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plug-in may be an object in a module; from a package without a file of its own too."""
    code = (
        "class Sea:\n    class harbour:\n        from simrig.host import hookimpl\n"
        "        @staticmethod\n        @hookimpl\n        def simrig_profiles():\n"
        "            return []\n"
    )
    plugin_site.put(tmp_path, "an-object", code)
    package = tmp_path / "an_object"
    (package / "__init__.py").rename(package / "inside.py")
    points = tmp_path / f"an_object-{plugin_site.VERSION}.dist-info/entry_points.txt"
    points.write_text("[simrig]\nan-object = an_object.inside : Sea.harbour\n")
    plugin_site.alone(monkeypatch, tmp_path)
    found = making.make([str(tmp_path), str(ROOT), *sys.path], seconds=20).found
    assert found.problems == ()
    assert [entry.name for entry in found.accepted] == ["an-object"]


def test_metadata_that_cannot_be_read_is_passed_over(tmp_path: Path) -> None:
    """A distribution without a name, or with bytes that are no text, hides no other."""
    plugin_site.put(tmp_path, "sound", QUIET)
    plugin_site.put(tmp_path, "nameless", QUIET)
    (tmp_path / "nameless-0.3.dist-info/METADATA").write_text("Metadata-Version: 2.1\n")
    plugin_site.put(tmp_path, "garbled", QUIET)
    (tmp_path / "garbled-0.3.dist-info/METADATA").write_bytes(b"Name: \xff\xfe\n")
    assert [entry.name for entry in installed([str(tmp_path)])] == ["sound"]


@pytest.fixture
def entry(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[str, str], Entry]:
    """Return a function that writes a plug-in's module and gives its entry point."""
    monkeypatch.syspath_prepend(str(tmp_path))

    def make(name: str, code: str) -> Entry:
        (tmp_path / f"{name}.py").write_text(code)
        sys.modules.pop(name, None)
        return Entry(name, name, name, "0.3")

    return make


def test_what_was_accepted_and_has_changed_since(entry: Callable[[str, str], Entry]) -> None:
    """A plug-in that fails to load, or to fit, only when it is used is named then; what was known
    of others before comes first, and the sound one answers."""
    accepted = (
        entry("gone_since", "import no_such_module\n"),
        entry("unfit_since", QUIET.replace("profiles():", "profiles(colour):")),
        entry("rules_only", RULE.replace("return [Rule(", "return [] and [Rule(")),
        entry("sound", HOOK.format(body="return [__file__]").replace("[__file__]", "[]")),
    )
    before = accepted[0].problem("on import", "known before")
    host = Host(known=Index(accepted=accepted, problems=(before,)))
    assert host.gather("simrig_profiles") == []
    assert [(one.where, one.message) for one in host.problems] == [
        ("plug-in gone_since, on import", "known before"),
        (
            "plug-in gone_since, on import",
            "ModuleNotFoundError: No module named 'no_such_module'",
        ),
        (
            "plug-in unfit_since, on registration",
            "ValueError: found simrig_profiles(colour); wanted simrig_profiles(); take these "
            "arguments or fewer",
        ),
    ]


def test_two_names_for_one_plugin_count_once(
    entry: Callable[[str, str], Entry], capsys: pytest.CaptureFixture[str]
) -> None:
    """A module that two entry points name is asked once; what it prints goes beside the answer."""
    one = entry("twice_named", HOOK.format(body="print('asked'); return []"))
    host = Host(known=Index(accepted=(one, one._replace(name="again"))))
    assert host.gather("simrig_profiles") == []
    assert host.problems == []
    assert capsys.readouterr() == ("", "asked\n")


INTERRUPTED = HOOK.format(body="raise KeyboardInterrupt")


def test_stopping_is_no_fault_of_a_plugin(entry: Callable[[str, str], Entry]) -> None:
    """Whoever stops the program while a plug-in works stops it: nobody is blamed."""
    one = entry("is_interrupted", INTERRUPTED)
    with pytest.raises(KeyboardInterrupt):
        Host(known=Index(accepted=(one,))).gather("simrig_profiles")

    def stop() -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        guarded(one, "in its reader", stop)()


def test_problems_in_use_without_a_listener(entry: Callable[[str, str], Entry]) -> None:
    """Where nobody listens, a plug-in that fails in use is left out; strictly, it raises."""
    code = HOOK.replace("simrig_profiles()", "simrig_fault_kinds()").format(body="return 1 / 0")
    known = Index(accepted=(entry("fails_in_use", code),), hooks=("simrig_fault_kinds",))
    assert Catalogue(environ={}, known=known).brought("simrig_fault_kinds") == ()
    with pytest.raises(PluginError, match="ZeroDivisionError"):
        Catalogue(environ={}, known=known, strict=True).brought("simrig_fault_kinds")


def test_a_path_that_is_not_there_is_no_change(tmp_path: Path) -> None:
    """A folder on the search path that is missing, or a file such as an archive, is no plug-in."""
    archive = tmp_path / "modules.zip"
    archive.write_bytes(b"")
    search = [str(tmp_path / "no"), str(archive)]
    assert [one[0] for one in index.stamps.distributions(search)] == [str(archive)]
