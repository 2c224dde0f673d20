"""The studio's drills: read, write, take in, give out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db.models import Count
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coaching import numbers
from coaching.bodies import takes_up_to
from coaching.diagnosis.catalogue import STAGES
from coaching.diagnosis.entries import catalogue_of, stage_title
from coaching.diagnosis.sidebar import wants_fragment
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Studio
from coaching.people.sides import without_sides
from coaching.practice import access as practice_access
from coaching.practice import drills, forms, ladder_form, previewing
from coaching.practice.models import Assignment, Drill, DrillVersion
from coaching.practice.odds import usual_odds
from coaching.practice.queries import ladders
from coaching.practice.queries.showing import Own, own_of_version
from coaching.practice.services import library as library_services
from coaching.practice.services import showing
from coaching.practice.views.showing import MAX_BYTES as SHOWN_MAX_BYTES
from coaching.practice.views.showing import shown_of


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
    rows = [(drill, drills.newest(drill)) for drill in ladders.library([studio.pk])]
    return render(
        request,
        "practice/library.html",
        {
            "studio": studio,
            "studios": access.studios(request.user),
            "rows": rows,
            "groups": _grouped(studio, rows),
            "causes": causes(studio),
            "can_teach": access.works_in(request.user, studio.pk, access.TEACHING),
        },
    )


@dataclass(frozen=True)
class Card:
    """A drill as the library shows it, and how many students were given it."""

    drill: Drill
    version: DrillVersion
    own: Own | None
    used: int


def _grouped(
    studio: Studio, rows: list[tuple[Drill, DrillVersion]]
) -> list[tuple[str, list[Card]]]:
    """Drills by the part of the swing that they treat, in the order of the swing."""
    catalogue = catalogue_of(studio)
    counts = Assignment.objects.filter(
        drill_version__drill__studio=studio, opened_at__isnull=False
    ).values_list("drill_version__drill")
    used = dict(counts.annotate(Count("student", distinct=True)))
    groups: dict[str, list[Card]] = {stage: [] for stage in (*STAGES, "")}
    for drill, version in rows:
        entry = catalogue.get(drill.cause)
        stage = entry.stage if entry and entry.stage in groups else ""
        groups[stage].append(Card(drill, version, own_of_version(version), used.get(drill.pk, 0)))
    other = _("For any swing")
    return [(stage_title(s) if s else other, cards) for s, cards in groups.items() if cards]


def causes(studio: Studio) -> dict[str, str]:
    """What a drill can treat, in words: the studio's catalogue, and carrying over to the ball."""
    treated = ("cause", "compensation", "question")
    named = {e.id: without_sides(e.name) for e in catalogue_of(studio).shown if e.kind in treated}
    return named | {"transfer": _("carrying a move over to the ball")}


@require_safe
@login_required
def show(request: HttpRequest, pk: int) -> HttpResponse:
    drill = practice_access.drill_read(request.user, pk)
    version = drills.newest(drill)
    return render(
        request,
        "practice/library_drill.html",
        {
            "drill": drill,
            "version": version,
            "own": own_of_version(version),
            "earlier": [v for v in drill.versions.all() if v.pk != version.pk],
            "steps": ladder_form.rows(version.ladder),
            "cause_words": causes(drill.studio).get(drill.cause, drill.cause),
            "used": version.assignments.count(),
            "can_teach": access.works_in(request.user, drill.studio_id, access.TEACHING),
        },
    )


