"""A person's own password: changed by who knows the old one."""

from typing import Any

from django.contrib import messages
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.views import PasswordChangeView
from django.db import transaction
from django.http import HttpResponse
from django.urls import reverse_lazy

from labqueue.base import audit
from labqueue.base.errors import Refusal
from labqueue.base.forms import HouseRenderer


class PasswordForm(PasswordChangeForm):
    """The old password once, the new one twice."""

    default_renderer = HouseRenderer


class ChangePassword(PasswordChangeView):
    """Django's page in our looks. A changed password ends the person's sessions in all other browsers."""

    template_name = "password.html"
    form_class = PasswordForm
    success_url = reverse_lazy("home")

    @transaction.atomic
    def form_valid(self, form: Any) -> HttpResponse:
        """The change with its trail; the trail holds no password."""
        answer = super().form_valid(form)
        audit.record(form.user, "password changed", form.user)
        messages.success(self.request, "Your password is changed. In every other browser you are signed out.")
        return answer

    def form_invalid(self, form: Any) -> HttpResponse:
        """The faults at their fields; nothing was written."""
        return self.render_to_response(self.get_context_data(form=form), status=Refusal.status)
