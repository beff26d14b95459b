"""The tests' own machinery: what it lets through, and what it must not."""

import importlib.util
import json
import re
import signal
import subprocess
import sys
import tomllib
from contextlib import suppress
from pathlib import Path
from types import ModuleType

import pytest
from django.db import DatabaseError, connection, transaction

from labqueue.base import audit
from labqueue.base.models import Event
from labqueue.serve import address, broker
from tests.harness import runs, selection
from tests.harness.flush import unfrozen
from tests.harness.house import ROOT
from tests.harness.waiting import wait_for


def load(path: str) -> ModuleType:
    """A script as a module."""
    spec = importlib.util.spec_from_file_location(Path(path).stem, ROOT / path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


run = load("tests/run.py")
install = load(".ci/install.py")


def trigger_count() -> int:
    """Triggers that keep records from being changed."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT count(*) FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute("SELECT count(*) FROM pg_trigger WHERE NOT tgisinternal")
        return int(cursor.fetchone()[0])


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("time", ["first", "second"])
def test_records_are_gone_after_a_test_and_frozen_in_the_next(time: str) -> None:
    assert Event.objects.count() == 0
    with transaction.atomic():
        audit.record("harness:1", time, None)
    with pytest.raises(DatabaseError):
        Event.objects.update(verb="changed")
    assert Event.objects.get().verb == time


@pytest.mark.django_db(transaction=True)
def test_the_triggers_are_back_after_a_flush() -> None:
    before = trigger_count()
    assert before >= 2
    with unfrozen():
        pass
    assert trigger_count() == before
    with transaction.atomic():
        audit.record("harness:1", "made", None)
    with pytest.raises(DatabaseError):
        Event.objects.all().delete()


def test_waiting_in_vain_fails_in_time() -> None:
    with pytest.raises(AssertionError, match=r"0\.2 s in vain for nothing"):
        wait_for(lambda: False, 0.2, "nothing")
    assert wait_for(lambda: 3, 0) == 3


PASSED = {"tests/a.py::one": "passed"}


@pytest.mark.once
@pytest.mark.parametrize(
    ("outcomes", "statuses", "complaint"),
    [
        ([PASSED, {"tests/a.py::one": "failed"}], [0, 1], "production: pytest ended with status 1"),
        ([PASSED, {}], [0, 5], "production: no test passed"),
        ([PASSED, {**PASSED, "tests/a.py::two": "excused"}], [0, 0], "production: skipped or excused: tests/a.py::two"),
        ([{**PASSED, "tests/b.py::x": "deselected"}, PASSED], [0, 0], "run in no house: tests/b.py::x"),
        ([PASSED, {"tests/a.py::one": "deselected"}], [0, 0], "production: no test passed"),
    ],
)
def test_the_whole_run_fails(outcomes: list[dict[str, str]], statuses: list[int], complaint: str) -> None:
    assert complaint in run.complaints(list(run.HOUSES), outcomes, statuses)


@pytest.mark.once
def test_the_whole_run_succeeds_only_where_all_passed() -> None:
    outcomes = [{**PASSED, "tests/b.py::x": "deselected"}, {**PASSED, "tests/b.py::x": "passed"}]
    assert run.complaints(list(run.HOUSES), outcomes, [0, 0]) == []
    assert run.summary(list(run.HOUSES), outcomes, 3.0).splitlines()[-1] == "3 passed, 0 failed"


@pytest.mark.once
def test_the_houses_stand_side_by_side_where_there_is_a_processor_for_each() -> None:
    assert runs.rounds(["embedded", "production"], 2) == [["embedded", "production"]]
    assert runs.rounds(["embedded", "production"], 1) == [["embedded"], ["production"]]
    assert runs.rounds(["production"], 1) == [["production"]]


@pytest.mark.once
@pytest.mark.parametrize(
    ("name", "marks", "houses"),
    [
        ("tests/base/test_a.py::test", [], ["embedded", "production"]),
        ("tests/base/test_a.py::test", ["once"], ["embedded"]),
        ("tests/base/test_a.py::test", ["postgres"], ["production"]),
        ("tests/browser/test_a.py::test", [], ["embedded"]),
        ("tests/engine/test_a.py::test", [], ["production"]),
        ("tests/test_lint.py::test", ["once"], ["production"]),
    ],
)
def test_each_test_has_its_house(name: str, marks: list[str], houses: list[str]) -> None:
    """An embedded house that is run alone runs all but what needs PostgreSQL."""

    def found(both: bool) -> list[str]:
        return [house for house in run.HOUSES if selection.belongs(name, marks, house == "production", both)]

    assert found(both=True) == houses
    assert found(both=False) == (houses if "postgres" in marks or len(houses) == 2 else ["embedded"])


@pytest.mark.once
def test_a_house_says_all_it_has_to_say(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    code = "import time; print('first', flush=True); time.sleep(0.5); print('Łast'); raise SystemExit(3)"
    with (tmp_path / "text").open("wb") as text:
        child = subprocess.Popen([sys.executable, "-X", "utf8", "-c", code], stdout=text)
    house = runs.Run("embedded", tmp_path, child)
    house.show()
    assert capfd.readouterr().out == "\ntests: the embedded house\nfirst\nŁast\n"
    assert house.result() == ({}, 3)
    (tmp_path / "report.json").write_text(json.dumps(PASSED))
    assert house.result() == (PASSED, 3)


@pytest.mark.once
def test_a_house_is_interrupted_with_whoever_started_it() -> None:
    with suppress(KeyboardInterrupt), runs.started("embedded", ["tests/engine"]) as house:
        assert house.child.poll() is None
        raise KeyboardInterrupt
    assert house.child.returncode not in (None, 0)
    assert not house.folder.exists()


@pytest.mark.once
def test_a_pytest_that_does_not_listen_is_ended_by_force() -> None:
    code = "import signal, time; signal.signal(signal.SIGINT, signal.SIG_IGN); print(flush=True); time.sleep(60)"
    child = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE)
    assert child.stdout is not None
    assert child.stdout.readline() == b"\n"
    runs.interrupt(child, 0.2)
    child.stdout.close()
    assert child.returncode == -signal.SIGKILL


SAMPLE = """
import pytest
def test_good(): assert True
def test_bad(): assert False
@pytest.mark.skip
def test_skipped(): assert True
@pytest.mark.xfail
def test_excused(): assert False
@pytest.fixture
def broken():
    yield
    raise RuntimeError
def test_bad_end(broken): assert True
@pytest.mark.postgres
def test_elsewhere(): assert True
"""
EXPECTED = {
    "good": "passed",
    "bad": "failed",
    "skipped": "excused",
    "excused": "excused",
    "bad_end": "failed",
    "elsewhere": "deselected",
}


@pytest.mark.once
def test_the_report_says_what_became_of_each_test(tmp_path: Path) -> None:
    (tmp_path / "test_sample.py").write_text(SAMPLE)
    (tmp_path / "test_broken.py").write_text("import nothing_of_that_name")
    code = (
        "import json, pytest\nfrom tests.harness import selection\n"
        "class Plugin(selection.Report):\n"
        "    def pytest_configure(self, config): config.addinivalue_line('markers', 'postgres: x')\n"
        "    def pytest_collection_modifyitems(self, config, items): selection.keep(config, items, False, False)\n"
        "plugin = Plugin()\n"
        "options = ['-q', '-c', '/dev/null', '--continue-on-collection-errors', '-p', 'no:django']\n"
        f"pytest.main([*options, {str(tmp_path)!r}], plugins=[plugin])\n"
        "print(json.dumps(plugin.outcomes))"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    outcomes = json.loads(done.stdout.splitlines()[-1])
    found = {name.rpartition("test_")[2]: what for name, what in outcomes.items() if "::" in name}
    assert found == EXPECTED, done.stdout + done.stderr
    assert [what for name, what in outcomes.items() if name.endswith("test_broken.py")] == ["failed"]


@pytest.mark.once
def test_an_old_python_is_refused_with_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(install.sys, "version_info", (3, 10, 1, "final", 0))
    with pytest.raises(SystemExit, match=r"^install: Python 3\.11 or newer is needed"):
        install.main([])


@pytest.mark.once
def test_an_unknown_option_is_refused_with_one_line() -> None:
    done = subprocess.run([sys.executable, ".ci/install.py", "--all"], cwd=ROOT, capture_output=True, text=True)
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == "install: usage: python3 .ci/install.py [--test]\n"


@pytest.mark.once
@pytest.mark.parametrize("name", ["runtime", "test"])
def test_the_lock_files_are_complete_and_name_no_index(name: str) -> None:
    text = (ROOT / ".ci" / f"{name}.lock").read_text()
    assert "://" not in text
    assert "index" not in text
    pins = [line for line in text.splitlines() if "==" in line and not line.startswith(" ")]
    assert len(pins) > 30
    assert all(line.endswith("\\") for line in pins)
    assert text.count("--hash=sha256:") >= len(pins)


@pytest.mark.once
def test_both_lock_files_take_the_same_versions() -> None:
    def pins(name: str) -> set[str]:
        lines = (ROOT / ".ci" / f"{name}.lock").read_text().splitlines()
        return {line.split(" ")[0] for line in lines if "==" in line and not line.startswith((" ", "#"))}

    assert pins("runtime") < pins("test")


@pytest.mark.once
def test_the_lock_files_hold_all_that_is_asked_for() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    asked = {"runtime": project["dependencies"], "test": project["optional-dependencies"]["test"]}
    for name, requirements in asked.items():
        text = (ROOT / ".ci" / f"{name}.lock").read_text().lower()
        names = [re.split(r"[\[<>=]", requirement)[0].lower() for requirement in requirements]
        assert len(names) > 10
        assert [wanted for wanted in names if not re.search(rf"^{re.escape(wanted)}==", text, re.MULTILINE)] == []


@pytest.mark.once
def test_a_server_of_another_machine_does_not_run(tmp_path: Path) -> None:
    strange = tmp_path / "valkey-server"
    strange.write_bytes(b"\x7fELF of another machine")
    strange.chmod(0o755)
    assert not broker.runs(strange)
    assert not broker.runs(tmp_path / "absent")
    assert broker.embedded_server() is not None


@pytest.mark.once
def test_a_broker_that_does_not_start_says_where_to_look(tmp_path: Path) -> None:
    server = broker.embedded_server()
    assert server is not None
    with pytest.raises(RuntimeError, match=str(tmp_path)):
        broker.start(server, tmp_path / "no-such-folder" / "socket", tmp_path, seconds=2)


@pytest.mark.once
@pytest.mark.parametrize(("host", "found"), [("localhost", "127.0.0.1"), ("127.0.0.2", "127.0.0.2"), ("::1", "::1")])
def test_loopback_addresses_are_taken(host: str, found: str) -> None:
    assert address.loopback(host) == found
