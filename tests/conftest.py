"""The private database, the cast and one signed-in browser client a role."""

import atexit
import os
import shutil
from collections.abc import Callable, Iterator
from importlib import import_module
from pathlib import Path
from typing import Any

import hypothesis
import pgtrigger
import pytest
from django.apps import apps
from django.conf import settings
from django.db import connection
from django.test import Client as Browser
from django.test import TransactionTestCase

from clinic import trial_database
from clinic.accounts.models import User
from clinic.visits.lists import Phrase, Service
from clinic.visits.presets import add_lists
from measurements.models import Protocol, ProtocolStation
from measurements.services.presets import add_presets
from programmes.models import ClinicExercise
from programmes.presets import add_exercises
from tests.cast import Cast, make_cast
from tests.demos import DemoOf, demos

USUAL_KINDS = import_module("clinic.scheduling.migrations.0003_usual_kinds")
FOLDER_VARIABLE = "EBBLINE_TESTS_FOLDER"

# One commit has one verdict, however slow the machine; `--hypothesis-profile=search` draws anew.
hypothesis.settings.register_profile("repeatable", derandomize=True, deadline=None)
hypothesis.settings.register_profile("search", max_examples=5000, deadline=None)
hypothesis.settings.load_profile("repeatable")


def pytest_configure(config: pytest.Config) -> None:
    """Use a throwaway server of this run's own, unless DATABASE_URL names one."""
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"  # the browser driver runs an event loop
    settings.PASSWORD_HASHERS = ["tests.cast.QuickHasher"]
    if not settings.IS_TRIAL:
        return
    is_first = FOLDER_VARIABLE not in os.environ  # the workers of a parallel run come after
    name = f"{settings.TRIAL_FOLDER.name}-tests-{os.getpid()}"
    folder = Path(
        os.environ.setdefault(FOLDER_VARIABLE, str(settings.TRIAL_FOLDER.with_name(name)))
    )
    settings.DATABASES["default"].update(trial_database.connection(folder))
    if is_first:
        atexit.register(shutil.rmtree, folder, ignore_errors=True)
        trial_database.ensure_running(folder, throwaway=True)


@pytest.fixture(autouse=True, scope="session")
def _tests_may_empty_kept_tables() -> Iterator[None]:
    """A test that commits is cleaned up by TRUNCATE, which the kept tables refuse to all others."""
    teardown = TransactionTestCase._fixture_teardown

    def emptied(self: TransactionTestCase) -> None:
        with pgtrigger.ignore():
            teardown(self)
        with connection.cursor() as cursor:
            # The task library's tables are not Django's, so the teardown leaves them full.
            cursor.execute(
                "TRUNCATE procrastinate_jobs, procrastinate_workers, procrastinate_events,"
                " procrastinate_periodic_defers"
            )
        # What the migrations put in was emptied as well.
        add_presets(Protocol, ProtocolStation)
        add_exercises(ClinicExercise)
        USUAL_KINDS.add(apps, None)
        add_lists(Service, Phrase)

    patch = pytest.MonkeyPatch()
    patch.setattr(TransactionTestCase, "_fixture_teardown", emptied)
    yield
    patch.undo()


@pytest.fixture(scope="session")
def demo_of(django_db_setup: None, django_db_blocker: Any) -> Iterator[DemoOf]:
    """Names the database with the demo of a day; loading takes long, so it is done once."""
    with django_db_blocker.unblock(), demos() as demo_of:
        yield demo_of


@pytest.fixture
def cast(db: None) -> Cast:
    return make_cast()


@pytest.fixture
def signed_in() -> Callable[[User], Browser]:
    def browser_of(user: User) -> Browser:
        browser = Browser()
        browser.force_login(user)
        return browser

    return browser_of


@pytest.fixture
def desk(cast: Cast, signed_in: Callable[[User], Browser]) -> Browser:
    return signed_in(cast.front_desk)


@pytest.fixture
def therapist(cast: Cast, signed_in: Callable[[User], Browser]) -> Browser:
    return signed_in(cast.therapist)


@pytest.fixture
def lead(cast: Cast, signed_in: Callable[[User], Browser]) -> Browser:
    return signed_in(cast.lead)


@pytest.fixture
def published() -> Path:
    """The folder of tables from the literature."""
    return Path(__file__).parent / "published"
