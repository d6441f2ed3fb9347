"""Profiles kept between runs."""

from __future__ import annotations

import json
from pathlib import Path
from zlib import crc32

import pytest

from simrig.errors import ProfileError
from simrig.host import kept
from simrig.profile.components import SENSOR_KINDS
from simrig.profile.machine import Profile
from simrig.profile.reader import read

TEXT = b"""format = 1
id = "small"
title = "day: of small things"
note = " begins with a blank"
dated = 2026-01-31
balls = { installed = 1 }

[[place]]
id = "trough"
kind = "trough"
seats = 1
"""


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A cache folder of the test's own."""
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    return tmp_path / "simrig"


def _load(data: bytes = TEXT) -> Profile:
    return kept.profile("/somewhere/small.toml", data, SENSOR_KINDS)


def _no_reading(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("it was read anew")

    monkeypatch.setattr("simrig.profile.reader.read", refuse)


def test_second_load_is_not_read_anew(cache: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A profile that was kept equals what the reader made of it, dates and odd texts included."""
    first = _load()
    _no_reading(monkeypatch)
    assert _load() == first == read(TEXT, "small.toml")


@pytest.mark.parametrize("name", ["tidal-clockwork", "basalt-freight", "orchard-signal"])
def test_demo_machines_are_kept_whole(
    cache: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """A real profile survives being kept, to the last fact."""
    file = next(Path(__file__).parents[2].glob(f"plugins/**/{name}.toml"))
    first = kept.profile(str(file), file.read_bytes(), SENSOR_KINDS)
    _no_reading(monkeypatch)
    assert kept.profile(str(file), file.read_bytes(), SENSOR_KINDS) == first


def test_kept_profile_knows_its_lines(cache: Path) -> None:
    """A fact of a kept profile still tells the line on which it stands."""
    _load()
    assert _load().origin.line(("place", 0, "seats")) == 11


def test_changed_file_is_read_anew(cache: Path) -> None:
    """One changed letter is enough."""
    _load()
    assert _load(TEXT.replace(b"small things", b"smell things")).title == "day: of smell things"


def test_longer_file_that_begins_alike_is_read_anew(cache: Path) -> None:
    """What was kept for the beginning of a file does not serve the whole."""
    _load(TEXT)
    assert _load(TEXT + b'name = "exit"\n').place[0].name == "exit"


@pytest.mark.parametrize("damage", [b"", b"{}", b"[]", b"\xff", b"null", b'{"reader": 1}'])
def test_damaged_file_costs_time_only(cache: Path, damage: bytes) -> None:
    """Whatever stands in the kept file, the profile is right."""
    first = _load()
    (file,) = cache.glob("profile-*")
    file.write_bytes(TEXT + damage)
    assert _load() == first


def test_torn_values_cost_time_only(cache: Path) -> None:
    """A kept value that no profile may hold is not believed."""
    first = _load()
    (file,) = cache.glob("profile-*")
    file.write_bytes(file.read_bytes().replace(b'"installed": 1', b'"installed": -1'))
    assert _load() == first


def _rewritten(file: Path, **changes: object) -> None:
    """Change what is kept, as another version of simrig would have written it: with a sound mark."""
    document = json.loads(file.read_bytes()[len(TEXT) :].partition(b"\n")[2])
    text = json.dumps({**document, **changes}).encode()
    file.write_bytes(TEXT + b"%d\n" % crc32(text) + text)


@pytest.mark.parametrize(
    "changes",
    [{"reader": [[], []]}, {"length": 5}, {"data": {"format": 1, "id": "small", "title": "other"}}],
)
def test_what_another_reader_kept_costs_time_only(cache: Path, changes: dict[str, object]) -> None:
    """What other modules read, or what lacks a fact that every profile has, is read anew."""
    first = _load()
    (file,) = cache.glob("profile-*")
    before = file.read_bytes()
    _rewritten(file, **changes)
    assert file.read_bytes() != before
    assert _load() == first
    assert file.read_bytes() == before


def test_unsound_profile_is_not_kept(cache: Path) -> None:
    """A profile with a fault is refused each time."""
    for _ in range(2):
        with pytest.raises(ProfileError, match="seats"):
            _load(TEXT.replace(b"seats = 1", b"seats = 0"))
    assert not list(cache.glob("profile-*"))


def test_cache_that_cannot_be_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file in the place of the cache folder costs time only."""
    (tmp_path / "simrig").write_text("in the way")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert _load() == _load()
