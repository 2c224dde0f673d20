"""What an email and a notification say of entries of a thread: one place, so that neither says
more than it may.

An email is for its reader alone. A notification is read on a locked screen by whoever sees it: it
names nobody but those who work in the studio, and nothing of the body.
"""

from __future__ import annotations

from typing import Any

from django.core.mail import EmailMultiAlternatives
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.translation import gettext as _

from coaching import addresses
from coaching.dashboard.facts import line_of, lines_for
from coaching.dashboard.next import Line
from coaching.intake.models import RequestedAngle
from coaching.lessons.models import Entry
from coaching.lessons.wording.codes import quality_message
from coaching.notify.readers import is_staff
from coaching.people.models import User
from coaching.people.queries import zone_of
from coaching.people.texts import in_one_line
from coaching.practice.models import Assignment

QUOTED = {Entry.Kind.MESSAGE, Entry.Kind.REQUESTED}


def email_of(entries: list[Entry], user: User) -> EmailMultiAlternatives:
    """In plain words, and as a page with one button; both say the same."""
    student = entries[0].thread.student
    context: dict[str, Any] = {
        "user": user,
        "student": student,
        "entries": entries,
        "is_own": student.user_id == user.pk,
        "is_copy": student.user_id != user.pk and student.guardianships.filter(user=user).exists(),
        "settings_address": addresses.page("notify:settings"),
    }
    with translation.override(user.language), timezone.override(zone_of(user)):
        told = {entry: line_of(entry, user) for entry in entries}
        context["lines"] = [line for line in told.values() if line is not None]
        path, context["label"] = _leads_to(entries, context["lines"])
        context["address"] = addresses.on_site(path)
        if context["is_own"] and not _is_next(entries):
            context["next"] = lines_for(student, in_letter=True)[-1]
        happened = {entry: _happened(entry, context) for entry in entries}
        context["besides"] = [row for entry, row in happened.items() if told[entry] is None]
        subject = _subject(entries, context)
        context["language"] = user.language
        body = render_to_string("notify/email.txt", context)
        page = render_to_string("notify/email.html", context)
    letter = EmailMultiAlternatives(subject, body.strip() + "\n", None, [user.email])
    letter.attach_alternative(page, "text/html")
    return letter


def notification_of(entries: list[Entry], user: User) -> dict[str, str]:
    """A few words for a locked screen, and the path that a touch opens."""
    student = entries[0].thread.student
    staff = {entry.author for entry in entries if is_staff(entry.author, student)}
    # One who works here, or nobody: never a student, never a guardian.
    author = staff.pop() if len(staff) == 1 else None
    context = {
        "entries": entries,
        "is_pain": any(entry.kind == Entry.Kind.PAIN for entry in entries),
        "teaches": user.memberships.filter(studio=student.studio).exists(),
        "who": author.name if author is not None else "",
    }
    with translation.override(user.language):
        path, _label = _leads_to(entries, [row for e in entries if (row := line_of(e, user))])
        title = _in_one_line("notify/notification.txt", context)
    return {"title": title, "body": student.studio.name, "url": path}


def _leads_to(entries: list[Entry], lines: list[Line]) -> tuple[str, str]:
    """Path and words of the one button: where the one thing is done, else the messages."""
    if len(entries) == 1 and lines:
        return lines[0].url, lines[0].label
    if len(entries) == 1:
        kind, refs = entries[0].kind, entries[0].refs
        if kind == Entry.Kind.REFUSED and "submission" in refs:
            return reverse("intake:submission", args=[refs["submission"]]), _("See how to film")
        if kind == Entry.Kind.REQUESTED and "request" in refs:
            return reverse("intake:request", args=[refs["request"]]), _("See what to film")
        if kind == Entry.Kind.ASSIGNED and "assignment" in refs:
            return reverse("practice:drill", args=[refs["assignment"]]), _("Open the drill")
    return reverse("thread", args=[entries[0].thread.student_id]), _("Read and answer")


def _is_next(entries: list[Entry]) -> bool:
    """Whether what happened is itself what comes next, so that it need not be said twice."""
    return len(entries) == 1 and entries[0].kind in {Entry.Kind.REFUSED, Entry.Kind.REQUESTED}


def _subject(entries: list[Entry], context: dict[str, Any]) -> str:
    """What an answer or a verdict says stands in the subject already; of more, that there is."""
    if len(entries) == 1 and context["lines"]:
        return str(context["lines"][0].sentence).rstrip(".")
    return _in_one_line("notify/email_subject.txt", context)


def _happened(entry: Entry, context: dict[str, Any]) -> tuple[str, str]:
    """What happened, in a sentence, and the words that came with it."""
    sentence = _in_one_line("notify/email_entry.txt", {**context, **_named(entry), "entry": entry})
    return sentence, entry.text if entry.kind in QUOTED else ""


def _named(entry: Entry) -> dict[str, Any]:
    """What an entry speaks of, as far as it still stands: the drill, the films, what is wrong."""
    if entry.kind == Entry.Kind.ASSIGNED:
        rows = Assignment.objects.select_related("drill_version")
        return {"assignment": rows.filter(pk=entry.refs.get("assignment")).first()}
    if entry.kind == Entry.Kind.REQUESTED:
        asked = RequestedAngle.objects.filter(request=entry.refs.get("request"))
        angles = list(asked.select_related("request").order_by("pk"))
        return {"angles": angles, "due_on": angles[0].request.due_on if angles else None}
    if entry.kind == Entry.Kind.REFUSED:
        return {"advice": [quality_message(code) for code in entry.refs.get("codes", ())]}
    return {}


def _in_one_line(template: str, context: dict[str, Any]) -> str:
    return in_one_line(render_to_string(template, context))
