"""Hypothesis: the same examples in every run of the checks, fresh ones by hand."""

import os

from hypothesis import settings

settings.register_profile("checks", derandomize=True, deadline=None)
settings.register_profile("fresh", deadline=None)
settings.load_profile("fresh" if os.environ.get("SIMRIG_FULL") else "checks")
