"""A gauge with known errors is checked through a real port; its budget holds the truth, and it changes a verdict."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import pytest

from gaugelog.analysis.results import Verdict
from gaugelog.errors import BadArgumentError, FaultyTableError, NothingToDoError
from gaugelog.gauges.motions import ErringByButton, Hand, Motion, Still
from gaugelog.model.clock import Anchor
from gaugelog.model.gauge_check import AGAIN, PLAN, CheckPlan, Reference, plan_from, reference_id
from gaugelog.model.gauges import parse_gauge
from gaugelog.model.instrument import NamedGauge
from gaugelog.model.quantities import Quantity
from gaugelog.recorder.checking import CheckWork, bring_checks, open_check, take_study
from gaugelog.recorder.snapshotting import SnapshotWork
from gaugelog.review.checked import book_checks, gauges_at_hand, planned_studies
from gaugelog.review.comparing import compare_recorded
from gaugelog.review.standing import gauge_facts
from gaugelog.store.gauge_book import GaugeBook, read_gauge_book, whose
from gaugelog.store.reader import open_recording
from tests.recorder.conftest import UTC_US, Shop

ZERO_DEG, SCALE, SCATTER_DEG = 0.12, 1.02, 0.06
LEVEL_DEG, SPOT_DEG = 0.4, 1.3
REFERENCES = (Reference(0.0, 0.005), Reference(5.0, 0.005), Reference(10.0, 0.005), Reference(15.0, 0.005))
WHOLE = CheckPlan(Quantity.ANGLE, again=12, turns=4, references=REFERENCES, rest_s=120.0, every_days=30)


class CheckShop(Shop):
    """The same shop with a gauge book; its gauge errs as it is told to."""

    def __init__(self, folder: Path) -> None:
        super().__init__(folder)
        self.folder = folder
        self.chance = random.Random("an invented gauge")

    @property
    def book(self) -> GaugeBook:
        return read_gauge_book(self.folder / "book")

    def named(self) -> NamedGauge:
        return NamedGauge("angle", parse_gauge("angle-line@sim:", "angle"))

    def anchor(self, later_days: float = 0.0) -> Anchor:
        now_ns = self.clock.now_ns()
        return Anchor(now_ns, UTC_US + now_ns // 1000 + round(later_days * 86_400e6))

    def erring(self, value_deg: float, scatter_deg: float = SCATTER_DEG) -> Motion:
        hand = Hand(value_deg, noise=0.01, scatter=scatter_deg, swing=12.0, seed=str(self.chance.random()))
        return ErringByButton(hand, ZERO_DEG, SCALE)

    def leave_alone(self, check: CheckWork, duration_s: float) -> None:
        resting = check.resting()
        self.play(resting.hear, check.work, Still(SPOT_DEG, 0.02), duration_s)
        assert check.rest_s
        check.rested(self.clock.now_ns())
        assert not check.rest_s

    def walk(self, check: CheckWork, scatter_deg: float = SCATTER_DEG, most: int = 1000) -> None:
        """Set the gauge down as the walk asks for, at the true value of each setting."""
        snapshot = check.settings(self.clock.now_ns())
        assert snapshot is not None
        while snapshot.current is not None and most:
            setting = snapshot.current.checkpoint.id
            self.play(snapshot.hear, check.work, self.erring(truth_of(setting), scatter_deg), 4.5)
            most -= 1


def truth_of(setting: str) -> float:
    """Return the true value at a setting."""
    if setting == AGAIN:
        return SPOT_DEG
    if setting.startswith("level"):
        return -LEVEL_DEG if setting.endswith("turned") else LEVEL_DEG
    return REFERENCES[int(setting.split("-")[1]) - 1].value


@pytest.fixture
def shop(tmp_path: Path) -> CheckShop:
    return CheckShop(tmp_path)


def checked(shop: CheckShop, plan: CheckPlan, scatter_deg: float = SCATTER_DEG) -> dict:
    """Check the gauge as planned; return what the book then says of it."""
    with open_check(shop.book, shop.named(), plan, anchor=shop.anchor()) as check:
        if plan.rest_s:
            shop.leave_alone(check, plan.rest_s + 1)
        shop.walk(check, scatter_deg)
        assert check.finish(moment=shop.anchor())
    (kept,) = book_checks(shop.book)
    return dict(kept.found)


def test_the_budget_of_a_gauge_with_known_errors_holds_the_truth(shop: CheckShop) -> None:
    found = checked(shop, WHOLE)
    repeat, zero, scale = found["repeat"], found["reversal"]["zero"], found["linearity"]["scale"]
    assert repeat["n"] == 12
    assert repeat["low_95"] <= SCALE * SCATTER_DEG <= repeat["high_95"]
    assert abs(zero["value"] - ZERO_DEG) <= zero["half_95"]
    assert found["reversal"]["proven"]
    assert abs(scale["value"] - (SCALE - 1)) <= scale["half_95"]
    assert scale["value"] > scale["half_95"], "a scale error of 2 % shows over 15 degrees"
    assert found["rest"]["warm_up_s"] == 0
    assert found["rest"]["seen"]["common"] == pytest.approx(0.05)
    assert abs(found["hysteresis"]["difference"]["value"]) <= found["hysteresis"]["difference"]["half_95"]
    # at 15 degrees it reads 0.42 degrees too much
    assert found["limit_of_error"]["complete"]
    assert found["limit_of_error"]["half_width"] >= ZERO_DEG + (SCALE - 1) * 15
    assert found["budget"]["unknown"] == ["what changes from day to day or hand to hand"]


def test_what_is_left_out_is_said_to_be_unknown(shop: CheckShop) -> None:
    found = checked(shop, CheckPlan(Quantity.ANGLE, again=5, turns=0, rest_s=0.0))
    unknown = " ".join(found["budget"]["unknown"])
    assert all(words in unknown for words in ("zero", "scale", "side", "wander"))
    assert found["limit_of_error"] is None
    assert found["pooled"]["dof"] == 4


def test_a_check_that_was_broken_off_is_gone_on_with_as_it_was_planned(shop: CheckShop) -> None:
    plan = CheckPlan(Quantity.ANGLE, again=4, turns=1, rest_s=0.0)
    with open_check(shop.book, shop.named(), plan, anchor=shop.anchor()) as check:
        shop.walk(check, most=3)
        assert not check.finish(moment=shop.anchor())
    unfinished = shop.book.unfinished(whose(shop.named()))
    assert unfinished is not None
    assert plan_from(json.loads(unfinished.plan)) == plan
    assert not book_checks(shop.book), "what isn't finished doesn't count"
    with open_check(shop.book, shop.named(), WHOLE, anchor=shop.anchor()) as again:
        assert again.resumed
        assert again.plan == plan
        assert again.missing == 3
        shop.walk(again)
        assert again.finish(moment=shop.anchor())
    (kept,) = book_checks(shop.book)
    assert kept.found["repeat"]["n"] == 4
    with open_check(shop.book, shop.named(), WHOLE, anchor=shop.anchor()) as fresh:
        assert not fresh.resumed
    assert len(shop.book.entries) == 2


def test_a_check_that_was_cut_off_just_before_its_end_is_finished(shop: CheckShop) -> None:
    plan = CheckPlan(Quantity.ANGLE, again=3, turns=0, rest_s=0.0)
    with open_check(shop.book, shop.named(), plan, anchor=shop.anchor()) as check:
        shop.walk(check)
    assert not book_checks(shop.book)
    with open_check(shop.book, shop.named(), plan, anchor=shop.anchor()) as again:
        assert again.settings(shop.clock.now_ns()) is None
        assert again.finish(moment=shop.anchor())
    assert len(book_checks(shop.book)) == 1


def test_nothing_read_is_no_check(shop: CheckShop) -> None:
    with open_check(shop.book, shop.named(), WHOLE, anchor=shop.anchor()) as check:
        assert not check.finish(moment=shop.anchor())
        with pytest.raises(NothingToDoError):
            check.finish(anyway=True, moment=shop.anchor())


def neck_read(shop: CheckShop, stage: str, values: Sequence[float], body: float = 0.1) -> None:
    """Read the neck angle, body then neck, by a gauge that happens to repeat well that day."""
    with shop.open(f"capture {stage}") as work:
        bring_checks(work, shop.book)
        snapshot = SnapshotWork(work, stage, only=("neck-angle",))
        for value in values:
            for where in (body, body + value):
                shop.play(snapshot.hear, work, Hand(where, noise=0.01, swing=12.0), 4.5)
        assert len(snapshot.tasks[0].taken) == len(values)


def test_a_day_noisier_than_the_check_is_noticed_while_it_is_read(shop: CheckShop) -> None:
    checked(shop, CheckPlan(Quantity.ANGLE, again=10, turns=0, rest_s=0.0), 0.02)
    with shop.open("capture before") as work:
        quiet = SnapshotWork(work, "before", only=("neck-angle",))
        for value in (2.8, 3.4):
            for where in (0.1, 0.1 + value):
                shop.play(quiet.hear, work, Hand(where, noise=0.01, swing=12.0), 4.5)
        assert not quiet.noisier(quiet.tasks[0]), "the gauge book was not looked at"
        bring_checks(work, shop.book)
        assert quiet.noisier(quiet.tasks[0])
        assert not quiet.noisier(SnapshotWork(work, "before").tasks[1])


@pytest.mark.parametrize(("scatter_deg", "verdict"), [(None, Verdict.HELD), (0.25, Verdict.NOT_PROVEN)])
def test_a_check_changes_a_verdict(shop: CheckShop, scatter_deg: float | None, verdict: Verdict) -> None:
    """Three quiet placements a stage prove that the neck held; knowing the gauge to be a bad one, they don't."""
    if scatter_deg is not None:
        checked(shop, CheckPlan(Quantity.ANGLE, again=10, turns=0, rest_s=0.0), scatter_deg)
    neck_read(shop, "before", (2.80, 2.80, 2.80))
    neck_read(shop, "after", (2.80, 2.80, 2.80))
    with open_recording(shop.recording) as source:
        (row,) = [each for each in compare_recorded(source, shop.instrument).checkpoints if each.id == "neck-angle"]
        facts = gauge_facts(source)["angle (angle-line)"]
    assert row.verdict is verdict, row.reason
    assert (facts.study is None) is (scatter_deg is None)
    if facts.study is not None:
        assert row.dof > 8
        # body, then neck: two readings of the gauge in each placement
        assert row.u > facts.study.sd * (2 / 3) ** 0.5


