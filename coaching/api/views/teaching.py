"""Answers, findings, drills, attempts, verdicts and pain."""

from __future__ import annotations

import uuid

from django.db.models import QuerySet
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response
from rest_framework.serializers import BooleanField, CharField, IntegerField

from analysis.models import Measurement
from coaching.api.reading import PlainJSONParser, body
from coaching.api.serializers.clips import WordsSerializer
from coaching.api.serializers.diagnosis import (
    CatalogueEntrySerializer,
    FindingSerializer,
    NewFindingSerializer,
    SuggestionSerializer,
    TakeSerializer,
)
from coaching.api.serializers.practice import (
    AssignmentSerializer,
    AttemptSerializer,
    DrillSerializer,
    NewAssignmentSerializer,
    PainSerializer,
    PracticeSerializer,
    VerdictSerializer,
)
from coaching.api.serializers.review import MarkSerializer, ReviewSerializer
from coaching.checking import checked
from coaching.diagnosis.access import findings_read, question_act
from coaching.diagnosis.models import Finding
from coaching.diagnosis.services import findings, questions, suggested
from coaching.people import access
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.practice import access as practice_access
from coaching.practice import undo
from coaching.practice.models import (
    Assignment,
    Attempt,
    Criterion,
    Drill,
    PainReport,
    PracticeSeries,
    Verdict,
)
from coaching.practice.services import assigning, judging, practising, stopping
from coaching.review.access import draft_write, review_teach, reviews_read, video_of
from coaching.review.models import Review
from coaching.review.services import drafts, marks, sending


