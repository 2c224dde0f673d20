from django.urls import path, re_path

from coaching.intake import (
    asking_views,
    filming_tus,
    filming_views,
    set_views,
    tus,
    views,
)

app_name = "intake"
urlpatterns = [
    path("students/<int:pk>/ask/", asking_views.ask, name="ask"),
    path("requests/<int:pk>/", asking_views.request_page, name="request"),
    path("requests/<int:pk>/close/", asking_views.close, name="close"),
    path("requests/<int:pk>/phone/", filming_views.phone_link, name="phone_link"),
    path("requests/<int:pk>/phone/make/", filming_views.make, name="make_phone_link"),
    path("phone-links/<int:pk>/end/", filming_views.end, name="end_phone_link"),
    path("phone/<str:token>/", filming_views.phone, name="phone"),
    path("phone/<str:token>/part", filming_views.phone_part, name="phone_part"),
    path("phone/<str:token>/<int:pk>/send/", filming_views.phone_send, name="phone_send"),
    path("phone/<str:token>/uploads/", filming_tus.PhoneUploads.as_view(), name="phone_uploads"),
    path(
        "phone/<str:token>/uploads/<uuid:pk>",
        filming_tus.OnePhoneUpload.as_view(),
        name="phone_upload",
    ),
    path(
        "phone/<str:token>/uploads/<uuid:pk>/finish",
        filming_tus.FinishPhoneUpload.as_view(),
        name="finish_phone_upload",
    ),
    path("studio/<int:pk>/requests/", set_views.sets_page, name="sets"),
    path("studio/<int:pk>/requests/<int:id>/", set_views.set_page, name="set"),
    path("studio/<int:pk>/requests/<int:id>/remove", set_views.remove, name="set_remove"),
    path("film/model", views.framing_model, name="framing_model"),
    path("film/<int:pk>/", views.film, name="film"),
    path("film/<int:pk>/club/", views.club, name="club"),
    path("film/<int:pk>/send/", views.send, name="send"),
    path("clips/<int:pk>/", views.submission, name="submission"),
    path("clips/<int:pk>/progress/", views.progress, name="progress"),
    path("clips/<int:pk>/progress.json", views.progress_json, name="progress_json"),
    path("clips/<int:pk>/override/", views.override, name="override"),
    path("clips/<int:pk>/right/", views.right, name="right"),
    path("clips/<int:pk>/word/", views.word, name="word"),
    path("clips/<int:pk>/ball/", views.ball, name="ball"),
    path("clips/<int:pk>/retry/", views.retry, name="retry"),
    re_path(r"^media/(?P<pk>\d{1,18})/(?P<which>copy|still|original)$", views.video, name="media"),
    path("uploads/", tus.Uploads.as_view(), name="uploads"),
    path("uploads/<uuid:pk>", tus.OneUpload.as_view(), name="upload"),
    path("uploads/<uuid:pk>/finish", tus.FinishUpload.as_view(), name="finish_upload"),
]
