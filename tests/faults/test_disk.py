"""The disk full, in the short form: said plainly, nothing acknowledged lost, and it goes on once there is room."""

from __future__ import annotations

import pytest
from faults_full import FAMILIES
from rounds import Family, run


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: family.name)
def test_a_full_disk_loses_nothing_that_was_acknowledged(family: Family, tmp_path) -> None:
    outcome = run(family, family.short, 686, tmp_path)
    outcome.must_be_clean()
    assert outcome.acknowledged > 0
