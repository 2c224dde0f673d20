from django.urls import URLPattern

app_name = "notify"
urlpatterns: list[URLPattern] = []
