"""The studio's drills: read, write, take in, give out."""

from __future__ import annotations

import json
from pathlib import PurePath
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coaching.diagnosis.rules import all_rules
from coaching.diagnosis.tags import all_tags
from coaching.intake import media
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Studio
from coaching.practice import drills, forms, queries, services
from coaching.practice.models import Drill, DrillVersion

SHOWN_ENDINGS = {
    ".jpg": "image/jpeg",
    ".jpeg": "image/jpeg",
    ".png": "image/png",
    ".webp": "image/webp",
    ".mp4": "video/mp4",
    ".webm": "video/webm",
}
SHOWN_MAX_BYTES = 64 * 1024 * 1024


def _studio(request: HttpRequest, roles: tuple[str, ...] = access.STAFF) -> Studio:
    """The studio named in the address, else the first in which the person works."""
    rows = access.studios(request.user, roles).order_by("pk")
    slug = request.GET.get("studio") or request.POST.get("studio")
    studio = rows.filter(slug=slug).first() if slug else rows.first()
    if studio is None:
        raise Http404
    return studio


@require_safe
@login_required
def library(request: HttpRequest) -> HttpResponse:
    studio = _studio(request)
    rows = [(drill, drills.newest(drill)) for drill in queries.library([studio.pk])]
    return render(
        request,
        "practice/library.html",
        {
            "studio": studio,
            "studios": access.studios(request.user),
            "rows": rows,
            "causes": causes(),
            "can_teach": access.studios(request.user, access.TEACHING)
            .filter(pk=studio.pk)
            .exists(),
        },
    )


def causes() -> dict[str, str]:
    """What a drill can treat, in words: rules, tags, and carrying over to the ball."""
    named = {rule.id: rule.title for rule in all_rules() if rule.kind in ("cause", "compensation")}
    named |= {rule.id: rule.title for rule in all_rules() if rule.kind == "question"}
    named |= {tag.id: tag.label for tag in all_tags()}
    return named | {"transfer": _("carrying a move over to the ball")}


