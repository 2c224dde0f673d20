"""Pages of asking, filming and sending."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.contrib.staticfiles import finders
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
from django.urls import reverse
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.views.decorators.csrf import csrf_exempt, csrf_protect
from django.views.decorators.http import require_POST, require_safe

from coaching import numbers
from coaching.bodies import ANY, FORM_ROOM, takes_up_to
from coaching.intake import access as mine
from coaching.intake import camera_scene, camera_sketch, media, queries
from coaching.intake.forms import SendForm, WordForm
from coaching.intake.messages import filming_message
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.intake.services import clips as clips_services
from coaching.intake.services import refusals, uploads
from coaching.intake.upload_buffer import BufferUploadHandler
from coaching.lessons.wording.codes import next_time, quality_message
from coaching.people import access, audit
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import User
from coaching.people.queries import decides_for
from coaching.people.services import joining
from coaching.people.stature import parse_club_cm
from coaching.people.student_forms import BallForm

CHECK_RUNTIME = "vendor/tasks-vision/vision_wasm_internal.wasm"


@require_safe
@login_required
def film(request: HttpRequest, pk: int) -> HttpResponse:
    """The student's filming page of one angle."""
    return _film_page(request, mine.angle_read(request.user, pk))


def _film_page(
    request: HttpRequest, angle: RequestedAngle, *, trouble: str = "", status: int = 200
) -> HttpResponse:
    student = angle.request.student
    can_act = access.acts_for(request.user, student.pk)
    barred = ""
    if can_act:
        try:
            refusals.refuse_unless_welcome(student=student, angle=angle)
        except LessonError as error:
            barred = error.sentence
    whole = mine.request_read(request.user, angle.request_id)
    clips = queries.with_runs(Submission.objects.filter(angle=angle, replaced_by__isnull=True))
    context = film_context(request, angle, whole) | {
        "clips": [(clip, queries.progress(clip)) for clip in clips.order_by("pk")],
        "can_act": can_act,
        "barred": barred,
        "can_film": can_act and not barred,
        "can_send_link": can_act and not barred and decides_for(student, user_of(request)),
        "trouble": trouble,
        "ball_form": _ball_form(angle, {}),
    }
    return render(request, "intake/film.html", context, status=status)


def film_context(request: HttpRequest, angle: RequestedAngle, whole: Request) -> dict[str, Any]:
    """What the filming page of an angle shows to whoever may film it."""
    student = angle.request.student
    repetitions = _still_wanted(request, angle)
    return {
        "angle": angle,
        "asked": whole,
        "student": student,
        "sentence": filming_message(angle, count=repetitions),
        **_drawing(angle, student.handedness),
        "camera": angle.view != "overhead",  # nothing to check, and out of reach
        "repetitions": repetitions,
        "beads": range(repetitions),
        **check_sizes(request),
        "place": list(whole.angles.all()).index(angle) + 1,
        "replaces": _key(request.GET.get("replaces") or request.POST.get("replaces", "")),
        "key": uuid.uuid4(),
        "max_bytes": settings.UPLOAD_MAX_BYTES,
        "endpoint": reverse("intake:uploads"),
        "send_url": reverse("intake:send", args=[angle.pk]),
    }


def _still_wanted(request: HttpRequest, angle: RequestedAngle) -> int:
    """How many repetitions to film now: `?swings=2` where the others are here already."""
    try:
        wanted = numbers.whole(request.GET.get("swings", ""))
    except ValueError:
        return angle.repetitions
    return wanted if 1 <= wanted <= angle.repetitions else angle.repetitions


def _drawing(angle: RequestedAngle, hand: str) -> dict[str, Any]:
    """Where the phone goes: in perspective where it has one right place, else from above."""
    if angle.view in ("down_the_line", "face_on", "rear"):
        return {"scene": camera_scene.scene(view=angle.view, hand=hand)}
    return {"sketch": camera_sketch.draw(view=angle.view, handedness=hand)}


def check_sizes(request: HttpRequest) -> dict[str, int]:
    """How many bytes the phone fetches, once, to check the picture: unpacked, and on the line."""
    network, runtime = settings.MODELS_DIR / "pose_lite.task", finders.find(CHECK_RUNTIME)
    files = [path for p in (network, runtime) if p and (path := Path(p)).exists()]
    return {
        "check_bytes": sum(path.stat().st_size for path in files),
        "check_line_bytes": sum(_packed(path, request)[0].stat().st_size for path in files),
    }


