"""The kinds of appointment a lymphedema practice usually books; each can be changed or retired.

Lengths are common practice, no source.
"""

from django.db import migrations

USUAL = [
    ("Evaluation", "evaluation", 75, "plum", "Ev", "Referral, list of medicines, photo ID"),
    ("Treatment", "treatment", 60, "moss", "Tr", "Bandages and garments, loose clothing"),
    ("Re-measurement", "remeasurement", 30, "slate", "Me", "Garments in use"),
    ("Garment fitting", "garment_fitting", 45, "ochre", "Ga", "Garments in use, order papers"),
    ("Discharge", "discharge", 45, "clay", "Di", "Garments in use, diary of the home programme"),
]


def add(apps, schema_editor):
    kinds = apps.get_model("scheduling", "AppointmentKind")
    for place, (name, purpose, minutes, tone, mark, bring) in enumerate(USUAL):
        kinds.objects.create(
            name=name,
            purpose=purpose,
            minutes=minutes,
            tone=tone,
            mark=mark,
            bring=bring,
            place=place,
        )


def remove(apps, schema_editor):
    names = [name for name, *_ in USUAL]
    apps.get_model("scheduling", "AppointmentKind").objects.filter(name__in=names).delete()


class Migration(migrations.Migration):
    dependencies = [("scheduling", "0002_bookings")]
    operations = [migrations.RunPython(add, remove)]
