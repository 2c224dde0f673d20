"""A server of the open tus 1.0 protocol, https://tus.io/protocols/resumable-upload.

Core, creation, creation-with-upload, expiration, checksum and termination; a voice that
is still being spoken may defer its length. Signing in is by session (with the CSRF
header) or by token, as in the rest of the API; another person's upload is a 404.

Metadata of a clip: `filename`, `angle` (pk) or `student` (pk) with `view` and `kind`,
`duration` (seconds, where known), `words`, `replaces` (pk of a submission), `key` (a UUID
of the sender's: the same key gives the same upload). Of a recording: `purpose`.
"""

from __future__ import annotations

import base64
import binascii
import uuid
from datetime import UTC
from typing import Any

from django.conf import settings
from django.http import Http404
from django.urls import reverse
from django.utils import timezone
from django.utils.http import http_date
from django.utils.translation import gettext as _
from rest_framework.parsers import BaseParser
from rest_framework.permissions import AllowAny, BasePermission, IsAuthenticated
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from coaching import numbers
from coaching.bodies import ANY, takes_up_to
from coaching.intake import senders, upload_buffer
from coaching.intake.access import angle_act, upload_own
from coaching.intake.models import RequestedAngle, Submission, Upload
from coaching.intake.services import refusals, uploads
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.people.models import Student

VERSION = "1.0.0"
EXTENSIONS = "creation,creation-with-upload,creation-defer-length,expiration,checksum,termination"
BYTES = "application/offset+octet-stream"
SILENCE_S = 30  # a phone that fell silent for this long has lost its connection


class TusError(LessonError):
    """Something the protocol forbids; the sentence is for programmers."""

    def __init__(self, sentence: str, *, status: int) -> None:
        super().__init__(sentence, code="tus", status=status)


