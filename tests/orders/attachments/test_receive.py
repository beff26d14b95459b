"""Taking a file in: each type by what it holds, each refusal with nothing kept."""

from pathlib import Path
from typing import Any

import pytest
from pytest_django import Settings

from labqueue.base import audit, files
from labqueue.base.errors import Conflict, Forbidden, Refusal
from labqueue.base.models import OutboxRow
from orders.attachments import receive as receiving
from orders.attachments.receive import receive
from orders.attachments.withdraw import withdraw
from orders.lifecycle import advance
from orders.models import Attachment, Case
from tests import cast
from tests.orders import build
from tests.orders.attachments import build as made

pytestmark = pytest.mark.django_db

GOOD: list[tuple[str, bytes, str]] = [
    ("stl", made.stl(), "implant_scan"),
    ("stl", made.stl_text(), "opposing_scan"),
    ("ply", made.ply(), "emergence_scan"),
    ("ply", made.ply(">"), "bite_scan"),
    ("ply", made.ply_text(), "provisional_scan"),
    ("obj", made.obj(), "implant_scan"),
    ("jpeg", made.photo(), "photo_shade"),
    ("png", made.photo("PNG"), "sticker"),
    ("pdf", made.pdf(), "document"),
]


def kept(store: Path) -> list[Path]:
    """All files in the store and on the way there."""
    return [path for path in store.rglob("*") if path.is_file() and path.name != "files.lock"]


def nothing_kept(store: Path) -> None:
    """No file, no row, no work, no event."""
    assert kept(store) == []
    assert not Attachment.objects.exists()
    assert not OutboxRow.objects.filter(kind="attachment").exists()


def refused(case: Case, data: bytes, role: str = "implant_scan", **facts: Any) -> str:
    """The sentence with which a file is refused."""
    with pytest.raises(Refusal) as why:
        made.sent(case, data, role, **facts)
    return str(why.value)


@pytest.mark.parametrize(("kind", "data", "role"), GOOD, ids=[f"{kind}-{role}" for kind, _, role in GOOD])
def test_each_type_is_taken_by_what_it_holds(kind: str, data: bytes, role: str) -> None:
    case = build.draft_case()
    found = made.sent(case, data, role)
    assert (found.type, found.role, found.number, found.filename) == (kind, role, 1, f"{role}-1.{kind}")
    with files.open_file(found.file) as file:
        content = file.read()
    assert len(content) == found.size
    if kind not in ("jpeg", "png"):
        # Names within a scan become spaces.
        assert content == data.replace(b"a crown", b"       ").replace(b"crown", b"     ")
    assert made.roles(case) == {role}
    [event] = [event for event in audit.trail(case) if event.verb == "received a file"]
    assert event.after["sha256"] == found.sha256


def test_a_mesh_waits_for_a_worker_and_a_paper_is_ready() -> None:
    case = build.draft_case()
    scan, paper = made.sent(case, made.stl()), made.sent(case, made.pdf(), "document")
    assert (scan.state, scan.progress) == ("checking", 0)
    assert OutboxRow.objects.get(kind="attachment").payload == {"attachment": scan.pk}
    assert (paper.state, paper.progress, paper.number) == ("ready", 100, 2)


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "C:\\a\\b.stl", "Zähne\N{RIGHT-TO-LEFT OVERRIDE}lts.exe", "x" * 300, "a.pdf"]
)
def test_the_name_that_was_sent_is_neither_believed_nor_kept(name: str, store: Path) -> None:
    case = build.draft_case()
    found = receive(cast.assistant(), case, "implant_scan", made.upload(made.stl(), name))
    assert found.filename == "implant_scan-1.stl"
    assert [path.relative_to(store / "files").as_posix() for path in kept(store)] == [found.file]


@pytest.mark.parametrize("claim", [1, 2000, 171_000_000])
def test_an_stl_with_a_false_count_is_refused(claim: int, store: Path) -> None:
    why = refused(build.draft_case(), made.stl(count=claim))
    assert f"it states {claim:,} triangles, which would be {84 + 50 * claim:,} bytes" in why
    nothing_kept(store)


NO_SCANS = {
    "empty": (b"", "The file is empty"),
    "zip": (b"PK\x03\x04" + bytes(200), "a ZIP archive"),
    "zip bomb": (b"PK\x03\x04" + bytes(2_000_000), "a ZIP archive"),
    "gzip": (b"\x1f\x8b\x08" + bytes(100), "a compressed file"),
    "svg": (b"<svg xmlns='x'><script/></svg>", "a page or a drawing"),
    "html": (b"  <!doctype html><script>1</script>", "a page or a drawing"),
    "dicom": (bytes(128) + b"DICM" + bytes(100), "a DICOM record"),
    "words": (b"v\x00\x01 1 2 3\n", "no type that is known"),
    "prose": (b"Dear laboratory, here is the scan.", "no type that is known"),
    "no triangles": (made.stl(made.triangles()[:0]), "It has no triangles"),
    "truncated": (made.stl()[:-7], "no type that is known"),
    "solid, and false": (made.stl(header=b"solid", count=9), "it states 9 triangles"),
    "endless line": (b"v " + b"1" * 10_000_000, "no type that is known"),
}


@pytest.mark.parametrize("name", NO_SCANS)
def test_what_is_no_scan_is_refused_with_the_reason(name: str, store: Path) -> None:
    data, sentence = NO_SCANS[name]
    assert sentence in refused(build.draft_case(), data)
    nothing_kept(store)


