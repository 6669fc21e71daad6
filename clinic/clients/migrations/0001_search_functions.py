"""What the client search rests on: folding of names, word parts, record numbers."""

from django.contrib.postgres.operations import TrigramExtension, UnaccentExtension
from django.db import migrations

# `unaccent` is only STABLE because its dictionary could be changed; naming the dictionary and
# never changing it lets an index and a generated column rest on the result.
FOLDED = """
CREATE FUNCTION folded(words text) RETURNS text
LANGUAGE sql IMMUTABLE PARALLEL SAFE STRICT
RETURN lower(public.unaccent('public.unaccent'::regdictionary, words));
"""


class Migration(migrations.Migration):
    initial = True
    dependencies = []
    operations = [
        TrigramExtension(),
        UnaccentExtension(),
        migrations.RunSQL(FOLDED, "DROP FUNCTION folded(text)"),
        migrations.RunSQL(
            "CREATE SEQUENCE clients_record_number START 10001",
            "DROP SEQUENCE clients_record_number",
        ),
    ]
