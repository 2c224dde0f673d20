"""Requests, clips, their figures, and what a person moved in them."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response

from analysis.models import Correction, Run
from coaching.api import serializers as shapes
from coaching.api.checking import checked
from coaching.intake import queries as intake_queries
from coaching.intake import services as intake
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.review import queries as review_queries
from coaching.review import services as review


class Requests(viewsets.ReadOnlyModelViewSet[Request]):
    """Requests for camera angles."""

    serializer_class = shapes.RequestSerializer
    queryset = Request.objects.none()

    def get_queryset(self) -> QuerySet[Request]:
        return (
            access.rows_read(self.request.user, Request).prefetch_related("angles").order_by("pk")
        )

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"])
    def close(self, request: ApiRequest, pk: int) -> Response:
        """Nothing more is to be filmed for this request."""
        row = get_object_or_404(
            access.rows_taught(request.user, Request, roles=access.STAFF), pk=pk
        )
        intake.close_request(request=row)
        return Response(status=status.HTTP_204_NO_CONTENT)


class Angles(viewsets.GenericViewSet[RequestedAngle]):
    serializer_class = shapes.AngleSerializer
    queryset = RequestedAngle.objects.none()
    parser_classes = [MultiPartParser]

    @extend_schema(
        request={
            "multipart/form-data": inline_serializer(
                "Clip",
                {
                    "file": serializers.FileField(),
                    "words": serializers.CharField(required=False),
                },
            )
        },
        responses={201: shapes.SubmissionSerializer},
    )
    @action(detail=True, methods=["post"])
    def send(self, request: ApiRequest, pk: int) -> Response:
        """Send a whole clip at once. Over a bad connection use the resumable upload at
        `/uploads/` (tus 1.0), which ends in the same service."""
        angle = get_object_or_404(
            access.rows_acted(request.user, RequestedAngle, "request__student"), pk=pk
        )
        file = request.data.get("file")
        if file is None or isinstance(file, str):
            raise LessonError(_("Choose a video to send."), code="no_file")
        clip = intake.receive_file(
            by=request.user,
            student=angle.request.student,
            file=file,
            angle=angle,
            words=str(request.data.get("words", "")),
        )
        return Response(shapes.SubmissionSerializer(clip).data, status=status.HTTP_201_CREATED)


class Submissions(viewsets.ReadOnlyModelViewSet[Submission]):
    """Clips that were sent; `state` is checking, refused, copying, measuring, ready, failed
    or reviewed."""

    serializer_class = shapes.SubmissionSerializer
    queryset = Submission.objects.none()

    def get_queryset(self) -> QuerySet[Submission]:
        rows = access.rows_read(self.request.user, Submission)
        student = self.request.query_params.get("student", "")
        if student.isdigit():
            rows = rows.filter(student_id=student)
        return intake_queries.with_runs(rows).order_by("-pk")

    @extend_schema(
        parameters=[OpenApiParameter("student", int, description="Only this student's clips.")]
    )
    def list(self, request: ApiRequest, *args: Any, **kwargs: Any) -> Response:
        return super().list(request, *args, **kwargs)

    @extend_schema(responses=shapes.FiguresSerializer)
    @action(detail=True)
    def figures(self, request: ApiRequest, pk: int) -> Response:
        """Events and figures of every repetition, each with its uncertainty or its reason."""
        clip = self.get_object()
        run = (
            clip.video.runs.filter(kind=Run.Kind.MEASURE, status=Run.Status.DONE)
            .prefetch_related("events", "measurements")
            .order_by("-pk")
            .first()
        )
        if run is None:
            raise LessonError(_("This clip has no figures yet."), code="not_measured", status=409)
        shown = {
            "events": run.events.all(),
            "measurements": run.measurements.all(),
            "quality": run.result.get("quality", []),
        }
        return Response(shapes.FiguresSerializer(shown).data)

    @extend_schema(request=shapes.WordsSerializer, responses=shapes.SubmissionSerializer)
    @action(detail=True, methods=["post"])
    def override(self, request: ApiRequest, pk: int) -> Response:
        """The student insists on a refused clip, with a word to the coach."""
        clip = get_object_or_404(access.rows_acted(request.user, Submission), pk=pk)
        intake.override_refusal(
            submission=clip, by=request.user, **checked(shapes.WordsSerializer, request)
        )
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None, responses=shapes.SubmissionSerializer)
    @action(detail=True, methods=["post"])
    def retry(self, request: ApiRequest, pk: int) -> Response:
        """Measure a clip again whose measuring failed."""
        intake.retry(submission=self.get_object())
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=None, responses={201: shapes.ReviewSerializer})
    @action(detail=True, methods=["post"])
    def review(self, request: ApiRequest, pk: int) -> Response:
        """Open the draft of an answer to this clip (or the one that is open)."""
        clip = get_object_or_404(
            access.rows_taught(request.user, Submission, roles=access.STAFF), pk=pk
        )
        draft = review.open_draft(submissions=[clip], by=request.user)
        return Response(shapes.ReviewSerializer(draft).data, status=status.HTTP_201_CREATED)


class Corrections(
    mixins.CreateModelMixin, mixins.DestroyModelMixin, viewsets.GenericViewSet[Correction]
):
    """What a person moved: an event, a joint or the shaft. Figures follow at once."""

    serializer_class = shapes.CorrectionSerializer
    queryset = Correction.objects.none()

    @extend_schema(
        request=shapes.CorrectionSerializer, responses={201: shapes.CorrectionSerializer}
    )
    def create(self, request: ApiRequest, *args: Any, **kwargs: Any) -> Response:
        video = review_queries.video_prepare(request.user, int(kwargs["video_pk"]))
        moved = checked(shapes.CorrectionSerializer, request)
        row = review.correct(video=video, author=request.user, **moved)
        return Response(self.get_serializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses={204: None})
    def destroy(self, request: ApiRequest, *args: Any, **kwargs: Any) -> Response:
        video = review_queries.video_prepare(request.user, int(kwargs["video_pk"]))
        review.undo_correction(correction=get_object_or_404(video.corrections, pk=kwargs["pk"]))
        return Response(status=status.HTTP_204_NO_CONTENT)
