"""The studio's findings: the catalogue as this studio has it, one entry a page."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from coaching import numbers
from coaching.diagnosis import studio as services
from coaching.diagnosis.catalogue import CLUBS, VIEWS, Entry, Sign, whole
from coaching.diagnosis.entries import catalogue_of, stage_title
from coaching.diagnosis.models import Finding
from coaching.diagnosis.suggest import USUAL_STATURE_CM, Player
from coaching.diagnosis.suggestions import limit_words
from coaching.lessons.wording.naming import label_of, view_name
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Studio


@require_safe
@login_required
def entries(request: HttpRequest, pk: int) -> HttpResponse:
    studio = access.studio_teach(request.user, pk)
    catalogue = catalogue_of(studio)
    shipped = whole()
    changed = {e.id for e in catalogue.entries if e != shipped.get(e.id)}
    groups: dict[str, list[dict[str, Any]]] = {}
    for entry in catalogue.entries:
        row = {"entry": entry, "signs": _limits(entry), "is_changed": entry.id in changed}
        groups.setdefault("own" if entry.is_own else entry.stage, []).append(row)
    return render(
        request,
        "diagnosis/studio.html",
        {
            "studio": studio,
            "groups": [(stage_title(stage), rows) for stage, rows in groups.items()],
            "count": len(catalogue.shown),
        },
    )


def _limits(entry: Entry) -> list[dict[str, str]]:
    """Each figure that shows the entry, with its limit for an iron, as this studio has it."""
    player = Player(USUAL_STATURE_CM)
    return [
        {"label": label_of(sign.measure, sign.event), "limit": limit_words(sign, player)}
        for sign in entry.shows
    ]


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def entry(request: HttpRequest, pk: int, id: str) -> HttpResponse:
    studio = access.studio_teach(request.user, pk)
    known = catalogue_of(studio).get(id)
    if known is None:
        raise Http404
    trouble, status = "", 200
    if request.method == "POST":
        try:
            services.change_entry(
                studio=studio,
                by=user_of(request),
                entry=id,
                name=request.POST.get("name", ""),
                clause=request.POST.get("clause", ""),
                is_hidden="hidden" in request.POST,
                limits=_typed_limits(request, known),
            )
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            messages.success(request, _("Saved."))
            return redirect("diagnosis:entries", studio.pk)
    shown = _shown(studio, known, request, trouble)
    return render(request, "diagnosis/studio_entry.html", shown, status=status)


def _typed_limits(request: HttpRequest, known: Entry) -> dict[str, dict[str, float]]:
    typed: dict[str, dict[str, float]] = {}
    for sign in known.shows:
        for end in services.ENDS:
            text = request.POST.get(f"{sign.figure}:{end}", "").strip().replace(",", ".")
            if text:
                try:
                    typed.setdefault(sign.figure, {})[end] = numbers.real(text)
                except ValueError:
                    raise LessonError(_("Write a limit as a number."), code="limit") from None
    return typed


def _shown(studio: Studio, known: Entry, request: HttpRequest, trouble: str) -> dict[str, Any]:
    shipped = whole().get(known.id)
    own = StudioRow(known, shipped)
    return {
        "studio": studio,
        "entry": known,
        "shipped": shipped,
        "name": request.POST.get("name", own.name),
        "clause": request.POST.get("clause", own.clause),
        "signs": [_sign_row(sign, request) for sign in known.shows],
        "kind_words": Finding.Kind(known.kind).label,
        "causes": catalogue_of(studio).causes_of(known.id),
        "effects": catalogue_of(studio).effects_of(known.id),
        "trouble": trouble,
        "stature": f"{USUAL_STATURE_CM:.0f}",
    }


class StudioRow:
    """What the studio has written itself: empty where it is the catalogue's."""

    def __init__(self, known: Entry, shipped: Entry | None) -> None:
        self.name = "" if shipped and shipped.name == known.name else known.name
        self.clause = "" if shipped and shipped.clause == known.clause else known.clause


def _sign_row(sign: Sign, request: HttpRequest) -> dict[str, Any]:
    shipped = sign.was or sign
    ends = []
    for end in services.ENDS:
        if getattr(sign, end) is None:
            continue
        limit = getattr(sign, end)["iron"]
        is_moved = sign.was is not None and limit != getattr(sign.was, end)["iron"]
        value = f"{services.shown_limit(sign.figure, limit):.4g}" if is_moved else ""
        field = f"{sign.figure}:{end}"
        label = _("at least") if end == "at_least" else _("at most")
        ends.append((field, label, request.POST.get(field, value)))
    return {
        "label": label_of(sign.measure, sign.event),
        "shipped": [
            limit_words(shipped, Player(USUAL_STATURE_CM, club))
            for club in (CLUBS if _by_club(shipped) else CLUBS[:1])
        ],
        "clubs": list(CLUBS) if _by_club(shipped) else [],
        "ends": ends,
    }


def _by_club(sign: Sign) -> bool:
    limits = [limit for limit in (sign.at_least, sign.at_most) if limit]
    return any(len(set(limit.values())) > 1 for limit in limits)


@require_POST
@login_required
def reset(request: HttpRequest, pk: int, id: str) -> HttpResponse:
    studio = access.studio_teach(request.user, pk)
    services.reset_entry(studio=studio, by=user_of(request), entry=id)
    messages.success(request, _("It is the catalogue’s again."))
    return redirect("diagnosis:entries", studio.pk)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def own(request: HttpRequest, pk: int) -> HttpResponse:
    """A finding of the studio's own."""
    studio = access.studio_teach(request.user, pk)
    names = ("name", "clause", "kind", "view", "cause", "drill")
    typed = {name: request.POST.get(name, "") for name in names}
    trouble, status = "", 200
    if request.method == "POST":
        try:
            services.add_own_entry(studio=studio, by=user_of(request), **typed)
        except LessonError as error:
            trouble, status = error.sentence, error.status
        else:
            messages.success(request, _("Saved."))
            return redirect("diagnosis:entries", studio.pk)
    return render(
        request,
        "diagnosis/studio_own.html",
        {
            "studio": studio,
            "typed": typed,
            "kinds": Finding.Kind.choices,
            "views": [(view, _view(view)) for view in VIEWS],
            "entries": catalogue_of(studio).shown,
            "trouble": trouble,
        },
        status=status,
    )


def _view(view: str) -> str:
    return {"both": _("from both views"), "none": _("from any view")}.get(view) or view_name(view)
