"""Lesson films: the page of one, its file, its links, and what somebody with a link sees."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from coaching import addresses, numbers
from coaching.intake import media
from coaching.people import access, audit, secret_links
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.queries import decides_for
from coaching.review import shown
from coaching.review.access import film_link_act, film_walk
from coaching.review.models import LessonFilm, WalkThrough
from coaching.review.queries import films as queries
from coaching.review.services import films as services


@login_required
@require_safe
def film(request: HttpRequest, pk: int) -> HttpResponse:
    """The lesson film of a walk-through: made, played, downloaded, shown by a link."""
    return render(request, "review/film.html", _context(request, film_walk(request.user, pk)))


@login_required
@require_safe
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of the page that changes by itself."""
    return render(request, "review/_film.html", _context(request, film_walk(request.user, pk)))


def _context(request: HttpRequest, walk: WalkThrough, trouble: str = "") -> dict[str, Any]:
    student = walk.review.student
    making = queries.making_of(walk)
    acts = access.may_act(user_of(request), student)
    rows = queries.links_of(making.film) if making.film is not None and acts else []
    return {
        "walk": walk,
        "student": student,
        "making": making,
        "failure": shown.film_failure(making.error_code),
        "length": shown.length_words(making.film.duration_s) if making.film else "",
        "can_act": acts,
        "can_link": acts and decides_for(student, user_of(request)),
        "links": [(row, addresses.page("review:watch", row.link.token)) for row in rows],
        "days": services.DAYS,
        "trouble": trouble,
        "typed": request.POST,
    }


@login_required
@require_POST
def make(request: HttpRequest, pk: int) -> HttpResponse:
    walk = film_walk(request.user, pk)
    try:
        services.ask_film(walk=walk, by=user_of(request))
    except LessonError as error:
        return _refused(request, walk, error)
    return redirect("review:film", walk.pk)


@login_required
@require_safe
def file(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The film itself, to play or (`?download=1`) to keep."""
    walk = film_walk(request.user, pk)
    made = LessonFilm.objects.filter(walk=walk).exclude(file="").first()
    if made is None:
        raise Http404
    student = walk.review.student
    audit.saw(audit.Act.SAW_FILM, by=user_of(request), student=student, video=walk.video_id)
    return media.serve(
        request,
        made.file,
        filename=f"lesson-{walk.pk}.mp4",
        content_type="video/mp4",
        download=request.GET.get("download") == "1",
        kept=False,
    )


@login_required
@require_POST
def make_link(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's side makes a link that shows the film without an account."""
    walk = film_walk(request.user, pk)
    made = access.get_object_or_404(
        LessonFilm.objects.select_related("walk__review__student__studio"), walk=walk
    )
    try:
        try:
            days = numbers.whole(request.POST.get("days", ""), high=1000)
        except ValueError:
            days = 0  # refused by the service, as any other number that is not offered
        label = request.POST.get("label", "")
        services.make_link(film=made, by=user_of(request), days=days, label=label)
    except LessonError as error:
        return _refused(request, walk, error)
    messages.success(request, _("The link is made. Copy it below and send it yourself."))
    return redirect("review:film", walk.pk)


@login_required
@require_POST
def end_link(request: HttpRequest, pk: int) -> HttpResponse:
    link = film_link_act(request.user, pk)
    services.end_link(link=link, by=user_of(request))
    messages.success(request, _("Ended. This link shows nothing any more."))
    return redirect("review:film", link.film.walk_id)


def _refused(request: HttpRequest, walk: WalkThrough, error: LessonError) -> HttpResponse:
    context = _context(request, walk, trouble=error.sentence)
    return render(request, "review/film.html", context, status=error.status)


# Without an account


@require_safe
def watch(request: HttpRequest, token: str) -> HttpResponseBase:
    """The film for whoever has the link. It names nobody."""
    if (busy := secret_links.too_often(request, "page", what="watch")) is not None:
        return busy
    link = queries.link_open(token)
    context = {"link": link, "length": shown.length_words(link.film.duration_s)}
    return secret_links.hidden(render(request, "review/watch.html", context))


@require_safe
def watch_file(request: HttpRequest, token: str) -> HttpResponseBase:
    if (busy := secret_links.too_often(request, "file", what="watch")) is not None:
        return busy
    link = queries.link_open(token)
    services.note_watched(link)
    film = link.film.file
    return secret_links.hidden(
        media.serve(request, film, filename="lesson.mp4", content_type="video/mp4", kept=False)
    )
