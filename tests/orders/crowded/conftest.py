"""Very many cases, laid once for all tests of this folder; what each of them changes is rolled back."""

from collections.abc import Iterator

import pytest
from django.db import transaction
from django.utils import timezone
from pytest_django import DjangoDbBlocker

from orders.models import Outlook
from tests import cast
from tests.harness import flush
from tests.orders import build, crowd


@pytest.fixture(scope="package", autouse=True)
def _crowd(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[None]:
    """2,000 open cases of one practice and 138 of another, each with two pieces and an outlook."""
    with django_db_blocker.unblock(), transaction.atomic():
        for code, count, first in (("northgate", 2000, 9100000), ("southgate", 138, 9200000)):
            case = build.signed_case(cast.prescriber(code))
            Outlook.objects.create(case=case, late=0.31, made_at=timezone.now())
            crowd.copies(case, count - 1, first)
    yield
    with django_db_blocker.unblock():
        flush.everything()
