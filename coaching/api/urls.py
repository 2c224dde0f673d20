from typing import Any

from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from coaching.api.views import clips, dashboard, people, teaching, walks

KEY = "[0-9]{1,18}"


class Router(SimpleRouter):
    """The keys of rows are numbers: every other address is a 404 before any view runs."""

    def get_lookup_regex(self, viewset: Any, lookup_prefix: str = "") -> str:
        return f"(?P<{lookup_prefix}{viewset.lookup_url_kwarg or viewset.lookup_field}>{KEY})"


app_name = "api"
router = Router()
for name, viewset in (
    ("studios", people.Studios),
    ("students", people.Students),
    ("requests", clips.Requests),
    ("angles", clips.Angles),
    ("submissions", clips.Submissions),
    (rf"videos/(?P<video_pk>{KEY})/corrections", clips.Corrections),
    ("reviews", teaching.Reviews),
    ("walks", walks.WalkThroughs),
    ("film-links", walks.FilmLinks),
    ("findings", teaching.Findings),
    ("drills", teaching.Drills),
    ("assignments", teaching.Assignments),
    ("attempts", teaching.Attempts),
    ("practice", teaching.Practice),
    ("pain", teaching.PainReports),
):
    router.register(name, viewset, basename=name.split("/")[-1])

urlpatterns = [
    path("login/", people.Login.as_view(), name="login"),
    path("join/<str:token>/", people.Join.as_view(), name="join"),
    path("agree/<str:token>/", people.Agree.as_view(), name="agree"),
    path("waiting/", dashboard.Waiting.as_view(), name="waiting"),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("", dashboard.reference, name="reference"),
    path("", include(router.urls)),
]
