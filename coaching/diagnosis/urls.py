from django.urls import path

from coaching.diagnosis import studio_views, views

app_name = "diagnosis"
urlpatterns = [
    path("review/<draft:ref>/findings/", views.sidebar, name="sidebar"),
    path("review/<draft:ref>/findings/add", views.add, name="add"),
    path("review/<draft:ref>/findings/accept", views.accept, name="accept"),
    path("review/<draft:ref>/findings/pick", views.pick, name="pick"),
    path("review/<draft:ref>/findings/picker/", views.picker, name="picker"),
    path("review/<draft:ref>/findings/by-eye", views.by_eye, name="by_eye"),
    path("review/<draft:ref>/findings/ball", views.ball, name="ball"),
    path("review/<draft:ref>/findings/dismiss", views.dismiss, name="dismiss"),
    path("review/<draft:ref>/findings/suggest-again", views.suggest_again, name="suggest_again"),
    path("review/<draft:ref>/findings/link", views.link, name="link"),
    path("review/<draft:ref>/findings/unlink", views.unlink, name="unlink"),
    path("review/<draft:ref>/findings/move", views.move, name="move"),
    path("review/<draft:ref>/findings/keep", views.keep, name="keep"),
    path("finding/<int:pk>/edit", views.edit, name="edit"),
    path("finding/<int:pk>/say", views.say, name="say"),
    path("finding/<int:pk>/said", views.said, name="said"),
    path("finding/<int:pk>/unsay", views.unsay, name="unsay"),
    path("finding/<int:pk>/voice", views.voice, name="voice"),
    path("finding/<int:pk>/remove", views.remove, name="remove"),
    path("finding/<int:pk>/limit", views.limit, name="limit"),
    path("finding/<int:pk>/resolve", views.resolve, name="resolve"),
    path("finding/<int:pk>/look-again", views.look_again, name="look_again"),
    path("finding/<int:pk>/answer/", views.answer, name="answer"),
    path("studio/<int:pk>/findings/", studio_views.entries, name="entries"),
    path("studio/<int:pk>/findings/own/", studio_views.own, name="own_entry"),
    path("studio/<int:pk>/findings/<slug:id>/", studio_views.entry, name="entry"),
    path("studio/<int:pk>/findings/<slug:id>/reset", studio_views.reset, name="reset_entry"),
    path("students/<int:pk>/findings/", views.shown, name="shown"),
]
