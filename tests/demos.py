"""The invented clinic in databases of its own: loaded once for each day that tests look at it."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import date

from clinic.demo.loading import load
from clinic.keeping.databases import working_in
from tests.clinic.keeping.releases import empty_database, migrated_database

DemoOf = Callable[[date], str]


@contextmanager
def demos() -> Iterator[DemoOf]:
    """Names the database that holds the demo of a day, for tests that take back what they do."""
    made: dict[date, str] = {}
    with ExitStack() as kept:

        def demo_of(day: date) -> str:
            if day not in made:
                name = kept.enter_context(migrated_database())
                with working_in(name):
                    load(day, say=lambda words: None)
                made[day] = name
            return made[day]

        yield demo_of


@contextmanager
def working_in_copy(name: str) -> Iterator[None]:
    """A copy of that database to work in, for tests that commit."""
    with empty_database(template=name) as copy, working_in(copy):
        yield
