"""Keeps the previous values of every row of a client's record that can change.

Not attached, since nothing there changes or it is nobody's record yet: rows that a trigger protects
from the start, drafts that save themselves (a note, a programme or a letter is followed from its
signature or issue on, and a draft thrown away is kept once, as it was), and what is computed.
"""

from django.db import migrations, models

CLIENT = "SELECT ($1 ->> ''client_id'')::uuid"
ITSELF = "SELECT ($1 ->> ''id'')::uuid"
EPISODE = "SELECT client_id FROM clients_episode WHERE id = ($1 ->> ''episode_id'')::uuid"
ENTRY = "SELECT client_id FROM scheduling_waitlistentry WHERE id = ($1 ->> ''entry_id'')::bigint"
NOBODY = ""

# table: how its client is found, columns left out, columns kept by their hash, since when
WATCHED = {
    "clients_client": (ITSELF, "folded_name", "", ""),
    "clients_referrer": (NOBODY, "folded_name", "", ""),
    "clients_episode": (CLIENT, "", "", ""),
    "clients_affectedregion": (EPISODE, "", "", ""),
    "clients_phasechange": (EPISODE, "", "", ""),
    "clients_surgery": (CLIENT, "", "", ""),
    "clients_nodesurgery": (CLIENT, "", "", ""),
    "clients_irradiation": (CLIENT, "", "", ""),
    "clients_drugtreatment": (CLIENT, "", "", ""),
    "clients_precautionfound": (CLIENT, "", "", ""),
    "measurements_girthsession": (EPISODE, "", "", ""),
    "measurements_outcomescore": (EPISODE, "", "", ""),
    "programmes_adherencerecord": (EPISODE, "", "", ""),
    "programmes_garment": (EPISODE, "", "", ""),
    "programmes_bandagerecord": (EPISODE, "", "", ""),
    "programmes_programme": (
        EPISODE,
        "revision,edited_at,edited_by_id",
        "steps,choices,situation,printed,handout,exercises,precautions,left_out,dose",
        "issued_at",
    ),
    "scheduling_authorisation": (CLIENT, "", "", ""),
    "scheduling_series": (CLIENT, "", "", ""),
    "scheduling_appointment": (CLIENT, "version,status_at", "", ""),
    "scheduling_waitlistentry": (CLIENT, "", "", ""),
    "scheduling_waitlistoffer": (ENTRY, "", "", ""),
    "scheduling_recallschedule": (EPISODE, "at", "", ""),
    "scheduling_recallsnooze": (CLIENT, "", "", ""),
    "scheduling_reminderconsent": (CLIENT, "", "", ""),
    "visits_visitnote": (EPISODE, "revision,edited_at,edited_by_id", "signed,copied", "signed_at"),
    "visits_planofcare": (EPISODE, "", "signed", "signed_at"),
    "letters_progressletter": (EPISODE, "edited_at", "pdf,summary", "approved_at"),
}

ATTACH = """
CREATE TRIGGER audit_update_kept AFTER UPDATE ON {table} FOR EACH ROW WHEN ({since})
  EXECUTE FUNCTION audit_keep_change('{client}', '{left_out}', '{hashed}');
CREATE TRIGGER audit_delete_kept AFTER DELETE ON {table} FOR EACH ROW
  EXECUTE FUNCTION audit_keep_change('{client}', '{left_out}', '{hashed}');
"""
DETACH = """
DROP TRIGGER audit_update_kept ON {table};
DROP TRIGGER audit_delete_kept ON {table};
"""


def attached() -> list[migrations.RunSQL]:
    return [
        migrations.RunSQL(
            ATTACH.format(
                table=table,
                client=client,
                left_out=left_out,
                hashed=hashed,
                since=f"OLD.{since} IS NOT NULL" if since else "OLD.* IS DISTINCT FROM NEW.*",
            ),
            DETACH.format(table=table),
        )
        for table, (client, left_out, hashed, since) in WATCHED.items()
    ]


class Migration(migrations.Migration):
    dependencies = [
        ("audit", "0003_chain_what_was_written_before"),
        ("clients", "0002_clients_and_episodes"),
        ("measurements", "0003_outcome_scores"),
        ("programmes", "0004_garments_size_charts_bandages"),
        ("scheduling", "0005_recalls_for_garments"),
        ("visits", "0004_reported_until"),
        ("letters", "0002_kinds_of_paper"),
    ]
    operations = [
        migrations.AlterField(
            model_name="entry",
            name="act",
            field=models.UUIDField(
                db_default=models.Func(function="audit_act", output_field=models.UUIDField()),
                db_index=True,
                null=True,
            ),
        ),
        *attached(),
    ]
