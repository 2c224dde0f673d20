"""One URL per action; each slice brings its own.

The dashboard's pages are the site's own: their names have no slice in front, and every slice may
lead to them (`home`, `waiting`, `student`, `today`, `thread`, ...).
"""

from django.conf import settings
from django.urls import include, path
from django.views.generic import TemplateView

from coaching import health, offline
from coaching.api.views import dashboard as api
from coaching.intake import views as intake
from coaching.notify import views as notify
from coaching.practice.views import pain
from coaching.review.views import clips, room

handler500 = "coaching.busy.server_error"
urlpatterns = [
    path("healthz", health.healthz, name="healthz"),
    path("readyz", health.readyz, name="readyz"),
    path("metrics", health.metrics, name="metrics"),
    path("manifest.webmanifest", offline.manifest, name="manifest"),
    path("sw.js", offline.worker, name="service_worker"),
    path("offline/", offline.page, name="offline"),
    path("api/", include("coaching.api.urls")),
    path("", include("allauth.account.urls")),
    path("you/second-step/", include("allauth.mfa.urls")),
    path("you/sessions/", include("allauth.usersessions.urls")),
    path("", include("coaching.people.urls")),
    path("", include("coaching.intake.urls")),
    path("", include("coaching.review.urls")),
    path("", include("coaching.diagnosis.urls")),
    path("", include("coaching.practice.urls")),
    path("", include("coaching.notify.urls")),
    path("", include("coaching.dashboard.urls")),
    path("", include("coaching.operations.urls")),
    # Pages of a slice that slices to its left lead to as well.
    path("studio/<int:pk>/logo.png", intake.logo, name="logo"),
    path("review/clip/<int:pk>/", room.room, name="room"),
    path("review/video/<int:pk>/thumb", clips.thumb, name="thumb"),
    path("students/<int:pk>/pain/", pain.pain, name="pain"),
    path("you/emails/", notify.settings, name="emails"),
    path("api/", api.reference, name="api_reference"),
]
if settings.DEBUG:  # the parts of pages, for those who build them
    styleguide = TemplateView.as_view(template_name="parts/styleguide.html")
    urlpatterns.append(path("styleguide/", styleguide, name="styleguide"))
