#!/usr/bin/env python3
"""Swardline's commands: `manage.py help` lists them."""

import os
import signal
import sys
from types import FrameType

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line


def end_in_order(signum: int, frame: FrameType | None) -> None:
    """Leave by the front door when told to stop, so that what was started is stopped as well."""
    sys.exit(128 + signum)


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    signal.signal(signal.SIGTERM, end_in_order)
    try:
        execute_from_command_line(sys.argv)
    except ImproperlyConfigured as error:
        if "--traceback" in sys.argv:
            raise
        sys.exit(str(error))
    except KeyboardInterrupt:
        sys.exit("stopped")
