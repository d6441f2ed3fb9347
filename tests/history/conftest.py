"""A fresh record for each test, and the clock that all of them share."""

import datetime

import pytest

from simrig.history import open_store

NOW = datetime.datetime(2026, 3, 2, 9, 30, tzinfo=datetime.UTC)


@pytest.fixture
def now():
    return NOW


@pytest.fixture
def path(tmp_path):
    return tmp_path / "shop.sqlite"


@pytest.fixture
def store(path):
    with open_store(path, write=True) as opened:
        yield opened
