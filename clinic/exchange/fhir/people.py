"""Patient, Practitioner, PractitionerRole, Organization."""

from collections.abc import Iterable, Iterator

from clinic.accounts.models import Practice, User
from clinic.clients.models import Referrer
from clinic.common.vocabulary import Sex
from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.pieces import Json, Maker
from clinic.exchange.rows import ClientRows

# Value set administrative-gender of R4 has no "not stated".
GENDER = {Sex.FEMALE: "female", Sex.MALE: "male", Sex.NOT_SAID: "unknown"}


RECORD_NUMBER = pieces.hl7("v2-0203", "MR", "Medical record number")


def patient(maker: Maker, rows: ClientRows) -> Json:
    """Who it is. Numbers of records merged into this one come as old numbers."""
    client = rows.client
    return maker.resource(
        "Patient",
        str(client.pk),
        identifier=[
            pieces.urn_identifier(client.pk),
            maker.numbered(client.record_number, type=RECORD_NUMBER),
            *(
                maker.numbered(number, use="old", type=RECORD_NUMBER)
                for number in rows.old_record_numbers
            ),
        ],
        active=client.is_active,
        name=pieces.human_name(client.family_name, client.given_name),
        telecom=pieces.telecom(phone=client.phone, email=client.email),
        gender=GENDER[Sex(client.sex)],
        birthDate=client.born_on.isoformat(),
        address=pieces.address(client.street, client.town),
        managingOrganization=maker.practice,
    )


def practice_organization(maker: Maker, practice: Practice) -> Json:
    return maker.resource(
        "Organization",
        maker.id_of("practice", 1),
        active=True,
        name=practice.name,
        telecom=pieces.telecom(phone=practice.phone, fax=practice.fax, email=practice.email),
        address=pieces.address(practice.street, practice.town),
    )


def staff(maker: Maker, people: Iterable[User]) -> Iterator[Json]:
    """Those who took part, as they sign: one name, for we keep no given and family name."""
    for user in people:
        yield maker.resource(
            "Practitioner",
            maker.id_of("staff", user.pk),
            identifier=[maker.numbered(str(user.pk))],
            active=user.is_active,
            name=[{"text": user.display_name}],
            qualification=[{"code": {"text": user.credentials}}] if user.credentials else [],
        )


def referrers(maker: Maker, found: Iterable[Referrer]) -> Iterator[Json]:
    """Each referrer with the place they work at and in which speciality."""
    for referrer in found:
        yield _practitioner(maker, referrer)
        place_id = pieces.id_of(referrer.pk, "organisation")
        if referrer.organisation:
            yield maker.resource("Organization", place_id, name=referrer.organisation)
        if referrer.organisation or referrer.speciality:
            yield maker.resource(
                "PractitionerRole",
                pieces.id_of(referrer.pk, "role"),
                practitioner=referrer_reference(referrer),
                organization=pieces.reference("Organization", place_id)
                if referrer.organisation
                else None,
                specialty=[{"text": referrer.speciality}] if referrer.speciality else [],
            )


def _practitioner(maker: Maker, referrer: Referrer) -> Json:
    return maker.resource(
        "Practitioner",
        str(referrer.pk),
        active=referrer.is_active,
        name=pieces.human_name(referrer.family_name, referrer.given_name, prefix=referrer.title),
        telecom=pieces.telecom(phone=referrer.phone, fax=referrer.fax, email=referrer.email),
        address=pieces.address(referrer.street, referrer.town),
    )


def referrer_reference(referrer: Referrer) -> Json:
    return pieces.reference("Practitioner", str(referrer.pk))
