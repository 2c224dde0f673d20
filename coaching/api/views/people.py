"""Accounts, the way in, students and their rights."""

from __future__ import annotations

from allauth.account.adapter import get_adapter
from allauth.mfa.base.forms import AuthenticateForm
from allauth.mfa.utils import is_mfa_enabled
from django.db import transaction
from django.db.models import QuerySet
from django.http import StreamingHttpResponse
from django.shortcuts import get_object_or_404
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, inline_serializer
from rest_framework import status, viewsets
from rest_framework.decorators import action
from rest_framework.permissions import AllowAny
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response
from rest_framework.serializers import CharField
from rest_framework.throttling import ScopedRateThrottle
from rest_framework.views import APIView

from coaching.api.authentication import refuse_unless_fresh, refuse_without_second_step
from coaching.api.serializers.clips import RequestSerializer
from coaching.api.serializers.people import (
    AboutSerializer,
    AgreeSerializer,
    BodyNoteSerializer,
    BodySerializer,
    EraseSerializer,
    GuardianSerializer,
    HandOverSerializer,
    InvitationSerializer,
    InviteSerializer,
    JoinedSerializer,
    JoinSerializer,
    LoginSerializer,
    PurposesSerializer,
    StudentSerializer,
    StudioSerializer,
)
from coaching.api.serializers.practice import PainSerializer, SeriesSerializer
from coaching.api.serializers.review import TurnCheckSerializer
from coaching.api.serializers.thread import (
    EntrySerializer,
    LineSerializer,
    MessageSerializer,
    PutOffSerializer,
)
from coaching.checking import checked
from coaching.dashboard.facts import lines_for
from coaching.intake.services import asking
from coaching.lessons import services as lessons
from coaching.lessons.models import Entry
from coaching.people import access
from coaching.people import queries as people_queries
from coaching.people.access import user_of
from coaching.people.accounts import ask_for_proof
from coaching.people.errors import LessonError
from coaching.people.models import Student, Studio
from coaching.people.services import joining, record, students, tokens
from coaching.people.services.consent import (
    agree_as_guardian,
    give_consents,
    name_guardian,
    withdraw_consents,
)
from coaching.people.services.students import find_invitation
from coaching.practice.queries import progress as progress_queries
from coaching.practice.services import stopping
from coaching.review import turncheck

TokenShape = inline_serializer("Token", {"token": CharField()})


class Login(APIView):
    """Exchange an e-mail address and password for a token, to be sent as
    `Authorization: Token …`. It lasts 90 days, and dies with a new password.

    An account with a second step sends its `code` too: of the authenticator, or a recovery code.
    """

    permission_classes = [AllowAny]
    authentication_classes = []

    @extend_schema(request=LoginSerializer, responses=TokenShape, auth=[])
    def post(self, request: ApiRequest) -> Response:
        given = checked(LoginSerializer, request)
        user = get_adapter(request._request).authenticate(
            request._request, email=given["email"].lower(), password=given["password"]
        )
        if user is None or not user.is_active:
            raise LessonError(_("The address or the password is not right."), code="login")
        if is_mfa_enabled(user):
            form = AuthenticateForm({"code": given["code"]}, user=user)
            if not form.is_valid():
                raise LessonError(
                    _("Send the code of your second step too."), code="second_step", status=403
                )
        refuse_without_second_step(user)
        _row, key = tokens.make_token(user=user, name=given["name"] or _("Signed in by a program"))
        return Response({"token": key})


class Join(APIView):
    """Take up a student's invitation: an account is opened, its token comes back.

    Next: `body`, `describe` and `consent` of the student, in this order. Somebody under 18
    names a guardian first.
    """

    permission_classes = [AllowAny]
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "join"

    @extend_schema(request=JoinSerializer, responses={201: JoinedSerializer}, auth=[])
    def post(self, request: ApiRequest, token: str) -> Response:
        validated = checked(JoinSerializer, request)
        invitation = find_invitation(token)
        with transaction.atomic():
            user = joining.open_account(
                name=validated["name"], email=validated["email"], password=validated["password"]
            )
            student = joining.join_student(
                invitation=invitation, user=user, is_minor=validated["is_minor"]
            )
        ask_for_proof(request._request, user)
        _row, key = tokens.make_token(user=user, name=_("Joined by a program"))
        return Response({"student": student.pk, "token": key}, status=status.HTTP_201_CREATED)


