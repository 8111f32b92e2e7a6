"""What a process that serves leaves out of its looks for garbage."""

import subprocess
import sys

from config.memory import YOUNG

ASKED = "import gc, config.wsgi; print(gc.get_threshold()[0], gc.get_freeze_count() > 100_000)"
ASKED_OF_A_WORKER = (
    "import gc, config.celery; from celery.signals import worker_process_init as signal; "
    "signal.send(None); print(gc.get_threshold()[0], gc.get_freeze_count() > 1_000)"
)


def said(asked: str) -> str:
    done = subprocess.run([sys.executable, "-c", asked], capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_a_web_process_sets_itself_apart() -> None:
    assert said(ASKED) == f"{YOUNG} True"


def test_a_worker_does_too() -> None:
    assert said(ASKED_OF_A_WORKER) == f"{YOUNG} True"
