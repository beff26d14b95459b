"""Roles as they stand in the database."""

import pytest
from django.core.management import CommandError, call_command
from django.db import IntegrityError, transaction

from labqueue.base.models import User
from labqueue.base.roles import EVERYBODY, LABORATORY, Role

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("role", list(Role))
def test_who_works_here(role: Role) -> None:
    person = User.objects.create_user("pat", role=role)
    person.refresh_from_db()
    assert person.works_here is (role != Role.PRACTICE)
    assert person.role in EVERYBODY


def test_a_text_is_as_good_as_the_role() -> None:
    assert "technician" in LABORATORY
    assert "practice" not in LABORATORY


@pytest.mark.parametrize("role", ["", "owner", "ADMIN"])
def test_an_unknown_role_is_refused_by_the_database(role: str) -> None:
    with pytest.raises(IntegrityError, match="user_role_known"), transaction.atomic():
        User.objects.create_user("pat", role=role)
    assert not User.objects.exists()


def test_the_first_administrator_is_made_on_the_command_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DJANGO_SUPERUSER_PASSWORD", "a long enough one")
    arguments = ["createsuperuser", "--noinput", "--username", "ada", "--email", "ada@lab.example"]
    call_command(*arguments, "--role", "admin")
    assert User.objects.get().role == Role.ADMIN
    with pytest.raises(CommandError, match="role"):
        call_command("createsuperuser", "--noinput", "--username", "bob", "--email", "bob@lab.example")
    assert User.objects.count() == 1


def test_the_shown_name() -> None:
    assert User(username="pat").shown_name == "pat"
    assert User(username="pat", first_name="Pat", last_name="Vale").shown_name == "Pat Vale"