class Agree(APIView):
    """A guardian opens the link sent to their own address and says what may be done."""

    permission_classes = [AllowAny]
    throttle_classes = [ScopedRateThrottle]
    throttle_scope = "join"

    @extend_schema(
        request=AgreeSerializer,
        responses={201: JoinedSerializer},
        auth=[],
    )
    def post(self, request: ApiRequest, token: str) -> Response:
        validated = checked(AgreeSerializer, request)
        invitation = find_invitation(token)
        with transaction.atomic():
            user = joining.open_account(
                name=validated["name"], email=invitation.email, password=validated["password"]
            )
            student = agree_as_guardian(
                invitation=invitation, user=user, purposes=validated["purposes"]
            )
        _row, key = tokens.make_token(user=user, name=_("Joined by a program"))
        return Response({"student": student.pk, "token": key}, status=status.HTTP_201_CREATED)


class Studios(viewsets.ReadOnlyModelViewSet[Studio]):
    """Studios you work in."""

    serializer_class = StudioSerializer
    queryset = Studio.objects.none()

    def get_queryset(self) -> QuerySet[Studio]:
        return access.studios(self.request.user).order_by("pk")

    @extend_schema(request=InviteSerializer, responses={201: InvitationSerializer})
    @action(detail=True, methods=["post"])
    def invite(self, request: ApiRequest, pk: int) -> Response:
        """Invite a student: the token lets one person in, once."""
        studio = access.studio_teach(request.user, pk)
        invitation = students.invite_student(
            studio=studio, by=user_of(request), **checked(InviteSerializer, request)
        )
        return Response(InvitationSerializer(invitation).data, status=status.HTTP_201_CREATED)

    @extend_schema(responses=TurnCheckSerializer(many=True))
    @action(detail=True, pagination_class=None)
    def turn_check(self, request: ApiRequest, pk: int) -> Response:
        """How turn read off the body agrees with the held club, over all students; owners only."""
        studio = access.studio_own(request.user, pk)
        rows = turncheck.checks(studio.students.all())
        return Response(TurnCheckSerializer(rows, many=True).data)


