"""The four protocols a new practice begins with."""

from typing import Any

from django.db import migrations

from measurements.services.presets import add_presets


def add(apps: Any, schema_editor: Any) -> None:
    add_presets(
        apps.get_model("measurements", "Protocol"),
        apps.get_model("measurements", "ProtocolStation"),
    )


class Migration(migrations.Migration):
    dependencies = [("measurements", "0001_initial")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
