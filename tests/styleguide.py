"""The app's URLs with the page of parts, which only a development server has."""

from django.urls import path
from django.views.generic import TemplateView

from coaching.urls import urlpatterns as app

urlpatterns = [
    *app,
    path("styleguide/", TemplateView.as_view(template_name="parts/styleguide.html")),
]
