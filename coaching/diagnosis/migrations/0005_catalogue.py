"""Rules and tags become entries of one catalogue; findings keep what they meant."""

from __future__ import annotations

import django.db.models.deletion
from django.db import migrations, models

# Rules that have another name now. Names that are not here stay as they were.
ENTRIES = {
    "trunk-upright-at-address": "upright-at-address",
    "trunk-bent-far": "bent-over-at-address",
    "trunk-bent-far-ask-the-back": "ask-the-back",
    "arms-close-for-long-arms": "hands-too-close",
    "arms-reach": "hands-reach",
    "handle-behind-at-address": "handle-back-at-address",
    "little-turn-tilting-hips": "ask-the-hip",
    "little-pelvis-turn": "little-hip-turn",
    "pelvis-turns-well": "hips-turn-well",
    "hands-over-the-foot": "hands-lack-depth",
    "shaft-inside-early": "club-steep-early",
    "shaft-upright-late": "steep-late-back",
    "shaft-far-too-flat": "flat-late-back",
    "sway-in-place-of-turn": "sway",
    "sway-far": "sway",
    "head-toward-the-target": "head-toward-target-back",
    "leans-toward-the-target": "reverse-lean",
    "lead-elbow-bends-for-length": "lead-arm-bends",
    "toward-the-ball-after-upright-shaft": "early-extension",
    "toward-the-ball-from-the-heels": "early-extension",
    "toward-the-ball-unexplained": "ask-the-back",
    "stands-up-after-upright-shaft": "loss-of-posture",
    "rises-with-the-hips": "hips-rise-down",
    "shaft-steepens-in-transition": "steep-coming-down",
    "shaft-past-the-ball-coming-down": "club-past-the-ball-down",
    "turn-stops-through-impact": "hips-stall",
    "handle-held-back-at-impact": "scoop",
    "rushed-from-the-top": "quick-from-the-top",
}
# Clauses of the old tags.
CLAUSES = {
    "the handle lies in the palm of your lead hand and not in the fingers": "grip-in-the-palm",
    "your lead hand sits turned too far toward the target on the handle": "grip-weak",
    "your lead hand sits turned too far away from the target on the handle": "grip-strong",
    "you hold the club very tightly": "grip-tight",
    "you aim to the trail side of the target": "aims-trail",
    "you aim to the lead side of the target": "aims-lead",
    "the clubface looks at the sky at the top": "face-shut-at-top",
    "the clubface is square at the top": "face-square-at-top",
    "your lead wrist cups at the top": "lead-wrist-cups",
    "your lead wrist bows at the top": "lead-wrist-bows",
    "your lead wrist is flat at the top": "lead-wrist-flat",
    "you strike the ball off the heel": "strike-heel",
    "you strike the ball off the toe": "strike-toe",
    "the club meets the ground before the ball": "strike-fat",
    "you strike the ball thin": "strike-thin",
    "you strike the ball in the middle": "strike-solid",
    "the ball starts to the trail side and keeps going": "ball-trail-straight",
    "the ball starts to the lead side and comes back": "ball-lead-trail",
    "the ball starts straight and curves to the trail side": "ball-straight-trail",
    "the ball starts straight and curves to the lead side": "ball-straight-lead",
    "the ball flies straight": "ball-straight-straight",
}


def rename_entries(apps, schema_editor):
    finding = apps.get_model("diagnosis", "Finding")
    dismissal = apps.get_model("diagnosis", "Dismissal")
    for old, new in ENTRIES.items():
        finding.objects.filter(entry=old).update(entry=new)
        for row in dismissal.objects.filter(entry=old):
            if dismissal.objects.filter(student=row.student_id, entry=new).exists():
                row.delete()
            else:
                dismissal.objects.filter(pk=row.pk).update(entry=new)
    for clause, new in CLAUSES.items():
        finding.objects.filter(entry="", text=clause).exclude(tag="").update(entry=new)


class Migration(migrations.Migration):
    dependencies = [
        ("diagnosis", "0004_plain_names"),
        ("people", "0001_initial"),
        ("review", "0001_initial"),
    ]

    operations = [
        migrations.RemoveConstraint("dismissal", "dismissed_once"),
        migrations.RenameField("finding", "rule", "entry"),
        migrations.RenameField("dismissal", "rule", "entry"),
        migrations.RunPython(rename_entries, migrations.RunPython.noop),
        migrations.RemoveField("finding", "tag"),
        migrations.RemoveConstraint("finding", "diagnosis_finding_kind_listed"),
        migrations.AlterField(
            "finding",
            "kind",
            models.CharField(
                max_length=12,
                choices=[
                    ("cause", "a cause to work on"),
                    ("compensation", "a compensation: leave it for now"),
                    ("harmless", "looks odd and is harmless"),
                    ("strength", "a strength to keep"),
                    ("question", "a question about the body first"),
                    ("ball", "what the ball does"),
                ],
            ),
        ),
        migrations.AddConstraint(
            "finding",
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "ball",
                        "cause",
                        "compensation",
                        "harmless",
                        "question",
                        "strength",
                    ]
                ),
                name="diagnosis_finding_kind_listed",
            ),
        ),
        migrations.AddConstraint(
            "dismissal",
            models.UniqueConstraint(fields=["student", "entry"], name="dismissed_once"),
        ),
        migrations.CreateModel(
            "SeenByEye",
            [
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("measure", models.CharField(max_length=32)),
                ("event", models.CharField(max_length=16)),
                ("entry", models.CharField(blank=True, max_length=60)),
                (
                    "review",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="seen_by_eye",
                        to="review.review",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=["review", "measure", "event"], name="seen_once"
                    )
                ]
            },
        ),
        migrations.CreateModel(
            "StudioEntry",
            [
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("entry", models.SlugField(max_length=60)),
                ("name", models.CharField(blank=True, max_length=80)),
                ("clause", models.CharField(blank=True, max_length=300)),
                ("is_hidden", models.BooleanField(default=False)),
                ("limits", models.JSONField(blank=True, default=dict)),
                ("own", models.JSONField(blank=True, null=True)),
                (
                    "studio",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="entries",
                        to="people.studio",
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        fields=["studio", "entry"], name="entry_once_in_a_studio"
                    )
                ]
            },
        ),
    ]
