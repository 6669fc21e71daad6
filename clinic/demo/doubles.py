"""A client whom the desk registered twice, and whose two records became one."""

from datetime import time

from clinic.clients.models import Client
from clinic.clients.services import register_client
from clinic.demo import scenario
from clinic.demo.scenario import demo_id
from clinic.demo.stage import Stage
from clinic.keeping.services.merging import merge_clients

REGISTERED_AGAIN, FOUND_OUT = -46, -45


def merge_a_double(stage: Stage) -> None:
    """Over the telephone the name was heard otherwise; the lead merged the two the next day."""
    kept = Client.objects.get(pk=scenario.stories()[0].client_id)
    with stage.on(REGISTERED_AGAIN):
        other = Client(
            id=demo_id("client", "registered twice"),
            record_number="D101",
            given_name="Noemi",
            family_name="Castellane",
            born_on=kept.born_on,
            sex=kept.sex,
        )
        register_client(client=other, by=stage.cast.front_desk, is_deliberate=True)
    with stage.on(FOUND_OUT, time(16, 0)):
        merge_clients(kept=kept, other=other, taking=[], by=stage.cast.lead)
