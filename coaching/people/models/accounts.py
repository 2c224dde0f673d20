"""Accounts, their keys for programs, and what an account sends or is sent."""

from __future__ import annotations

import hashlib
import secrets
from datetime import timedelta
from typing import Any

from django.conf import settings
from django.contrib.auth.models import AbstractUser, UserManager
from django.core.validators import RegexValidator
from django.db import models
from django.utils import timezone
from django.utils.crypto import salted_hmac
from django.utils.translation import gettext_lazy as _

from analysis.columns import guarded
from coaching.people.zones import validate_zone

# Names are printed in e-mails to people who know nobody here yet: no links, no second line.
validate_name = RegexValidator(
    r"^[^\x00-\x1f\x7f<>@/\\]*$", _("Write a name without links or signs like / and @.")
)


class EmailUserManager(UserManager["User"]):
    """Accounts are known by their e-mail address, kept in lower case."""

    def _create_user_object(self, username, email, password, **extra):  # type: ignore[no-untyped-def]
        raise NotImplementedError("use create_user(email, password, name=...)")

    def create_user(  # type: ignore[override]  # no name but the address
        self, email: str, password: str | None = None, **extra: Any
    ) -> User:
        user = self.model(email=email.strip().lower(), **extra)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(  # type: ignore[override]
        self, email: str, password: str | None = None, **extra: Any
    ) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **extra)

    def get_by_natural_key(self, username):  # type: ignore[no-untyped-def]
        return self.get(email=(username or "").strip().lower())


@guarded
class User(AbstractUser):
    """Somebody who can sign in: coach, assistant, student or guardian."""

    class Units(models.TextChoices):
        METRIC = "metric", "centimetres and metres"
        IMPERIAL = "imperial", "inches and feet"

    username = None  # type: ignore[assignment]
    first_name = None  # type: ignore[assignment]
    last_name = None  # type: ignore[assignment]
    email = models.EmailField(unique=True)
    name = models.CharField(max_length=80, validators=[validate_name])
    units = models.CharField(max_length=8, choices=Units.choices, default=Units.METRIC)
    language = models.CharField(max_length=8, default="en")  # one of settings.LANGUAGES
    # An IANA name; empty until somebody chose one or joined with a browser that told it.
    time_zone = models.CharField(max_length=64, blank=True, validators=[validate_zone])
    # Raised when rights change: every session and API token of before is void.
    access_epoch = models.PositiveIntegerField(default=0)
    # Review-room habits: speed, keys, overlays. Never anything the app relies on.
    preferences = models.JSONField(default=dict, blank=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS = ["name"]
    objects = EmailUserManager()  # type: ignore[misc]

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        return self.name

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        """Sessions and tokens carry this: a new password or another role makes them void."""
        salt = "coaching.people.User.access"
        value = f"{self.password}:{self.access_epoch}"
        return salted_hmac(salt, value, secret=secret, algorithm="sha256").hexdigest()


class Letter(models.Model):
    """An email of the account itself (a link that lets in, a new password) on its way out.

    The row goes when the mail server has taken it. `retry_at` is also the lease of whoever
    is sending it now.
    """

    to = models.EmailField()
    subject = models.CharField(max_length=300)
    body = models.TextField()
    created_at = models.DateTimeField(default=timezone.now)
    attempts = models.PositiveSmallIntegerField(default=0)
    retry_at = models.DateTimeField(default=timezone.now, db_index=True)


TOKEN_DAYS = 90


class Posted(models.Model):
    """A post that a phone kept without a line, by its own key: sent twice, it is one."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.UUIDField()
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["user", "key"], name="one_post_per_key")]


class ApiToken(models.Model):
    """A key with which a program acts as somebody. Only its digest is kept.

    `auth_hash` is the account's at the time: with a new password, a reset or another
    role the token no longer fits and opens nothing.
    """

    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="api_tokens"
    )
    name = models.CharField(max_length=80)
    digest = models.CharField(max_length=64, unique=True)
    auth_hash = models.CharField(max_length=64)
    created_at = models.DateTimeField(default=timezone.now)
    last_used_at = models.DateTimeField(null=True, blank=True)
    expires_at = models.DateTimeField()

    @classmethod
    def issue(cls, user: User, *, name: str, days: int = TOKEN_DAYS) -> tuple[ApiToken, str]:
        """A new token and its key, which is never shown again."""
        key = secrets.token_urlsafe(32)
        row = cls.objects.create(
            user=user,
            name=name.strip()[:80],
            digest=cls.digest_of(key),
            auth_hash=user.get_session_auth_hash(),
            expires_at=timezone.now() + timedelta(days=days),
        )
        return row, key

    @staticmethod
    def digest_of(key: str) -> str:
        return hashlib.sha256(key.encode()).hexdigest()

    @property
    def is_alive(self) -> bool:
        return (
            self.user.is_active
            and self.expires_at > timezone.now()
            and secrets.compare_digest(self.auth_hash, self.user.get_session_auth_hash())
        )