@require_safe
@login_required
def show(request: HttpRequest, pk: int) -> HttpResponse:
    drill = queries.drill_read(request.user, pk)
    version = drills.newest(drill)
    return render(
        request,
        "practice/library_drill.html",
        {
            "drill": drill,
            "version": version,
            "earlier": [v for v in drill.versions.all() if v.pk != version.pk],
            "rungs": forms.rung_rows(version.ladder),
            "cause_words": causes().get(drill.cause, drill.cause),
            "used": version.assignments.count(),
            "can_teach": access.studios(request.user, access.TEACHING)
            .filter(pk=drill.studio_id)
            .exists(),
        },
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def write(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """A new drill, or a new version of one."""
    drill = queries.drill_teach(request.user, pk) if pk else None
    studio = drill.studio if drill else _studio(request, access.TEACHING)
    row = drills.row_of(drill.slug, drill.cause, drills.newest(drill)) if drill else _empty()
    trouble, status = "", 200
    if request.method == "POST":
        try:
            row = _typed(request, row)
            row["ladder"] = forms.ladder_text(request.POST.get("ladder", ""))
            picture = _shown_of(request)
            version, _what = services.save_drill(studio=studio, row=row)
            if picture is not None:
                services.show_drill(version=version, shown=picture)
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            messages.success(request, _("Kept."))
            return redirect("practice:library_drill", version.drill_id)
    return render(
        request,
        "practice/library_write.html",
        {
            "drill": drill,
            "studio": studio,
            "row": row,
            "steps": "\n".join(step["words"] for step in row["steps"]),
            "ladder": request.POST.get("ladder") or json.dumps(row["ladder"], indent=1),
            "loads": forms.LOADS,
            "causes": causes(),
            "trouble": trouble,
        },
        status=status,
    )


def _empty() -> dict[str, Any]:
    """An empty drill with a ladder that can be judged."""
    like = next(d for d in drills.starter() if d["slug"] == "turn-with-a-club-on-the-hips")
    return {
        **dict.fromkeys(("slug", "cause", "title", "purpose", "set_up", "cautions", "not_for"), ""),
        "steps": [],
        "loads": [],
        "source": _("common practice, no published source"),
        "ladder": like["ladder"][1:],
    }


def _typed(request: HttpRequest, row: dict[str, Any]) -> dict[str, Any]:
    """What was typed, with the ladder as it was: a form that is refused loses nothing."""
    slug = row["slug"] or slugify(request.POST.get("title", ""))[:60].strip("-")
    if not slug:
        raise LessonError(_("Give the drill a title."), code="no_title")
    return forms.drill_from(
        request.POST, slug=slug, ladder=row["ladder"], loads=request.POST.getlist("loads")
    )


def _shown_of(request: HttpRequest) -> UploadedFile | None:
    shown = request.FILES.get("shown")
    if shown is None:
        return None
    if PurePath(shown.name or "").suffix.lower() not in SHOWN_ENDINGS:
        raise LessonError(
            _("Choose a picture (JPEG, PNG, WebP) or a clip (MP4, WebM)."), code="shown"
        )
    if (shown.size or 0) > SHOWN_MAX_BYTES:
        raise LessonError(_("Keep the clip of a drill under 64 MB."), code="too_big", status=413)
    return shown


@require_POST
@login_required
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    services.retire_drill(drill=queries.drill_teach(request.user, pk))
    messages.success(request, _("Taken out of the library. What was assigned stays."))
    return redirect("practice:library")


def _told(counts: dict[str, int]) -> str:
    made = ngettext("%(count)d new drill", "%(count)d new drills", counts["made"]) % {
        "count": counts["made"]
    }
    changed = ngettext("%(count)d changed", "%(count)d changed", counts["changed"]) % {
        "count": counts["changed"]
    }
    return f"{made}, {changed}."


@require_POST
@login_required
def take_in(request: HttpRequest) -> HttpResponse:
    """Import a file, whole or not at all."""
    studio = _studio(request, access.TEACHING)
    file = request.FILES.get("file")
    try:
        if file is None:
            raise LessonError(_("Choose a file first."), code="no_file")
        if (file.size or 0) > drills.MAX_BYTES:
            raise LessonError(_("A drill file is smaller than 2 MB."), code="too_big", status=413)
        counts = services.import_drills(studio=studio, text=file.read())
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _told(counts))
    return redirect("practice:library")


@require_POST
@login_required
def starter(request: HttpRequest) -> HttpResponse:
    studio = _studio(request, access.TEACHING)
    messages.success(request, _told(services.load_starter_library(studio=studio)))
    return redirect("practice:library")


@require_safe
@login_required
def give_out(request: HttpRequest) -> HttpResponse:
    """Every drill in use as one file."""
    studio = _studio(request)
    text = drills.as_json(list(queries.library([studio.pk])))
    response = HttpResponse(text, content_type="application/json")
    response["Content-Disposition"] = f'attachment; filename="{studio.slug}-drills.json"'
    return response


@require_safe
@login_required
def shown(request: HttpRequest, pk: int) -> HttpResponseBase:
    """The coach's own picture or clip: for the studio, and for students who have the drill."""
    version = access.get_object_or_404(DrillVersion.objects.select_related("drill"), pk=pk)
    ours = Drill.objects.filter(pk=version.drill_id, studio__in=access.studios(request.user))
    theirs = version.assignments.filter(
        student__in=access.acts_as(request.user), opened_at__isnull=False
    )
    if not version.shown or not (ours.exists() or theirs.exists()):
        raise Http404
    ending = PurePath(version.shown.name).suffix.lower()
    return media.serve(
        request, version.shown, filename=f"drill{ending}", content_type=SHOWN_ENDINGS[ending]
    )
