"""What the coach says about clips: notes, marks and spoken walk-throughs."""

from __future__ import annotations

import uuid
from collections.abc import Sequence

from django.conf import settings
from django.db import models
from django.utils import timezone
from django.utils.functional import cached_property

from analysis.columns import guarded
from analysis.models import Run, Video
from coaching.intake.models import Submission, Upload
from coaching.people.models import Student, Studio, new_token


class Review(models.Model):
    """One answer to a student. A draft until `published_at`, then it never changes."""

    student = models.ForeignKey(Student, on_delete=models.CASCADE, related_name="reviews")
    coach = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    submissions = models.ManyToManyField(Submission, related_name="reviews")
    text = models.TextField(blank=True)
    # Raised by one at every save; a second tab that saves an older one gets a 409.
    revision = models.PositiveIntegerField(default=0)
    created_at = models.DateTimeField(default=timezone.now)
    published_at = models.DateTimeField(null=True, blank=True)

    # Of an answer that nobody had begun when its page was drawn: the address that begins it,
    # and its clips, which are shown before anything is stored. See `queries.answers.blank`.
    begins_at = ""
    to_answer: Sequence[Submission] = ()

    class Meta:
        ordering = ["pk"]

    @property
    def is_begun(self) -> bool:
        """Whether somebody has written into it: looking at a clip begins nothing."""
        return not self._state.adding

    @property
    def ref(self) -> str:
        """What stands for this answer in an address: its key, or what would begin it."""
        return self.begins_at or str(self.pk)

    @cached_property
    def clips(self) -> list[Submission]:
        """The clips it answers, in order of arrival."""
        if not self.is_begun:
            return sorted(self.to_answer, key=lambda clip: clip.pk)
        return list(self.submissions.select_related("video", "angle").order_by("pk"))


class ReviewVersion(models.Model):
    """Words that lost a race against another tab or coach: kept until somebody chooses."""

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="versions")
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    text = models.TextField()
    created_at = models.DateTimeField(default=timezone.now)
    resolved_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]


@guarded
class Mark(models.Model):
    """A note or a drawing on a moment or a range of a clip, in the clip's own time.

    `points` are [x, y] pairs, 0..1 of the picture. `key` is made by the page that draws,
    so that sending again after a lost answer makes no second mark.
    """

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="marks")
    key = models.UUIDField(default=uuid.uuid4, editable=False)
    revision = models.PositiveIntegerField(default=0)
    video = models.ForeignKey(Video, on_delete=models.CASCADE, related_name="marks")
    start_s = models.FloatField()
    end_s = models.FloatField(null=True, blank=True)
    purpose = models.CharField(max_length=24, blank=True)
    shape = models.CharField(max_length=12)
    points = models.JSONField(default=list)
    text = models.CharField(max_length=300, blank=True)
    wanted = models.BooleanField(default=False)  # shown on the student's drill page
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["start_s", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["review", "key"], name="mark_sent_once"),
            models.CheckConstraint(
                condition=models.Q(end_s__isnull=True) | models.Q(end_s__gte=models.F("start_s")),
                name="mark_ends_after_it_starts",
            ),
        ]


@guarded
class WalkThrough(models.Model):
    """A spoken review: sound plus everything done, as timed events."""

    review = models.ForeignKey(Review, on_delete=models.CASCADE, related_name="walk_throughs")
    video = models.ForeignKey(Video, on_delete=models.CASCADE, related_name="walk_throughs")
    # What arrived so far, while it is spoken: a crash loses only what was not yet sent.
    upload = models.ForeignKey(
        Upload, null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )
    sound = models.FileField(upload_to="voice/%Y/%m/", max_length=200, blank=True)
    demonstration = models.FileField(upload_to="voice/%Y/%m/", max_length=200, blank=True)
    events = models.JSONField(default=list)
    captions = models.TextField(blank=True)  # WebVTT
    duration_s = models.FloatField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    finished_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["pk"]


@guarded
class LessonFilm(models.Model):
    """A sent walk-through as one file. Its run says how far it is.

    `asked_of` and `made_of` tell the walk-through as it was when the film was wished for, and
    when the file was made: captions may be typed later.
    """

    walk = models.OneToOneField(WalkThrough, on_delete=models.CASCADE, related_name="film")
    run = models.ForeignKey(Run, null=True, on_delete=models.SET_NULL, related_name="lesson_films")
    file = models.FileField(upload_to="lesson/%Y/%m/", max_length=200, blank=True)
    duration_s = models.FloatField(null=True, blank=True)
    asked_of = models.CharField(max_length=64)
    made_of = models.CharField(max_length=64, blank=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)


class FilmLink(models.Model):
    """A secret address that shows a lesson film to whoever has it, until a day or until ended."""

    film = models.ForeignKey(LessonFilm, on_delete=models.CASCADE, related_name="links")
    token = models.CharField(max_length=64, unique=True, default=new_token)
    label = models.CharField(max_length=60, blank=True)  # who it is for
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.SET_NULL, related_name="+"
    )
    created_at = models.DateTimeField(default=timezone.now)
    expires_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)


class Snippet(models.Model):
    """Something the coach says every day."""

    studio = models.ForeignKey(Studio, on_delete=models.CASCADE, related_name="snippets")
    title = models.CharField(max_length=60)
    text = models.TextField()
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["title", "pk"]
