from django.urls import path

from coaching.desk import views

app_name = "desk"
urlpatterns = [
    path("", views.home, name="home"),
    path("waiting/", views.waiting, name="waiting"),
    path("students/", views.students, name="students"),
    path("students/<int:pk>/", views.student, name="student"),
    path("mine/<int:pk>/", views.mine, name="mine"),
    path("practice/", views.practice, name="practice"),
    path("studios/<int:pk>/turn-check/", views.turn_check, name="turn_check"),
]
