"""Accounts, the way in, students and their rights."""

from __future__ import annotations

from django.contrib.auth import authenticate
from django.db import transaction
from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import serializers, status, viewsets
from rest_framework.authtoken.models import Token
from rest_framework.decorators import action
from rest_framework.permissions import AllowAny
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response
from rest_framework.throttling import ScopedRateThrottle
from rest_framework.views import APIView

from coaching.api import serializers as shapes
from coaching.api.checking import checked
from coaching.intake import services as intake
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people import services as people
from coaching.people.errors import LessonError
from coaching.people.models import Student, Studio, User
from coaching.people.services.students import find_invitation
from coaching.practice import queries as practice_queries
from coaching.practice import services as practice
from coaching.review import turncheck

TokenShape = inline_serializer("Token", {"token": serializers.CharField()})
LoginShape = inline_serializer(
    "Login", {"email": serializers.EmailField(), "password": serializers.CharField()}
)


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


class Join(APIView):
    """Take up a student's invitation: an account is opened, its token comes back.

    Next: `body`, `describe` and `consent` of the student, in this order. Somebody under 18
    names a guardian first.
    """

    permission_classes = [AllowAny]
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "login"

    @extend_schema(request=shapes.JoinSerializer, responses={201: shapes.JoinedSerializer}, auth=[])
    def post(self, request: ApiRequest, token: str) -> Response:
        told = checked(shapes.JoinSerializer, request)
        invitation = find_invitation(token)
        with transaction.atomic():
            user = people.open_account(
                name=told["name"], email=told["email"], password=told["password"]
            )
            student = people.join_student(
                invitation=invitation, user=user, is_minor=told["is_minor"]
            )
        key = Token.objects.create(user=user).key
        return Response({"student": student.pk, "token": key}, status=status.HTTP_201_CREATED)


class Agree(APIView):
    """A guardian opens the link sent to their own address and says what may be done."""

    permission_classes = [AllowAny]
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "login"

    @extend_schema(
        request=shapes.AgreeSerializer,
        responses={201: shapes.JoinedSerializer},
        auth=[],
    )
    def post(self, request: ApiRequest, token: str) -> Response:
        told = checked(shapes.AgreeSerializer, request)
        invitation = find_invitation(token)
        with transaction.atomic():
            user = people.open_account(
                name=told["name"], email=invitation.email, password=told["password"]
            )
            student = people.agree_as_guardian(
                invitation=invitation, user=user, purposes=told["purposes"]
            )
        key = Token.objects.create(user=user).key
        return Response({"student": student.pk, "token": key}, status=status.HTTP_201_CREATED)


