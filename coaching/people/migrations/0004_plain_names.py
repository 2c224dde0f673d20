"""One word for each thing: columns and models take the names that the pages and the API use."""

from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0003_guarded_columns")]

    operations = [
        migrations.RenameField(model_name="bodynote", old_name="words", new_name="text"),
        migrations.AlterField(
            model_name="guardianship",
            name="user",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=models.deletion.CASCADE,
                related_name="minors",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AlterField(
            model_name="student",
            name="user",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=models.deletion.SET_NULL,
                related_name="student_profiles",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
    ]
