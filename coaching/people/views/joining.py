"""The way in: a link, an account, the body first, then the rest."""

from __future__ import annotations

from typing import Any

from allauth.account.decorators import reauthentication_required
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from coaching.people import access, queries
from coaching.people.access import user_of
from coaching.people.accounts import ask_for_proof, prove_address
from coaching.people.errors import LessonError
from coaching.people.forms import (
    AccountForm,
    AgeQuestionForm,
    AskedForm,
    ConsentForm,
    GuardianContactForm,
    GuardianForm,
)
from coaching.people.mail import came_by_mail, wrote_to
from coaching.people.models import Consent, Invitation, Student, User
from coaching.people.services import joining, studio
from coaching.people.services.consent import (
    agree_as_guardian,
    choose_consents,
    decline_as_guardian,
    name_guardian,
    withdraw_consents,
)
from coaching.people.services.students import find_invitation
from coaching.people.student_forms import AboutForm, BodyForm, ConfirmForm
from coaching.people.views.account import enter, posted


def join(request: HttpRequest, token: str) -> HttpResponse:
    """What an invitation link opens, by whom it is for."""
    try:
        invitation = find_invitation(token)
    except LessonError:
        mine = Invitation.objects.filter(token=token, used_at__isnull=False).first()
        if mine and mine.student and access.acts_for(request.user, mine.student.pk):
            return go_on(mine.student)
        raise
    return {
        Invitation.Kind.STUDENT: _join_student,
        Invitation.Kind.GUARDIAN: _join_guardian,
        Invitation.Kind.MEMBER: _join_member,
    }[Invitation.Kind(invitation.kind)](request, invitation)


def go_on(student: Student) -> HttpResponse:
    """To the step that is still open, else home."""
    step = queries.next_step(student)
    return redirect(step, student.pk) if step else redirect("home")


def _join_student(request: HttpRequest, invitation: Invitation) -> HttpResponse:
    student = invitation.student
    assert student is not None
    mailed = request.POST.get("mailed", "") or request.GET.get("mailed", "")
    account = _account_form(request, email=student.email, name=student.name)
    age = AgeQuestionForm(posted(request))
    if request.method == "POST" and all([account is None or account.is_valid(), age.is_valid()]):
        try:
            with transaction.atomic():
                user = _person(request, account)
                joining.join_student(
                    invitation=invitation, user=user, is_minor=age.cleaned_data["adult"] == "no"
                )
        except LessonError as error:
            (account or age).add_error(None, error.sentence)
        else:
            if came_by_mail(invitation, mailed) and user.email == invitation.email:
                prove_address(user)
            elif not queries.has_proved_address(user):
                ask_for_proof(request, user)
            if account:
                enter(request, user)
            student.refresh_from_db()
            return go_on(student)
    forms = [form for form in (account, age) if form]
    return _page(
        request, "people/join.html", forms, invitation=invitation, student=student, mailed=mailed
    )


def _join_guardian(request: HttpRequest, invitation: Invitation) -> HttpResponse:
    if "decline" in request.POST:
        student = decline_as_guardian(invitation=invitation)
        return render(request, "people/declined.html", {"student": student})
    account = _account_form(request, email=invitation.email, name="", fixed=True)
    consent = GuardianForm(posted(request))
    ready = [account is None or account.is_valid(), consent.is_valid()]
    if request.method == "POST" and all(ready):
        try:
            with transaction.atomic():
                user = _person(request, account)
                student = agree_as_guardian(
                    invitation=invitation, user=user, purposes=consent.cleaned_data["purposes"]
                )
        except LessonError as error:
            (account or consent).add_error(None, error.sentence)
        else:
            if account:
                enter(request, user)
            messages.success(request, _("Thank you. You see here all that happens."))
            return redirect("people:guardian", student.pk)
    context = {
        "invitation": invitation,
        "student": invitation.student,
        "has_account": _has_account(request, invitation.email),
    }
    return _page(request, "people/join_guardian.html", [account, consent], **context)


def _join_member(request: HttpRequest, invitation: Invitation) -> HttpResponse:
    account = _account_form(request, email=invitation.email, name="", fixed=True)
    if request.method == "POST" and (account is None or account.is_valid()):
        try:
            with transaction.atomic():
                user = _person(request, account)
                studio.join_studio(invitation=invitation, user=user)
        except LessonError as error:
            if account is None:
                raise
            account.add_error(None, error.sentence)
        else:
            enter(request, user)  # another role: every session of before is void
            return redirect("home")
    context = {"invitation": invitation, "role": invitation.get_role_display()}
    context["has_account"] = _has_account(request, invitation.email)
    return _page(request, "people/join_member.html", [account], **context)


