"""The main job, whole, through the interface for programs: from a practice's order to its invoice.

Every step is taken by the person whose step it is, with a real worker process behind the service. It is run on SQLite
with the embedded broker and again on PostgreSQL with Redis (see tests/run.py).
"""

import io
import itertools
import json
import uuid
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.utils import timezone
from pypdf import PdfReader

from labqueue.base import audit
from labqueue.base.api import issue_token
from labqueue.base.models import Chain, User
from labqueue.production import setup
from labqueue.production.models import Scan
from orders.models import Case
from shipping import prices
from shipping.models import Invoice
from tests import cast
from tests.harness.waiting import wait_for
from tests.harness.worker import Worker

ZONE = ZoneInfo("America/New_York")
# A worker has to look at the floor, simulate it and print: generous, for a machine that does other things beside.
PATIENCE = 90
# The device's clock: hands need time, and two scans within seconds would be one.
CLOCK = (timezone.now() - timedelta(hours=3) + timedelta(minutes=n) for n in itertools.count())


@dataclass
class Program:
    """A program that acts for one person."""

    user: User
    client: Client
    token: str

    def ask(self, method: str, path: str, body: object = None, expect: int = 200) -> Any:
        """The JSON answer; fails where the status is another."""
        headers = {"authorization": f"Bearer {self.token}"}
        url = f"/api/v1/{path}"
        response = self.client.generic(method, url, _json(body), content_type="application/json", headers=headers)
        assert response.status_code == expect, f"{method} {path}: {response.status_code} {response.content[:600]!r}"
        return response.json()

    def file(self, path: str) -> bytes:
        """What is downloaded from an address."""
        response = self.client.get(path, headers={"authorization": f"Bearer {self.token}"})
        assert response.status_code == 200, response.content[:300]
        return b"".join(response.streaming_content)  # type: ignore[attr-defined]


def _json(body: object) -> bytes:
    return b"" if body is None else json.dumps(body).encode()


def program(user: User) -> Program:
    """A program with a fresh key of that person."""
    return Program(user, Client(), issue_token(user, "journey"))


@dataclass
class House:
    """Everybody who takes part."""

    doctor: Program
    assistant: Program
    other_doctor: Program
    technician: Program
    manager: Program
    shipper: Program


@pytest.fixture
def house(worker: Worker) -> House:
    """A laboratory with its stations, lots and prices, two practices, and a worker."""
    setup.load(cast.laboratory())
    prices.load(cast.laboratory())
    return House(
        doctor=program(cast.prescriber()),
        assistant=program(cast.assistant()),
        other_doctor=program(cast.prescriber("millpond")),
        technician=program(cast.technician()),
        manager=program(cast.manager()),
        shipper=program(cast.shipper()),
    )


def appointment(days: int = 30) -> datetime:
    """A working day well ahead, at two in the afternoon."""
    day = timezone.localtime(timezone.now(), ZONE).date() + timedelta(days=days)
    day -= timedelta(days=max(0, day.weekday() - 3))
    return datetime(day.year, day.month, day.day, 14, tzinfo=ZONE)


IMPLANT = {"system": "Averin C", "connection": "conical", "platform": "4.3", "level": "bone"}
# What the impression brings, and that somebody asked for allergies.
REST = {
    "impression": "open_tray",
    "analog": "laboratory",
    "opposing": "impression",
    "bite": "record",
    "disinfected_with": "Disinfectant bath",
    "disinfected_minutes": 10,
    "allergy": "none",
}


def order() -> dict[str, Any]:
    """A final abutment with its crown on the upper right central incisor, in the practice's Universal notation."""
    tooth = {"tooth": "8", "notation": "universal"}
    abutment = {"kind": "abutment", "material": "titanium", **tooth, **IMPLANT}
    crown = {"kind": "crown", "material": "zirconia_4y", "shade": "N2", **tooth}
    seat_at = appointment().isoformat()
    return {"patient_ref": "KO2041", "stage": "final", "seat_at": seat_at, "items": [abutment, crown], **REST}


def lots(house: House) -> None:
    """Put a lot into use wherever the two routes take one."""
    for station, what in (
        ("wet-milling", "titanium"),
        ("milling", "zirconia_4y"),
        ("packing", "screw"),
    ):
        number = next(lot["number"] for lot in cast.laboratory()["lots"] if lot["what"] == what)
        house.technician.ask("POST", f"stations/{station}/lots", {"what": what, "number": number}, expect=201)


