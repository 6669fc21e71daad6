"""A programme being drafted, and the same handed out without the printer's seconds."""

import pytest

from programmes.models import Programme
from programmes.services import issue as issuing
from programmes.services.drafts import begin_programme
from programmes.services.issue import issue_programme
from tests.cast import Cast
from tests.programmes.bodies import arm_episode


@pytest.fixture
def quick_print(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(issuing, "handout_pdf", lambda handout: b"%PDF-1.7 stand-in")


@pytest.fixture
def draft(cast: Cast) -> Programme:
    return begin_programme(episode=arm_episode(cast.therapist), by=cast.therapist)


@pytest.fixture
def held(draft: Programme, cast: Cast, quick_print: None) -> Programme:
    return issue_programme(programme=draft, revision=0, by=cast.therapist)