class NoParser(BaseParser):
    """The body is read piece by piece, never parsed."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: Any = None, parser_context: Any = None) -> Any:
        return {}


class OfOwner:
    """Whose upload it is, and where it leads: of the person who is signed in."""

    def asked_for(
        self, request: Request, metadata: dict[str, str]
    ) -> tuple[RequestedAngle | None, Student | None]:
        """What a new clip is for."""
        user = user_of(request)
        if metadata.get("angle"):
            angle = angle_act(user, pk_of(metadata["angle"]))
            return angle, angle.request.student
        if metadata.get("student"):
            return None, access.student_act(user, pk_of(metadata["student"]))
        return None, None

    def upload_of(self, request: Request, pk: uuid.UUID) -> Upload:
        return upload_own(user_of(request), pk)

    def url_of(self, upload: Upload) -> str:
        return reverse("intake:upload", args=[upload.pk])

    def page_of(self, submission: Submission) -> str:
        return reverse("intake:submission", args=[submission.pk])

    def standing_upload(self, request: Request, pk: uuid.UUID) -> Upload:
        upload = self.upload_of(request, pk)
        if upload.finished_at is None and (
            upload.expires_at <= timezone.now() or not upload_buffer.path(upload.pk).exists()
        ):
            raise refusals.gone()
        return upload


@takes_up_to(ANY)
class TusView(OfOwner, APIView):
    renderer_classes = [JSONRenderer]
    parser_classes = [NoParser]
    schema = None  # the protocol is its own reference

    def get_permissions(self) -> list[BasePermission]:
        return [AllowAny() if self.request.method == "OPTIONS" else IsAuthenticated()]

    def initialize_request(self, request: Any, *args: Any, **kwargs: Any) -> Request:
        # Some networks let only GET and POST through.
        override = request.META.get("HTTP_X_HTTP_METHOD_OVERRIDE", "").upper()
        if request.method == "POST" and override in ("PATCH", "DELETE"):
            request.method = override
        return super().initialize_request(request, *args, **kwargs)

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        if request.method != "OPTIONS" and request.headers.get("Tus-Resumable") != VERSION:
            raise TusError("This server speaks tus 1.0.0.", status=412)
        super().initial(request, *args, **kwargs)

    def finalize_response(self, request: Request, response: Any, *args: Any, **kwargs: Any) -> Any:
        response = super().finalize_response(request, response, *args, **kwargs)
        response["Tus-Resumable"] = VERSION
        response["Cache-Control"] = "no-store"
        if response.status_code == 412:
            response["Tus-Version"] = VERSION
        return response

    def options(self, request: Any, *args: Any, **kwargs: Any) -> Response:
        return Response(
            status=204,
            headers={
                "Tus-Version": VERSION,
                "Tus-Extension": EXTENSIONS,
                "Tus-Max-Size": str(settings.UPLOAD_MAX_BYTES),
                "Tus-Checksum-Algorithm": ",".join(upload_buffer.CHECKSUMS),
            },
        )


class Uploads(TusView):
    """POST opens an upload."""

    def post(self, request: Request) -> Response:
        user = user_of(request)
        metadata = parse_metadata(request.headers.get("Upload-Metadata", ""))
        purpose = metadata.get("purpose", Upload.Purpose.CLIP)
        length = _length(request)
        if length is None and request.headers.get("Upload-Defer-Length") != "1":
            raise TusError("Send Upload-Length: the size of the file in bytes.", status=400)
        angle, student = self.asked_for(request, metadata)  # `OfOwner`, or by a link
        upload = uploads.create_upload(
            by=user,
            length=length,
            purpose=purpose,
            student=student,
            angle=angle,
            metadata=metadata,
            key=_key(metadata.get("key")),
        )
        headers = {"Location": self.url_of(upload)} | _expiry(upload)
        if request.content_type == BYTES:
            headers["Upload-Offset"] = str(_receive(request, upload, expected=0))
        return Response(status=201, headers=headers)


class OneUpload(TusView):
    """HEAD tells how far an upload got, PATCH goes on, DELETE gives it up."""

    def head(self, request: Request, pk: uuid.UUID) -> Response:
        upload = self.standing_upload(request, pk)
        if upload.finished_at:
            offset = upload.length or 0
        else:
            # Whoever asks is about to go on: an older writer on a dead connection stops.
            try:
                _hold, offset = upload_buffer.acquire(upload.pk)
            except FileNotFoundError:  # finished by another request in this very moment
                raise Http404 from None
            if offset == upload.length:
                uploads.finish_upload(upload=upload, by=user_of(request))
        headers = {"Upload-Offset": str(offset), **_expiry(upload)}
        if upload.length is None:
            headers["Upload-Defer-Length"] = "1"
        else:
            headers["Upload-Length"] = str(upload.length)
        if upload.metadata:
            headers["Upload-Metadata"] = format_metadata(upload.metadata)
        return Response(status=200, headers=headers)

    def patch(self, request: Request, pk: uuid.UUID) -> Response:
        if request.content_type != BYTES:
            raise TusError(f"Send Content-Type: {BYTES}.", status=415)
        upload = self.standing_upload(request, pk)
        expected = _whole_number(request, "Upload-Offset")
        if expected is None:
            raise TusError("Send Upload-Offset: where the bytes go on.", status=400)
        if upload.length is None and (length := _length(request)) is not None:
            refusals.refuse_size(length=length, purpose=upload.purpose)
            Upload.objects.filter(pk=upload.pk, length__isnull=True).update(length=length)
            upload.refresh_from_db()
        offset = _receive(request, upload, expected=expected)
        return Response(status=204, headers={"Upload-Offset": str(offset), **_expiry(upload)})

    def delete(self, request: Request, pk: uuid.UUID) -> Response:
        uploads.discard_upload(upload=self.standing_upload(request, pk), by=user_of(request))
        return Response(status=204)


class FinishUpload(OfOwner, APIView):
    """POST: has the clip arrived, and where does its page go on? Safe to ask again."""

    parser_classes = [NoParser]
    renderer_classes = [JSONRenderer]
    schema = None

    def post(self, request: Request, pk: uuid.UUID) -> Response:
        upload = self.standing_upload(request, pk)
        if upload.finished_at is None and upload_buffer.offset(upload.pk) != upload.length:
            raise LessonError(
                _("Part of the clip is still missing. Send it again; it goes on where it stopped."),
                code="unfinished",
                status=409,
            )
        submission = uploads.finish_upload(upload=upload, by=user_of(request))
        page = self.page_of(submission) if submission else None
        return Response({"submission": submission.pk if submission else None, "page": page})


def _receive(request: Request, upload: Upload, *, expected: int) -> int:
    """Take in the body from `expected` on; the last byte makes the submission."""
    if upload.finished_at:
        if expected != upload.length:
            raise TusError("The upload is finished.", status=409)
        return expected
    promised = _whole_number(request, "Content-Length")
    limit = upload.length if upload.length is not None else refusals.max_bytes(upload.purpose)
    room = limit - expected
    if promised is not None and promised > room and expected == upload_buffer.offset(upload.pk):
        raise TusError("That is more than Upload-Length said.", status=413)
    checksum = parse_checksum(request.headers.get("Upload-Checksum", ""))
    try:
        lock, _size = upload_buffer.acquire(upload.pk, expected=expected)
        with senders.sending(
            person=upload.owner_id,
            upload=upload.pk,
            sock=request._request.META.get("gunicorn.socket"),
            body=_body(request),
        ) as body:
            offset = upload_buffer.receive(upload.pk, body, lock=lock, room=room, checksum=checksum)
    except upload_buffer.WrongOffset:
        raise TusError("The upload goes on at another offset: ask with HEAD.", status=409) from None
    except (upload_buffer.LockLost, FileNotFoundError):
        raise TusError("Another connection has taken this upload over.", status=409) from None
    except upload_buffer.WrongChecksum:
        raise TusError("The bytes arrived damaged: send them again.", status=460) from None
    except upload_buffer.NoRoom:
        raise refusals.no_room() from None
    if offset == upload.length:
        uploads.finish_upload(upload=upload, by=user_of(request))
    return offset


def _body(request: Request) -> Any:
    """The request's bytes as they come; a connection that falls silent is let go."""
    plain = request._request
    sock = plain.META.get("gunicorn.socket")
    if sock is not None:
        sock.settimeout(SILENCE_S)
    if plain.META.get("HTTP_TRANSFER_ENCODING", "").lower() == "chunked":
        if not plain.META.get("wsgi.input_terminated"):
            raise TusError("Send Content-Length.", status=411)
        return plain.META["wsgi.input"]
    return plain


