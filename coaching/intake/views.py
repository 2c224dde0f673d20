"""Pages of asking, filming and sending."""

from __future__ import annotations

import uuid
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import (
    FileResponse,
    Http404,
    HttpRequest,
    HttpResponse,
    HttpResponseBase,
    JsonResponse,
    QueryDict,
)
from django.shortcuts import redirect, render
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from coaching.intake import access as mine
from coaching.intake import media, queries, services, sketch
from coaching.intake.forms import AngleFormSet, AskForm, SendForm, WordForm
from coaching.intake.models import RequestedAngle, Submission
from coaching.intake.presets import PRESETS, preset
from coaching.intake.sentences import filming_sentence
from coaching.intake.spool import SpoolUploadHandler
from coaching.lessons.words import quality_told
from coaching.people import access
from coaching.people import services as people
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.stature import parse_club_cm

FORM_ROOM = 64 * 1024  # what a form adds around the clip


def _user(request: HttpRequest) -> User:
    assert isinstance(request.user, User)  # login_required
    return request.user


@login_required
def ask(request: HttpRequest, pk: int) -> HttpResponse:
    """The coach asks for angles: a preset fills the rows, one press sends them."""
    student = access.student_prepare(request.user, pk)
    chosen = preset(request.GET.get("preset", ""))
    form = AskForm(request.POST or None)
    rows = AngleFormSet(request.POST or None, initial=chosen.for_student(student), prefix="angle")
    status = 200
    if request.method == "POST":
        if form.is_valid() and rows.is_valid():
            angles = [row.cleaned_data for row in rows if row.cleaned_data.get("view")]
            try:
                services.request_angles(
                    student=student,
                    by=_user(request),
                    angles=angles,
                    words=form.cleaned_data["words"],
                    due_on=form.cleaned_data["due_on"],
                )
            except LessonError as error:
                form.add_error(None, error.sentence)
            else:
                messages.success(request, _("Sent to %(name)s.") % {"name": student.name})
                return redirect("desk:student", student.pk)
        status = 400
    context = {
        "student": student,
        "form": form,
        "rows": rows,
        "presets": PRESETS,
        "chosen": chosen,
        "open": list(queries.open_requests(student)),
    }
    return render(request, "intake/ask.html", context, status=status)


@require_safe
@login_required
def request_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One request: which angles are here, which are missing, what to film next."""
    row = mine.request_read(request.user, pk)
    context = {
        "asked": row,
        "angles": [(angle, queries.clips_for(angle)) for angle in row.angles.all()],
        "missing": queries.missing(row),
        "can_act": access.acts_as(request.user).filter(pk=row.student_id).exists(),
    }
    return render(request, "intake/request.html", context)


@require_POST
@login_required
def close(request: HttpRequest, pk: int) -> HttpResponse:
    row = mine.request_prepare(request.user, pk)
    services.close_request(request=row)
    messages.success(request, _("Closed. What came back stays in the thread."))
    return redirect("intake:ask", row.student_id)


@require_safe
@login_required
def film(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's filming page of one angle."""
    return _film_page(request, mine.angle_read(request.user, pk))


def _film_page(
    request: HttpRequest, angle: RequestedAngle, *, trouble: str = "", status: int = 200
) -> HttpResponse:
    student = angle.request.student
    can_act = access.acts_as(request.user).filter(pk=student.pk).exists()
    barred = ""
    if can_act:
        try:
            services.refuse_unless_welcome(student=student, angle=angle)
        except LessonError as error:
            barred = error.sentence
    whole = mine.request_read(request.user, angle.request_id)
    clips = queries.with_runs(Submission.objects.filter(angle=angle, replaced_by__isnull=True))
    context = {
        "angle": angle,
        "asked": whole,
        "student": student,
        "sentence": filming_sentence(angle),
        "sketch": sketch.draw(view=angle.view, handedness=student.handedness),
        "clips": [(clip, queries.progress(clip)) for clip in clips.order_by("pk")],
        "place": list(whole.angles.all()).index(angle) + 1,
        "can_act": can_act,
        "barred": barred,
        "trouble": trouble,
        "replaces": _whole(request.GET.get("replaces") or request.POST.get("replaces", "")),
        "key": uuid.uuid4(),
        "max_bytes": settings.UPLOAD_MAX_BYTES,
    }
    return render(request, "intake/film.html", context, status=status)


@require_POST
@login_required
def club(request: HttpRequest, pk: int) -> HttpResponse:
    """The length of the club that a turn is filmed with: its scale in the picture."""
    angle = mine.angle_act(request.user, pk)
    try:
        people.keep_club_length(
            student=angle.request.student, club_cm=parse_club_cm(request.POST.get("club", ""))
        )
    except (ValueError, LessonError):
        trouble = _("Lay a tape along the club and write its length like 94 cm or 37 in.")
        return _film_page(request, angle, trouble=trouble, status=400)
    return redirect("intake:film", angle.pk)


@require_safe
@login_required
def framing_model(request: HttpRequest) -> HttpResponseBase:
    """The small pose network, for the check on the student's own phone."""
    path = settings.MODELS_DIR / "pose_lite.task"
    if not path.exists():
        raise Http404
    answer = FileResponse(path.open("rb"), content_type="application/octet-stream")
    answer["Cache-Control"] = "private, max-age=604800"
    return answer


def _whole(text: str) -> str:
    return text if text.isascii() and text.isdecimal() and len(text) < 18 else ""


