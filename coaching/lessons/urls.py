from django.urls import path

from coaching.lessons import views

app_name = "lessons"
urlpatterns = [
    path("students/<int:pk>/thread/", views.thread, name="thread"),
    path("students/<int:pk>/thread/send/", views.send, name="send"),
    path("students/<int:pk>/lesson/", views.summary, name="summary"),
]
