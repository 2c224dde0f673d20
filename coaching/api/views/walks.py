"""Walk-throughs, their lesson films and links: read, made and ended as on the pages."""

from __future__ import annotations

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import status, viewsets
from rest_framework.decorators import action
from rest_framework.request import Request as ApiRequest
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer

from coaching.api.serializers.walks import (
    FilmLinkSerializer,
    FilmSerializer,
    NewLinkSerializer,
    WalkThroughSerializer,
    WholeWalkThroughSerializer,
)
from coaching.checking import checked
from coaching.people.access import user_of
from coaching.people.errors import LessonError
from coaching.review.access import film_act, film_link_act, film_walk, walks_read
from coaching.review.models import FilmLink, WalkThrough
from coaching.review.queries import films as queries
from coaching.review.services import films


class WalkThroughs(viewsets.ReadOnlyModelViewSet[WalkThrough]):
    """Walk-throughs of answers that were sent, and of your studio's drafts; the newest first.

    They are recorded in the browser's review room.
    """

    queryset = WalkThrough.objects.none()

    def get_queryset(self) -> QuerySet[WalkThrough]:
        return walks_read(self.request.user).select_related("review").order_by("-pk")

    def get_serializer_class(self) -> type[BaseSerializer[WalkThrough]]:
        return WalkThroughSerializer if self.action == "list" else WholeWalkThroughSerializer

    @extend_schema(methods=["GET"], responses=FilmSerializer)
    @extend_schema(methods=["POST"], request=None, responses={202: FilmSerializer})
    @action(detail=True, methods=["get", "post"])
    def film(self, request: ApiRequest, pk: int) -> Response:
        """How far its lesson film is; POST asks for it, or tries again. Asked twice, it is made
        once."""
        walk = film_walk(request.user, pk)
        if request.method == "POST":
            films.ask_film(walk=walk, by=user_of(request))
        told = FilmSerializer(queries.making_of(walk), context={"walk": walk}).data
        return Response(told, status=202 if request.method == "POST" else 200)

    @extend_schema(methods=["GET"], responses=FilmLinkSerializer(many=True))
    @extend_schema(methods=["POST"], request=NewLinkSerializer, responses={201: FilmLinkSerializer})
    @action(detail=True, methods=["get", "post"], pagination_class=None)
    def links(self, request: ApiRequest, pk: int) -> Response:
        """The links that show its film without an account, with how often each was looked at:
        the student's side only. POST makes one."""
        walk = film_act(request.user, pk)
        film = queries.making_of(walk).film
        if request.method == "GET":
            rows = queries.links_of(film) if film is not None else []
            return Response(FilmLinkSerializer(rows, many=True).data)
        validated = checked(NewLinkSerializer, request)
        if film is None:
            raise LessonError(str(films.NOT_MADE), code="not_made", status=409)
        link = films.make_link(film=film, by=user_of(request), **validated)
        row = next(row for row in queries.links_of(film) if row.link.pk == link.pk)
        return Response(FilmLinkSerializer(row).data, status=status.HTTP_201_CREATED)


class FilmLinks(viewsets.GenericViewSet[FilmLink]):
    """Links to lesson films of the student's own side."""

    queryset = FilmLink.objects.none()
    serializer_class = FilmLinkSerializer

    @extend_schema(request=None, responses={204: None})
    @action(detail=True, methods=["post"])
    def end(self, request: ApiRequest, pk: int) -> Response:
        """From now on the link shows nothing; ended twice, it is ended once."""
        films.end_link(link=film_link_act(request.user, pk), by=user_of(request))
        return Response(status=status.HTTP_204_NO_CONTENT)
