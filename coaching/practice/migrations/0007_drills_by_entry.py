"""Drills treat entries of the catalogue, by their names of today."""

from __future__ import annotations

from importlib import import_module

from django.db import migrations

# What the old quick tags stood for, where a drill named one.
TAGS = {
    "grip": "grip-in-the-palm",
    "aim": "aims-trail",
    "clubface": "face-open-at-top",
    "lead_wrist": "lead-wrist-cups",
    "strike": "low-point-behind",
    "flight": "face-open-at-impact",
}


def rename_causes(apps, schema_editor):
    entries = import_module("coaching.diagnosis.migrations.0005_catalogue").ENTRIES
    drill = apps.get_model("practice", "Drill")
    for old, new in {**entries, **TAGS}.items():
        drill.objects.filter(cause=old).update(cause=new)


class Migration(migrations.Migration):
    dependencies = [("practice", "0006_pain_taken_back")]
    operations = [migrations.RunPython(rename_causes, migrations.RunPython.noop)]
