from django.urls import path

from coaching.operations import views

# No app_name: the page's name is the site's (coaching/urls.py), studio pages lead to it.
urlpatterns = [
    path("studio/<int:pk>/operations/", views.page, name="operations"),
    path("studio/<int:pk>/operations/run/<int:run>/", views.retry_run, name="operations_run"),
    path(
        "studio/<int:pk>/operations/email/<int:email>/", views.retry_email, name="operations_email"
    ),
]
