"""Requests, clips, their figures, and what a person moved in them."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import mixins, status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response
from rest_framework.serializers import CharField, FileField

from analysis.models import Correction
from coaching import numbers
from coaching.api.reading import PlainMultiPartParser, body
from coaching.api.serializers.clips import (
    AngleSerializer,
    CorrectionSerializer,
    FiguresSerializer,
    RequestSerializer,
    SubmissionSerializer,
    WordsSerializer,
)
from coaching.api.serializers.review import ReviewSerializer
from coaching.bodies import takes_up_to
from coaching.checking import checked
from coaching.intake.access import (
    angle_act,
    request_prepare,
    requests_read,
    submission_act,
    submissions_read,
)
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.intake.services import asking, clips, uploads
from coaching.lessons.wording.codes import quality_rows
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.review.access import submission_prepare, video_prepare
from coaching.review.services import corrections, drafts


class Requests(viewsets.ReadOnlyModelViewSet[Request]):
    """Requests for camera angles."""

    serializer_class = RequestSerializer
    queryset = Request.objects.none()

    def get_queryset(self) -> QuerySet[Request]:
        return requests_read(self.request.user).prefetch_related("angles").order_by("pk")

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"])
    def close(self, request: ApiRequest, pk: int) -> Response:
        """Nothing more is to be filmed for this request."""
        asking.close_request(request=request_prepare(request.user, pk), by=user_of(request))
        return Response(status=status.HTTP_204_NO_CONTENT)


@takes_up_to(settings.UPLOAD_MAX_BYTES)
class Angles(viewsets.GenericViewSet[RequestedAngle]):
    serializer_class = AngleSerializer
    queryset = RequestedAngle.objects.none()
    parser_classes = [PlainMultiPartParser]

    @extend_schema(
        request={
            "multipart/form-data": inline_serializer(
                "Clip",
                {
                    "file": FileField(),
                    "text": CharField(required=False),
                },
            )
        },
        responses={201: SubmissionSerializer},
    )
    @action(detail=True, methods=["post"])
    def send(self, request: ApiRequest, pk: int) -> Response:
        """Send a whole clip at once. Over a bad connection use the resumable upload at
        `/uploads/` (tus 1.0), which ends in the same service."""
        angle = angle_act(request.user, pk)
        file = body(request).get("file")
        if file is None or isinstance(file, str):
            raise LessonError(_("Choose a video to send."), code="no_file")
        clip = uploads.receive_file(
            by=user_of(request),
            student=angle.request.student,
            file=file,
            angle=angle,
            text=str(body(request).get("text", "")),
        )
        return Response(SubmissionSerializer(clip).data, status=status.HTTP_201_CREATED)


class Submissions(viewsets.ReadOnlyModelViewSet[Submission]):
    """Clips that were sent; `state` is checking, refused, copying, measuring, ready, failed
    or reviewed."""

    serializer_class = SubmissionSerializer
    queryset = Submission.objects.none()

    def get_queryset(self) -> QuerySet[Submission]:
        rows = submissions_read(self.request.user)
        student = self.request.query_params.get("student", "")
        if student:
            rows = rows.filter(student_id=numbers.row_key(student) or 0)
        return rows.order_by("-pk")

    @extend_schema(
        parameters=[OpenApiParameter("student", int, description="Only this student's clips.")]
    )
    def list(self, request: ApiRequest, *args: Any, **kwargs: Any) -> Response:
        return super().list(request, *args, **kwargs)

    @extend_schema(responses=FiguresSerializer)
    @action(detail=True)
    def figures(self, request: ApiRequest, pk: int) -> Response:
        """Events and figures of every repetition, each with its uncertainty or its reason."""
        clip = self.get_object()
        run = clip.video.runs.newest_measured().first()
        if run is None:
            raise LessonError(_("This clip has no figures yet."), code="not_measured", status=409)
        shown = {
            "events": run.events.all(),
            "measurements": run.measurements.all(),
            "quality": quality_rows(run.result.get("quality", [])),
            "version": run.pipeline_version,
        }
        return Response(FiguresSerializer(shown).data)

    @extend_schema(request=WordsSerializer, responses=SubmissionSerializer)
    @action(detail=True, methods=["post"])
    def override(self, request: ApiRequest, pk: int) -> Response:
        """The student insists on a refused clip, with a word to the coach."""
        clip = submission_act(request.user, pk)
        clips.override_refusal(
            submission=clip, by=user_of(request), **checked(WordsSerializer, request)
        )
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None, responses=SubmissionSerializer)
    @action(detail=True, methods=["post"])
    def right(self, request: ApiRequest, pk: int) -> Response:
        """The student says that what a warning doubts is right; again changes nothing."""
        clips.say_it_is_right(submission=submission_act(request.user, pk), by=user_of(request))
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None, responses=SubmissionSerializer)
    @action(detail=True, methods=["post"])
    def retry(self, request: ApiRequest, pk: int) -> Response:
        """Measure a clip again whose measuring failed."""
        clips.retry(submission=self.get_object(), by=user_of(request))
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None, responses={201: ReviewSerializer})
    @action(detail=True, methods=["post"])
    def review(self, request: ApiRequest, pk: int) -> Response:
        """Open the draft of an answer to this clip (or the one that is open)."""
        clip = submission_prepare(request.user, pk)
        draft = drafts.open_draft(submissions=[clip], by=user_of(request))
        return Response(ReviewSerializer(draft).data, status=status.HTTP_201_CREATED)


class Corrections(
    mixins.CreateModelMixin, mixins.DestroyModelMixin, viewsets.GenericViewSet[Correction]
):
    """What a person moved: an event, a joint or the shaft. Figures follow at once."""

    serializer_class = CorrectionSerializer
    queryset = Correction.objects.none()

    @extend_schema(request=CorrectionSerializer, responses={201: CorrectionSerializer})
    def create(self, request: ApiRequest, *args: Any, **kwargs: Any) -> Response:
        video = video_prepare(request.user, int(kwargs["video_pk"]))
        moved = checked(CorrectionSerializer, request)
        row = corrections.correct(video=video, by=user_of(request), **moved)
        return Response(self.get_serializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses={204: None})
    def destroy(self, request: ApiRequest, *args: Any, **kwargs: Any) -> Response:
        video = video_prepare(request.user, int(kwargs["video_pk"]))
        corrections.undo_correction(
            correction=get_object_or_404(video.corrections, pk=kwargs["pk"]), by=user_of(request)
        )
        return Response(status=status.HTTP_204_NO_CONTENT)