@takes_up_to(SHOWN_MAX_BYTES)
@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def write(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    """A new drill, or a new version of one."""
    drill = practice_access.drill_teach(request.user, pk) if pk else None
    studio = drill.studio if drill else _studio(request, access.TEACHING)
    row = drills.row_of(drill.slug, drill.cause, drills.newest(drill)) if drill else _empty()
    trouble, status, do = "", 200, request.POST.get("do", "")
    if request.method == "POST" and do:
        row = forms.drill_from(
            request.POST,
            slug=row["slug"],
            ladder=ladder_form.done(ladder_form.typed(request.POST), do),
            loads=request.POST.getlist("loads"),
        )
    elif request.method == "POST":
        try:
            row = _typed(request, row)
            picture = shown_of(request)
            row["ladder"] = forms.ladder_from(request.POST, base=row["ladder"])
            version, _what = library_services.save_drill(
                by=user_of(request), studio=studio, row=row
            )
            if picture is not None:
                showing.show_drill(version=version, by=user_of(request), shown=picture)
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            messages.success(request, _("Saved."))
            return redirect("practice:library_drill", version.drill_id)
    context = {
        "drill": drill,
        "studio": studio,
        "row": row,
        "instructions": "\n".join(step["text"] for step in row["instructions"]),
        "rows": ladder_form.rows(row["ladder"], odds=usual_odds),
        "preview": previewing.preview_of(row["ladder"], 0, slug=row["slug"]),
        "feel": row["feel"],
        "lists": ladder_form.choices(),
        "loads": forms.LOADS,
        "causes": causes(studio),
        "trouble": trouble,
        "used": drills.newest(drill).assignments.count() if drill else 0,
    }
    page = "_ladder_editor" if do and wants_fragment(request) else "library_write"
    return render(request, f"practice/{page}.html", context, status=status)


@require_safe
@login_required
def odds(request: HttpRequest) -> HttpResponse:
    """How sure a target of the library can be, while its numbers are typed."""
    step = {"view": request.GET.get("view", ""), "film_kind": request.GET.get("film_kind", "")}
    try:
        criterion = forms.criterion_from(request.GET, "c")
    except LessonError:
        criterion = None
    found = usual_odds(step, criterion) if criterion and criterion.get("measure") else None
    return render(request, "practice/_usual_odds.html", {"odds": found})


@require_POST
@login_required
def preview(request: HttpRequest) -> HttpResponse:
    """One step of the ladder as its student will read it, while it is typed."""
    try:
        place = numbers.whole(request.POST.get("place", "0"), high=100)
    except ValueError:
        place = 0
    shown = previewing.preview_of(
        ladder_form.typed(request.POST), place, slug=request.GET.get("drill", "")
    )
    context = {"preview": shown, "feel": request.POST.get("feel", "")[:200]}
    return render(request, "practice/_preview.html", context)


def _empty() -> dict[str, Any]:
    """An empty drill with one step to begin with."""
    return {
        **dict.fromkeys(
            ("slug", "cause", "title", "purpose", "feel", "set_up", "cautions", "not_for"), ""
        ),
        "instructions": [],
        "loads": [],
        "source": _("common practice, no published source"),
        "ladder": [ladder_form.FIRST_STEP],
    }


def _typed(request: HttpRequest, row: dict[str, Any]) -> dict[str, Any]:
    """What was typed, with the ladder as it was: a form that is refused loses nothing."""
    row["ladder"] = ladder_form.typed(request.POST) or row["ladder"]
    slug = row["slug"] or slugify(request.POST.get("title", ""))[:60].strip("-")
    if not slug:
        raise LessonError(_("Give the drill a title."), code="no_title")
    return forms.drill_from(
        request.POST, slug=slug, ladder=row["ladder"], loads=request.POST.getlist("loads")
    )


@require_POST
@login_required
def retire(request: HttpRequest, pk: int) -> HttpResponse:
    library_services.retire_drill(
        by=user_of(request), drill=practice_access.drill_teach(request.user, pk)
    )
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
        counts = library_services.import_drills(
            by=user_of(request), studio=studio, text=file.read()
        )
    except LessonError as error:
        messages.error(request, error.sentence)
    else:
        messages.success(request, _told(counts))
    return redirect("practice:library")


@require_POST
@login_required
def starter(request: HttpRequest) -> HttpResponse:
    studio = _studio(request, access.TEACHING)
    messages.success(
        request, _told(library_services.load_starter_library(by=user_of(request), studio=studio))
    )
    return redirect("practice:library")


@require_safe
@login_required
def give_out(request: HttpRequest) -> HttpResponse:
    """Every drill in use as one file."""
    studio = _studio(request)
    text = drills.as_json(list(ladders.library([studio.pk])))
    response = HttpResponse(text, content_type="application/json")
    response["Content-Disposition"] = f'attachment; filename="{studio.slug}-drills.json"'
    return response