def _account_form(
    request: HttpRequest, *, email: str, name: str, fixed: bool = False
) -> AccountForm | None:
    """The form of a new account; none for somebody who is signed in."""
    if request.user.is_authenticated:
        return None
    data = request.POST.copy() if request.method == "POST" else None
    if fixed and data is not None:
        data["email"] = email  # the link proves this address and no other
    form = AccountForm(data, initial={"email": email, "name": name})
    if fixed:
        form.fields["email"].widget.attrs["readonly"] = True
    return form


def _person(request: HttpRequest, account: AccountForm | None) -> User:
    if account is None:
        return user_of(request)
    data = account.cleaned_data
    return joining.open_account(
        name=data["name"],
        email=data["email"],
        password=data["password"],
        language=get_language() or "en",
        time_zone=data["time_zone"],
    )


def _has_account(request: HttpRequest, email: str) -> bool:
    return not request.user.is_authenticated and User.objects.filter(email=email).exists()


def _page(request: HttpRequest, template: str, forms: list[Any], **context: Any) -> HttpResponse:
    shown = [form for form in forms if form is not None]
    wrong = any(form.is_bound and form.errors for form in shown)
    context |= {"forms": shown, "next": request.path}
    return render(request, template, context, status=400 if wrong else 200)


@login_required
def guardian_wait(request: HttpRequest, pk: int) -> HttpResponse:
    """A minor names a guardian, and waits."""
    student = access.student_act(request.user, pk)
    if not student.is_minor or queries.guardians_of(student).exists():
        return go_on(student)
    asked = queries.guardian_asked(student)
    form = GuardianContactForm(
        posted(request),
        initial={"name": asked.name, "email": asked.email} if asked else None,
    )
    if request.method == "POST" and form.is_valid():
        try:
            name_guardian(student=student, by=user_of(request), **form.cleaned_data)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            return redirect("people:guardian_wait", student.pk)
    declined = asked is None and queries.guardian_declined(student)
    context = {"student": student, "asked": asked, "form": form, "declined": declined}
    return render(request, "people/guardian_wait.html", context, status=400 if form.errors else 200)


@login_required
def guardian_add(request: HttpRequest, pk: int) -> HttpResponse:
    """A guardian who stands, or the studio's owner, names another one."""
    student = access.student_record(request.user, pk)
    form = GuardianContactForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            name_guardian(student=student, by=user_of(request), **form.cleaned_data)
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, wrote_to(form.cleaned_data["email"]))
            return redirect("people:guardian_add", student.pk)
    context = {
        "student": student,
        "form": form,
        "guardians": queries.guardians_of(student),
        "asked": queries.guardian_asked(student),
    }
    return render(request, "people/guardian_add.html", context, status=400 if form.errors else 200)


@login_required
def body(request: HttpRequest, pk: int) -> HttpResponse:
    """What hurts, is stiff or cannot be done: before any advice, and whenever it changes."""
    student = access.student_act(request.user, pk)
    if queries.next_step(student) == "people:guardian_wait":
        return redirect("people:guardian_wait", student.pk)
    form = BodyForm(posted(request))
    if request.method == "POST" and form.is_valid():
        joining.note_body(student=student, by=user_of(request), notes=form.notes())
        messages.success(request, _("Noted. Your coach sees it before anything else."))
        return go_on(student)
    context = {"student": student, "form": form, "notes": queries.active_body_notes(student)}
    return render(request, "people/body.html", context, status=400 if form.errors else 200)


@login_required
@require_POST
def body_over(request: HttpRequest, pk: int, note: int) -> HttpResponse:
    student = access.student_act(request.user, pk)
    joining.end_body_note(note=get_object_or_404(student.body_notes, pk=note), by=user_of(request))
    return redirect("people:body", student.pk)


@login_required
def about(request: HttpRequest, pk: int) -> HttpResponse:
    """Handedness, stature, age band, goals, usual miss, where to practise."""
    student = access.student_act(request.user, pk)
    if queries.next_step(student) in {"people:guardian_wait", "people:body"}:
        return go_on(student)
    shown = _shown_stature(student, user_of(request))
    form = AboutForm(posted(request), instance=student, shown_stature=shown)
    if student.is_minor and student.joined_at is None:
        del form.fields["age_band"]
    if request.method == "POST" and form.is_valid():
        fresh = access.student_act(request.user, pk)  # the form has written into the other
        try:
            joining.describe_student(student=fresh, by=user_of(request), **form.facts())
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            _keep_units(user_of(request), form.units)
            if fresh.joined_at is not None:
                messages.success(request, _("Saved."))
            elif fresh.is_minor:
                joining.finish_joining(student=fresh, by=user_of(request))
            return go_on(fresh)
    context = {"student": student, "form": form, "joining": student.joined_at is None}
    return render(request, "people/about.html", context, status=400 if form.errors else 200)