def test_a_binary_stl_may_begin_with_solid() -> None:
    assert made.sent(build.draft_case(), made.stl(header=b"solid crown")).type == "stl"


@pytest.mark.parametrize(("data", "role", "mb"), [(made.photo(), "photo_smile", 25), (made.pdf(), "document", 20)])
def test_each_type_has_its_own_weight(data: bytes, role: str, mb: int, store: Path) -> None:
    heavy = data + bytes(mb * 1_000_000 - len(data) + 1)
    assert f"up to {mb} MB are taken" in refused(build.draft_case(), heavy, role)
    nothing_kept(store)


def test_what_went_on_beyond_the_weight_of_any_file_is_refused_in_words(settings: Settings, store: Path) -> None:
    settings.UPLOAD_MAX_FILE = 1000
    assert "more than 200 MB" in refused(build.draft_case(), made.stl())
    nothing_kept(store)


@pytest.mark.parametrize(
    ("data", "role", "field"),
    [
        (made.stl(), "photo_shade", "role"),
        (made.photo(), "implant_scan", "role"),
        (made.pdf(), "sticker", "role"),
        (made.stl(), "document", "role"),
        (made.stl(), "tooth fairy", "role"),
        (made.stl(), "design", "role"),
        (made.photo(), "evaluation", "no_face"),
    ],
)
def test_what_it_shows_must_fit(data: bytes, role: str, field: str, store: Path) -> None:
    with pytest.raises(Refusal) as why:
        made.sent(build.draft_case(), data, role, no_face=False)
    assert [fault.field for fault in why.value.faults] == [field]
    nothing_kept(store)


def test_a_face_with_consent_is_taken_and_says_so() -> None:
    assert made.sent(build.draft_case(), made.photo(), "photo_smile", no_face=False, consent=True).consent


def test_the_laboratory_sends_designs() -> None:
    case = build.signed_case()
    assert made.sent(case, made.stl(), "design", cast.technician()).filename == "design-1.stl"


def test_another_practice_sends_nothing(store: Path) -> None:
    case = build.draft_case()
    with pytest.raises(Forbidden):
        made.sent(case, made.stl(), actor=cast.prescriber("southgate"))
    nothing_kept(store)


def test_the_same_file_is_not_taken_twice_and_stays(store: Path) -> None:
    case = build.draft_case()
    first = made.sent(case, made.stl())
    assert "as implant_scan-1.stl" in refused(case, made.stl())
    assert files.open_file(first.file).read() == made.stl()
    assert made.sent(case, made.stl(), "opposing_scan").file == first.file


def test_a_refusal_leaves_the_file_that_another_case_has(store: Path) -> None:
    first = made.sent(build.draft_case(), made.stl())
    other = build.draft_case()
    for row in range(receiving.MOST_FILES):
        made.sent(other, made.pdf(b"/N %d" % row), "document")
    assert "has 40 files" in refused(other, made.stl())
    assert files.open_file(first.file).read() == made.stl()
    assert "has 40 files" in refused(other, made.ply())
    assert len(kept(store)) == 1 + receiving.MOST_FILES


def test_a_case_has_room_for_so_much(monkeypatch: pytest.MonkeyPatch, store: Path) -> None:
    monkeypatch.setattr(receiving, "MOST_BYTES", len(made.stl()) + 10)
    case = build.draft_case()
    made.sent(case, made.stl())
    assert "room for 0 MB more" in refused(case, made.ply())
    assert len(kept(store)) == 1


def test_after_shipping_only_the_evaluation_is_taken(store: Path) -> None:
    case = build.shipped_case()
    with pytest.raises(Conflict, match="takes no more files"):
        made.sent(case, made.stl())
    assert kept(store) == []
    assert made.sent(case, made.photo(), "evaluation").number == 1


def test_a_cancelled_case_takes_nothing(store: Path) -> None:
    case = build.draft_case()
    advance(case, Case.State.CANCELLED, verb="cancel", actor=cast.assistant())
    with pytest.raises(Conflict):
        made.sent(case, made.photo(), "evaluation")
    nothing_kept(store)


def test_a_number_is_given_once() -> None:
    case = build.draft_case()
    withdraw(cast.assistant(), case, made.sent(case, made.stl()))
    assert made.sent(case, made.ply()).number == 2
    assert made.roles(case) == {"implant_scan"}


DOE = b"DOE JANE 1970"
NAMED = {
    "stl": made.stl(header=DOE),
    "stl text": made.stl_text().replace(b"solid", b"solid " + DOE, 1),
    "ply": made.ply().replace(b"\nelement", b"\ncomment " + DOE + b"\nobj_info " + DOE + b"\nelement", 1),
    "obj": b"# " + DOE + b"\no " + DOE + b"\n" + made.obj() + b"\ng " + DOE + b"\n#" + DOE * 50 + b"\n",
}


@pytest.mark.parametrize("data", NAMED.values(), ids=NAMED)
def test_a_scan_keeps_no_name_that_a_program_wrote_into_it(data: bytes) -> None:
    assert DOE in data
    found = made.looked_at(made.sent(build.draft_case(), data))
    assert found.state == "ready", found.reason
    assert found.facts["triangles"] > 0
    with files.open_file(found.file) as stored:
        assert b"DOE" not in stored.read()
