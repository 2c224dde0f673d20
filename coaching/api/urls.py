from django.urls import include, path
from drf_spectacular.views import SpectacularAPIView
from rest_framework.routers import SimpleRouter

from coaching.api import views

app_name = "api"
router = SimpleRouter()
for name, viewset in (
    ("studios", views.Studios),
    ("students", views.Students),
    ("requests", views.Requests),
    ("angles", views.Angles),
    ("submissions", views.Submissions),
    (r"videos/(?P<video_pk>\d+)/corrections", views.Corrections),
    ("reviews", views.Reviews),
    ("findings", views.Findings),
    ("drills", views.Drills),
    ("assignments", views.Assignments),
    ("attempts", views.Attempts),
    ("pain", views.PainReports),
):
    router.register(name, viewset, basename=name.split("/")[-1])

urlpatterns = [
    path("login/", views.Login.as_view(), name="login"),
    path("waiting/", views.Waiting.as_view(), name="waiting"),
    path("schema/", SpectacularAPIView.as_view(), name="schema"),
    path("", views.reference, name="reference"),
    path("", include(router.urls)),
]
