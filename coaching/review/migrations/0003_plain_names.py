"""One word for each thing: columns and models take the names that the pages and the API use."""

from django.db import migrations



def _shape(old, new):
    def change(apps, schema_editor):
        apps.get_model("review", "Mark").objects.filter(shape=old).update(shape=new)

    return change


class Migration(migrations.Migration):
    dependencies = [("review", "0002_guarded_columns")]

    operations = [
        migrations.RenameField(model_name="review", old_name="words", new_name="text"),
        migrations.RenameField(model_name="reviewversion", old_name="words", new_name="text"),
        migrations.RenameField(model_name="reviewversion", old_name="settled_at", new_name="resolved_at"),
        migrations.RenameField(model_name="mark", old_name="words", new_name="text"),
        migrations.RenameField(model_name="snippet", old_name="words", new_name="text"),
        migrations.RunPython(_shape("words", "text"), _shape("text", "words")),
    ]
