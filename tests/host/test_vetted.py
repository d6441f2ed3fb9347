"""Files vetted as the commands do it, and packages that a command needs."""

from __future__ import annotations

from pathlib import Path

import pytest

import simrig.host
from simrig.errors import InputError
from simrig.host.catalogue import Catalogue
from simrig.host.extra import need
from simrig.host.found import Index
from simrig.host.vetted import vetted
from simrig.interchange import profile_json
from simrig.profile.reader import read

SOUND = (Path(__file__).parents[1] / "vetting/data/LINE-03/sound.toml").read_bytes()


def test_a_profile_is_vetted_in_either_form() -> None:
    """The same profile as TOML and as JSON has the same findings, by code and place."""
    catalogue = Catalogue(environ={}, known=Index())
    text = SOUND.replace(b'store = "trough"\n', b"").replace(b'by = "coil"', b'by = "gravity"')
    document = profile_json.write(read(text, "sample.toml")).encode()
    found = {
        file: {(one.code, one.where) for one in vetted(catalogue, data, file).findings}
        for file, data in (("sample.toml", text), ("sample.json", document))
    }
    assert found["sample.json"] == found["sample.toml"]
    assert found["sample.toml"]


def test_a_json_file_that_is_no_profile_is_a_finding() -> None:
    """What cannot be read as a profile is told as findings, not raised."""
    document = b'{"format": 1, "id": "a", "balls": {"installed": 3.5}}'
    (one,) = vetted(Catalogue(environ={}, known=Index()), document, "a.json").findings
    assert (one.file, one.where) == ("a.json", "balls, installed")
    assert one.message == "found 3.5; wanted a whole number from 1 to 20"


def test_a_missing_package_is_named_with_the_line_that_installs_it() -> None:
    """Packages that are there are no matter; each that is not is named, with its extra."""
    need("page", "json", "pathlib")
    with pytest.raises(InputError) as refused:
        need("page", "json", "no_such_package", "nor_this")
    assert str(refused.value) == (
        "command line: extra [page]: page needs no_such_package, nor_this; install with: "
        "pip install 'simrig[page]'"
    )


def test_what_a_plugin_takes_from_the_door() -> None:
    """Each name of the door is there; another is not."""
    assert all(getattr(simrig.host, name) is not None for name in simrig.host.__all__)
    with pytest.raises(AttributeError, match=r"module 'simrig\.host' has no attribute 'colour'"):
        _ = simrig.host.colour