def test_the_newest_check_counts_and_is_copied_once(shop: CheckShop) -> None:
    plan = CheckPlan(Quantity.ANGLE, again=3, turns=0, rest_s=0.0, every_days=30)
    for days in (0.0, 1.0):
        with open_check(shop.book, shop.named(), plan, anchor=shop.anchor(days)) as check:
            shop.walk(check)
            assert check.finish(moment=shop.anchor(days))
    older, newer = book_checks(shop.book)
    assert older.utc_us < newer.utc_us
    for _ in range(2):
        with shop.open("clamp") as work:
            assert bring_checks(work, shop.book) == []
    with open_recording(shop.recording) as source:
        (copied,) = source.checks()
        source.check()
    assert json.loads(copied.result) == newer.found
    with shop.open("clamp") as work:
        work.anchor = shop.anchor(40.0)
        assert bring_checks(work, shop.book) == [("angle", 39, 30)]
    studies = planned_studies(shop.instrument, shop.book)
    assert set(studies) == {"neck-angle", "block"}
    assert studies["neck-angle"].sd == pytest.approx(2**0.5 * newer.found["pooled"]["sd"])
    assert studies["block"].sd == newer.found["pooled"]["sd"]
    (at_hand,) = gauges_at_hand(shop.instrument, work.datasheets, shop.book)
    assert at_hand.study is not None


