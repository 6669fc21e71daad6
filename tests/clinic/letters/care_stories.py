"""Episodes with plan of care, signed notes, scores and garments, for reports and summaries."""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

import pytest

from clinic.accounts.models import User
from clinic.clients.models import Episode
from clinic.clients.services import change_phase
from clinic.common.vocabulary import Phase
from clinic.letters import services
from clinic.letters.kinds import LetterKind
from clinic.letters.models import ProgressLetter
from clinic.visits.services.goals import Reviewed, review_goal
from clinic.visits.words import GoalStatus, Section
from measurements.limb.instruments import Instrument
from measurements.scored import Series
from programmes.services import issue as issuing
from programmes.services.care import Told, record_adherence
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme
from tests.builders import today
from tests.clinic.letters.stories import better, days_ago
from tests.clinic.visits import plan_stories
from tests.clinic.visits.charting import signed
from tests.measurements.score_builders import keep_score
from tests.programmes.garments import garment

# Twelve visits a week apart, each of 40 minutes of 97140 and 15 of 97535 (tests charting.typed).
VISIT_DAYS = tuple(range(82, 0, -7))
# By the published table 55 minutes are 4 units: 97140 holds two full 15 minutes and the larger
# rest, 97535 one: 3 and 1.
UNITS_A_VISIT, MINUTES_A_VISIT = {"97140": 3, "97535": 1}, {"97140": 40, "97535": 15}
NEED = "Fibrosis needs hands that know it; she cannot bandage the arm alone yet."
RESPONSE = "Softer above the elbow, wears the sleeve all day."
ENDED = "Goals reached, looks after herself."


def planned(episode: Episode) -> None:
    """A certified plan with a goal on the excess and one that the therapist judged met."""
    plan = plan_stories.certified(
        episode,
        from_on=days_ago(84),
        to_on=days_ago(-5),
        goals=(
            plan_stories.excess_goal(baseline=Decimal(20)),
            plan_stories.told_goal(),
        ),
    )
    met = Reviewed(GoalStatus.MET, days_ago(5), remark="Within three minutes.")
    review_goal(goal=plan.goals.get(place=1), reviewed=met, by=episode.therapist)


def visited(episode: Episode, days: Iterable[int] = VISIT_DAYS) -> None:
    for day in days:
        typed = {"sections": {Section.RESPONSE: f"{RESPONSE} Day {day}."}}
        signed(episode.therapist, episode, visited_on=days_ago(day), typed=typed)


def scored(episode: Episode) -> None:
    for day, score in ((85, "45.0"), (4, "30.0")):
        keep_score(episode, days_ago(day), Series(Instrument.DASH), score)


def treated(therapist: User, days: Iterable[int] = VISIT_DAYS) -> Episode:
    """The arm of `better`, with plan, twelve visits and two scores."""
    episode = better(therapist)
    planned(episode)
    scored(episode)
    visited(episode, days)
    return episode


def discharged(
    therapist: User, monkeypatch: pytest.MonkeyPatch, days: Iterable[int] = VISIT_DAYS
) -> Episode:
    """The same, with a programme in hand and a sleeve, discharged two days ago."""
    episode = treated(therapist, days)
    garment(episode, therapist, issued_on=days_ago(10))
    monkeypatch.setattr(issuing, "handout_pdf", lambda handout: b"%PDF-1.7 stand-in")
    draft = begin_programme(episode=episode, by=therapist)
    issue_programme(programme=draft, revision=draft.revision, by=therapist)
    record_adherence(episode=episode, told=Told(days_ago(5), 6), by=therapist)
    change_phase(
        episode=episode, phase=Phase.DISCHARGED, since_on=days_ago(2), reason=ENDED, by=therapist
    )
    return episode


def paper(episode: Episode, kind: LetterKind, **differences: Any) -> ProgressLetter:
    """A draft over the whole episode."""
    values = {"period_from": days_ago(90), "period_to": today(), "by": episode.therapist}
    return services.compile_letter(episode=episode, kind=kind, **values | differences)


def approved(letter: ProgressLetter, **texts: str) -> ProgressLetter:
    """Edited with the texts and approved; a report says why care is needed."""
    by = letter.compiled_by
    for name, text in ({"skilled_need": NEED} | texts).items():
        setattr(letter, name, text)
    typed = services.texts_of(letter)
    letter = services.edit_letter(letter=letter, texts=typed, edited_at=letter.edited_at, by=by)
    digest = services.final_sheet(letter, by).digest
    return services.approve_letter(letter=letter, digest=digest, by=by)
