"""Who is owed a letter: due list, caseload, practice report and monthly run say the same."""

import pytest
from django.utils import timezone

from clinic.clients.models import Episode, Referrer
from clinic.letters.runs.owed import month_end
from clinic.letters.runs.words import RowState
from clinic.overview.caseload_facts import caseload_lines, found_elsewhere
from clinic.overview.due import DueKind, due_items
from clinic.overview.facts import all_facts
from clinic.overview.report_period import Period
from clinic.overview.report_selectors import facts_of
from clinic.overview.selectors import episode_cards
from clinic.scheduling.states import Status
from tests.builders import make_referrer, today
from tests.cast import Cast
from tests.clinic.letters.months import MONTH, compiled_run, day_of_month, row_of, seen_in_month
from tests.clinic.scheduling.desk_stories import make_appointment

LAST_MONTH = Period(MONTH, month_end(MONTH))


def lists_that_owe(episode: Episode, cast: Cast) -> dict[str, bool]:
    """Which of the places count a letter for the only episode there is."""
    everyone = Episode.objects.order_by()
    due = due_items(all_facts(everyone)[episode.pk])
    card = episode_cards(episode.client, cast.therapist)[0].due
    line = caseload_lines(everyone, found_elsewhere(everyone, today=today()))[episode.pk]
    month = facts_of((LAST_MONTH,), now=timezone.now())[0]
    return {
        "due list": DueKind.LETTER in {item.kind for item in due},
        "client page": DueKind.LETTER in {item.kind for item in card},
        "caseload": DueKind.LETTER.label in {item.words for item in line.owed},
        "practice report": month.letters_overdue == 1,
        "monthly run": row_of(compiled_run(cast.lead), episode).state == RowState.COMPILED,
    }


@pytest.mark.parametrize(
    ("of_client", "of_episode", "is_owed"),
    [
        ("present", None, True),
        ("gone", None, False),
        ("gone", "present", True),
        ("present", "gone", False),
        (None, "present", True),
        (None, None, False),
    ],
)
def test_a_letter_is_owed_to_an_active_referrer_only_and_all_places_agree(
    cast: Cast, of_client: str | None, of_episode: str | None, is_owed: bool
) -> None:
    """The episode's referrer reads it, else the client's: as `letters.services.reader_of` has."""
    known: dict[str | None, Referrer | None] = {
        None: None,
        "present": make_referrer(),
        "gone": make_referrer(family_name="Tolland", is_active=False),
    }
    episode = seen_in_month(cast.therapist, known[of_client])
    episode.referrer = known[of_episode]
    episode.save()
    make_appointment(episode.client, cast.therapist, day_of_month(12), status=Status.DONE)
    assert set(lists_that_owe(episode, cast).items()) == {
        (place, is_owed)
        for place in ("due list", "client page", "caseload", "practice report", "monthly run")
    }
