"""Signing and changing a prescription."""

import pytest

from tests.orders import build

pytestmark = pytest.mark.django_db


def test_signed_case_waits_for_the_laboratory() -> None:
    case = build.signed_case()
    assert case.state == "signed"
    assert build.accepted_case(patient_ref="K-1").state == "accepted"
