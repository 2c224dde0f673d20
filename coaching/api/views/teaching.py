"""Answers, findings, drills, attempts, verdicts and pain."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers, status, viewsets
from rest_framework.decorators import action
from rest_framework.parsers import JSONParser
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response

from analysis.models import Measurement
from coaching.api import serializers as shapes
from coaching.api.checking import checked
from coaching.diagnosis import services as diagnosis
from coaching.diagnosis.models import Finding
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.practice import services as practice
from coaching.practice.models import Assignment, Attempt, Criterion, Drill, PainReport, Verdict
from coaching.review import queries as review_queries
from coaching.review import services as review
from coaching.review.models import Review


class Reviews(viewsets.ReadOnlyModelViewSet[Review]):
    """Answers to students. A draft is seen by staff only and never changes once published."""

    serializer_class = shapes.ReviewSerializer
    queryset = Review.objects.none()

    def get_queryset(self) -> QuerySet[Review]:
        taught = access.rows_taught(self.request.user, Review, roles=access.STAFF)
        read = access.rows_read(self.request.user, Review).filter(published_at__isnull=False)
        return (taught | read).distinct().prefetch_related("marks", "submissions").order_by("-pk")

    def _draft(self, request: ApiRequest, pk: int) -> Review:
        return review_queries.draft_write(request.user, pk)

    @extend_schema(
        request=inline_serializer(
            "ReviewWords",
            {"words": serializers.CharField(), "revision": serializers.IntegerField()},
        ),
        responses=shapes.ReviewSerializer,
    )
    @action(detail=True, methods=["post"])
    def words(self, request: ApiRequest, pk: int) -> Response:
        """Save the words of a draft. An older `revision` gets a 409, with both kept."""
        draft = self._draft(request, pk)
        revision = request.data.get("revision")
        if not isinstance(revision, int):
            raise LessonError(_("Say which revision these words replace."), code="no_revision")
        review.save_words(
            review=draft,
            words=str(request.data.get("words", "")),
            revision=revision,
            by=request.user,
        )
        draft.refresh_from_db()
        return Response(self.get_serializer(draft).data)

    @extend_schema(request=shapes.NewFindingSerializer, responses={201: shapes.FindingSerializer})
    @action(detail=True, methods=["post"])
    def find(self, request: ApiRequest, pk: int) -> Response:
        """Add a finding, with the causes it is there because of."""
        draft = self._draft(request, pk)
        told = checked(shapes.NewFindingSerializer, request)
        causes = draft.student.findings.filter(pk__in=told.pop("because"))
        figure = told.pop("measurement", None)
        if figure is not None:
            figure = get_object_or_404(
                Measurement.objects.filter(run__video__submission__student=draft.student),
                pk=figure,
            )
        row = diagnosis.add_finding(
            review=draft, by=request.user, measurement=figure, because=list(causes), **told
        )
        return Response(shapes.FindingSerializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(
        request=shapes.NewAssignmentSerializer, responses={201: shapes.AssignmentSerializer}
    )
    @action(detail=True, methods=["post"])
    def assign(self, request: ApiRequest, pk: int) -> Response:
        """Assign a drill. A compensation whose cause is open is refused without a reason."""
        draft = self._draft(request, pk)
        told = checked(shapes.NewAssignmentSerializer, request)
        told["drill"] = get_object_or_404(
            Drill.objects.filter(studio=draft.student.studio_id), pk=told["drill"]
        )
        if told.get("finding") is not None:
            told["finding"] = get_object_or_404(draft.student.findings, pk=told["finding"])
        row = practice.assign_drill(review=draft, by=request.user, **told)
        return Response(shapes.AssignmentSerializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=shapes.ReviewSerializer)
    @action(detail=True, methods=["post"])
    def publish(self, request: ApiRequest, pk: int) -> Response:
        """Send the answer: the review freezes, its drills open, the student is told."""
        draft = get_object_or_404(access.rows_taught(request.user, Review), pk=pk)
        practice.publish_lesson(review=draft, by=request.user)
        draft.refresh_from_db()
        return Response(self.get_serializer(draft).data)

    @extend_schema(responses=shapes.SuggestionSerializer(many=True))
    @action(detail=True, pagination_class=None)
    def suggestions(self, request: ApiRequest, pk: int) -> Response:
        """Findings the figures suggest; nothing stands before the coach takes it."""
        rows = diagnosis.suggest_findings(self._draft(request, pk))
        return Response(shapes.SuggestionSerializer(rows, many=True).data)

    @extend_schema(request=shapes.TakeSerializer, responses={201: shapes.FindingSerializer})
    @action(detail=True, methods=["post"])
    def take(self, request: ApiRequest, pk: int) -> Response:
        """Take a suggested finding, perhaps in your own words."""
        row = diagnosis.accept_suggestion(
            review=self._draft(request, pk),
            by=request.user,
            **checked(shapes.TakeSerializer, request),
        )
        return Response(shapes.FindingSerializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=shapes.RuleSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def dismiss(self, request: ApiRequest, pk: int) -> Response:
        """Do not suggest this for this student again."""
        draft = self._draft(request, pk)
        rule = checked(shapes.RuleSerializer, request)["rule"]
        diagnosis.dismiss_suggestion(student=draft.student, rule=rule, by=request.user)
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=shapes.MarkSerializer, responses={201: shapes.MarkSerializer})
    @action(detail=True, methods=["post"])
    def mark(self, request: ApiRequest, pk: int) -> Response:
        """Draw or note something on a moment of a clip."""
        draft = self._draft(request, pk)
        told = checked(shapes.MarkSerializer, request)
        row = review.add_mark(review=draft, key=uuid.uuid4(), **told)
        return Response(shapes.MarkSerializer(row).data, status=status.HTTP_201_CREATED)


class Findings(viewsets.ReadOnlyModelViewSet[Finding]):
    """Findings and what they are there because of."""

    serializer_class = shapes.FindingSerializer
    queryset = Finding.objects.none()

    def get_queryset(self) -> QuerySet[Finding]:
        taught = access.rows_taught(self.request.user, Finding, roles=access.STAFF)
        read = access.rows_read(self.request.user, Finding).filter(
            review__published_at__isnull=False
        )
        return (taught | read).distinct().prefetch_related("becauses").order_by("pk")

    @extend_schema(request=shapes.WordsSerializer, responses=shapes.FindingSerializer)
    @action(detail=True, methods=["post"])
    def answer(self, request: ApiRequest, pk: int) -> Response:
        """The student answers a question about the body."""
        row = get_object_or_404(access.rows_acted(request.user, Finding), pk=pk)
        diagnosis.answer_question(
            finding=row, by=request.user, **checked(shapes.WordsSerializer, request)
        )
        row.refresh_from_db()
        return Response(self.get_serializer(row).data)


class Drills(viewsets.ReadOnlyModelViewSet[Drill]):
    """The drill library of your studios."""

    serializer_class = shapes.DrillSerializer
    queryset = Drill.objects.none()

    def get_queryset(self) -> QuerySet[Drill]:
        return (
            Drill.objects.filter(studio__in=access.studios(self.request.user))
            .filter(retired_at__isnull=True)
            .prefetch_related("versions")
            .order_by("slug")
        )


class Assignments(viewsets.ReadOnlyModelViewSet[Assignment]):
    """Drills that were given, with their ladders."""

    serializer_class = shapes.AssignmentSerializer
    queryset = Assignment.objects.none()

    def get_queryset(self) -> QuerySet[Assignment]:
        taught = access.rows_taught(self.request.user, Assignment, roles=access.STAFF)
        read = access.rows_read(self.request.user, Assignment).filter(opened_at__isnull=False)
        return (
            (taught | read)
            .distinct()
            .select_related("drill_version")
            .prefetch_related("rungs__criteria")
            .order_by("pk")
        )


class Attempts(viewsets.ReadOnlyModelViewSet[Attempt]):
    """Goes at a rung. Film one by sending a clip for its `angle`."""

    serializer_class = shapes.AttemptSerializer
    queryset = Attempt.objects.none()

    def get_queryset(self) -> QuerySet[Attempt]:
        return (
            access.rows_read(self.request.user, Attempt, "rung__assignment__student")
            .select_related("verdict")
            .order_by("pk")
        )

    @extend_schema(
        request=inline_serializer(
            "SelfAnswer",
            {
                "criterion": serializers.IntegerField(),
                "yes": serializers.BooleanField(),
                "words": serializers.CharField(required=False),
            },
        ),
        responses={204: None},
    )
    @action(detail=True, methods=["post"])
    def answer(self, request: ApiRequest, pk: int) -> Response:
        """The student's own answer to a self-test criterion of this attempt."""
        row = get_object_or_404(
            access.rows_acted(request.user, Attempt, "rung__assignment__student"), pk=pk
        )
        clip = row.angle.submissions.filter(replaced_by__isnull=True).order_by("-pk").first()
        if clip is None:
            raise LessonError(_("Film the attempt first."), code="no_clip", status=409)
        criterion = get_object_or_404(Criterion, rung=row.rung_id, pk=request.data.get("criterion"))
        practice.record_self_answer(
            submission=clip,
            criterion=criterion,
            by=request.user,
            yes=request.data.get("yes") is True,
            words=str(request.data.get("words", "")),
        )
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=shapes.VerdictSerializer, responses={201: shapes.VerdictSerializer})
    @action(detail=True, methods=["post"], parser_classes=[JSONParser])
    def judge(self, request: ApiRequest, pk: int) -> Response:
        """Give the verdict; only an owner or a coach does."""
        row = get_object_or_404(
            access.rows_taught(request.user, Attempt, "rung__assignment__student"), pk=pk
        )
        told = checked(shapes.VerdictSerializer, request)
        verdict: Verdict = practice.judge_attempt(attempt=row, by=request.user, **told)
        return Response(shapes.VerdictSerializer(verdict).data, status=status.HTTP_201_CREATED)


