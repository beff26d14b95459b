"""All addresses. Who may open them stands in `labqueue.access`."""

from django.contrib.auth import views as auth
from django.urls import path
from django.views.generic import TemplateView
from drf_spectacular.views import SpectacularAPIView

from labqueue import home

handler404 = "labqueue.access.not_found"
handler500 = "labqueue.access.crashed"

urlpatterns = [
    path("", home.home, name="home"),
    path("health", home.health, name="health"),
    path("parts", TemplateView.as_view(template_name="base/parts.html"), name="parts"),
    path("sign-in", auth.LoginView.as_view(template_name="base/sign_in.html"), name="sign-in"),
    path("sign-out", auth.LogoutView.as_view(), name="sign-out"),
    path("api/v1/schema", SpectacularAPIView.as_view(), name="schema"),
]
