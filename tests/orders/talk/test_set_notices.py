"""Where somebody of a practice gets mail: own address, on and off."""

import pytest

from labqueue.base import audit
from labqueue.base.errors import Forbidden
from labqueue.base.models import User
from orders.models import Member
from orders.talk.notices import people_of
from orders.talk.set_notices import set_notices
from tests import cast
from tests.orders.refusals import refused
from tests.orders.test_case_pages import browser, text

pytestmark = pytest.mark.django_db

ADDRESS = "desk@northgate.example"


def test_an_address_is_kept_and_stays_out_of_the_trail() -> None:
    person = cast.assistant()
    set_notices(person, f" {ADDRESS} ", True)
    person.refresh_from_db()
    assert (person.email, list(people_of(cast.practice()))) == (ADDRESS, [person])
    event = audit.trail(person)[-1]
    assert (event.verb, event.after) == ("notices set", {"notices": True, "address": True})
    set_notices(person, ADDRESS, False)
    assert list(people_of(cast.practice())) == []


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("", "Give the address to which notices go, or switch them off."),
        ("desk", "Give one address"),
        ("a@b.example, c@d.example", "Give one address"),
        ("a@b.example\nBcc: c@d.example", "Give one address"),
        ("d" * 60 + "@" + ".".join(["e" * 60] * 4) + ".example", "at most 254"),
    ],
)
def test_what_is_no_address_is_refused(address: str, words: str) -> None:
    person = cast.assistant()
    with refused("email", words, also=(User, Member)):
        set_notices(person, address, True)


def test_the_laboratory_gets_no_notices() -> None:
    manager = cast.manager()
    with refused("", "Only people of a practice", kind=Forbidden, also=(User, Member)):
        set_notices(manager, ADDRESS, True)


def test_the_page_shows_and_keeps_it() -> None:
    client = browser(cast.assistant())
    assert "Your e-mail address" in text(client.get("/notices"))
    wrong = client.post("/notices", {"email": "desk", "wanted": "on"})
    assert wrong.status_code == 422
    assert "Give one address" in text(wrong)
    done = client.post("/notices", {"email": ADDRESS, "wanted": "on"}, follow=True)
    assert f'value="{ADDRESS}"' in text(done)
    assert "Your notices are set." in text(done)
    client.post("/notices", {"email": "", "wanted": ""})
    member = Member.objects.get(user=cast.assistant())
    assert (member.notices, member.user.email) == (False, "")
