"""Uploads of a phone that has a filming link: the same protocol, for what the link asks for only.

The clip is sent in the name of whoever made the link. Nothing else of theirs is reached by it.
"""

from __future__ import annotations

import uuid
from typing import Any

from django.http import Http404
from django.urls import reverse
from rest_framework.authentication import BaseAuthentication
from rest_framework.request import Request

from coaching.intake.models import FilmingLink, RequestedAngle, Submission, Upload
from coaching.intake.services import filming_links
from coaching.intake.tus import FinishUpload, OfOwner, OneUpload, TusError, Uploads, pk_of
from coaching.people.models import Student, User


class _ByToken(BaseAuthentication):
    """Whoever made the link, for these addresses alone; a link that is over is refused."""

    def __init__(self, token: str) -> None:
        self.token = token

    def authenticate(self, request: Request) -> tuple[User, FilmingLink]:
        link = filming_links.link_open(self.token)
        assert link.made_by is not None
        return link.made_by, link


def _link(request: Request) -> FilmingLink:
    assert isinstance(request.auth, FilmingLink)
    return request.auth


class ByLink(OfOwner):
    token = ""

    def dispatch(self, request: Any, *args: Any, token: str, **kwargs: Any) -> Any:
        self.token = token
        return super().dispatch(request, *args, **kwargs)  # type: ignore[misc]

    def get_authenticators(self) -> list[BaseAuthentication]:
        return [_ByToken(self.token)]

    def asked_for(
        self, request: Request, metadata: dict[str, str]
    ) -> tuple[RequestedAngle | None, Student | None]:
        if metadata.get("purpose", Upload.Purpose.CLIP) != Upload.Purpose.CLIP:
            raise TusError("A filming link takes clips only.", status=400)
        angle = filming_links.angle_of(_link(request), pk_of(metadata.get("angle", "")))
        return angle, angle.request.student

    def upload_of(self, request: Request, pk: uuid.UUID) -> Upload:
        upload = super().upload_of(request, pk)
        if not filming_links.upload_by(_link(request), upload):
            raise Http404
        return upload

    def url_of(self, upload: Upload) -> str:
        return reverse("intake:phone_upload", args=[self.token, upload.pk])

    def page_of(self, submission: Submission) -> str:
        return reverse("intake:phone", args=[self.token])


class PhoneUploads(ByLink, Uploads):
    pass


class OnePhoneUpload(ByLink, OneUpload):
    pass


class FinishPhoneUpload(ByLink, FinishUpload):
    pass
