"""One URL per action; each slice brings its own."""

from django.http import HttpRequest, JsonResponse
from django.urls import include, path


def healthz(request: HttpRequest) -> JsonResponse:
    return JsonResponse({"ok": True})


urlpatterns = [
    path("healthz", healthz, name="healthz"),
    path("api/", include("coaching.api.urls")),
    path("", include("coaching.people.urls")),
    path("", include("coaching.lessons.urls")),
    path("", include("coaching.intake.urls")),
    path("", include("coaching.review.urls")),
    path("", include("coaching.diagnosis.urls")),
    path("", include("coaching.practice.urls")),
    path("", include("coaching.notify.urls")),
    path("", include("coaching.desk.urls")),
]
