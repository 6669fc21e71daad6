"""Procedure: what was done to the body before, by other hands."""

from collections.abc import Iterator

from clinic.clients.models import (
    CancerTreatment,
    Drugs,
    DrugTreatment,
    Irradiation,
    NodeSurgery,
    Operation,
    Surgery,
)
from clinic.common.vocabulary import Basin, NodeProcedure, RadiationField
from clinic.exchange.fhir import pieces
from clinic.exchange.fhir.pieces import Json, Maker
from clinic.exchange.rows import ClientRows


def procedures(maker: Maker, rows: ClientRows) -> Iterator[Json]:
    yield from (_surgery(maker, each) for each in rows.surgeries)
    yield from (_nodes(maker, each) for each in rows.node_surgeries)
    yield from (_radiation(maker, each) for each in rows.irradiations)
    yield from (_drugs(maker, each) for each in rows.drug_treatments)


def _procedure(maker: Maker, done: CancerTreatment, **fields: object) -> Json:
    kind = done._meta.model_name or ""
    values: Json = {
        "status": "completed",
        "category": pieces.own("procedure-kind", kind, str(done._meta.verbose_name)),
        "subject": maker.subject,
        "performedDateTime": done.done_on.isoformat() if done.done_on else None,
        "note": pieces.note(done.note),
    }
    return maker.resource("Procedure", maker.id_of(kind, done.pk), **values | fields)


def _surgery(maker: Maker, done: Surgery) -> Json:
    operation = Operation(done.operation)
    name = pieces.place_name(operation.label, done.side)
    side = [] if done.side == "midline" else [pieces.own("side", done.side, done.side)]
    return _procedure(
        maker, done, code=pieces.word("operation", operation, text=name), bodySite=side
    )


def _nodes(maker: Maker, done: NodeSurgery) -> Json:
    counted = [
        f"{count} nodes {what}"
        for count, what in ((done.nodes_removed, "removed"), (done.nodes_positive, "positive"))
        if count is not None
    ]
    return _procedure(
        maker,
        done,
        code=pieces.word("node-procedure", NodeProcedure(done.procedure)),
        bodySite=[pieces.site_with_side(done.basin, Basin(done.basin).label, done.side)],
        note=pieces.note("; ".join(counted), done.note),
    )


def _radiation(maker: Maker, done: Irradiation) -> Json:
    place = pieces.site_with_side(done.field, RadiationField(done.field).label, done.side)
    return _procedure(
        maker, done, code=pieces.own("procedure-kind", "radiation", "radiation"), bodySite=[place]
    )


def _drugs(maker: Maker, done: DrugTreatment) -> Json:
    """Without an end the record does not say whether it goes on."""
    return _procedure(
        maker,
        done,
        status="completed" if done.ended_on else "unknown",
        code=pieces.word("drugs", Drugs(done.drugs)),
        performedDateTime=None,
        performedPeriod=pieces.period(done.done_on, done.ended_on),
    )
