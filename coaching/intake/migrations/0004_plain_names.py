"""One word for each thing: columns and models take the names that the pages and the API use."""

from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("intake", "0003_guarded_columns")]

    operations = [
        migrations.RenameField(model_name="request", old_name="words", new_name="text"),
        migrations.RenameField(model_name="submission", old_name="words", new_name="text"),
        migrations.RenameField(model_name="submission", old_name="override_words", new_name="override_note"),
    ]