def scan(who: Program, piece: dict[str, Any], station: str, key: str = "", expect: int = 201) -> Any:
    """One scan, a minute after the last by the device's clock; a fresh key unless one is given."""
    at = next(CLOCK)
    body = {"key": key or str(uuid.uuid4()), "code": piece["code"], "station": station, "occurred_at": at.isoformat()}
    return who.ask("POST", "scans", body, expect=expect)


def route_of(piece: dict[str, Any]) -> Iterator[str]:
    """The stations of a piece, in their order."""
    return (step["station"] for step in piece["steps"])


def through(who: Program, piece: dict[str, Any], stations: list[str]) -> None:
    """Start and end the steps of a piece at these stations."""
    for station in stations:
        scan(who, piece, station)
        scan(who, piece, station)


def test_an_order_goes_through_the_house_to_its_invoice(house: House) -> None:
    """The whole journey of one case; each refusal on the way leaves everything as it was."""
    number = ordered_and_signed(house)
    abutment, crown = released(house, number)
    risk_is_forecast(house, number)
    made(house, number, abutment, crown)
    invoice = shipped(house, number, [abutment, crown])
    papers_are_there(house, number, invoice)
    the_trail_holds(number)


def ordered_and_signed(house: House) -> str:
    """The assistant prepares, may not sign; the prescriber signs; from then on it is frozen."""
    number: str = house.assistant.ask("POST", "cases", order(), expect=201)["number"]
    refused = house.assistant.ask("POST", f"cases/{number}/sign", {}, expect=403)
    assert "licence" in refused["detail"]
    house.other_doctor.ask("GET", f"cases/{number}", expect=404)
    house.manager.ask("POST", f"cases/{number}/accept", expect=404)
    signed = house.doctor.ask("POST", f"cases/{number}/sign", {})
    assert signed["state"] == "signed"
    assert signed["prescription"]["items"][0]["tooth_words"] == "upper right central incisor"
    assert signed["prescription"]["items"][0]["tooth_fdi"] == "11"
    assert signed["due"]["due_at"] < signed["seat_at"]
    house.doctor.ask("PUT", f"cases/{number}/prescription", order(), expect=409)
    return number