def _packed(path: Path, request: HttpRequest) -> tuple[Path, str]:
    """What goes over the line for a file, the smallest that the browser takes of what `.ci/setup`
    has compressed beside it, and the name of its coding; the file itself, and none, without."""
    accepted = re.split(r"[,;\s]+", request.headers.get("Accept-Encoding", ""))
    for coding, ending in (("br", ".br"), ("gzip", ".gz")):
        packed = path.with_name(path.name + ending)
        if coding in accepted and packed.exists():
            return packed, coding
    return path, ""


@require_POST
@login_required
def club(request: HttpRequest, pk: int) -> HttpResponse:
    """The length of the club that a turn is filmed with: its scale in the picture."""
    angle = mine.angle_act(request.user, pk)
    try:
        joining.keep_club_length(
            student=angle.request.student,
            by=user_of(request),
            club_cm=parse_club_cm(request.POST.get("club", "")),
        )
    except (ValueError, LessonError):
        trouble = _("Lay a tape along the club and write its length like 94 cm or 37 in.")
        return _film_page(request, angle, trouble=trouble, status=400)
    return redirect("intake:film", angle.pk)


@require_safe
def framing_model(request: HttpRequest) -> HttpResponseBase:
    """The small pose network, for the check on a phone. Published by others, it says nothing of
    anybody: a phone with a filming link has no account and gets it too, once for all links."""
    path = settings.MODELS_DIR / "pose_lite.task"
    if not path.exists():
        raise Http404
    packed, coding = _packed(path, request)
    answer = FileResponse(packed.open("rb"), content_type="application/octet-stream")
    if coding:
        answer["Content-Encoding"] = coding
    answer["Vary"] = "Accept-Encoding"
    answer["Cache-Control"] = "public, max-age=604800"
    return answer


def _key(text: str) -> str:
    return str(numbers.row_key(text) or "")


@csrf_exempt  # only until the size is known; `_send` is protected
@takes_up_to(ANY)
@require_POST
@login_required
def send(request: HttpRequest, pk: int) -> HttpResponse:
    """Take a whole clip from a plain form; too big a one is refused before it is read."""
    angle = mine.angle_act(request.user, pk)
    return take_form(
        request,
        angle,
        by=user_of(request),
        page=partial(_film_page, request, angle),
        arrived=lambda clip: redirect("intake:submission", clip.pk),
    )


Page = Callable[..., HttpResponse]


def take_form(
    request: HttpRequest, angle: RequestedAngle, *, by: User, page: Page, arrived: Page
) -> HttpResponse:
    """A clip from a plain form, once it is known who sends it: `page` shows a refusal."""
    if _announced(request) > settings.UPLOAD_MAX_BYTES + FORM_ROOM:
        _drain(request)
        request._post, request._files = QueryDict(), MultiValueDict()  # type: ignore[attr-defined]
        return page(trouble=refusals.too_big().sentence, status=413)
    buffering = BufferUploadHandler(request)
    request.upload_handlers = [buffering]
    try:
        request.POST  # noqa: B018  reads the whole body
    except OSError:  # no room, or nobody there any more to read the answer
        buffering.upload_interrupted()
        request._post, request._files = QueryDict(), MultiValueDict()  # type: ignore[attr-defined]
        error = refusals.no_room()
        return page(trouble=error.sentence, status=error.status)
    return _take_form(request, angle, by=by, page=page, arrived=arrived)


def _announced(request: HttpRequest) -> int:
    """How many bytes the sender says that follow; a nonsense length is as good as none."""
    try:
        return numbers.whole(request.META.get("CONTENT_LENGTH") or "0")
    except ValueError:
        return 0


@csrf_protect
def _take_form(
    request: HttpRequest, angle: RequestedAngle, *, by: User, page: Page, arrived: Page
) -> HttpResponse:
    form = SendForm(request.POST, request.FILES)
    if not form.is_valid():
        first = next(iter(form.errors.values()))[0]
        return page(trouble=str(first), status=400)
    data = form.cleaned_data
    try:
        submission = uploads.receive_file(
            by=by,
            student=angle.request.student,
            angle=angle,
            file=data["file"],
            text=data["text"],
            replaces=data["replaces"],
            key=data["key"],
        )
    except LessonError as error:
        return page(trouble=error.sentence, status=error.status)
    chosen = BallForm(request.POST)
    if chosen.is_valid() and any(chosen.cleaned_data.values()):
        clips_services.describe_ball(submission=submission, by=by, **chosen.cleaned_data)
    return arrived(submission)


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
    shown = queries.progress(row)
    return JsonResponse(
        {
            "state": shown.state,
            "label": str(shown.label),
            "share": shown.share,
            "done": shown.done,
            "advice": [{"seen": str(a.seen), "do": str(a.do)} for a in shown.advice],
            "trouble": str(shown.trouble or ""),
        }
    )


