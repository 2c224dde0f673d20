from django.urls import path

from coaching.review import views

app_name = "review"
urlpatterns = [
    path("review/clip/<int:pk>/", views.room, name="room"),
    path("review/<int:pk>/", views.read, name="read"),
    path("review/<int:pk>/data", views.review_data, name="review_data"),
    path("review/compare/", views.compare, name="compare"),
    path("review/video/<int:pk>/data", views.data, name="data"),
    path("review/video/<int:pk>/figures", views.figures, name="figures"),
    path("review/video/<int:pk>/still", views.still, name="still"),
    path("review/video/<int:pk>/correct", views.correct, name="correct"),
    path("review/correction/<int:pk>/undo", views.undo, name="undo"),
    path("review/<int:pk>/words", views.words, name="words"),
    path("review/version/<int:pk>/settle", views.settle, name="settle"),
    path("review/<int:pk>/mark", views.add_mark, name="add_mark"),
    path("review/mark/<int:pk>/change", views.change_mark, name="change_mark"),
    path("review/mark/<int:pk>/remove", views.remove_mark, name="remove_mark"),
    path("review/<int:pk>/walk", views.start_walk, name="start_walk"),
    path("review/walk/<int:pk>/events", views.save_walk, name="save_walk"),
    path("review/walk/<int:pk>/finish", views.finish_walk, name="finish_walk"),
    path("review/walk/<int:pk>/remove", views.remove_walk, name="remove_walk"),
    path("review/walk/<int:pk>/captions", views.captions, name="captions"),
    path("review/walk/<int:pk>/demonstrate", views.add_demonstration, name="demonstrate"),
    path("review/walk/<int:pk>/sound", views.sound, name="sound"),
    path("review/walk/<int:pk>/demonstration", views.demonstration, name="demonstration"),
    path("review/<int:pk>/publish", views.publish, name="publish"),
    path("review/student/<int:pk>/snippet", views.add_snippet, name="add_snippet"),
    path("review/snippet/<int:pk>/remove", views.remove_snippet, name="remove_snippet"),
    path("review/preferences", views.preferences, name="preferences"),
]
