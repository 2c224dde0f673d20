"""Packages: sold by hand, counted here."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from coaching import numbers
from coaching.dashboard.bought import balances
from coaching.lessons import packages
from coaching.lessons.models import Package
from coaching.lessons.packages import MOST_ANSWERS, MOST_WEEKS
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Studio
from coaching.people.services.studio import change_studio

FEW_LEFT = 1


class PackageForm(forms.Form):
    title = forms.CharField(label=gettext_lazy("Name"), max_length=60)
    answers = forms.IntegerField(
        label=gettext_lazy("Answers in it"), min_value=1, max_value=MOST_ANSWERS
    )
    weeks = forms.IntegerField(
        label=gettext_lazy("Lasts, in weeks"),
        help_text=gettext_lazy("Left empty, it does not run out."),
        required=False,
        min_value=1,
        max_value=MOST_WEEKS,
    )


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def packages_page(request: HttpRequest, pk: int) -> HttpResponse:
    return _page(request, access.studio_teach(request.user, pk), None)


@require_http_methods(["GET", "HEAD", "POST"])
@login_required
def package_page(request: HttpRequest, pk: int, id: int) -> HttpResponse:
    studio = access.studio_teach(request.user, pk)
    return _page(request, studio, get_object_or_404(_sold(studio), pk=id))


def _sold(studio: Studio) -> Any:
    return studio.packages.filter(retired_at__isnull=True)


def _page(request: HttpRequest, studio: Studio, chosen: Package | None) -> HttpResponse:
    said = ("title", "answers", "weeks")
    initial = {name: getattr(chosen, name) for name in said} if chosen else {}
    form = PackageForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            packages.save_package(
                studio=studio, by=user_of(request), package=chosen, **form.cleaned_data
            )
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, _("Saved. What was bought before stays as it was."))
            return redirect("packages", studio.pk)
    bought = studio.students.filter(closed_at__isnull=True, purchases__isnull=False).distinct()
    people = list(bought.select_related("studio").order_by("name"))
    left = balances(people)
    context = {
        "studio": studio,
        "packages": _sold(studio),
        "chosen": chosen,
        "form": form,
        "people": [(person, left[person.pk]) for person in people if person.pk in left],
        "few": FEW_LEFT,
        "owns": access.works_in(request.user, studio.pk, access.OWNERS),
    }
    wrong = request.method == "POST"
    return render(request, "dashboard/packages.html", context, status=400 if wrong else 200)


@login_required
@require_POST
def retire(request: HttpRequest, pk: int, id: int) -> HttpResponse:
    studio = access.studio_teach(request.user, pk)
    packages.retire_package(package=get_object_or_404(_sold(studio), pk=id), by=user_of(request))
    messages.success(request, _("No longer sold. What was bought stays."))
    return redirect("packages", studio.pk)


@login_required
@require_POST
def what_counts(request: HttpRequest, pk: int) -> HttpResponse:
    """Whether a verdict uses up an answer: the owner's to say."""
    studio = access.studio_own(request.user, pk)
    counts = request.POST.get("verdicts_count") == "yes"
    change_studio(studio=studio, by=user_of(request), verdicts_count=counts)
    messages.success(request, _("Saved."))
    return redirect("packages", studio.pk)


@login_required
@require_POST
def buy(request: HttpRequest, pk: int) -> HttpResponse:
    """A student has bought a package, outside of this program."""
    student = access.student_teach(request.user, pk)
    wanted = numbers.row_key(request.POST.get("package", "")) or 0
    package = _sold(student.studio).filter(pk=wanted).first()
    if package is None:
        raise LessonError(_("Choose one of the studio’s packages."), code="no_package")
    packages.note_purchase(student=student, by=user_of(request), package=package)
    messages.success(request, _("Noted: %(title)s.") % {"title": package.title})
    return redirect("student", student.pk)


@login_required
@require_POST
def take_back(request: HttpRequest, pk: int, id: int) -> HttpResponse:
    """It was noted by mistake."""
    student = access.student_teach(request.user, pk)
    row = get_object_or_404(student.purchases, pk=id)
    packages.take_back_purchase(purchase=row, by=user_of(request))
    messages.success(request, _("Taken back: %(title)s.") % {"title": row.title})
    return redirect("student", student.pk)
