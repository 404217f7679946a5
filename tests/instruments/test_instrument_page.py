"""The page about the instrument file names every key and every kind."""

import re
from dataclasses import fields
from pathlib import Path

import pytest

from gaugelog.model.instrument import Action, Bridge, Checkpoint, Glue, Instrument, MovementLimits, Neck, Pocket, Wood
from gaugelog.model.kinds import KINDS

DOCS = Path(__file__).resolve().parents[2] / "docs"
PAGE = (DOCS / "instrument.md").read_text(encoding="utf-8")
TABLES = {
    "[neck]": Neck,
    "[pocket]": Pocket,
    "[bridge]": Bridge,
    "[action]": Action,
    "[movement_limits]": MovementLimits,
    "[wood]": Wood,
    "[glue]": Glue,
}


def keys_under(heading):
    part = re.split(r"^##+ ", PAGE, flags=re.MULTILINE)
    [section] = [text for text in part if text.startswith(heading + "\n")]
    return re.findall(r"^\| `([\w-]+)` \|", section, re.MULTILINE)


@pytest.mark.parametrize("heading", TABLES)
def test_every_key_of_a_table_is_explained(heading):
    assert sorted(keys_under(heading)) == sorted(field.name for field in fields(TABLES[heading]))


def test_every_key_at_the_top_is_explained():
    tables = {heading.strip("[]") for heading in TABLES}
    top = {field.name for field in fields(Instrument)} - tables - {"checkpoints", "gauges", "text"}
    assert set(keys_under("At the top of the file")) == top
    assert set(keys_under("[gauges]")) == {"gauge", "identity"}


def test_every_key_of_a_checkpoint_is_explained():
    wanted = {field.name for field in fields(Checkpoint)} - {"place"} | {"point", "direction"}
    assert set(keys_under("[[checkpoint]]")) == wanted


def test_every_kind_is_explained_as_it_is():
    assert sorted(keys_under("Kinds")) == sorted(kind.slug for kind in KINDS)
    for kind in KINDS:
        cells = [cell.strip() for cell in re.search(rf"^\| `{kind.slug}` \|(.*)$", PAGE, re.MULTILINE)[1].split("|")]
        measures, against, sides, limit = cells[:4]
        assert measures == (kind.quantity.value if kind.quantity else {"control": "either", "free": "any"}[kind.slug])
        assert (against in ("yes", "its own reference")) == kind.referenced
        assert (sides == "bass, treble") == kind.sides
        assert (limit == "yes") == kind.glued
        assert (limit == "no, before only") == kind.parts_alone


def test_every_kind_has_its_place_in_the_conventions():
    page = (DOCS / "conventions.md").read_text(encoding="utf-8").partition("## Which way")[2]
    names = {"block-squareness": "block squareness", "saddle-height": "saddle height", "free": "free kind"}
    for kind in KINDS:
        assert names.get(kind.slug, kind.words) in page, kind.slug
