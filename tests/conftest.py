"""Hypothesis: the same examples in every run of the checks, fresh ones by hand."""

import contextlib
import os
import signal

from hypothesis import settings

with contextlib.suppress(ImportError):
    # Importing it lets a broken pipe end the process, as a lost worker leaves one: taken back.
    import vcdvcd  # noqa: F401

    signal.signal(signal.SIGPIPE, signal.SIG_IGN)

settings.register_profile("checks", derandomize=True, deadline=None)
settings.register_profile("fresh", deadline=None)
settings.load_profile("fresh" if os.environ.get("SIMRIG_FULL") else "checks")