@csrf_exempt  # only until the size is known; `_send` is protected
@require_POST
@login_required
def send(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a whole clip from a plain form; too big a one is refused before it is read."""
    angle = mine.angle_act(request.user, pk)
    if int(request.META.get("CONTENT_LENGTH") or 0) > settings.UPLOAD_MAX_BYTES + FORM_ROOM:
        _drain(request)
        request._post, request._files = QueryDict(), MultiValueDict()  # type: ignore[attr-defined]
        return _film_page(request, angle, trouble=services.too_big().sentence, status=413)
    spooling = SpoolUploadHandler(request)
    request.upload_handlers = [spooling]
    try:
        request.POST  # noqa: B018  reads the whole body
    except OSError:  # no room, or nobody there any more to read the answer
        spooling.upload_interrupted()
        request._post, request._files = QueryDict(), MultiValueDict()  # type: ignore[attr-defined]
        error = services.no_room()
        return _film_page(request, angle, trouble=error.sentence, status=error.status)
    return _send(request, angle)


@csrf_protect
def _send(request: HttpRequest, angle: RequestedAngle) -> HttpResponse:
    form = SendForm(request.POST, request.FILES)
    if not form.is_valid():
        first = next(iter(form.errors.values()))[0]
        return _film_page(request, angle, trouble=str(first), status=400)
    data = form.cleaned_data
    try:
        submission = services.receive_file(
            by=_user(request),
            student=angle.request.student,
            angle=angle,
            file=data["file"],
            words=data["words"],
            replaces=data["replaces"],
            key=data["key"],
        )
    except LessonError as error:
        return _film_page(request, angle, trouble=error.sentence, status=error.status)
    return redirect("intake:submission", submission.pk)


def _drain(request: HttpRequest) -> None:
    """Read a body we refuse, up to four times the limit: a browser that is still sending
    would show a broken connection in place of our sentence."""
    left = 4 * settings.UPLOAD_MAX_BYTES
    while left > 0:
        try:
            piece = request.read(min(1024 * 1024, left))
        except OSError:
            return
        if not piece:
            return
        left -= len(piece)


@require_safe
@login_required
def submission(request: HttpRequest, pk: int) -> HttpResponse:
    """What became of a clip: for the student above all."""
    return render(request, "intake/submission.html", _clip(request, pk))


@require_safe
@login_required
def progress(request: HttpRequest, pk: int) -> HttpResponse:
    """The part of the page that changes by itself."""
    return render(request, "intake/_progress.html", _clip(request, pk))


@require_safe
@login_required
def progress_json(request: HttpRequest, pk: int) -> HttpResponse:
    row = mine.submission_read(request.user, pk)
    told = queries.progress(row)
    return JsonResponse(
        {
            "state": told.state,
            "label": str(told.label),
            "share": told.share,
            "done": told.done,
            "advice": [{"seen": str(a.seen), "do": str(a.do)} for a in told.advice],
            "trouble": str(told.trouble or ""),
        }
    )


def _clip(request: HttpRequest, pk: int, **extra: Any) -> dict[str, Any]:
    row = mine.submission_read(request.user, pk)
    can_act = access.acts_as(request.user).filter(pk=row.student_id).exists()
    missing: list[RequestedAngle] = []
    if row.angle is not None:
        asked = row.angle.request
        if asked.closed_at is None and asked.suspended_at is None:
            missing = queries.missing(mine.request_read(request.user, asked.pk))
    return {
        "clip": row,
        "told": queries.progress(row),
        "warnings": [quality_told(code) for code in queries.warnings(row)],
        "missing": missing,
        "can_act": can_act,
        "can_see": can_act or queries.shares_with_coach(row.student),
        "trouble": "",
        **extra,
    }


@require_POST
@login_required
def override(request: HttpRequest, pk: int) -> HttpResponse:
    """The student insists: the coach looks at it all the same."""
    row = mine.submission_act(request.user, pk)
    return _done(
        request,
        row,
        lambda words: services.override_refusal(submission=row, by=_user(request), words=words),
        _("Sent on to your coach with your word."),
    )


@require_POST
@login_required
def word(request: HttpRequest, pk: int) -> HttpResponse:
    row = mine.submission_act(request.user, pk)
    return _done(
        request,
        row,
        lambda words: services.send_word(submission=row, by=_user(request), words=words),
        _("Your word is with your coach."),
    )


@require_POST
@login_required
def retry(request: HttpRequest, pk: int) -> HttpResponse:
    row = mine.submission_retry(request.user, pk)
    return _done(
        request, row, lambda words: services.retry(submission=row), _("We are trying again.")
    )


def _done(request: HttpRequest, row: Submission, act: Any, said: str) -> HttpResponse:
    form = WordForm(request.POST)
    words = form.cleaned_data["words"] if form.is_valid() else ""
    try:
        act(words)
    except LessonError as error:
        context = _clip(request, row.pk, trouble=error.sentence)
        return render(request, "intake/submission.html", context, status=error.status)
    messages.success(request, said)
    return redirect("intake:submission", row.pk)


@require_safe
@login_required
def video(request: HttpRequest, pk: int, which: str) -> HttpResponseBase:
    """A clip's copy, still or original."""
    row = mine.video_see(request.user, pk)
    file = {"copy": row.copy, "still": row.still, "original": row.original}[which]
    kinds = {"copy": ("video/mp4", ".mp4"), "still": ("image/jpeg", ".jpg")}
    content_type, ending = kinds.get(which, ("application/octet-stream", _ending(file.name)))
    return media.serve(
        request,
        file,
        filename=f"clip-{row.pk}-{which}{ending}",
        content_type=content_type,
        download=which == "original",  # somebody else's bytes never open inside our pages
    )


def _ending(name: str | None) -> str:
    ending = "." + (name or "").rpartition(".")[2]
    return ending if ending in services.KNOWN_ENDINGS else ""
