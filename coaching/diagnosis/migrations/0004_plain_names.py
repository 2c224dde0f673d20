"""One word for each thing: columns and models take the names that the pages and the API use."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("diagnosis", "0003_guarded_columns")]

    operations = [
        migrations.RenameField(model_name="finding", old_name="words", new_name="text"),
        migrations.RenameField(model_name="plan", old_name="keep_words", new_name="keep_note"),
        migrations.RenameModel(old_name="Because", new_name="CausalLink"),
        migrations.AlterField(
            model_name="causallink",
            name="effect",
            field=models.ForeignKey(
                on_delete=models.deletion.CASCADE,
                related_name="causal_links",
                to="diagnosis.finding",
            ),
        ),
    ]
