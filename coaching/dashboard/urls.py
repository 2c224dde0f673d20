from django.urls import path

from coaching.dashboard import note_views, package_views, studio_views, thread_views, views

# No app_name: these names are the site's (coaching/urls.py).
urlpatterns = [
    path("", views.home, name="home"),
    path("waiting/", views.waiting, name="waiting"),
    path("waiting/bulk/", views.bulk, name="waiting_bulk"),
    path("students/", views.students, name="students"),
    path("students/<int:pk>/", views.student, name="student"),
    path("students/<int:pk>/tag/", views.tag, name="tag"),
    path("mine/<int:pk>/", views.mine, name="today"),
    path("practice/", studio_views.practice, name="overview"),
    path("studios/<int:pk>/turn-check/", studio_views.turn_check, name="turn_check"),
    path("studio/<int:pk>/packages/", package_views.packages_page, name="packages"),
    path("studio/<int:pk>/packages/<int:id>/", package_views.package_page, name="package"),
    path("studio/<int:pk>/packages/<int:id>/retire", package_views.retire, name="package_retire"),
    path("studio/<int:pk>/packages/counts", package_views.what_counts, name="what_counts"),
    path("students/<int:pk>/packages/", package_views.buy, name="buy"),
    path("students/<int:pk>/packages/<int:id>/remove", package_views.take_back, name="unbuy"),
    path("students/<int:pk>/note/", note_views.note, name="note"),
    path("students/<int:pk>/thread/", thread_views.thread_page, name="thread"),
    path("students/<int:pk>/thread/send/", thread_views.send, name="thread_send"),
    path("students/<int:pk>/lesson/", thread_views.summary, name="lesson_sheet"),
    path("entries/<int:pk>/needs-no-answer", thread_views.needs_no_answer, name="needs_no_answer"),
    path("students/<int:pk>/put-off", thread_views.put_off, name="put_off"),
]
