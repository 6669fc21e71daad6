"""What several pages of this app begin with."""

from uuid import UUID

from django.http import HttpRequest
from django.shortcuts import get_object_or_404

from clinic.clients.models import Client, Episode
from clinic.clients.selectors import clients_for, episodes_for
from programmes.models import Programme
from programmes.selectors.programmes import programmes_for

SECTION = {"section": "clients"}


def found_episode(request: HttpRequest, episode_id: UUID) -> Episode:
    return get_object_or_404(episodes_for(request.user), pk=episode_id)


def found_programme(request: HttpRequest, programme_id: UUID) -> Programme:
    return get_object_or_404(programmes_for(request.user), pk=programme_id)


def found_client(request: HttpRequest, client_id: UUID) -> Client:
    return get_object_or_404(clients_for(request.user), pk=client_id)
