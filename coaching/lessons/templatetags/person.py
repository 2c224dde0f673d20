"""One head on every page about a student: picture, name, what to mind, the tabs."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from django import template
from django.urls import reverse
from django.utils.html import format_html

from coaching.lessons import shell
from coaching.people import ties
from coaching.people.models import Student

register = template.Library()


@register.inclusion_tag("parts/student_head.html", takes_context=True)
def student_head(context: Any, student: Student, tab: str = "", **more: Any) -> dict[str, Any]:
    """For the studio's people only; a student's own pages need no reminder who they are.

    `heading=True` makes the name the page's h1, where the page has no better sentence.
    """
    if not ties.of(context["user"]).is_staff(student):
        return {"student": None}
    return {
        "student": student,
        "tabs": [
            (item.label, reverse(item.url_name, args=[student.pk]), item.mark == tab)
            for item in shell.student_tabs
        ],
        "actions": [
            (item.label, item.icon, reverse(item.url_name, args=[student.pk]))
            for item in shell.student_actions
        ],
        "notes": student.body_notes.filter(over_at__isnull=True).order_by("pk"),
        "pain": list(student.pain_reports.filter(reopened_at__isnull=True)),
        "newest": _newest_video(student),
        "user": context["user"],
    } | more


@register.simple_tag(takes_context=True)
def child_of(context: Any, student: Student) -> str:
    """The child's first name where a guardian reads, and nothing where the player does.

    Headings say "Nell's swing" then, never "Your swing".
    """
    user = context["user"]
    if not user.is_authenticated or user.pk == student.user_id:
        return ""
    bound = ties.of(user)
    acts = bound.acts_for(student) and not bound.is_staff(student)
    return first_name(student.name) if acts else ""


def _newest_video(student: Student) -> int | None:
    seen = student.submissions.exclude(video__copy="").filter(video__erased_at__isnull=True)
    found: int | None = seen.order_by("-pk").values_list("video", flat=True).first()
    return found


@register.simple_tag
def thumb(video: Any, name: str = "", size: str = "") -> str:
    """The golfer at the top of the swing, by the video or its number; else the initials."""
    pk = getattr(video, "pk", video)
    classes = f"thumb {size}".strip()
    if not pk or not getattr(video, "copy", True):
        return format_html('<span class="{}" aria-hidden="true">{}</span>', classes, initials(name))
    return format_html(
        '<img class="{}" src="{}" alt="" loading="lazy" width="42" height="56">',
        classes,
        _thumb_address(pk),
    )


@lru_cache(maxsize=10_000)
def _thumb_address(pk: int) -> str:
    return reverse("thumb", args=[pk])


@register.filter
def initials(name: str) -> str:
    """`BQ` of Brannoc Quill."""
    text = [word for word in str(name).split() if word[0].isalpha()]
    return "".join(word[0] for word in (text[:1] + text[1:][-1:])).upper()


@register.filter
def first_name(name: str) -> str:
    return str(name).split()[0] if name else ""
