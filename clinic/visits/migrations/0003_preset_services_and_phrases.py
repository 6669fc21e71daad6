"""The services and phrases a new clinic begins with."""

from typing import Any

from django.db import migrations

from clinic.visits.presets import add_lists


def add(apps: Any, schema_editor: Any) -> None:
    add_lists(apps.get_model("visits", "Service"), apps.get_model("visits", "Phrase"))


class Migration(migrations.Migration):
    dependencies = [("visits", "0002_seal_of_the_cosignature")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
