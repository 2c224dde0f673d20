"""A studio: founding it, who works in it, when it is closed."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django.conf import settings
from django.db import IntegrityError, transaction
from django.db.models import F
from django.utils import timezone
from django.utils.text import slugify
from django.utils.translation import gettext as _

from coaching.people import access, audit
from coaching.people.accounts import prove_address
from coaching.people.errors import LessonError
from coaching.people.listeners import promises_changed
from coaching.people.mail import refuse_too_many_letters, send_invitation
from coaching.people.models import Holiday, Invitation, Membership, Studio, User
from coaching.people.once import in_turn
from coaching.people.services.students import sent_twice, take_up

MEMBER_LINK = timedelta(days=14)


@transaction.atomic
def create_studio(*, name: str, owner: User, is_demo: bool = False) -> Studio:
    """Found a studio; the slug is made from its name and is unique."""
    base = slugify(name)[:40] or "studio"
    slug, number = base, 1
    while Studio.objects.filter(slug=slug).exists():
        number += 1
        slug = f"{base}-{number}"
    zone = owner.time_zone or settings.TIME_ZONE
    studio = Studio.objects.create(name=name, slug=slug, is_demo=is_demo, time_zone=zone)
    Membership.objects.create(studio=studio, user=owner, role=Membership.Role.OWNER)
    end_access(owner)
    audit.write(audit.Act.ROLE, by=owner, studio=studio, whose=owner.pk, role="owner")
    return studio


def end_access(user: User) -> None:
    """Rights changed: every session and every API token of before is void.

    A page that changes the own rights signs in anew: `views.account.enter`.
    """
    User.objects.filter(pk=user.pk).update(access_epoch=F("access_epoch") + 1)
    user.refresh_from_db(fields=["access_epoch"])


@transaction.atomic
def change_studio(*, studio: Studio, by: User, **fields: Any) -> None:
    """`name`, `turnaround_hours`, `working_days`, `time_zone`, `accent`, `verdicts_count`,
    `second_step_required`."""
    access.require_role(by, studio)
    changed = {name for name, value in fields.items() if getattr(studio, name) != value}
    for name in changed:
        setattr(studio, name, fields[name])
    studio.full_clean(exclude=["slug"])
    studio.save(update_fields=sorted(changed))
    audit.write(audit.Act.STUDIO, by=by, studio=studio, fields=sorted(changed))
    if changed & {"turnaround_hours", "working_days", "time_zone"}:
        promises_changed(studio)


@transaction.atomic
def invite_member(*, studio: Studio, by: User, email: str, role: str) -> Invitation:
    access.require_role(by, studio)
    email = email.strip().lower()
    in_turn(studio)
    kind = Invitation.Kind.MEMBER
    if twin := sent_twice(studio.invitations, by, kind=kind, email=email, role=role):
        return twin
    refuse_too_many_letters(by=by)
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
    audit.write(audit.Act.INVITED, by=by, studio=studio, role=invitation.role)
    return invitation


@transaction.atomic
def join_studio(*, invitation: Invitation, user: User) -> Membership:
    """A colleague takes up an invitation, once, with the address it was sent to.

    The link was shown to that mailbox only, which proves the address. Whoever held the account
    before with an address that was not proved keeps no session and no token.
    """
    if user.email != invitation.email:
        raise LessonError(
            _("This link was sent to %s: sign in with that address.") % invitation.email,
            code="other_address",
            status=403,
        )
    take_up(invitation)
    prove_address(user)
    try:
        with transaction.atomic():
            membership = Membership.objects.create(
                studio=invitation.studio, user=user, role=invitation.role
            )
    except IntegrityError:
        raise LessonError(
            _("You already work in this studio."), code="already_member", status=409
        ) from None
    end_access(user)
    studio = invitation.studio
    audit.write(audit.Act.ROLE, by=user, studio=studio, whose=user.pk, role=invitation.role)
    return membership


@transaction.atomic
def change_role(*, membership: Membership, by: User, role: str) -> None:
    access.require_role(by, membership.studio)
    if role == membership.role:
        return
    _keep_an_owner(membership, staying=role == Membership.Role.OWNER)
    membership.role = Membership.Role(role)
    membership.save(update_fields=["role"])
    end_access(membership.user)
    studio, whose = membership.studio, membership.user_id
    audit.write(audit.Act.ROLE, by=by, studio=studio, whose=whose, role=membership.role)


@transaction.atomic
def remove_member(*, membership: Membership, by: User) -> None:
    """The person leaves; students they taught are for the studio to hand over."""
    access.require_role(by, membership.studio)
    _keep_an_owner(membership, staying=False)
    membership.studio.students.filter(coach=membership.user).update(coach=None)
    end_access(membership.user)
    studio, whose = membership.studio, membership.user_id
    membership.delete()
    audit.write(audit.Act.ROLE, by=by, studio=studio, whose=whose, role="")


def _keep_an_owner(membership: Membership, *, staying: bool) -> None:
    others = membership.studio.memberships.select_for_update().filter(role=Membership.Role.OWNER)
    if not staying and not others.exclude(pk=membership.pk).exists():
        raise LessonError(
            _("A studio needs an owner: make somebody else the owner first."), code="last_owner"
        )


@transaction.atomic
def add_holiday(
    *, studio: Studio, by: User, starts_on: date, ends_on: date, note: str = ""
) -> Holiday:
    """Days on which promised times stand still; standing promises move at once."""
    access.require_role(by, studio, access.TEACHING)
    if ends_on < starts_on:
        raise LessonError(_("The last day comes before the first: swap them."), code="order")
    in_turn(studio)
    days = {"starts_on": starts_on, "ends_on": ends_on, "note": note}
    if twin := studio.holidays.filter(**days).first():
        return twin
    holiday = Holiday.objects.create(studio=studio, **days)
    promises_changed(studio)
    return holiday


@transaction.atomic
def remove_holiday(*, holiday: Holiday, by: User) -> None:
    studio = holiday.studio
    access.require_role(by, studio, access.TEACHING)
    holiday.delete()
    promises_changed(studio)
