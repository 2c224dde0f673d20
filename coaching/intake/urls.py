from django.urls import path, re_path

from coaching.intake import tus, views

app_name = "intake"
urlpatterns = [
    path("students/<int:pk>/ask/", views.ask, name="ask"),
    path("requests/<int:pk>/", views.request_page, name="request"),
    path("requests/<int:pk>/close/", views.close, name="close"),
    path("film/model", views.framing_model, name="framing_model"),
    path("film/<int:pk>/", views.film, name="film"),
    path("film/<int:pk>/club/", views.club, name="club"),
    path("film/<int:pk>/send/", views.send, name="send"),
    path("clips/<int:pk>/", views.submission, name="submission"),
    path("clips/<int:pk>/progress/", views.progress, name="progress"),
    path("clips/<int:pk>/progress.json", views.progress_json, name="progress_json"),
    path("clips/<int:pk>/override/", views.override, name="override"),
    path("clips/<int:pk>/word/", views.word, name="word"),
    path("clips/<int:pk>/retry/", views.retry, name="retry"),
    re_path(r"^media/(?P<pk>\d{1,18})/(?P<which>copy|still|original)$", views.video, name="media"),
    path("uploads/", tus.Uploads.as_view(), name="uploads"),
    path("uploads/<uuid:pk>", tus.OneUpload.as_view(), name="upload"),
    path("uploads/<uuid:pk>/finish", tus.FinishUpload.as_view(), name="finish_upload"),
]
