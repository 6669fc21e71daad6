"""An entry's verb as a sentence, made when it is shown."""

SENTENCES = {
    "client.opened": "opened the client page",
    "client.registered": "registered the client",
    "client.edited": "edited the client's details",
    "client.deactivated": "deactivated the client",
    "client.reactivated": "reactivated the client",
    "referrer.added": "added a referrer",
    "referrer.edited": "edited a referrer",
    "referrer.deactivated": "deactivated a referrer",
    "referrer.reactivated": "reactivated a referrer",
    "episode.opened": "opened an episode of care",
    "episode.edited": "edited an episode of care",
    "episode.seen": "looked at an episode of care",
    "phase.changed": "changed the phase",
    "treatment.added": "added a cancer treatment",
    "treatment.removed": "removed a cancer treatment",
    "precaution.found": "recorded a precaution",
    "precaution.cleared": "cleared a precaution",
    "girths.seen": "looked at girths",
    "girths.draft_saved": "kept a draft of girths",
    "girths.recorded": "recorded girths",
    "girths.struck": "struck out a measuring session",
    "girths.imported": "imported past sessions",
    "baseline.set": "set the baseline session",
    "stage.decided": "recorded findings and stage",
    "letter.compiled": "compiled a progress letter",
    "letter.edited": "edited a progress letter",
    "letter.approved": "approved a progress letter",
    "letter.discarded": "discarded a letter draft",
    "letter.seen": "looked at a progress letter",
    "letter.printed": "printed a progress letter",
}


def sentence(verb: str) -> str:
    """Words for a verb; an unknown verb is shown as it is rather than hidden."""
    return SENTENCES.get(verb, verb)
