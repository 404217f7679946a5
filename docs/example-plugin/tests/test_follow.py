"""The link keeps gaugelog's contract."""

import asyncio
from pathlib import Path

import pytest
from gaugelog_example.follow import FollowLink

from gaugelog.errors import AddressError
from gaugelog.model.gauges import parse_address
from gaugelog.testing import check_link


def test_the_contract_of_a_link(tmp_path: Path) -> None:
    path = tmp_path / "written-elsewhere"
    path.write_bytes(b"old")

    async def write(data: bytes) -> None:
        with path.open("ab") as file:
            file.write(data)

    async def unplug() -> None:
        path.unlink()

    asyncio.run(check_link(FollowLink(parse_address(f"follow:{path}")), write, unplug))


def test_an_address_names_a_file() -> None:
    with pytest.raises(AddressError):
        FollowLink(parse_address("follow:"))
