"""The API: the same access functions and services as the pages, and no rules of its own."""

from __future__ import annotations

from typing import Any

from django.contrib.auth import authenticate
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import gettext as _
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import mixins, serializers, status, viewsets
from rest_framework.authtoken.models import Token
from rest_framework.decorators import action
from rest_framework.parsers import JSONParser, MultiPartParser
from rest_framework.permissions import AllowAny
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response
from rest_framework.throttling import ScopedRateThrottle
from rest_framework.views import APIView

from analysis.models import Correction, Measurement, Run
from coaching.api import serializers as shapes
from coaching.desk import queries as desk
from coaching.diagnosis import services as diagnosis
from coaching.diagnosis.models import Finding
from coaching.intake import queries as intake_queries
from coaching.intake import services as intake
from coaching.intake.models import Request, RequestedAngle, Submission
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people.errors import LessonError
from coaching.people.models import Student, Studio
from coaching.practice import services as practice
from coaching.practice.models import Assignment, Attempt, Criterion, Drill, PainReport, Verdict
from coaching.review import queries as review_queries
from coaching.review import services as review
from coaching.review.models import Review

TokenShape = inline_serializer("Token", {"token": serializers.CharField()})
LoginShape = inline_serializer(
    "Login", {"email": serializers.EmailField(), "password": serializers.CharField()}
)


def checked(shape: type[serializers.BaseSerializer[Any]], request: ApiRequest) -> dict[str, Any]:
    """The request's body after its shape was checked; DRF answers 400 otherwise."""
    form = shape(data=request.data)
    form.is_valid(raise_exception=True)
    return dict(form.validated_data)


class Login(APIView):
    """Exchange an e-mail address and password for a token, to be sent as
    `Authorization: Token …`."""

    permission_classes = [AllowAny]
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "login"

    @extend_schema(request=LoginShape, responses=TokenShape, auth=[])
    def post(self, request: ApiRequest) -> Response:
        user = authenticate(
            request,
            username=str(request.data.get("email", "")).strip().lower(),
            password=request.data.get("password", ""),
        )
        if user is None:
            raise LessonError(_("The address or the password is not right."), code="login")
        return Response({"token": Token.objects.get_or_create(user=user)[0].key})


class Studios(viewsets.ReadOnlyModelViewSet[Studio]):
    """Studios you work in."""

    serializer_class = shapes.StudioSerializer
    queryset = Studio.objects.none()

    def get_queryset(self) -> QuerySet[Studio]:
        return access.studios(self.request.user).order_by("pk")


