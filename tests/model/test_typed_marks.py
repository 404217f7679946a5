"""Marks as they are typed, with times that no session had."""

from __future__ import annotations

import pytest

from gaugelog.errors import BadArgumentError
from gaugelog.model.typed_marks import seconds_ago


@pytest.mark.parametrize(
    ("text", "seconds"), [("45s", 45.0), ("2m", 120.0), ("1h30m", 5400.0), ("8784h", 366 * 86_400.0)]
)
def test_a_time_ago_is_read(text: str, seconds: float) -> None:
    assert seconds_ago(text) == seconds


@pytest.mark.parametrize(
    "text", ["8785h", "9" * 9 + "h", "9" * 30 + "h", "9" * 390 + "s", "9" * 5000 + "m", "soon", "", "1" * 80]
)
def test_a_time_that_is_none_or_before_any_session_is_refused(text: str) -> None:
    with pytest.raises(BadArgumentError):
        seconds_ago(text)