class Reviews(viewsets.ReadOnlyModelViewSet[Review]):
    """Answers to students. A draft is seen by staff only and never changes once published."""

    serializer_class = ReviewSerializer
    queryset = Review.objects.none()

    def get_queryset(self) -> QuerySet[Review]:
        rows = reviews_read(self.request.user)
        return rows.prefetch_related("marks", "submissions").order_by("-pk")

    def _draft(self, request: ApiRequest, pk: int) -> Review:
        return draft_write(request.user, pk)

    @extend_schema(
        request=inline_serializer(
            "ReviewWords",
            {"text": CharField(), "revision": IntegerField()},
        ),
        responses=ReviewSerializer,
    )
    @action(detail=True, methods=["post"])
    def text(self, request: ApiRequest, pk: int) -> Response:
        """Save the words of a draft. An older `revision` gets a 409, with both kept."""
        draft = self._draft(request, pk)
        revision = body(request).get("revision")
        if not isinstance(revision, int):
            raise LessonError(_("Say which revision these words replace."), code="no_revision")
        drafts.save_words(
            review=draft,
            text=str(body(request).get("text", "")),
            revision=revision,
            by=user_of(request),
        )
        draft.refresh_from_db()
        return Response(self.get_serializer(draft).data)

    @extend_schema(request=NewFindingSerializer, responses={201: FindingSerializer})
    @action(detail=True, methods=["post"])
    def find(self, request: ApiRequest, pk: int) -> Response:
        """Add a finding, with the causes it is there because of."""
        draft = self._draft(request, pk)
        validated = checked(NewFindingSerializer, request)
        causes = draft.student.findings.filter(pk__in=validated.pop("because"))
        figure = validated.pop("measurement", None)
        if figure is not None:
            figure = get_object_or_404(
                Measurement.objects.filter(run__video__submission__student=draft.student),
                pk=figure,
            )
        row = findings.add_finding(
            review=draft, by=user_of(request), measurement=figure, because=list(causes), **validated
        )
        return Response(FindingSerializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(
        request=NewAssignmentSerializer,
        responses={201: AssignmentSerializer},
    )
    @action(detail=True, methods=["post"])
    def assign(self, request: ApiRequest, pk: int) -> Response:
        """Assign a drill. A compensation whose cause is open is refused without a reason."""
        draft = self._draft(request, pk)
        access.require_teaching(request.user, draft.student)
        validated = checked(NewAssignmentSerializer, request)
        validated["drill"] = get_object_or_404(
            Drill.objects.filter(studio=draft.student.studio_id), pk=validated["drill"]
        )
        if validated.get("finding") is not None:
            validated["finding"] = get_object_or_404(
                draft.student.findings, pk=validated["finding"]
            )
        row = assigning.assign_drill(review=draft, by=user_of(request), **validated)
        return Response(AssignmentSerializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=ReviewSerializer)
    @action(detail=True, methods=["post"])
    def publish(self, request: ApiRequest, pk: int) -> Response:
        """Send the answer: the review freezes, its drills open, the student is told."""
        draft = review_teach(request.user, pk)
        sending.publish_review(review=draft, by=user_of(request))
        draft.refresh_from_db()
        return Response(self.get_serializer(draft).data)

    @extend_schema(request=None, responses=ReviewSerializer)
    @action(detail=True, methods=["post"])
    def take_back(self, request: ApiRequest, pk: int) -> Response:
        """Undo sending within ten seconds: it is a draft again, and nobody was written to."""
        sent = review_teach(request.user, pk)
        draft = sending.take_back_review(review=sent, by=user_of(request))
        return Response(self.get_serializer(draft).data)

    @extend_schema(responses=SuggestionSerializer(many=True))
    @action(detail=True, pagination_class=None)
    def suggestions(self, request: ApiRequest, pk: int) -> Response:
        """Findings the figures suggest; nothing stands before the coach takes it."""
        rows = suggested.suggest_findings(self._draft(request, pk))
        return Response(SuggestionSerializer(rows, many=True).data)

    @extend_schema(request=TakeSerializer, responses={201: FindingSerializer})
    @action(detail=True, methods=["post"])
    def take(self, request: ApiRequest, pk: int) -> Response:
        """Take a suggested finding, perhaps in your own words."""
        row = suggested.accept_suggestion(
            review=self._draft(request, pk),
            by=user_of(request),
            **checked(TakeSerializer, request),
        )
        return Response(FindingSerializer(row).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=CatalogueEntrySerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def dismiss(self, request: ApiRequest, pk: int) -> Response:
        """Do not suggest this for this student again."""
        draft = self._draft(request, pk)
        entry = checked(CatalogueEntrySerializer, request)["entry"]
        suggested.dismiss_suggestion(student=draft.student, entry=entry, by=user_of(request))
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=MarkSerializer, responses={201: MarkSerializer})
    @action(detail=True, methods=["post"])
    def mark(self, request: ApiRequest, pk: int) -> Response:
        """Draw or note something on a moment of a clip; the same `key` again is the same mark,
        and so is an equal one within a minute."""
        draft = self._draft(request, pk)
        validated = checked(MarkSerializer, request)
        video = video_of(draft, validated.pop("video_id"))
        row = marks.add_mark(by=user_of(request), review=draft, video=video, **validated)
        return Response(MarkSerializer(row).data, status=status.HTTP_201_CREATED)


class Findings(viewsets.ReadOnlyModelViewSet[Finding]):
    """Findings and what they are there because of."""

    serializer_class = FindingSerializer
    queryset = Finding.objects.none()

    def get_queryset(self) -> QuerySet[Finding]:
        rows = findings_read(self.request.user)
        return rows.prefetch_related("causal_links").order_by("pk")

    @extend_schema(request=WordsSerializer, responses=FindingSerializer)
    @action(detail=True, methods=["post"])
    def answer(self, request: ApiRequest, pk: int) -> Response:
        """The student answers a question about the body."""
        row = question_act(request.user, pk)
        questions.answer_question(
            finding=row, by=user_of(request), **checked(WordsSerializer, request)
        )
        row.refresh_from_db()
        return Response(self.get_serializer(row).data)


class Drills(viewsets.ReadOnlyModelViewSet[Drill]):
    """The drill library of your studios."""

    serializer_class = DrillSerializer
    queryset = Drill.objects.none()

    def get_queryset(self) -> QuerySet[Drill]:
        return (
            practice_access.drills_read(self.request.user)
            .filter(retired_at__isnull=True)
            .prefetch_related("versions")
            .order_by("slug")
        )


class Assignments(viewsets.ReadOnlyModelViewSet[Assignment]):
    """Drills that were given, with their ladders."""

    serializer_class = AssignmentSerializer
    queryset = Assignment.objects.none()

    def get_queryset(self) -> QuerySet[Assignment]:
        return (
            practice_access.assignments_read(self.request.user)
            .select_related("drill_version")
            .prefetch_related("steps__criteria")
            .order_by("pk")
        )

    @extend_schema(request=PracticeSerializer, responses={201: PracticeSerializer})
    @action(detail=True, methods=["post"])
    def practise(self, request: ApiRequest, pk: int) -> Response:
        """Note what was practised alone; the same `key` again is the same one. One line a day
        stands in the thread, and nobody is written to."""
        row = practice_access.assignment_act(request.user, pk)
        told = checked(PracticeSerializer, request)
        series = practising.record_practice(
            assignment=row,
            by=user_of(request),
            key=told.get("key") or uuid.uuid4(),
            repetitions=told["repetitions"],
            felt=told.get("felt", ""),
            at=told.get("created_at"),
        )
        return Response(PracticeSerializer(series).data, status=status.HTTP_201_CREATED)


class Practice(viewsets.ReadOnlyModelViewSet[PracticeSeries]):
    """The log of what was practised alone: day, drill, repetitions and how it felt. Nobody
    judged it."""

    serializer_class = PracticeSerializer
    queryset = PracticeSeries.objects.none()

    def get_queryset(self) -> QuerySet[PracticeSeries]:
        rows = practice_access.practised_read(self.request.user)
        return rows.select_related("assignment__drill_version").order_by("-pk")


class Attempts(viewsets.ReadOnlyModelViewSet[Attempt]):
    """Goes at a step. Film one by sending a clip for its `angle`."""

    serializer_class = AttemptSerializer
    queryset = Attempt.objects.none()

    def get_queryset(self) -> QuerySet[Attempt]:
        return (
            practice_access.attempts_read(self.request.user)
            .select_related("verdict")
            .order_by("pk")
        )

    @extend_schema(
        request=inline_serializer(
            "SelfAnswer",
            {
                "criterion": IntegerField(),
                "yes": BooleanField(),
                "text": CharField(required=False),
            },
        ),
        responses={204: None},
    )
    @action(detail=True, methods=["post"])
    def answer(self, request: ApiRequest, pk: int) -> Response:
        """The student's own answer to a self-test criterion of this attempt."""
        row = practice_access.attempt_act(request.user, pk)
        clip = row.angle.submissions.filter(replaced_by__isnull=True).order_by("-pk").first()
        if clip is None:
            raise LessonError(_("Film the attempt first."), code="no_clip", status=409)
        said = body(request)
        criterion = get_object_or_404(Criterion, step=row.step_id, pk=said.get("criterion"))
        judging.record_self_answer(
            submission=clip,
            criterion=criterion,
            by=user_of(request),
            yes=said.get("yes") is True,
            text=str(said.get("text", "")),
        )
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=VerdictSerializer, responses={201: VerdictSerializer})
    @action(detail=True, methods=["post"], parser_classes=[PlainJSONParser])
    def judge(self, request: ApiRequest, pk: int) -> Response:
        """Give the verdict; only an owner or a coach does."""
        row = practice_access.attempt_teach(request.user, pk)
        validated = checked(VerdictSerializer, request)
        verdict: Verdict = judging.judge_attempt(attempt=row, by=user_of(request), **validated)
        return Response(VerdictSerializer(verdict).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=None, responses=AttemptSerializer)
    @action(detail=True, methods=["post"])
    def take_back(self, request: ApiRequest, pk: int) -> Response:
        """Undo its verdict within ten seconds, with all that followed from it."""
        verdict = practice_access.verdict_teach(request.user, attempt=pk)
        undo.take_back_verdict(verdict=verdict, by=user_of(request))
        return Response(self.get_serializer(self.get_object()).data)