class Students(viewsets.ReadOnlyModelViewSet[Student]):
    """Students you may see: your studio's, yourself, your wards."""

    serializer_class = shapes.StudentSerializer
    queryset = Student.objects.none()

    def get_queryset(self) -> QuerySet[Student]:
        return access.students_read(self.request.user).order_by("pk")

    @extend_schema(responses=shapes.EntrySerializer(many=True))
    @action(detail=True, pagination_class=None)
    def thread(self, request: ApiRequest, pk: int) -> Response:
        """What happened when."""
        student = access.student_read(request.user, pk)
        entries = Entry.objects.filter(thread__student=student).select_related("author")
        return Response(shapes.EntrySerializer(entries, many=True).data)

    @extend_schema(request=shapes.MessageSerializer, responses={201: shapes.EntrySerializer})
    @action(detail=True, methods=["post"])
    def message(self, request: ApiRequest, pk: int) -> Response:
        """Write a word in the thread."""
        student = access.student_read(request.user, pk)
        entry = lessons.send_message(
            student=student, author=request.user, **checked(shapes.MessageSerializer, request)
        )
        return Response(shapes.EntrySerializer(entry).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=shapes.RequestSerializer, responses={201: shapes.RequestSerializer})
    @action(detail=True, methods=["post"], url_path="request")  # `request` is the view's own
    def ask(self, request: ApiRequest, pk: int) -> Response:
        """Request named camera angles."""
        student = access.student_prepare(request.user, pk)
        made = intake.request_angles(
            student=student, by=request.user, **checked(shapes.RequestSerializer, request)
        )
        return Response(shapes.RequestSerializer(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=shapes.PainSerializer, responses={201: shapes.PainSerializer})
    @action(detail=True, methods=["post"])
    def pain(self, request: ApiRequest, pk: int) -> Response:
        """Report pain: every drill and request that loads the region stops at once."""
        student = access.student_act(request.user, pk)
        told = checked(shapes.PainSerializer, request)
        assignment = told.pop("assignment", None)
        if assignment is not None:
            assignment = get_object_or_404(student.assignments, pk=assignment.pk)
        report = practice.report_pain(
            student=student, by=request.user, assignment=assignment, **told
        )
        return Response(shapes.PainSerializer(report).data, status=status.HTTP_201_CREATED)


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


RowShape = inline_serializer(
    "WaitingRow",
    {
        "group": serializers.ChoiceField(choices=desk.GROUPS),
        "student": serializers.IntegerField(),
        "sentence": serializers.CharField(),
        "since": serializers.DateTimeField(),
        "promised_at": serializers.DateTimeField(allow_null=True),
        "submission": serializers.IntegerField(allow_null=True),
        "attempt": serializers.IntegerField(allow_null=True),
        "action": serializers.CharField(),
        "url": serializers.CharField(),
    },
    many=True,
)


class Waiting(APIView):
    """Everything that waits for the coach, most urgent first."""

    @extend_schema(
        responses=RowShape,
        parameters=[OpenApiParameter("words", str, description="Only rows holding these words.")],
    )
    def get(self, request: ApiRequest) -> Response:
        students = access.students_taught(request.user).filter(closed_at__isnull=True)
        rows = desk.waiting_list(
            students, user=request.user, words=request.query_params.get("words", "")
        )
        return Response(
            [
                {
                    "group": row.group,
                    "student": row.student.pk,
                    "sentence": row.sentence,
                    "since": row.since,
                    "promised_at": row.promised_at,
                    "submission": row.submission.pk if row.submission else None,
                    "attempt": row.attempt.pk if row.attempt else None,
                    "action": row.action,
                    "url": row.url,
                }
                for row in rows
            ]
        )


def reference(request: HttpRequest) -> HttpResponse:
    """The schema as a page to read, without script from anywhere."""
    schema = SchemaGenerator().get_schema(request=None, public=True)
    groups: dict[str, list[dict[str, Any]]] = {}
    for path, operations in schema["paths"].items():
        for method, operation in operations.items():
            group = path.split("/")[2] if path.count("/") > 2 else path
            groups.setdefault(group, []).append(
                {
                    "method": method.upper(),
                    "path": path,
                    "words": operation.get("description", ""),
                    "takes": _shape_names(operation.get("requestBody", {}).get("content", {})),
                    "parameters": [p["name"] for p in operation.get("parameters", [])],
                    "gives": [
                        {"status": code, "shapes": _shape_names(answer.get("content", {}))}
                        for code, answer in operation.get("responses", {}).items()
                    ],
                }
            )
    shown = [
        {"name": name, "fields": _fields(shape)}
        for name, shape in sorted(schema["components"]["schemas"].items())
        if shape.get("properties")
    ]
    return render(request, "api/reference.html", {"groups": groups, "shapes": shown})


def _shape_names(content: dict[str, Any]) -> list[str]:
    names = []
    for media in content.values():
        shape = media.get("schema", {})
        reference_to = shape.get("$ref") or shape.get("items", {}).get("$ref") or ""
        name = reference_to.rsplit("/", 1)[-1] or shape.get("type", "")
        if name and name not in names:
            names.append(name)
    return names


def _fields(shape: dict[str, Any]) -> list[dict[str, Any]]:
    required = shape.get("required", [])
    return [
        {
            "name": name,
            "kind": field.get("format") or field.get("type") or "see its own shape",
            "required": name in required,
            "read_only": field.get("readOnly", False),
        }
        for name, field in shape["properties"].items()
    ]
