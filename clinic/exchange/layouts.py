"""The lists that can come in as CSV: their columns, and how each is read. Pure."""

from dataclasses import dataclass
from datetime import date

from clinic.common.csv_files import Column, Layout, day_read
from clinic.common.vocabulary import Sex, Word
from clinic.exchange.errors import YearUnclear
from measurements.csv_rows import COLUMNS as GIRTH_COLUMNS
from measurements.csv_rows import MOST_ROWS
from measurements.csv_rows import READERS as GIRTH_READERS

# More clients than a practice has; keeps a wrong file from filling the database.
MOST_PEOPLE = 20_000
YES_NO = {"yes": True, "y": True, "no": False, "n": False}


class ListKind(Word):
    """What a list is of; the value stands in its address."""

    REFERRERS = "referrers", "referrers"
    CLIENTS = "clients", "clients"
    GIRTHS = "girths", "girths of all clients"


def _day(text: str) -> date:
    """Year first, for 3/4/1961 is a day in March or in April. Raises YearUnclear, ValueError."""
    if not text[:4].isdigit():
        raise YearUnclear
    return day_read(text)


def _one_line(text: str) -> str:
    """A cell of several lines, as an address often is, on the one line that is kept."""
    return " ".join(text.split())


def _sex(text: str) -> Sex:
    return Sex(text.lower()) if text else Sex.NOT_SAID


def _yes(text: str) -> bool:
    if text and text.lower() not in YES_NO:
        raise ValueError(text)
    return YES_NO.get(text.lower(), True)


def _optional(name: str, expected: str, example: str = "", *, is_phone: bool = False) -> Column:
    return Column(name, expected, example, is_required=False, is_phone=is_phone)


CONTACT = (
    _optional("phone", "at most 40 characters, or nothing", "555-0123", is_phone=True),
    _optional("email", "an e-mail address, or nothing", "client@example.com"),
    _optional("street", "at most 120 letters, or nothing", "1 Mill Lane"),
    _optional("town", "town, state and postcode in one, or nothing", "Saltmere, NY 10001"),
)

CLIENT_COLUMNS = (
    _optional("record_number", "at most 20 characters; nothing means the next free number"),
    Column("given_name", "at most 60 letters", "Marta"),
    Column("family_name", "at most 60 letters", "Example"),
    Column("born_on", "the date of birth as year-month-day, such as 1961-03-04", "1961-03-04"),
    _optional("sex", "female or male; nothing means not stated", "female"),
    *CONTACT,
    _optional(
        "referrer",
        "a registered referrer as “Example, Olga” or by the e-mail address; or nothing",
    ),
    _optional("agrees_to_letters", "yes or no; nothing means yes", "yes"),
)

REFERRER_COLUMNS = (
    _optional("title", "such as Dr., or nothing", "Dr."),
    Column("given_name", "at most 60 letters", "Olga"),
    Column("family_name", "at most 60 letters", "Example"),
    _optional("speciality", "at most 60 letters, or nothing", "Medical oncology"),
    _optional("organisation", "at most 120 letters, or nothing", "Example Cancer Centre"),
    *CONTACT,
    _optional("fax", "at most 40 characters, or nothing", "555-0124", is_phone=True),
    _optional("delivery", "how letters go: post, fax, hand or email; nothing means post", "post"),
    _optional(
        "letter_frequency",
        "monthly, quarterly, changes or never; nothing means monthly",
        "monthly",
    ),
)

ALL_GIRTH_COLUMNS = (
    Column("record_number", "the record number of a registered client", "10001"),
    *GIRTH_COLUMNS,
)

# Columns whose text is not simply itself.
READERS = {"born_on": _day, "sex": _sex, "agrees_to_letters": _yes}


@dataclass(frozen=True)
class ListLayout:
    """One kind of list: its columns, and what a person should know before choosing a file."""

    kind: ListKind
    layout: Layout
    about: str

    @property
    def columns(self) -> tuple[Column, ...]:
        return tuple(self.layout.columns)


def _people(columns: tuple[Column, ...]) -> Layout:
    return Layout(
        columns, {each.name: READERS.get(each.name, _one_line) for each in columns}, MOST_PEOPLE
    )


LISTS: dict[ListKind, ListLayout] = {
    each.kind: each
    for each in (
        ListLayout(
            ListKind.REFERRERS,
            _people(REFERRER_COLUMNS),
            "One line for each referrer. Import them before the clients they send.",
        ),
        ListLayout(
            ListKind.CLIENTS,
            _people(CLIENT_COLUMNS),
            "One line for each client. A referrer must be registered already.",
        ),
        ListLayout(
            ListKind.GIRTHS,
            Layout(ALL_GIRTH_COLUMNS, {"record_number": str} | dict(GIRTH_READERS), MOST_ROWS),
            "One line for each girth, of many clients in one file. Each client needs an episode of"
            " care; a session goes to the latest episode of its limb that was opened by its day, or"
            " to the first. Hands and feet are not imported.",
        ),
    )
}