def _ball_form(angle: RequestedAngle | None, initial: dict[str, str]) -> BallForm | None:
    """Asked only where a ball flies."""
    swings = angle is None or (angle.kind == "swing" and angle.ball != RequestedAngle.Ball.NONE)
    return BallForm(initial=initial) if swings else None


def _clip(request: HttpRequest, pk: int, **extra: Any) -> dict[str, Any]:
    row = mine.submission_read(request.user, pk)
    can_act = access.acts_for(request.user, row.student_id)
    doubts = queries.doubts(row) if can_act else []
    told = {"fewer_swings", *doubts, *queries.said_right(row)}
    missing: list[RequestedAngle] = []
    if row.angle is not None:
        asked = row.angle.request
        if asked.closed_at is None and asked.suspended_at is None:
            missing = queries.missing(mine.request_read(request.user, asked.pk))
    return {
        "clip": row,
        "shown": queries.progress(row),
        "next_time": [next_time(code) for code in queries.warnings(row) if code not in told],
        "doubts": [quality_message(code).seen for code in doubts],
        "short_of": queries.repetitions_missing(row),
        "unmeasured": queries.is_unmeasured(row),
        "edges": queries.cut_edges(row),
        "missing": missing,
        "ball_form": None
        if row.answered_at
        else _ball_form(
            row.angle, {"flight": row.flight, "height": row.height, "strike": row.strike}
        ),
        "can_act": can_act,
        "can_see": can_act or queries.shares_with_coach(row.student),
        "can_replace": row.angle_id and not row.answered_at and row.replaced_by_id is None,
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
        lambda text: clips_services.override_refusal(
            submission=row, by=user_of(request), text=text
        ),
        _("Sent on to your coach with your word."),
    )


@require_POST
@login_required
def right(request: HttpRequest, pk: int) -> HttpResponse:
    """What we doubt in a clip is as it should be: one tap of the student's side."""
    row = mine.submission_act(request.user, pk)
    return _done(
        request,
        row,
        lambda text: clips_services.say_it_is_right(submission=row, by=user_of(request)),
        _("Your coach sees that the clip is right."),
    )


@require_POST
@login_required
def word(request: HttpRequest, pk: int) -> HttpResponse:
    row = mine.submission_act(request.user, pk)
    return _done(
        request,
        row,
        lambda text: clips_services.send_word(submission=row, by=user_of(request), text=text),
        _("Your word is with your coach."),
    )


@require_POST
@login_required
def ball(request: HttpRequest, pk: int) -> HttpResponse:
    """What the ball did in a clip."""
    row = mine.submission_act(request.user, pk)
    chosen = {name: request.POST.get(name, "") for name in ("flight", "height", "strike")}
    return _done(
        request,
        row,
        lambda text: clips_services.describe_ball(submission=row, by=user_of(request), **chosen),
        _("Your coach sees this first."),
    )


@require_POST
@login_required
def retry(request: HttpRequest, pk: int) -> HttpResponse:
    row = mine.submission_retry(request.user, pk)
    return _done(
        request,
        row,
        lambda text: clips_services.retry(submission=row, by=user_of(request)),
        _("We are trying again."),
    )


def _done(request: HttpRequest, row: Submission, act: Any, said: str) -> HttpResponse:
    form = WordForm(request.POST)
    text = form.cleaned_data["text"] if form.is_valid() else ""
    try:
        act(text)
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
    if which != "still":  # stills stand on every list; the film itself is a look
        student = row.submission.student
        audit.saw(audit.Act.SAW_FILM, by=user_of(request), student=student, video=row.pk)
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


@require_safe
@login_required
def logo(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The studio's picture, for whoever works or learns there."""
    studio = access.studio_known(request.user, pk)
    return media.serve(request, studio.logo, filename="logo.png", content_type="image/png")


def _ending(name: str | None) -> str:
    ending = "." + (name or "").rpartition(".")[2]
    return ending if ending in uploads.KNOWN_ENDINGS else ""