class PainReports(viewsets.ReadOnlyModelViewSet[PainReport]):
    """Pain reports of the students you may see."""

    serializer_class = PainSerializer
    queryset = PainReport.objects.none()

    def get_queryset(self) -> QuerySet[PainReport]:
        return practice_access.reports_read(self.request.user).order_by("-pk")

    @extend_schema(request=WordsSerializer, responses=PainSerializer)
    @action(detail=True, methods=["post"])
    def state(self, request: ApiRequest, pk: int) -> Response:
        """The student states that a licensed professional agreed; it opens nothing by itself."""
        row = practice_access.report_act(request.user, pk)
        text = checked(WordsSerializer, request)["text"]
        row = stopping.state_professional_agreed(report=row, by=user_of(request), text=text)
        return Response(self.get_serializer(row).data)

    @extend_schema(request=None, responses=PainSerializer)
    @action(detail=True, methods=["post"])
    def take_back(self, request: ApiRequest, pk: int) -> Response:
        """A mistaken tap, within ten minutes: the record stays, and both sides are told."""
        row = practice_access.report_act(request.user, pk)
        row = undo.take_back_pain(report=row, by=user_of(request))
        return Response(self.get_serializer(row).data)

    @extend_schema(request=None, responses=PainSerializer)
    @action(detail=True, methods=["post"])
    def reopen(self, request: ApiRequest, pk: int) -> Response:
        """The coach opens again what this report stopped, after the student's statement."""
        row = practice_access.report_teach(request.user, pk)
        row = stopping.reopen_after_pain(report=row, by=user_of(request))
        return Response(self.get_serializer(row).data)
