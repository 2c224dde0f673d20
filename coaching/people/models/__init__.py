"""Accounts, studios, students, guardians and what they have agreed to.

Handed on by the folder, because Django and the migrations look for models here.
"""

from coaching.people.models.accounts import (
    ApiToken,
    EmailUserManager,
    Letter,
    Posted,
    User,
    validate_name,
)
from coaching.people.models.audit import AuditEntry
from coaching.people.models.students import (
    BodyNote,
    Consent,
    Guardianship,
    Invitation,
    Region,
    Student,
    StudentTag,
    new_token,
)
from coaching.people.models.studios import Holiday, Membership, Studio, default_zone

__all__ = [
    "ApiToken",
    "AuditEntry",
    "BodyNote",
    "Consent",
    "EmailUserManager",
    "Guardianship",
    "Holiday",
    "Invitation",
    "Letter",
    "Membership",
    "Posted",
    "Region",
    "Student",
    "StudentTag",
    "Studio",
    "User",
    "default_zone",
    "new_token",
    "validate_name",
]
