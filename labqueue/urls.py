"""All addresses. Who may open them stands in `labqueue.access`."""

from django.contrib.auth import views as auth
from django.urls import include, path
from django.views.generic import TemplateView
from drf_spectacular.views import SpectacularAPIView

import orders.urls
import shipping.urls
from labqueue import account, home
from labqueue.base import views as base
from labqueue.password import ChangePassword
from labqueue.planning import urls as planning
from labqueue.production import urls as production

handler400 = "labqueue.guard.bad_request"
handler403 = "labqueue.guard.forbidden"
handler404 = "labqueue.guard.not_found"
handler500 = "labqueue.guard.crashed"

programs = [
    path("schema", SpectacularAPIView.as_view(), name="schema"),
    *orders.urls.programs,
    *production.programs,
    *planning.programs,
    *shipping.urls.programs,
]

urlpatterns = [
    path("", home.home, name="home"),
    path("health", home.health, name="health"),
    path("keys", account.tokens, name="tokens"),
    path("keys/<int:pk>/revoke", account.end, name="revoke-token"),
    path("password", ChangePassword.as_view(), name="password"),
    path("parts", TemplateView.as_view(template_name="base/parts.html"), name="parts"),
    path("outbox/<int:pk>/again", base.revive, name="revive"),
    path("sign-in", auth.LoginView.as_view(template_name="base/sign_in.html"), name="sign-in"),
    path("sign-out", auth.LogoutView.as_view(), name="sign-out"),
    path("api/v1/", include((programs, "api"))),
    path("", include((orders.urls.pages, "orders"))),
    path("", include((production.pages, "production"))),
    path("", include((planning.pages, "planning"))),
    path("", include((shipping.urls.pages, "shipping"))),
]
