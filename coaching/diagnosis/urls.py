from django.urls import URLPattern

app_name = "diagnosis"
urlpatterns: list[URLPattern] = []
