"""Settings of all property tests: no deadline, for a busy machine is no bug; the same examples every time
where CI says that it runs, fresh ones elsewhere."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")
