"""Puts the entries of a database that is older than the chain into it, in their order."""

from django.db import migrations

CHAIN = """
DO $$
DECLARE old record;
BEGIN
  FOR old IN SELECT id FROM audit_entry ORDER BY id LOOP
    PERFORM audit_chain(old.id, NULL);
  END LOOP;
END
$$
"""


class Migration(migrations.Migration):
    dependencies = [("audit", "0002_chain_of_entries_and_changes")]
    operations = [migrations.RunSQL(CHAIN, migrations.RunSQL.noop)]
