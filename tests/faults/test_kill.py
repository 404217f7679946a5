"""Killed at random moments, in the short form: nothing acknowledged is lost. `long_run.py` has the long one."""

from __future__ import annotations

import pytest
from faults_kill import FAMILIES
from rounds import Family, run


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_a_killed_program_loses_nothing_that_it_acknowledged(family: Family, tmp_path) -> None:
    outcome = run(family, family.short, 686, tmp_path)
    outcome.must_be_clean()
    assert outcome.acknowledged > 0
