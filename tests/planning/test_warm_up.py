"""A worker has the engine's code loaded before it takes its first work."""

import os
import subprocess
import sys

from tests.harness.house import ROOT

WORKER = """
import os
os.environ.setdefault("DJANGO_SETTINGS_MODULE", "labqueue.settings")
import django
django.setup()
import labqueue.celery
from celery.signals import worker_init
labqueue.celery.app.loader.import_default_modules()
for receiver, answer in worker_init.send(sender=None):
    if isinstance(answer, Exception):
        raise answer
from labqueue.engine import loop
print(len(loop.simulate_slice.signatures))
"""


def test_a_worker_that_starts_loads_the_compiled_code() -> None:
    done = subprocess.run(
        [sys.executable, "-c", WORKER], cwd=ROOT, env=os.environ.copy(), capture_output=True, text=True, timeout=300
    )
    assert (done.returncode, done.stdout) == (0, "1\n"), done.stderr
