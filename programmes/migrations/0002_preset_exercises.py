"""The exercises a new practice begins with."""

from typing import Any

from django.db import migrations

from programmes.presets import add_exercises


def add(apps: Any, schema_editor: Any) -> None:
    add_exercises(apps.get_model("programmes", "ClinicExercise"))


class Migration(migrations.Migration):
    dependencies = [("programmes", "0001_programmes")]
    operations = [migrations.RunPython(add, migrations.RunPython.noop)]
