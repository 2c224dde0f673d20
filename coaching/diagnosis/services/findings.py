"""Findings of a draft: what was seen, in words or from a figure, and because of what."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from analysis import files
from analysis.models import Measurement, Run, Video
from coaching.diagnosis import causes, entries
from coaching.diagnosis.grounds import grounds_of
from coaching.diagnosis.models import CausalLink, Finding
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import BodyNote, User
from coaching.people.once import SENT_TWICE
from coaching.people.texts import in_one_line
from coaching.review.models import Review
from coaching.review.services.drafts import hold_draft

MOST_FINDINGS = 40  # of one review: more is no diagnosis


def refuse_sent(review: Review | None) -> None:
    """Only a draft is written into; it is locked, so that sending waits."""
    if review is not None:
        hold_draft(review)


def _found_just_now(
    review: Review, kind: str, text: str, measurement: Measurement | None, entry: str
) -> Finding | None:
    """The same finding, when the form was sent twice."""
    return review.findings.filter(
        kind=kind,
        text=text,
        measurement=measurement,
        entry=entry,
        created_at__gt=timezone.now() - SENT_TWICE,
    ).first()


@transaction.atomic
def add_finding(
    *,
    review: Review,
    by: User,
    kind: str,
    text: str,
    measurement: Measurement | None = None,
    reading: tuple[float, float] | None = None,
    video: Video | None = None,
    time_s: float | None = None,
    entry: str | None = None,
    body_note: BodyNote | None = None,
    because: Iterable[Finding] = (),
) -> Finding:
    """Write down what was seen, and what it is there because of.

    `reading` is the mean of a film when the finding rests on several repetitions;
    otherwise the measurement's own figure is kept beside the reference. `entry` is the
    catalogue's; None looks for the one that the words mean, and an empty one keeps them
    free: then no drill is chosen beforehand.

    Raises
    ------
    LessonError
        Already sent, no words, an unknown kind or entry, a figure of another student, or a
        circle of causes.
    """
    access.require_staff(by, review.student)
    refuse_sent(review)
    entry = _entry_of(review, text, entry)
    if twin := _found_just_now(review, kind, _clause(text), measurement, entry):
        return twin
    if review.findings.count() >= MOST_FINDINGS:
        raise LessonError(_("Keep to the few that matter: remove a finding first."), code="many")
    finding = Finding(
        student=review.student,
        review=review,
        kind=_known(kind, Finding.Kind.values, _("Say what kind of finding it is.")),
        text=_clause(text),
        entry=entry,
        body_note=body_note,
        video=video,
        time_s=time_s,
        position=review.findings.count(),
    )
    if measurement is not None:
        _hang_on(finding, measurement, reading)
    finding.save()
    for cause in because:
        link(by=by, effect=finding, cause=cause)
    return finding


def _known(value: str, values: Sequence[str], sentence: str) -> str:
    if value not in values:
        raise LessonError(sentence, code="unknown")
    return value


def _entry_of(review: Review, text: str, entry: str | None) -> str:
    """The id to keep with a finding: the one given, or the one its words mean, or none."""
    catalogue = entries.catalogue_of(review.student.studio_id)
    if entry is None:
        meant = entries.matched(catalogue, text, review.student.handedness)
        return meant.id if meant else ""
    if entry and catalogue.get(entry) is None:
        raise LessonError(_("Choose one of the findings shown."), code="unknown")
    return entry


def _clause(text: str) -> str:
    """A clause that joins with "because": no full stop, at most what fits the thread."""
    text = in_one_line(text).rstrip(".")
    if not text:
        raise LessonError(_("Say in a few words what you see."), code="no_words")
    if len(text) > 300:
        raise LessonError(_("Keep a finding under 300 letters; the rest goes in the answer."))
    return text


def _hang_on(
    finding: Finding, measurement: Measurement, reading: tuple[float, float] | None
) -> None:
    video = measurement.run.video
    if not finding.student.submissions.filter(video=video).exists():
        raise LessonError(_("That figure belongs to another student."), code="wrong_student")
    if measurement.value is None:
        raise LessonError(_("That figure was not measured; say what you see instead."))
    finding.measurement, finding.video = measurement, video
    finding.measure, finding.event = measurement.measure, measurement.event
    finding.value, finding.uncertainty = reading or (measurement.value, measurement.uncertainty)
    if finding.time_s is None:
        finding.time_s = measurement.time_s


def follow_figures(run: Run) -> None:
    """Findings of drafts take over the figure as it reads now; one not read any more stays.

    What was sent keeps what was sent: `grounds.grounds_of` tells the difference.
    """
    drafts = Finding.objects.filter(
        video=run.video_id,
        review__isnull=False,
        review__published_at=None,
        measurement__isnull=False,
    ).select_related("measurement")
    found = grounds_of(rows := list(drafts))
    for finding in rows:
        grounds = found.get(finding.pk)
        if grounds is None or grounds.now is None:
            continue
        finding.measurement = grounds.row
        finding.value, finding.uncertainty = grounds.now.value, grounds.now.sd
        finding.save(update_fields=["measurement", "value", "uncertainty"])


@transaction.atomic
def edit_finding(
    *, finding: Finding, by: User, was: Mapping[str, str] | None = None, **fields: Any
) -> Finding:
    """Change words or kind of a finding that was not sent yet.

    `was` is what the page showed of each field: when somebody else has changed it since, theirs
    stays.

    Raises
    ------
    LessonError
        409 `changed_elsewhere`, with `theirs` and `yours`; as `add_finding` for what is written.
    """
    access.require_staff(by, finding.student)
    refuse_sent(finding.review)
    finding.refresh_from_db(fields=["text", "kind"])  # nobody else writes while the draft is held
    fresh: dict[str, str] = {}
    if "text" in fields:
        fresh["text"] = _clause(fields["text"])
    if "kind" in fields:
        fresh["kind"] = _known(
            fields["kind"], Finding.Kind.values, _("Say what kind of finding it is.")
        )
    for name, value in fresh.items():
        refuse_changed(getattr(finding, name), value, (was or {}).get(name), is_text=name == "text")
        setattr(finding, name, value)
    finding.save(update_fields=list(fresh))
    return finding


def refuse_changed(standing: str, yours: str, was: str | None, *, is_text: bool = True) -> None:
    """Two people in one answer never overwrite each other: who comes second sees both.

    Raises
    ------
    LessonError
        409 when `standing` is neither what the page showed (`was`) nor what is to be written.
    """
    plain = [in_one_line(text) for text in (standing, yours)]
    if was is None or plain[0] in (in_one_line(was), plain[1]):
        return
    raise LessonError(
        _(
            "Changed by somebody else meanwhile: “%(theirs)s”. Yours is: “%(yours)s”. "
            "Save again to put it there."
        )
        % {"theirs": standing, "yours": yours}
        if is_text
        else _("Somebody else has said meanwhile what it is. Look at it, then choose again."),
        code="changed_elsewhere",
        status=409,
        theirs=standing,
        yours=yours,
    )


@transaction.atomic
def remove_finding(*, finding: Finding, by: User) -> None:
    """Take back a finding that was not sent; its links go with it."""
    access.require_staff(by, finding.student)
    refuse_sent(finding.review)
    finding.refresh_from_db(fields=["voice"])
    files.let_go(str(finding.voice.name or ""))
    finding.delete()


@transaction.atomic
def link(*, by: User, effect: Finding, cause: Finding) -> CausalLink:
    """Say that `effect` is there because of `cause`.

    Raises
    ------
    LessonError
        `circle`, with the path named, when the link would close one.
    """
    access.require_staff(by, effect.student)
    if effect.student_id != cause.student_id:
        raise LessonError(_("Both findings must be the same student's."), code="wrong_student")
    _refuse_if_both_sent(effect, cause)
    pairs = CausalLink.objects.filter(effect__student=effect.student_id)
    path = causes.circle(pairs.values_list("effect", "cause"), effect=effect.pk, cause=cause.pk)
    if path is not None:
        text = dict(Finding.objects.filter(pk__in=path).values_list("pk", "text"))
        because = _(" because of ").join(f"“{text[pk]}”" for pk in path)
        raise LessonError(
            _("That would go round in a circle: %(path)s. Remove one of its links first.")
            % {"path": because},
            code="circle",
            path=path,
        )
    return CausalLink.objects.get_or_create(effect=effect, cause=cause)[0]


def _refuse_if_both_sent(effect: Finding, cause: Finding) -> None:
    """A link belongs to the draft of either end; that draft is locked while it changes."""
    drafts = [f.review for f in (effect, cause) if f.review and not f.review.published_at]
    refuse_sent(drafts[0] if drafts else effect.review)


@transaction.atomic
def unlink(*, by: User, effect: Finding, cause: Finding) -> None:
    access.require_staff(by, effect.student)
    _refuse_if_both_sent(effect, cause)
    CausalLink.objects.filter(effect=effect, cause=cause).delete()
