"""One word for each thing: columns and models take the names that the pages and the API use."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("lessons", "0003_guarded_columns")]

    operations = [
        migrations.RemoveIndex(model_name="entry", name="entry_outbox"),
        migrations.RenameField(model_name="entry", old_name="words", new_name="text"),
        migrations.RenameField(model_name="entry", old_name="told_at", new_name="notified_at"),
        migrations.AddIndex(
            model_name="entry",
            index=models.Index(
                condition=models.Q(("notified_at__isnull", True)),
                fields=["id"],
                name="entry_outbox",
            ),
        ),
    ]
