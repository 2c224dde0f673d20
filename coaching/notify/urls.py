from django.urls import path

from coaching.notify import views

app_name = "notify"
urlpatterns = [
    path("you/letters/", views.settings, name="settings"),
    path("you/calendar/new/", views.renew, name="renew"),
    path("calendar/<str:token>.ics", views.calendar, name="calendar"),
]
