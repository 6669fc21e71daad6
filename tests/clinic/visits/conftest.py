"""The episode whose visit is charted, and its draft."""

import pytest

from clinic.clients.models import Episode
from clinic.visits.models import VisitNote
from tests.builders import make_client, make_episode
from tests.cast import Cast
from tests.clinic.visits.charting import draft


@pytest.fixture
def episode(cast: Cast) -> Episode:
    return make_episode(make_client(), cast.therapist)


@pytest.fixture
def note(cast: Cast, episode: Episode) -> VisitNote:
    return draft(cast.therapist, episode)