class Students(viewsets.ReadOnlyModelViewSet[Student]):
    """Students you may see: your studio's, yourself, your wards."""

    serializer_class = StudentSerializer
    queryset = Student.objects.none()

    def get_queryset(self) -> QuerySet[Student]:
        return access.students_read(self.request.user).order_by("pk")

    @extend_schema(responses=EntrySerializer(many=True))
    @action(detail=True, pagination_class=None)
    def thread(self, request: ApiRequest, pk: int) -> Response:
        """What happened when."""
        student = access.student_read(request.user, pk)
        entries = Entry.objects.filter(thread__student=student).select_related("author")
        return Response(EntrySerializer(entries, many=True).data)

    @extend_schema(responses=LineSerializer(many=True))
    @action(detail=True, pagination_class=None)
    def next(self, request: ApiRequest, pk: int) -> Response:
        """What happened since the student last sent something, then the one thing to do: the
        lines of their page, in its order."""
        student = access.student_read(request.user, pk)
        return Response(LineSerializer(lines_for(student, user_of(request)), many=True).data)

    @extend_schema(request=MessageSerializer, responses={201: EntrySerializer})
    @action(detail=True, methods=["post"])
    def message(self, request: ApiRequest, pk: int) -> Response:
        """Write a word in the thread."""
        student = access.student_read(request.user, pk)
        access.require_writing(request.user, student)
        entry = lessons.send_message(
            student=student, author=user_of(request), **checked(MessageSerializer, request)
        )
        return Response(EntrySerializer(entry).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=RequestSerializer, responses={201: RequestSerializer})
    @action(detail=True, methods=["post"], url_path="request")  # `request` is the view's own
    def ask(self, request: ApiRequest, pk: int) -> Response:
        """Request named camera angles."""
        student = access.student_prepare(request.user, pk)
        made = asking.request_angles(
            student=student, by=user_of(request), **checked(RequestSerializer, request)
        )
        return Response(RequestSerializer(made).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=PainSerializer, responses={201: PainSerializer})
    @action(detail=True, methods=["post"])
    def pain(self, request: ApiRequest, pk: int) -> Response:
        """Report pain: every drill and request that loads the region stops at once."""
        student = access.student_act(request.user, pk)
        validated = checked(PainSerializer, request)
        assignment = validated.pop("assignment_id", None)
        if assignment is not None:
            assignment = get_object_or_404(student.assignments, pk=assignment)
        report = stopping.report_pain(
            student=student, by=user_of(request), assignment=assignment, **validated
        )
        return Response(PainSerializer(report).data, status=status.HTTP_201_CREATED)

    @extend_schema(
        request=BodySerializer,
        responses={201: BodyNoteSerializer(many=True)},
    )
    @action(detail=True, methods=["post"], pagination_class=None)
    def body(self, request: ApiRequest, pk: int) -> Response:
        """Say what hurts, is stiff or cannot be done; an empty list says that nothing does."""
        student = access.student_act(request.user, pk)
        notes = checked(BodySerializer, request)["notes"]
        rows = joining.note_body(student=student, by=user_of(request), notes=notes)
        return Response(BodyNoteSerializer(rows, many=True).data, status=status.HTTP_201_CREATED)

    @extend_schema(request=AboutSerializer, responses=StudentSerializer)
    @action(detail=True, methods=["post"])
    def describe(self, request: ApiRequest, pk: int) -> Response:
        """Handedness, stature, age band, goals, usual miss, where to practise."""
        student = access.student_act(request.user, pk)
        facts = checked(AboutSerializer, request)
        joining.describe_student(student=student, by=user_of(request), **facts)
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(request=GuardianSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def guardian(self, request: ApiRequest, pk: int) -> Response:
        """Name a minor's guardian; a link goes to that address and to nobody else.

        While a guardian stands, only that guardian or the studio's owner names another.
        """
        student = access.student_record(request.user, pk)
        name_guardian(student=student, by=user_of(request), **checked(GuardianSerializer, request))
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=PurposesSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def consent(self, request: ApiRequest, pk: int) -> Response:
        """Agree to each purpose; with the last one the student has joined."""
        student = access.student_act(request.user, pk)
        purposes = checked(PurposesSerializer, request)["purposes"]
        give_consents(student=student, by=user_of(request), purposes=purposes)
        if student.joined_at is None:
            joining.finish_joining(student=student, by=user_of(request))
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"])
    def withdraw(self, request: ApiRequest, pk: int) -> Response:
        """Withdraw every consent; the clips are erased."""
        student = access.student_act(request.user, pk)
        refuse_unless_fresh(request)
        withdraw_consents(student=student, by=user_of(request))
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=PutOffSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def put_off(self, request: ApiRequest, pk: int) -> Response:
        """Put one waiting thing off, by its `key`; null brings it back. Pain is never put off."""
        student = access.student_teach(request.user, pk)
        validated = checked(PutOffSerializer, request)
        if validated["until"] is None:
            lessons.bring_back(student=student, by=user_of(request), thing=validated["thing"])
        else:
            lessons.put_off(student=student, by=user_of(request), **validated)
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(request=HandOverSerializer, responses=StudentSerializer)
    @action(detail=True, methods=["post"])
    def hand_over(self, request: ApiRequest, pk: int) -> Response:
        """Another coach of the studio takes the student over."""
        student = access.student_teach(request.user, pk)
        pk_of_coach = checked(HandOverSerializer, request)["to"]
        to = people_queries.colleague(student.studio, pk_of_coach)
        if to is None:
            raise LessonError(_("Choose somebody who teaches in this studio."), code="not_a_coach")
        students.hand_over_student(student=student, to=to, by=user_of(request))
        return Response(self.get_serializer(self.get_object()).data)

    @extend_schema(responses={(200, "application/zip"): OpenApiTypes.BINARY})
    @action(detail=True)
    def export(self, request: ApiRequest, pk: int) -> StreamingHttpResponse:
        """The whole record as a zip: every row and every file."""
        student = access.student_record(request.user, pk)
        refuse_unless_fresh(request)
        return StreamingHttpResponse(
            record.export_record(student, by=user_of(request)),
            content_type="application/zip",
            headers={"Content-Disposition": 'attachment; filename="record.zip"'},
        )

    @extend_schema(request=EraseSerializer, responses={204: None})
    @action(detail=True, methods=["post"])
    def erase(self, request: ApiRequest, pk: int) -> Response:
        """Erase the whole record for good; `name` repeats the student's name."""
        student = access.student_record(request.user, pk)
        refuse_unless_fresh(request)
        if checked(EraseSerializer, request)["name"].strip() != student.name:
            raise LessonError(_("Write the student's name exactly to erase it."), code="name")
        record.erase_record(student=student, by=user_of(request))
        return Response(status=status.HTTP_204_NO_CONTENT)

    @extend_schema(responses=SeriesSerializer(many=True))
    @action(detail=True, pagination_class=None)
    def progress(self, request: ApiRequest, pk: int) -> Response:
        """Each measure over time; different conditions never share a line."""
        student = access.student_read(request.user, pk)
        rows = progress_queries.series_of(student)
        return Response(SeriesSerializer(rows, many=True).data)
