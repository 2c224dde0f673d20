from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from coaching.api.views import clips, desk, people, teaching

app_name = "api"
router = SimpleRouter()
for name, viewset in (
    ("studios", people.Studios),
    ("students", people.Students),
    ("requests", clips.Requests),
    ("angles", clips.Angles),
    ("submissions", clips.Submissions),
    (r"videos/(?P<video_pk>\d+)/corrections", clips.Corrections),
    ("reviews", teaching.Reviews),
    ("findings", teaching.Findings),
    ("drills", teaching.Drills),
    ("assignments", teaching.Assignments),
    ("attempts", teaching.Attempts),
    ("pain", teaching.PainReports),
):
    router.register(name, viewset, basename=name.split("/")[-1])

urlpatterns = [
    path("login/", people.Login.as_view(), name="login"),
    path("join/<str:token>/", people.Join.as_view(), name="join"),
    path("agree/<str:token>/", people.Agree.as_view(), name="agree"),
    path("waiting/", desk.Waiting.as_view(), name="waiting"),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("", desk.reference, name="reference"),
    path("", include(router.urls)),
]
