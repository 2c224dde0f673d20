"""A studio: founding it, who works in it, when it is closed."""

from __future__ import annotations

from datetime import date, timedelta

from django.db import IntegrityError, transaction
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from coaching.people.errors import LessonError
from coaching.people.mail import send_invitation
from coaching.people.models import Holiday, Invitation, Membership, Studio, User
from coaching.people.services.students import take_up
from coaching.people.telling import promises_changed

MEMBER_LINK = timedelta(days=14)


@transaction.atomic
def create_studio(*, name: str, owner: User, is_demo: bool = False) -> Studio:
    """Found a studio; the slug is made from its name and is unique."""
    base = slugify(name)[:40] or "studio"
    slug, number = base, 1
    while Studio.objects.filter(slug=slug).exists():
        number += 1
        slug = f"{base}-{number}"
    studio = Studio.objects.create(name=name, slug=slug, is_demo=is_demo)
    Membership.objects.create(studio=studio, user=owner, role=Membership.Role.OWNER)
    return studio


@transaction.atomic
def change_studio(*, studio: Studio, name: str, turnaround_hours: int) -> None:
    changed = studio.turnaround_hours != turnaround_hours
    studio.name, studio.turnaround_hours = name, turnaround_hours
    studio.save(update_fields=["name", "turnaround_hours"])
    if changed:
        promises_changed(studio)


@transaction.atomic
def invite_member(*, studio: Studio, by: User, email: str, role: str) -> Invitation:
    email = email.strip().lower()
    if studio.memberships.filter(user__email=email).exists():
        raise LessonError(_("This person already works in your studio."), code="already_member")
    invitation = Invitation.objects.create(
        kind=Invitation.Kind.MEMBER,
        studio=studio,
        role=Membership.Role(role),
        email=email,
        invited_by=by,
        expires_at=timezone.now() + MEMBER_LINK,
    )
    send_invitation(invitation)
    return invitation


@transaction.atomic
def join_studio(*, invitation: Invitation, user: User) -> Membership:
    """A colleague takes up an invitation, once, with the address it was sent to."""
    if user.email != invitation.email:
        raise LessonError(
            _("This link was sent to %s: sign in with that address.") % invitation.email,
            code="other_address",
            status=403,
        )
    take_up(invitation)
    try:
        with transaction.atomic():
            return Membership.objects.create(
                studio=invitation.studio, user=user, role=invitation.role
            )
    except IntegrityError:
        raise LessonError(
            _("You already work in this studio."), code="already_member", status=409
        ) from None


@transaction.atomic
def change_role(*, membership: Membership, role: str) -> None:
    _keep_an_owner(membership, staying=role == Membership.Role.OWNER)
    membership.role = Membership.Role(role)
    membership.save(update_fields=["role"])


@transaction.atomic
def remove_member(*, membership: Membership) -> None:
    """The person leaves; students they taught are for the studio to hand over."""
    _keep_an_owner(membership, staying=False)
    membership.studio.students.filter(coach=membership.user).update(coach=None)
    membership.delete()


def _keep_an_owner(membership: Membership, *, staying: bool) -> None:
    others = membership.studio.memberships.select_for_update().filter(role=Membership.Role.OWNER)
    if not staying and not others.exclude(pk=membership.pk).exists():
        raise LessonError(
            _("A studio needs an owner: make somebody else the owner first."), code="last_owner"
        )


@transaction.atomic
def add_holiday(*, studio: Studio, starts_on: date, ends_on: date, note: str = "") -> Holiday:
    """Days on which promised times stand still; standing promises move at once."""
    if ends_on < starts_on:
        raise LessonError(_("The last day comes before the first: swap them."), code="order")
    holiday = Holiday.objects.create(studio=studio, starts_on=starts_on, ends_on=ends_on, note=note)
    promises_changed(studio)
    return holiday


@transaction.atomic
def remove_holiday(*, holiday: Holiday) -> None:
    studio = holiday.studio
    holiday.delete()
    promises_changed(studio)
