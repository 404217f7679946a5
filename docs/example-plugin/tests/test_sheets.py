"""The datasheet keeps gaugelog's contract."""

from importlib.resources import files

from gaugelog.testing import check_datasheet


def test_the_contract_of_a_datasheet() -> None:
    text = files("gaugelog_example.sheets").joinpath("example-angle.toml").read_text(encoding="utf-8")
    assert check_datasheet(text).name == "example-angle"