def _expiry(upload: Upload) -> dict[str, str]:
    if upload.finished_at:
        return {}
    return {"Upload-Expires": http_date(upload.expires_at.astimezone(UTC).timestamp())}


def _whole_number(request: Request, name: str) -> int | None:
    text = request.headers.get(name, "").strip()
    if not text:
        return None
    try:
        return numbers.whole(text)
    except ValueError:
        raise TusError(f"{name} must be a whole number, 0 or more.", status=400) from None


def _length(request: Request) -> int | None:
    return _whole_number(request, "Upload-Length")


def pk_of(text: str) -> int:
    key = numbers.row_key(text)
    if key is None:
        raise Http404
    return key


def _key(text: str | None) -> uuid.UUID | None:
    try:
        return uuid.UUID(text) if text else None
    except ValueError:
        raise TusError("The metadata's key must be a UUID.", status=400) from None


def parse_metadata(header: str) -> dict[str, str]:
    """`key base64, key base64, key` as text; 400 when it is not that."""
    found: dict[str, str] = {}
    for pair in filter(None, (part.strip() for part in header.split(","))):
        name, _space, value = pair.partition(" ")
        try:
            found[name] = base64.b64decode(value.strip(), validate=True).decode("utf-8")
        except (binascii.Error, UnicodeDecodeError):
            raise TusError("Upload-Metadata must lock base64 of UTF-8 text.", status=400) from None
        if "\0" in found[name] or "\0" in name:
            raise TusError("Upload-Metadata must lock text without NUL.", status=400)
    return found


def format_metadata(metadata: dict[str, str]) -> str:
    return ",".join(
        f"{name} {base64.b64encode(value.encode()).decode()}".strip()
        for name, value in metadata.items()
    )


def parse_checksum(header: str) -> tuple[str, bytes] | None:
    if not header:
        return None
    name, _space, value = header.partition(" ")
    if name not in upload_buffer.CHECKSUMS:
        raise TusError(f"Checksums here are {', '.join(upload_buffer.CHECKSUMS)}.", status=400)
    try:
        return name, base64.b64decode(value.strip(), validate=True)
    except binascii.Error:
        raise TusError("Upload-Checksum must lock base64.", status=400) from None
