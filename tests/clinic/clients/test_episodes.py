"""Opening and editing an episode of care, and its phases."""

from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client as Browser
from django.utils import timezone

from clinic.accounts.models import User
from clinic.audit.models import Entry
from clinic.clients import editing, selectors, services
from clinic.clients.errors import FirstPhaseDischarged, NoRegion
from clinic.clients.forms.episodes import EpisodeForm
from clinic.clients.models import Client, Episode
from clinic.common.vocabulary import Phase
from tests.builders import make_client, make_episode, make_referrer
from tests.cast import Cast
from tests.clinic.clients.answers import episode_answers, region_answers


@pytest.fixture
def known(cast: Cast) -> Client:
    return make_client(referrer=make_referrer())


def new_url(client: Client) -> str:
    return f"/clients/{client.pk}/episodes/new/"


def test_the_form_knows_who_is_asking(therapist: Browser, cast: Cast, known: Client) -> None:
    page = therapist.get(new_url(known)).content.decode()
    assert f'<option value="{cast.therapist.pk}" selected>' in page
    assert f'<option value="{known.referrer_id}" selected>' in page
    assert "Dora Finch</option>" not in page  # the front desk treats nobody


def test_an_episode_opens_with_regions_and_phase(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    rows = [("arm", "right", "swollen"), ("breast", "right", "at_risk")]
    answers = episode_answers(cast.therapist, rows=rows)
    page = therapist.post(new_url(known), answers)
    assert page.headers["Location"] == f"/clients/{known.pk}/"
    episode = Episode.objects.get()
    assert [str(region) for region in episode.regions.all()] == ["right arm", "right breast"]
    phase = selectors.current_phase(episode)
    assert (phase.phase, phase.since_on, phase.reason) == (
        "intensive",
        date(2026, 1, 5),
        "Evaluation",
    )
    assert Entry.objects.get().verb == "episode.opened"


@pytest.mark.parametrize(
    ("differences", "sentence"),
    [
        ({"rows": []}, "Choose at least one region"),
        ({"rows": [("arm", "", "swollen")]}, "Choose the side"),
        ({"rows": [("arm", "midline", "swollen")]}, "never in the midline"),
        ({"rows": [("", "left", "swollen")]}, "Choose the region as well"),
        ({"rows": [("arm", "left", "swollen"), ("arm", "left", "at_risk")]}, "listed above"),
        ({"opened_on": "tomorrow"}, "This is not a day"),
        ({"opened_on": "1 Mar 1961"}, "The client was born on 4 Mar 1961"),
        ({"opened_on": f"{timezone.localdate() + timedelta(days=1)}"}, "still to come"),
        ({"diagnosis": "C50.9"}, "Select a valid choice"),
        ({"first-reason": ""}, "required"),
        ({"first-phase": "discharged"}, "Select a valid choice"),
    ],
)
def test_a_faulty_episode_is_told_and_kept(
    therapist: Browser, cast: Cast, known: Client, differences: dict[str, Any], sentence: str
) -> None:
    answers = episode_answers(cast.therapist, **differences)
    page = therapist.post(new_url(known), answers).content.decode()
    assert sentence in page
    assert "Swelling since spring" in page
    assert not Episode.objects.exists()


def test_a_midline_region_may_lie_in_the_midline(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    rows = [("head_neck", "midline", "swollen")]
    therapist.post(new_url(known), episode_answers(cast.therapist, rows=rows))
    assert str(Episode.objects.get().regions.get()) == "head and neck"


def test_a_form_without_its_rows_is_refused_in_words(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    answers = episode_answers(cast.therapist) | {"regions-TOTAL_FORMS": "many"}
    assert therapist.post(new_url(known), answers).status_code == 200
    assert not Episode.objects.exists()


def test_services_hold_without_the_form(cast: Cast, known: Client) -> None:
    episode = Episode(
        client=known,
        opened_on=date(2026, 1, 5),
        cause="primary",
        diagnosis="Q82.0",
        therapist=cast.therapist,
    )
    asked = {"episode": episode, "reason": "Evaluation", "by": cast.therapist}
    with pytest.raises(NoRegion):
        services.open_episode(regions=[], phase=Phase.INTENSIVE, **asked)
    with pytest.raises(FirstPhaseDischarged):
        services.open_episode(regions=[], phase=Phase.DISCHARGED, **asked)


def edit_answers(episode: Episode, therapist: User, **differences: Any) -> dict[str, Any]:
    said = editing.said_by(episode, EpisodeForm.Meta.fields)
    answers = episode_answers(therapist, before=editing.written(said))
    return answers | {"referrer": str(episode.referrer_id), "referral_reason": ""} | differences


def test_an_episode_is_edited(therapist: Browser, cast: Cast, known: Client) -> None:
    episode = make_episode(known, cast.therapist)
    kept = episode.regions.get()
    url = f"/episodes/{episode.pk}/edit/"
    page = therapist.get(url).content.decode()
    assert page.count('<option value="arm" selected>') == 1
    rows = region_answers(("arm", "right", "at_risk"), ("trunk_upper", "right", "swollen"))
    answers = edit_answers(episode, cast.therapist, diagnosis="I89.0") | rows
    assert therapist.post(url, answers).status_code == 302
    episode.refresh_from_db()
    assert episode.diagnosis == "I89.0"
    regions = {str(region): region for region in episode.regions.all()}
    assert regions["right arm"].pk == kept.pk
    assert regions["right arm"].involvement == "at_risk"
    assert len(regions) == 2
    verbs = list(Entry.objects.values_list("verb", flat=True))
    assert verbs == ["episode.edited", "episode.seen"]


def test_a_region_left_out_is_removed(therapist: Browser, cast: Cast, known: Client) -> None:
    episode = make_episode(known, cast.therapist)
    rows = region_answers(("leg", "left", "swollen"))
    answers = edit_answers(episode, cast.therapist) | rows
    therapist.post(f"/episodes/{episode.pk}/edit/", answers)
    assert [str(region) for region in episode.regions.all()] == ["left leg"]


def test_two_people_editing_an_episode_see_each_other(
    therapist: Browser, lead: Browser, cast: Cast, known: Client
) -> None:
    episode = make_episode(known, cast.therapist)
    url = f"/episodes/{episode.pk}/edit/"
    second = edit_answers(episode, cast.therapist, referral_reason="Heaviness")
    lead.post(url, edit_answers(episode, cast.therapist, diagnosis="I89.0"))
    page = therapist.post(url, second).content.decode()
    assert "somebody else saved changes" in page
    assert "Heaviness" in page
    assert '<option value="I89.0" selected>' in page


def test_the_opening_day_cannot_pass_the_first_phase(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    episode = make_episode(known, cast.therapist)
    answers = edit_answers(episode, cast.therapist, opened_on="6 Jan 2026")
    page = therapist.post(f"/episodes/{episode.pk}/edit/", answers).content.decode()
    assert "The first phase began on 5 Jan 2026" in page


def phase_answers(**differences: str) -> dict[str, str]:
    typed = {"phase": "maintenance", "since_on": "2 Feb 2026", "reason": "Plateau"}
    return typed | differences


def test_a_phase_change_is_kept_with_its_history(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    episode = make_episode(known, cast.therapist)
    url = f"/episodes/{episode.pk}/phase/"
    assert therapist.post(url, phase_answers()).status_code == 302
    page = therapist.get(url).content.decode()
    assert page.index("Plateau") < page.index("Evaluation")
    assert selectors.current_phase(episode).phase == Phase.MAINTENANCE
    verbs = list(Entry.objects.values_list("verb", flat=True))
    assert verbs == ["episode.seen", "phase.changed"]


@pytest.mark.parametrize(
    ("differences", "sentence"),
    [
        ({"since_on": "4 Jan 2026"}, "The episode was opened on 5 Jan 2026"),
        ({"since_on": "soon"}, "This is not a day"),
        ({"since_on": f"{timezone.localdate() + timedelta(days=1)}"}, "still to come"),
        ({"phase": "intensive"}, "in the intensive phase already, since 5 Jan 2026"),
        ({"phase": ""}, "required"),
        ({"reason": ""}, "required"),
    ],
)
def test_a_faulty_phase_change_is_told_and_kept(
    therapist: Browser, cast: Cast, known: Client, differences: dict[str, str], sentence: str
) -> None:
    episode = make_episode(known, cast.therapist)
    typed = phase_answers(**differences)
    page = therapist.post(f"/episodes/{episode.pk}/phase/", typed).content.decode()
    assert sentence in page
    assert f'value="{typed["since_on"]}"' in page
    assert episode.phase_changes.count() == 1


def test_a_phase_cannot_begin_before_the_present_one(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    episode = make_episode(known, cast.therapist)
    url = f"/episodes/{episode.pk}/phase/"
    therapist.post(url, phase_answers())
    page = therapist.post(url, phase_answers(phase="discharged", since_on="1 Feb 2026"))
    assert "The present phase began on 2 Feb 2026" in page.content.decode()


def test_discharge_ends_and_another_phase_reopens(
    therapist: Browser, cast: Cast, known: Client
) -> None:
    episode = make_episode(known, cast.therapist)
    url = f"/episodes/{episode.pk}/phase/"
    for phase in ("discharged", "surveillance"):
        therapist.post(url, phase_answers(phase=phase, reason=f"Now {phase}"))
        listed = selectors.with_phase(selectors.episodes_for(cast.therapist)).get()
        assert listed.phase_now == phase
        assert listed.phase_since_on == date(2026, 2, 2)


def test_the_front_desk_gets_no_episode(cast: Cast, known: Client) -> None:
    make_episode(known, cast.therapist)
    assert not selectors.episodes_for(cast.front_desk).exists()
    assert selectors.episodes_for(cast.other_therapist).count() == 1
