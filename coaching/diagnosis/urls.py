from django.urls import path

from coaching.diagnosis import views

app_name = "diagnosis"
urlpatterns = [
    path("review/<int:pk>/findings/", views.margin, name="margin"),
    path("review/<int:pk>/findings/add", views.add, name="add"),
    path("review/<int:pk>/findings/accept", views.accept, name="accept"),
    path("review/<int:pk>/findings/dismiss", views.dismiss, name="dismiss"),
    path("review/<int:pk>/findings/suggest-again", views.suggest_again, name="suggest_again"),
    path("review/<int:pk>/findings/link", views.link, name="link"),
    path("review/<int:pk>/findings/unlink", views.unlink, name="unlink"),
    path("review/<int:pk>/findings/move", views.move, name="move"),
    path("review/<int:pk>/findings/keep", views.keep, name="keep"),
    path("finding/<int:pk>/edit", views.edit, name="edit"),
    path("finding/<int:pk>/remove", views.remove, name="remove"),
    path("finding/<int:pk>/limit", views.limit, name="limit"),
    path("finding/<int:pk>/settle", views.settle, name="settle"),
    path("finding/<int:pk>/look-again", views.look_again, name="look_again"),
    path("finding/<int:pk>/answer/", views.answer, name="answer"),
    path("students/<int:pk>/findings/", views.shown, name="shown"),
]
