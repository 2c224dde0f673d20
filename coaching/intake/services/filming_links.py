"""Links that let a phone without an account film one request: made, shown, ended."""

from __future__ import annotations

from django.db import transaction
from django.db.models import QuerySet
from django.utils import timezone
from django.utils.translation import gettext as _

from coaching.intake import queries
from coaching.intake.models import FilmingLink, Request, RequestedAngle, Upload
from coaching.intake.services import refusals
from coaching.people import access, audit, secret_links
from coaching.people.errors import LessonError
from coaching.people.models import Student, User
from coaching.people.once import SENT_TWICE, in_turn
from coaching.people.queries import decides_for

DAYS = (1, 3, 7)  # for how long a link may be filmed by
MOST_LINKS = 3  # open ones of one request


def link_over() -> LessonError:
    """The same for one that ended, one that is over and one that never was."""
    return LessonError(
        _("This link has ended. Ask whoever sent it for a new one."), code="link_over", status=403
    )


@transaction.atomic
def make_link(*, request: Request, by: User, days: int) -> FilmingLink:
    """A link by which whoever has it films what is asked, until the end of a day.

    Raises
    ------
    LessonError
        403 for a minor, whose guardian decides, and while consent is missing; 409 when nothing is
        missing, the request is closed or stopped, or there are many links already; 400 for other
        lengths than are offered.
    """
    student = request.student
    access.require_acting(by, student)
    in_turn(student)
    if not decides_for(student, by):
        raise LessonError(
            _("Your guardian makes this link. Ask them, or film on this phone."),
            code="guardian_decides",
            status=403,
        )
    missing = queries.missing(request)
    if not missing:
        raise LessonError(_("Everything asked for is here already."), code="all_here", status=409)
    refusals.refuse_unless_welcome(student=student, angle=missing[0])
    if days not in DAYS:
        raise LessonError(_("Choose how long the link can be used."), code="days")
    mine = open_links(request)
    twin = mine.filter(made_by=by, created_at__gt=timezone.now() - SENT_TWICE).first()
    if twin is not None:
        return twin
    if mine.count() >= MOST_LINKS:
        raise LessonError(
            _("This request has three open links. End one before you make another."), status=409
        )
    link = FilmingLink.objects.create(
        request=request, made_by=by, expires_at=secret_links.end_of_day(student, days)
    )
    audit.write(
        audit.Act.LINKED,
        by=by,
        student=student,
        filming_link=link.pk,
        until=f"{link.expires_at:%Y-%m-%d}",
    )
    return link


@transaction.atomic
def end_link(*, link: FilmingLink, by: User) -> None:
    """From now on nothing is filmed by it. Ended twice, it is ended once."""
    student = link.request.student
    access.require_acting(by, student)
    _end(link, student, by=by)


def end_links(*, student: Student) -> None:
    """Who made them decides no longer, or what they rest on is taken back: they end for good.

    Call it inside a transaction.
    """
    for link in FilmingLink.objects.filter(request__student=student).order_by("pk"):
        _end(link, student, by=None)


def _end(link: FilmingLink, student: Student, *, by: User | None) -> None:
    if FilmingLink.objects.filter(pk=link.pk, ended_at=None).update(ended_at=timezone.now()):
        audit.write(audit.Act.LINKED, by=by, student=student, filming_link=link.pk, ended=True)


def open_links(request: Request) -> QuerySet[FilmingLink]:
    """Those that can be used now, the newest first."""
    links = request.filming_links.filter(ended_at=None, expires_at__gt=timezone.now())
    return links.order_by("-pk")


def link_open(token: str) -> FilmingLink:
    """The link behind a secret address while it opens its request.

    Raises
    ------
    LessonError
        403 once it was ended, its day is over, the request is closed or stopped, consent is void,
        or whoever made it does not decide any more: one sentence, that says nothing of why.
    """
    rows = FilmingLink.objects.filter(token=token, ended_at=None, expires_at__gt=timezone.now())
    link = rows.select_related("request__student__studio", "made_by").first()
    if link is None or link.made_by is None:
        raise link_over()
    student = link.request.student
    if not decides_for(student, link.made_by):
        raise link_over()
    try:
        refusals.refuse_unless_welcome(student=student, angle=RequestedAngle(request=link.request))
    except LessonError:
        raise link_over() from None
    return link


def angle_of(link: FilmingLink, pk: int | None) -> RequestedAngle:
    """A film that the link may send: asked for in its request, and not here yet.

    Raises
    ------
    LessonError
        409 for any other.
    """
    asked = queries.with_clips(Request.objects.filter(pk=link.request_id)).get()
    found = next((angle for angle in queries.missing(asked) if angle.pk == pk), None)
    if found is None:
        raise LessonError(
            _("This film is here already. Open the link again to see what is missing."),
            code="all_here",
            status=409,
        )
    return found


def upload_by(link: FilmingLink, upload: Upload) -> bool:
    """Whether an upload belongs to what the link asks for."""
    return upload.angle is not None and upload.angle.request_id == link.request_id
