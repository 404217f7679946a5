"""What all tests share: examples that hypothesis makes may take their time, since the machine may be busy."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("patient", deadline=None)
settings.load_profile("patient")
