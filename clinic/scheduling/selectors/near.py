"""Free times near one that was refused, and the next free ones."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta

from django.utils import timezone

from clinic.clients.models import Client
from clinic.clients.selectors import therapists
from clinic.scheduling.ranges import wall, zone
from clinic.scheduling.selectors.agenda import Asked, agenda, hours_of, search_agenda
from clinic.scheduling.series_plan import NEAR_DAYS, PlannedDate, plan
from clinic.scheduling.slots import Agenda, Fit, Offer, Place, Wish, next_free, own_room
from clinic.scheduling.spans import Span, moment
from clinic.scheduling.staff_time import Room


def near_times(place: Place, span: Span, client: Client) -> list["OfferLine"]:
    """Free times nearest to a slot that was refused. Seven queries."""
    return offer_lines(series_plan(place, [span], client)[0].near)


def next_free_times(wish: Wish, client: Client | None, *, most: int = 12) -> list[Offer]:
    """The next free times that fit a wish, best first. Five queries."""
    asked = Asked(
        first_on=wall(wish.from_at).date(),
        last_on=wish.until_on,
        therapist_ids=wish.therapist_ids,
        client_id=client.pk if client else None,
    )
    return next_free(search_agenda(asked, minutes=wish.minutes), wish, most=most)


@dataclass(frozen=True)
class OfferLine:
    """A free time as a list shows it, in wall time."""

    starts_at: datetime
    ends_at: datetime
    minutes: int
    therapist_id: int
    therapist: str
    room_id: int | None
    room: str
    fits: Sequence[Fit]

    @property
    def at(self) -> str:
        """As an address carries it."""
        return f"{self.starts_at:%Y-%m-%dT%H:%M}"


def free_time_lines(wish: Wish, client: Client | None = None, *, most: int = 12) -> list[OfferLine]:
    """The next free times with names. Seven queries."""
    return offer_lines(next_free_times(wish, client, most=most))


def offer_lines(offers: Sequence[Offer]) -> list[OfferLine]:
    """Offers with names and wall times. Two queries."""
    people = {person.pk: person.display_name for person in therapists()}
    rooms = dict(Room.objects.values_list("pk", "name"))
    return [
        OfferLine(
            starts_at=wall(offer.span.starts_at),
            ends_at=wall(offer.span.ends_at),
            minutes=offer.span.minutes,
            therapist_id=offer.place.therapist_id,
            therapist=people.get(offer.place.therapist_id, ""),
            room_id=offer.place.room_id,
            room=rooms.get(offer.place.room_id, "") if offer.place.room_id else "",
            fits=offer.fits,
        )
        for offer in offers
    ]


def series_plan(place: Place, spans: Sequence[Span], client: Client) -> list[PlannedDate]:
    """Each date of a series before it is saved. Five queries."""
    near = timedelta(days=NEAR_DAYS)
    asked = Asked(
        first_on=wall(spans[0].starts_at).date() - near,
        last_on=wall(spans[-1].ends_at).date() + near,
        therapist_ids=[place.therapist_id],
        client_id=client.pk,
    )
    today = timezone.localdate()
    return plan(agenda(asked), place, spans, not_before=moment(today, time.min, zone()))


def usual_room_id(therapist_id: int, at: datetime) -> int | None:
    """The room that the working hours give a therapist at a moment. One query."""
    return own_room(Agenda(zone(), hours_of([therapist_id])), therapist_id, at)