@login_required
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """Stature and age band again, a quarter later."""
    student = access.student_act(request.user, pk)
    initial = {
        "stature": _shown_stature(student, user_of(request)),
        "age_band": student.age_band,
    }
    form = ConfirmForm(posted(request), initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            joining.describe_student(student=student, by=user_of(request), **form.facts())
        except LessonError as error:
            form.add_error(None, error.sentence)
        else:
            messages.success(request, _("Thank you."))
            return go_on(student)
    context = {"student": student, "form": form}
    return render(request, "people/confirm.html", context, status=400 if form.errors else 200)


def _shown_stature(student: Student, user: User) -> str:
    if student.stature_cm is None:
        return ""
    if user.units == User.Units.IMPERIAL:
        feet, inches = divmod(round(student.stature_cm / 2.54), 12)
        return f"{feet} ft {inches} in"
    return f"{student.stature_cm:g} cm"


def _keep_units(user: User, units: str) -> None:
    if user.units != units:
        user.units = units
        user.save(update_fields=["units"])


@login_required
def consents(request: HttpRequest, pk: int) -> HttpResponse:
    """What the student agrees to; a minor's guardian does it."""
    student = access.student_act(request.user, pk)
    if queries.next_step(student) not in {"people:consents", None}:
        return go_on(student)
    own = student.user_id == request.user.pk
    form = _consent_form(request, student)
    if request.method == "POST" and own and "decline" in request.POST:
        joining.finish_joining(student=student, by=user_of(request))
        messages.info(request, _("Nothing is agreed to. You can read and write here, not film."))
        return redirect("home")
    if request.method == "POST" and form.is_valid():
        return _choose(request, student, form) or redirect("home")
    context = _consent_context(student, form)
    return render(request, "people/consents.html", context, status=400 if form.errors else 200)


def _consent_form(request: HttpRequest, student: Student) -> ConsentForm:
    """The switches as they stand: all off for somebody who is asked for the first time."""
    standing = sorted(queries.agreed_purposes(student))
    form = ConsentForm if standing else AskedForm
    return form(posted(request), initial={"purposes": standing})


def _choose(request: HttpRequest, student: Student, form: ConsentForm) -> HttpResponse | None:
    """Do what the switches say; a page to go to when films would have to be erased first."""
    wanted = form.cleaned_data["purposes"]
    joined = student.joined_at is not None
    gone = set(Consent.NEEDED) & queries.agreed_purposes(student) - set(wanted)
    with transaction.atomic():
        choose_consents(student=student, by=user_of(request), purposes=wanted)
        if not student.is_minor:
            joining.finish_joining(student=student, by=user_of(request))
    if gone:  # that cannot be undone, so it is asked
        return redirect("people:withdraw", student.pk)
    if joined:
        messages.success(request, _("Saved."))
    return None


def _consent_context(student: Student, form: ConsentForm) -> dict[str, Any]:
    return {
        "student": student,
        "form": form,
        "missing": queries.consents_missing(student),
        "standing": queries.active_consents(student).select_related("given_by"),
        "joining": student.joined_at is None,
    }


@login_required
@reauthentication_required  # type: ignore[untyped-decorator]  # ships no types
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take everything agreed to back; the page says first what that does."""
    student = access.student_act(request.user, pk)
    if request.method == "POST":
        withdraw_consents(student=student, by=user_of(request))
        messages.success(request, _("Withdrawn. Every clip has been erased."))
        guards = queries.guardians_of(student).filter(user=user_of(request)).exists()
        return redirect("people:guardian" if guards else "people:consents", student.pk)
    return render(request, "people/withdraw.html", {"student": student})


@login_required
def guardian(request: HttpRequest, pk: int) -> HttpResponse:
    """All that a guardian needs of one child: what is agreed to, and the ways to the rest."""
    student = get_object_or_404(queries.wards_of(user_of(request)), pk=pk)
    form = _consent_form(request, student)
    if request.method == "POST" and form.is_valid():
        return _choose(request, student, form) or redirect("people:guardian", student.pk)
    context = _consent_context(student, form) | {
        "profile_is_old": queries.profile_is_old(student),
        "step": queries.next_step(student),
    }
    return render(request, "people/guardian.html", context, status=400 if form.errors else 200)