def released(house: House, number: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """Accepted by the manager, the implant read again by somebody else, released: two pieces with their own routes."""
    house.technician.ask("POST", f"cases/{number}/accept", expect=403)
    house.manager.ask("POST", f"cases/{number}/accept")
    assert "A second person" in house.manager.ask("POST", f"cases/{number}/release", expect=409)["detail"]
    read = {"tooth": "8", "notation": "universal", "kind": "abutment", "read_off": "sticker", **IMPLANT}
    house.manager.ask("POST", f"cases/{number}/implant", read, expect=403)
    assert "V06" in house.technician.ask("POST", f"cases/{number}/implant", {**read, "platform": "4.8"}, 422)["detail"]
    assert house.technician.ask("POST", f"cases/{number}/implant", read, expect=201)[0]["confirmed_at"]
    pieces = house.manager.ask("POST", f"cases/{number}/release")
    assert [piece["kind"] for piece in pieces] == ["abutment", "crown"]
    assert "sintering" not in route_of(pieces[0])
    assert "sintering" in route_of(pieces[1])
    return pieces[0], pieces[1]


def risk_is_forecast(house: House, number: str) -> None:
    """A worker simulates the floor; the practice sees the risk with its age, the manager where work waits."""
    house.manager.ask("POST", "forecasts", expect=202)
    seen = wait_for(lambda: _outlook(house, number), PATIENCE, "a forecast of the case")
    assert 0 <= seen["late"] <= 1
    assert seen["late_low"] <= seen["late"] <= seen["late_high"]
    assert timezone.now() - datetime.fromisoformat(seen["made_at"]) < timedelta(seconds=PATIENCE)
    assert datetime.fromisoformat(seen["p50"]) > timezone.now()
    listed = house.doctor.ask("GET", "cases")["results"][0]
    assert listed["late"] == seen["late"]
    report = house.manager.ask("GET", "bottlenecks")
    waiting = {row["station"]: row["work_in_process"] for row in report["stations"]}
    assert waiting["intake"] == 2
    house.doctor.ask("GET", "bottlenecks", expect=403)


def _outlook(house: House, number: str) -> dict[str, Any]:
    """Empty while there is none."""
    seen: dict[str, Any] = house.doctor.ask("GET", f"cases/{number}/outlook")
    return seen if seen["late"] is not None else {}


def made(house: House, number: str, abutment: dict[str, Any], crown: dict[str, Any]) -> None:
    """Scanned from station to station: side by side, joined before the crown is finished."""
    lots(house)
    key = str(uuid.uuid4())
    first = scan(house.technician, abutment, "intake", key)
    again = scan(house.technician, abutment, "intake", key, expect=200)
    assert (first["repeated"], again["repeated"]) == (False, True)
    assert Scan.objects.count() == 1
    scan(house.technician, abutment, "intake")
    assert "not Packing" in scan(house.technician, crown, "packing", expect=409)["detail"]
    assert "furnace" in scan(house.technician, abutment, "sintering", expect=409)["detail"]
    through(house.technician, crown, ["intake", "design", "milling", "sintering"])
    assert "waits for its abutment" in scan(house.technician, crown, "finishing", expect=409)["detail"]
    through(house.technician, abutment, ["model", "design", "wet-milling", "finishing"])
    through(house.technician, crown, ["finishing", "quality"])
    assert house.manager.ask("GET", f"cases/{number}")["state"] == "released"
    through(house.technician, abutment, ["quality"])
    assert house.manager.ask("GET", f"cases/{number}")["state"] == "finished"


def shipped(house: House, number: str, pieces: list[dict[str, Any]]) -> str:
    """Every piece is scanned into the box, the box is closed and sent, and billed once."""
    house.shipper.ask("POST", f"cases/{number}/pack", expect=409)
    for piece in pieces:
        through(house.shipper, piece, ["packing"])
    assert "finished" in scan(house.shipper, pieces[0], "packing", expect=409)["detail"]
    house.shipper.ask("POST", f"cases/{number}/pack", expect=201)
    sent = house.shipper.ask("POST", f"cases/{number}/dispatch", {"carrier": "Harbour Courier"})
    assert sent["state"] == "shipped"
    house.shipper.ask("POST", f"cases/{number}/dispatch", {"carrier": "Harbour Courier"}, expect=409)
    assert Invoice.objects.count() == 1
    year = timezone.localtime(timezone.now()).year
    assert sent["invoice"] == f"INV-{year}-00001"
    return str(sent["invoice"])


def papers_are_there(house: House, number: str, invoice: str) -> None:
    """A worker prints both papers; the practice downloads and reads them, another practice finds nothing."""
    ready = wait_for(lambda: _ready(house, number), PATIENCE, "both papers")
    text = {paper["kind"]: _text(house.doctor.file(paper["file"])) for paper in ready}
    for words in (number, "KO2041", "upper right central incisor", "Titanium alloy", "CT-55210", "BZ4-2209"):
        assert words in text["slip"], words
    assert "NOT STERILE" in text["slip"].upper()
    for words in (invoice, "210.00", "130.00", "KO2041"):
        assert words in text["invoice"], words
    assert "210.00" not in text["slip"]
    house.other_doctor.ask("GET", f"cases/{number}/papers", expect=404)
    house.other_doctor.ask("GET", f"papers/{ready[0]['id']}", expect=404)
    assert house.doctor.ask("GET", "invoices")["results"][0]["number"] == invoice
    assert house.other_doctor.ask("GET", "invoices")["results"] == []


def _ready(house: House, number: str) -> list[dict[str, Any]]:
    """Empty until both are there."""
    papers: list[dict[str, Any]] = house.doctor.ask("GET", f"cases/{number}/papers")
    return papers if len(papers) == 2 and all(paper["ready"] for paper in papers) else []


def _text(pdf: bytes) -> str:
    """The words of a PDF, one space between them."""
    return " ".join(" ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages).split())


def the_trail_holds(number: str) -> None:
    """Who did what, in its order; and no audit chain is broken."""
    verbs = [event.verb for event in audit.trail(Case.objects.get(number=number))]
    assert verbs[0] == "opened"
    assert verbs[-1] == "shipped"
    assert verbs.count("scanned") == Scan.objects.count()
    assert [audit.verify(chain) for chain in Chain.objects.all() if audit.verify(chain)] == []


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"items.0.notation": ""}, "/items/0/tooth"),
        ({"items.1.material": "pmma"}, "/items/1/material"),
        ({"seat_at": "2020-01-08T14:00:00-05:00"}, "/seat_at"),
        ({"patient_ref": "1980-02-03"}, "/patient_ref"),
        ({"practice": "millpond"}, "/practice"),
    ],
)
@pytest.mark.django_db
def test_a_contradictory_order_is_refused_at_its_field(change: dict[str, str], pointer: str) -> None:
    """The refusal names the field, and nothing is written."""
    body = order()
    for path, value in change.items():
        *way, last = path.split(".")
        place: Any = body
        for part in way:
            place = place[int(part)] if part.isdigit() else place[part]
        place[last] = value
    cast.practice("millpond")
    refused = program(cast.prescriber()).ask("POST", "cases", body, expect=422)
    assert pointer in [fault["pointer"] for fault in refused["errors"]]
    assert Case.objects.count() == 0
