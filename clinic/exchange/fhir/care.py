"""EpisodeOfCare, ServiceRequest (the referral), Condition, Flag."""

from collections.abc import Iterable, Iterator, Mapping

from clinic.clients.diagnoses import DIAGNOSES
from clinic.clients.models import AffectedRegion, Episode, PhaseChange, PrecautionFound
from clinic.common.vocabulary import Cause, Involvement, Phase, Precaution, Region, Stage
from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.people import referrer_reference
from clinic.exchange.fhir.pieces import Json, Maker
from measurements.models import LimbFindings

STAGE_NAMES = {stage: f"ISL stage {stage.label}" for stage in Stage}

# Each region's latest look, by the region's number.
Latest = Mapping[int, LimbFindings]


def latest_looks(findings: Iterable[LimbFindings]) -> Latest:
    """Findings come oldest first, so the last of a region stays."""
    return {look.region_id: look for look in findings}


def episodes_of_care(maker: Maker, episodes: Iterable[Episode], looks: Latest) -> Iterator[Json]:
    for episode in episodes:
        conditions = list(_conditions(maker, episode, looks))
        yield _episode(maker, episode, conditions)
        yield from conditions
        if episode.referrer:
            yield _referral(maker, episode)


def episode_reference(episode_id: object) -> Json:
    return pieces.reference("EpisodeOfCare", str(episode_id))


def is_over(episode: Episode) -> bool:
    return bool(list(episode.phase_changes.all())[-1].phase == Phase.DISCHARGED)


def _episode(maker: Maker, episode: Episode, conditions: list[Json]) -> Json:
    phases = list(episode.phase_changes.all())
    ended_on = phases[-1].since_on if is_over(episode) else None
    referral = pieces.reference("ServiceRequest", pieces.id_of(episode.pk, "referral"))
    return maker.resource(
        "EpisodeOfCare",
        str(episode.pk),
        status="finished" if ended_on else "active",
        type=[pieces.word("phase", Phase(phases[-1].phase))],
        diagnosis=[
            {"condition": pieces.reference("Condition", condition["id"])}
            for condition in conditions
        ],
        patient=maker.subject,
        managingOrganization=maker.practice,
        period=pieces.period(episode.opened_on, ended_on),
        referralRequest=[referral] if episode.referrer else [],
        careManager=maker.staff(episode.therapist_id),
        extension=[_phase(change) for change in phases],
    )


def _phase(change: PhaseChange) -> Json:
    """A phase of the episode, from when, and why it began."""
    return {
        "url": f"{pieces.OWN}:extension:phase",
        "extension": [
            {"url": "phase", "valueCodeableConcept": pieces.word("phase", Phase(change.phase))},
            {"url": "since", "valueDate": change.since_on.isoformat()},
            {"url": "reason", "valueString": change.reason},
        ],
    }


def _referral(maker: Maker, episode: Episode) -> Json:
    reason = episode.referral_reason
    return maker.resource(
        "ServiceRequest",
        pieces.id_of(episode.pk, "referral"),
        status="completed" if is_over(episode) else "active",
        intent="order",
        code={"text": "Lymphedema therapy"},
        subject=maker.subject,
        requester=referrer_reference(episode.referrer) if episode.referrer else None,
        performer=[maker.practice],
        reasonCode=[{"text": reason}] if reason else [],
    )


def _conditions(maker: Maker, episode: Episode, looks: Latest) -> Iterator[Json]:
    """The diagnosis once for each swollen region with its stage; else once, without a place.

    A region at risk is no place of disease: it is named in the condition's note.
    """
    regions = list(episode.regions.all())
    swollen = [each for each in regions if each.involvement == Involvement.SWOLLEN]
    at_risk = [each for each in regions if each.involvement == Involvement.AT_RISK]
    told = f"At risk: {', '.join(map(str, at_risk))}." if at_risk else ""
    places: list[AffectedRegion | None] = [*swollen] or [None]
    for region in places:
        yield _condition(maker, episode, (region, looks, told))


def _condition(
    maker: Maker, episode: Episode, found: tuple[AffectedRegion | None, Latest, str]
) -> Json:
    region, looks, told = found
    part = f"condition:{region.region}:{region.side}" if region else "condition"
    look = looks.get(region.pk) if region else None
    cause = f"Cause: {Cause(episode.cause).label}."
    return maker.resource(
        "Condition",
        pieces.id_of(episode.pk, part),
        # After discharge the record does not say how the condition went on.
        clinicalStatus=None
        if is_over(episode)
        else pieces.hl7("condition-clinical", "active", "Active"),
        verificationStatus=pieces.hl7("condition-ver-status", "confirmed", "Confirmed"),
        category=[pieces.hl7("condition-category", "encounter-diagnosis", "Encounter Diagnosis")],
        code=pieces.concept(pieces.ICD_10_CM, episode.diagnosis, DIAGNOSES[episode.diagnosis]),
        bodySite=[_site(region)] if region else [],
        subject=maker.subject,
        recordedDate=episode.opened_on.isoformat(),
        stage=[_stage(look)] if look else [],
        note=pieces.note(cause, told),
    )


def _site(region: AffectedRegion) -> Json:
    return pieces.site_with_side(region.region, Region(region.region).label, region.side)


def _stage(look: LimbFindings) -> Json:
    return {"summary": stage_concept(look), "assessment": [look_reference(look)]}


def stage_concept(look: LimbFindings) -> Json:
    stage = Stage(look.stage)
    return pieces.own("isl-stage", stage.value, STAGE_NAMES[stage])


def look_reference(look: LimbFindings) -> Json:
    return pieces.reference("Observation", str(look.pk))


def flags(maker: Maker, precautions: Iterable[PrecautionFound]) -> Iterator[Json]:
    """Precautions: active until somebody cleared them."""
    for found in precautions:
        yield maker.resource(
            "Flag",
            maker.id_of("precaution", found.pk),
            status="inactive" if found.cleared_on else "active",
            category=[pieces.hl7("flag-category", "safety", "Safety")],
            code=pieces.word("precaution", Precaution(found.precaution), text=_words(found)),
            subject=maker.subject,
            period=pieces.period(found.found_on, found.cleared_on),
            author=maker.staff(found.found_by_id),
        )


def _words(found: PrecautionFound) -> str:
    cleared = f"cleared: {found.cleared_reason}" if found.cleared_on else ""
    said = (Precaution(found.precaution).label, found.note, cleared)
    return "; ".join(part for part in said if part)