def test_another_gauge_of_the_same_make_has_no_part_in_the_check(shop: CheckShop) -> None:
    other = replace(shop.named(), identity="A7")
    with open_check(shop.book, other, CheckPlan(Quantity.ANGLE, again=3, turns=0, rest_s=0.0)) as check:
        assert check.named.identity == "A7"
    assert shop.book.unfinished(whose(shop.named())) is None
    assert shop.book.unfinished(whose(other)) is not None


def test_a_file_in_the_book_that_is_damaged_is_left_out_and_told(shop: CheckShop) -> None:
    checked(shop, CheckPlan(Quantity.ANGLE, again=3, turns=0, rest_s=0.0))
    (shop.folder / "book" / "broken.gaugelog").write_bytes(b"no recording")
    book = shop.book
    assert len(book_checks(book)) == 1
    ((path, why),) = book.unreadable
    assert path.name == "broken.gaugelog"
    assert why


STUDY = """\
# invented
value;person;day
2,80 ;A;mon
2,85 ;A;mon
2,90 ;B;mon
2,95 ;B;mon
2,80 ;A;tue
2,80 ;A;tue
"""


def test_a_study_by_two_people_is_kept_as_a_check(shop: CheckShop, tmp_path: Path) -> None:
    from gaugelog.datasheets.catalogue import find_datasheet

    table = tmp_path / "study.csv"
    table.write_text(STUDY, encoding="utf-8")
    sheet = find_datasheet("angle-line")
    path = take_study(shop.book, shop.named(), sheet, table, 0)
    (kept,) = book_checks(shop.book)
    study = kept.found["study"]
    assert kept.path == path
    assert (study["n"], study["placements_a_day"], study["days_a_run"]) == (6, 2.0, 3.0)
    # within a day: differences 0.05, 0.05 and 0, so s² = (2 · 0.05²/2)/3
    assert study["repeat"]["sd"] == pytest.approx((2 * 0.05**2 / 2 / 3) ** 0.5)
    assert study["repeat"]["dof"] == 3
    with open_recording(path) as source:
        (plan,) = [each for each in source.checks() if each.kind == PLAN]
    assert "2,95" in json.loads(plan.result)["table"]
    table.write_text("value,weather\n1,wet\n", encoding="utf-8")
    with pytest.raises(FaultyTableError, match="first row"):
        take_study(shop.book, shop.named(), sheet, table, 0)
    table.write_text("value,person\n1,A\nx,B\n", encoding="utf-8")
    with pytest.raises(FaultyTableError, match="row 3"):
        take_study(shop.book, shop.named(), sheet, table, 0)
    table.write_text("value,person\n1,A\n2,B\n", encoding="utf-8")
    with pytest.raises(BadArgumentError, match="two placements"):
        take_study(shop.book, shop.named(), sheet, table, 0)
    assert len(shop.book.entries) == 1, "nothing of a faulty table is kept"


def test_every_reference_is_read_both_ways(shop: CheckShop) -> None:
    with open_check(shop.book, shop.named(), WHOLE, anchor=shop.anchor()) as check:
        ids = [each.id for each in check.work.instrument.checkpoints]
    assert ids[-8:] == [
        *(reference_id(number, "rising") for number in (1, 2, 3, 4)),
        *(reference_id(number, "falling") for number in (4, 3, 2, 1)),
    ]
