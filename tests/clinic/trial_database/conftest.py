"""Clusters in folders of their own: none yet, running, or stopped and free to be maltreated."""

import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from clinic import trial_database
from tests.clinic.trial_database.clusters import place_for_a_cluster, start


@pytest.fixture
def empty() -> Iterator[Path]:
    """A place where no cluster is yet."""
    with place_for_a_cluster() as folder:
        yield folder


@pytest.fixture(scope="session")
def running() -> Iterator[Path]:
    """One running cluster for the tests that leave it as it is."""
    with place_for_a_cluster() as folder:
        start(folder)
        yield folder


@pytest.fixture(scope="session")
def made() -> Iterator[Path]:
    with place_for_a_cluster() as folder:
        start(folder)
        trial_database.stop(folder)
        yield folder


@pytest.fixture
def folder(made: Path) -> Iterator[Path]:
    """A stopped cluster to be maltreated: a copy, since making one takes its time."""
    with place_for_a_cluster() as folder:
        subprocess.run(["cp", "-a", made, folder], check=True)
        yield folder
