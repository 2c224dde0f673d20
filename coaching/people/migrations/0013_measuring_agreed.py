"""Until now one purpose said "store and measure": whoever agreed to it agreed to both."""

from django.db import migrations


def split(apps, schema_editor):
    Consent = apps.get_model("people", "Consent")
    standing = Consent.objects.filter(purpose="store", withdrawn_at=None)
    known = Consent.objects.filter(purpose="measure", withdrawn_at=None).values("student")
    Consent.objects.bulk_create(
        Consent(
            student_id=row.student_id,
            purpose="measure",
            given_by_id=row.given_by_id,
            text_version=row.text_version,
            given_at=row.given_at,
        )
        for row in standing.exclude(student__in=known).iterator()
    )


def join(apps, schema_editor):
    Consent = apps.get_model("people", "Consent")
    Consent.objects.exclude(purpose__in=["store", "share_coach"]).delete()


class Migration(migrations.Migration):

    dependencies = [
        ("people", "0012_consent_purposes"),
    ]

    operations = [migrations.RunPython(split, join)]
