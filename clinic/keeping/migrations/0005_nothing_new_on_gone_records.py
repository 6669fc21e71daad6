"""A record that was merged or erased gets no more rows, however they are written.

The trigger holds the client's row, so that of a merge or an erasure and other work on the record one
waits for the other. Who comes later asks again once the other has ended: under READ COMMITTED each
statement sees what is committed by then, and a row waited for is judged as it was left. FOR SHARE
waits for the lock that `clinic.clients.services.lock_record` takes, FOR KEY SHARE would not. It is
BEFORE, so that who waits has put nothing yet that the other in turn could wait for.

A reference to what is no longer there is what it is to the database, and so is its error.
"""

from django.db import migrations

FUNCTION = """
CREATE FUNCTION keeping_record_stands() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  PERFORM FROM clients_client
    WHERE id = NEW.client_id AND merged_into_id IS NULL AND erased_at IS NULL
    FOR SHARE;
  IF NOT FOUND THEN
    RAISE foreign_key_violation
      USING MESSAGE = 'the record was merged or erased', TABLE = TG_TABLE_NAME;
  END IF;
  RETURN NEW;
END $$
"""

# Every table that names a client itself, but for the access record and what tells of the going.
# What hangs on an episode moves with it, and is refused by its own reference once that is erased.
GUARDED = [
    "clients_copyrequest",
    "clients_correctionrequest",
    "clients_drugtreatment",
    "clients_emergencyaccess",
    "clients_episode",
    "clients_irradiation",
    "clients_nodesurgery",
    "clients_precautionfound",
    "clients_surgery",
    "keeping_hold",
    "programmes_precautionreview",
    "scheduling_appointment",
    "scheduling_authorisation",
    "scheduling_recallsnooze",
    "scheduling_reminderconsent",
    "scheduling_series",
    "scheduling_waitlistentry",
]

ATTACH = """
CREATE TRIGGER keeping_insert_stands BEFORE INSERT ON {table} FOR EACH ROW
  EXECUTE FUNCTION keeping_record_stands();
CREATE TRIGGER keeping_update_stands BEFORE UPDATE OF client_id ON {table} FOR EACH ROW
  WHEN (OLD.client_id IS DISTINCT FROM NEW.client_id)
  EXECUTE FUNCTION keeping_record_stands();
"""
DETACH = """
DROP TRIGGER keeping_insert_stands ON {table};
DROP TRIGGER keeping_update_stands ON {table};
"""


class Migration(migrations.Migration):
    dependencies = [
        ("clients", "0006_copies_and_corrections_asked_for"),
        ("keeping", "0004_records_held_against_erasure"),
        ("programmes", "0004_garments_size_charts_bandages"),
        ("scheduling", "0005_recalls_for_garments"),
    ]
    operations = [
        migrations.RunSQL(FUNCTION, "DROP FUNCTION keeping_record_stands()"),
        *(
            migrations.RunSQL(ATTACH.format(table=table), DETACH.format(table=table))
            for table in GUARDED
        ),
    ]
