"""The floor for programs."""

from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from labqueue.base import codes
from labqueue.base.models import User
from labqueue.production.models import LotInUse, Scan, WorkItem
from orders.models import Case, Outlook
from orders.outlook import record
from tests import cast
from tests.orders import build as orders
from tests.production.build import piece, released_case, scan_through, shop

pytestmark = pytest.mark.django_db
V1 = "/api/v1"


def client(user: User) -> Client:
    """A program with the session of that person."""
    found = Client()
    found.force_login(user)
    return found


def get(path: str, user: User | None = None) -> Any:
    """The JSON of a page that must be there."""
    response = client(user or cast.technician()).get(f"{V1}{path}")
    assert response.status_code == 200, response.content
    return response.json()


def post(path: str, body: dict[str, Any] | None = None, user: User | None = None) -> Any:
    """The answer to a POST."""
    return client(user or cast.technician()).post(f"{V1}{path}", body or {}, content_type="application/json")


def scanned(item: WorkItem, station: str = "intake", **facts: Any) -> dict[str, Any]:
    """The body of a scan under a fresh key."""
    return {"key": str(uuid4()), "code": item.code, "station": station, **facts}


def problem(response: Any, status: int, pointer: str) -> str:
    """The sentence of a refusal; nothing may have been scanned."""
    assert response.status_code == status, response.content
    assert response["Content-Type"] == "application/problem+json"
    assert [error["pointer"] for error in response.json()["errors"]] == [pointer]
    assert not Scan.objects.exists()
    return str(response.json()["detail"])


def test_stations_with_their_work_in_process() -> None:
    released_case()
    assert get("/stations")[0] == {"code": "intake", "name": "Intake", "kind": "bench", "waiting": 2, "running": 0}


def test_the_queue_of_a_station() -> None:
    case = released_case(items=[orders.screw_crown()])
    item = case.work_items.get()
    record([Outlook(case=case, late=0.3, made_at=timezone.now())])
    (line,) = get("/stations/intake/queue")
    assert line.pop("due_at") is not None
    assert line.pop("risk")["late"] == 0.3
    assert line == {
        "piece": {
            "code": item.code,
            "case": case.number,
            "line": 1,
            "kind": "screw_crown",
            "tooth": "8",
            "notation": "universal",
            "tooth_fdi": "11",
            "tooth_words": "upper right central incisor",
            "material": "zirconia_4y",
            "shade": "N2",
            "state": "open",
        },
        "step": "intake",
        "running": False,
        "stopped": "",
    }


def test_the_queue_takes_as_many_queries_for_many_as_for_one() -> None:
    program = client(cast.technician())

    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            assert program.get(f"{V1}/stations/intake/queue").status_code == 200
        return len(caught)

    released_case()
    one = queries()
    for days in (12, 14):
        record([Outlook(case=released_case(seat_at=orders.seat_in(days)), late=0.1, made_at=timezone.now())])
    assert len(program.get(f"{V1}/stations/intake/queue").json()) == 6
    assert queries() == one


def test_an_unknown_station_is_not_found() -> None:
    response = client(cast.technician()).get(f"{V1}/stations/kitchen/queue")
    assert response.status_code == 404
    assert "no station “kitchen”" in response.json()["detail"]


def test_a_scan_counts() -> None:
    case = released_case()
    item, body = piece(case), scanned(piece(case))
    response = post("/scans", body)
    assert response.status_code == 201, response.content
    answer = response.json()
    assert answer["key"] == body["key"]
    assert (answer["repeated"], answer["action"], answer["step"]) == (False, "start", "intake")
    assert (answer["piece"]["code"], answer["next_station"], answer["risk"]) == (item.code, "design", None)
    assert answer["due_at"] is not None


def test_the_same_scan_sent_twice_counts_once() -> None:
    body = scanned(piece(released_case()))
    first, second = post("/scans", body), post("/scans", body)
    assert (first.status_code, second.status_code) == (201, 200)
    assert second.json() == {**first.json(), "repeated": True}
    assert Scan.objects.count() == 1


def test_a_scan_may_say_when_it_happened() -> None:
    body = scanned(piece(released_case()), occurred_at="2026-03-02T09:30:00-05:00")
    assert post("/scans", body).status_code == 201
    assert Scan.objects.get().occurred_at.isoformat() == "2026-03-02T14:30:00+00:00"


def test_a_time_without_its_offset_is_refused() -> None:
    body = scanned(piece(released_case()), occurred_at="2026-03-02T09:30:00")
    assert "with its offset" in problem(post("/scans", body), 400, "/occurred_at")


@pytest.mark.parametrize(
    ("spoil", "status", "pointer"),
    [
        ({"code": codes.with_check("199999901")}, 422, "/code"),
        ({"code": "HT-20418"}, 422, "/code"),
        ({"station": "kitchen"}, 422, "/station"),
        ({"station": "milling"}, 409, "/station"),
        ({"action": "done"}, 409, "/action"),
        ({"action": "scrap"}, 400, "/action"),
        ({"key": "1"}, 400, "/key"),
    ],
)
def test_a_refused_scan_names_its_field(spoil: dict[str, str], status: int, pointer: str) -> None:
    assert problem(post("/scans", {**scanned(piece(released_case())), **spoil}), status, pointer)


def test_a_practice_cannot_scan() -> None:
    response = post("/scans", scanned(piece(released_case())), user=cast.prescriber())
    assert response.status_code == 403
    assert not Scan.objects.exists()


def test_a_lot_is_put_into_use() -> None:
    shop(lots=False)
    body = {"what": "pmma", "number": "N-1", "product": "New Disc", "expires": "2099-01-31"}
    response = post("/stations/milling/lots", body)
    assert response.status_code == 201
    answer = response.json()
    assert answer.pop("since")
    assert answer == {**body, "station": "milling"}


def test_a_refused_lot_names_its_field() -> None:
    shop(lots=False)
    response = post("/stations/milling/lots", {"what": "pmma", "number": "N-1"})
    assert response.status_code == 422
    assert [error["pointer"] for error in response.json()["errors"]] == ["/product"]
    assert not LotInUse.objects.exists()


def test_the_manager_releases_a_case() -> None:
    shop()
    case = orders.confirmed_case()
    response = post(f"/cases/{case.number}/release", user=cast.manager())
    assert response.status_code == 200
    assert [item["kind"] for item in response.json()] == ["abutment", "crown"]
    assert Case.objects.get().state == "released"


def test_a_refused_release_says_why() -> None:
    shop()
    case = orders.signed_case()
    response = post(f"/cases/{case.number}/release", user=cast.manager())
    assert response.status_code == 409
    assert "Only an accepted case" in response.json()["detail"]
    assert not WorkItem.objects.exists()


def test_the_work_items_of_a_case_with_their_steps() -> None:
    case = released_case()
    scan_through(piece(case), until="design")
    abutment, crown = get(f"/cases/{case.number}/work-items")
    assert (abutment["kind"], crown["kind"]) == ("abutment", "crown")
    first, second = crown["steps"][:2]
    assert (first["name"], first["station"], first["state"], first["attempt"]) == ("intake", "intake", "done", 1)
    assert (second["state"], second["started_at"], second["done_at"]) == ("waiting", None, None)


def test_a_practice_sees_the_work_items_of_its_own_case_only() -> None:
    case = released_case()
    assert len(get(f"/cases/{case.number}/work-items", cast.prescriber())) == 2
    foreign = client(cast.prescriber("southbank")).get(f"{V1}/cases/{case.number}/work-items")
    assert foreign.status_code == 404
