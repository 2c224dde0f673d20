"""One word for each thing: columns and models take the names that the pages and the API use."""

from django.db import migrations, models


def _renamed(row, old, new):
    if isinstance(row, dict) and old in row:
        row[new] = row.pop(old)
    return row


def _text_in_json(apps, schema_editor):
    """Steps and instructions inside a version's JSON say `text` as the columns do."""
    for version in apps.get_model("practice", "DrillVersion").objects.iterator():
        version.instructions = [_renamed(row, "words", "text") for row in version.instructions]
        version.ladder = [_renamed(row, "words", "text") for row in version.ladder]
        version.save(update_fields=["instructions", "ladder"])


def _words_in_json(apps, schema_editor):
    for version in apps.get_model("practice", "DrillVersion").objects.iterator():
        version.instructions = [_renamed(row, "text", "words") for row in version.instructions]
        version.ladder = [_renamed(row, "text", "words") for row in version.ladder]
        version.save(update_fields=["instructions", "ladder"])


class Migration(migrations.Migration):
    dependencies = [("practice", "0003_guarded_columns")]

    operations = [
        migrations.RenameField(
            model_name="drillversion", old_name="steps", new_name="instructions"
        ),
        migrations.RenameModel(old_name="Rung", new_name="Step"),
        migrations.RenameField(model_name="assignment", old_name="words", new_name="text"),
        migrations.RenameField(model_name="step", old_name="words", new_name="text"),
        migrations.RenameField(model_name="criterion", old_name="rung", new_name="step"),
        migrations.RenameField(model_name="attempt", old_name="rung", new_name="step"),
        migrations.RenameField(model_name="selfanswer", old_name="words", new_name="text"),
        migrations.RenameField(model_name="painreport", old_name="words", new_name="text"),
        migrations.RemoveConstraint(model_name="step", name="one_rung_per_position"),
        migrations.AlterField(
            model_name="step",
            name="assignment",
            field=models.ForeignKey(
                on_delete=models.deletion.CASCADE, related_name="steps", to="practice.assignment"
            ),
        ),
        migrations.AddConstraint(
            model_name="step",
            constraint=models.UniqueConstraint(
                fields=("assignment", "position"), name="one_step_per_position"
            ),
        ),
        migrations.RunPython(_text_in_json, _words_in_json),
    ]