class Studios(viewsets.ReadOnlyModelViewSet[Studio]):
    """Studios you work in."""

    serializer_class = shapes.StudioSerializer
    queryset = Studio.objects.none()

    def get_queryset(self) -> QuerySet[Studio]:
        return access.studios(self.request.user).order_by("pk")

    @extend_schema(request=shapes.InviteSerializer, responses={201: shapes.InvitationSerializer})
    @action(detail=True, methods=["post"])
    def invite(self, request: ApiRequest, pk: int) -> Response:
        """Invite a student: the token lets one person in, once."""
        studio = access.studio_teach(request.user, pk)
        invitation = people.invite_student(
            studio=studio, by=request.user, **checked(shapes.InviteSerializer, request)
        )
        return Response(
            shapes.InvitationSerializer(invitation).data, status=status.HTTP_201_CREATED
        )

    @extend_schema(responses=shapes.TurnCheckSerializer(many=True))
    @action(detail=True, pagination_class=None)
    def turn_check(self, request: ApiRequest, pk: int) -> Response:
        """How turn read off the body agrees with the held club, over all students; owners only."""
        studio = access.studio_own(request.user, pk)
        rows = turncheck.checks(studio.students.all())
        return Response(shapes.TurnCheckSerializer(rows, many=True).data)


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

    @extend_schema(
        request=shapes.BodySerializer,
        responses={201: shapes.BodyNoteSerializer(many=True)},
    )
    @action(detail=True, methods=["post"])
    def body(self, request: ApiRequest, pk: int) -> Response:
        """Say what hurts, is stiff or cannot be done; an empty list says that nothing does."""
        student = access.student_act(request.user, pk)
        notes = checked(shapes.BodySerializer, request)["notes"]
        rows = people.note_body(student=student, by=request.user, notes=notes)
        return Response(
            shapes.BodyNoteSerializer(rows, many=True).data, status=status.HTTP_201_CREATED
        )

    @extend_schema(request=shapes.AboutSerializer, responses=shapes.StudentSerializer)
    @action(detail=True, methods=["post"])
    def describe(self, request: ApiRequest, pk: int) -> Response:
        """Handedness, stature, age band, goals, usual miss, where to practise."""
        student = access.student_act(request.user, pk)
        facts = checked(shapes.AboutSerializer, request)
        people.describe_student(student=student, by=request.user, **facts)
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=shapes.GuardianSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def guardian(self, request: ApiRequest, pk: int) -> Response:
        """Name a minor's guardian; a link goes to that address and to nobody else."""
        student = access.student_act(request.user, pk)
        people.name_guardian(
            student=student, by=request.user, **checked(shapes.GuardianSerializer, request)
        )
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=shapes.PurposesSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def consent(self, request: ApiRequest, pk: int) -> Response:
        """Agree to each purpose; with the last one the student has joined."""
        student = access.student_act(request.user, pk)
        purposes = checked(shapes.PurposesSerializer, request)["purposes"]
        people.give_consents(student=student, by=request.user, purposes=purposes)
        if student.joined_at is None:
            people.finish_joining(student=student)
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"])
    def withdraw(self, request: ApiRequest, pk: int) -> Response:
        """Withdraw every consent; the clips are erased."""
        student = access.student_act(request.user, pk)
        people.withdraw_consents(student=student, by=request.user)
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=shapes.SnoozeSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def snooze(self, request: ApiRequest, pk: int) -> Response:
        """Put a student's rows off until a moment; null brings them back. Pain is never put off."""
        student = access.student_teach(request.user, pk)
        people.snooze_student(
            student=student, by=request.user, **checked(shapes.SnoozeSerializer, request)
        )
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=shapes.HandOverSerializer, responses=shapes.StudentSerializer)
    @action(detail=True, methods=["post"])
    def hand_over(self, request: ApiRequest, pk: int) -> Response:
        """Another coach of the studio takes the student over."""
        student = access.student_teach(request.user, pk)
        to = User.objects.filter(pk=checked(shapes.HandOverSerializer, request)["to"]).first()
        if to is None:
            raise LessonError(_("Choose somebody who teaches in this studio."), code="not_a_coach")
        people.hand_over_student(student=student, to=to, by=request.user)
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    @action(detail=True)
    def export(self, request: ApiRequest, pk: int) -> StreamingHttpResponse:
        """The whole record as a zip: every row and every file."""
        student = access.student_record(request.user, pk)
        return StreamingHttpResponse(
            people.export_record(student),
            content_type="application/zip",
            headers={"Content-Disposition": 'attachment; filename="record.zip"'},
        )

    @extend_schema(request=shapes.EraseSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def erase(self, request: ApiRequest, pk: int) -> Response:
        """Erase the whole record for good; `name` repeats the student's name."""
        student = access.student_record(request.user, pk)
        if checked(shapes.EraseSerializer, request)["name"].strip() != student.name:
            raise LessonError(_("Write the student's name exactly to erase it."), code="name")
        people.erase_record(student=student)
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(responses=shapes.SeriesSerializer(many=True))
    @action(detail=True, pagination_class=None)
    def progress(self, request: ApiRequest, pk: int) -> Response:
        """Each measure over time; different conditions never share a line."""
        student = access.student_read(request.user, pk)
        rows = practice_queries.series_of(student)
        return Response(shapes.SeriesSerializer(rows, many=True).data)