class PainReports(viewsets.ReadOnlyModelViewSet[PainReport]):
    """Pain reports of the students you may see."""

    serializer_class = shapes.PainSerializer
    queryset = PainReport.objects.none()

    def get_queryset(self) -> QuerySet[PainReport]:
        return access.rows_read(self.request.user, PainReport).order_by("-pk")

    @extend_schema(request=shapes.WordsSerializer, responses=shapes.PainSerializer)
    @action(detail=True, methods=["post"])
    def state(self, request: ApiRequest, pk: int) -> Response:
        """The student states that a licensed professional agreed; it opens nothing by itself."""
        row = get_object_or_404(access.rows_acted(request.user, PainReport), pk=pk)
        words = checked(shapes.WordsSerializer, request)["words"]
        row = practice.state_professional_agreed(report=row, by=request.user, words=words)
        return Response(self.get_serializer(row).data)

    @extend_schema(request=None, responses=shapes.PainSerializer)
    @action(detail=True, methods=["post"])
    def reopen(self, request: ApiRequest, pk: int) -> Response:
        """The coach opens again what this report stopped, after the student's statement."""
        row = get_object_or_404(access.rows_taught(request.user, PainReport), pk=pk)
        row = practice.reopen_after_pain(report=row, by=request.user)
        return Response(self.get_serializer(row).data)
