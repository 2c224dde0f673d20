"""The times of a copy's frames get a table of their own: reading a clip's row no longer drags them."""

import django.db.models.deletion
from django.db import migrations, models


def move(apps, schema_editor):
    FrameTimes = apps.get_model("analysis", "FrameTimes")
    films = apps.get_model("analysis", "Video").objects.exclude(frame_times_raw=b"")
    for pk, raw in films.values_list("pk", "frame_times_raw").iterator():
        FrameTimes.objects.create(video_id=pk, raw=raw)


def move_back(apps, schema_editor):
    films = apps.get_model("analysis", "Video").objects
    for row in apps.get_model("analysis", "FrameTimes").objects.iterator():
        films.filter(pk=row.video_id).update(frame_times_raw=row.raw)


class Migration(migrations.Migration):
    dependencies = [("analysis", "0005_loose_files")]

    operations = [
        migrations.CreateModel(
            name="FrameTimes",
            fields=[
                (
                    "video",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.CASCADE,
                        primary_key=True,
                        serialize=False,
                        to="analysis.video",
                    ),
                ),
                ("raw", models.BinaryField()),
            ],
        ),
        migrations.RunPython(move, move_back),
        migrations.RemoveField(model_name="video", name="frame_times_raw"),
    ]
