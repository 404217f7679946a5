"""Gathering what a recording says for whoever shows it.

Here: store, review and analysis put together into what `show` asks for. Not here: any number or any drawing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from gaugelog.cli.options import CUT_STEP_MM
from gaugelog.errors import NothingToDoError, UnknownStageError
from gaugelog.model.kinds import AFTER, BEFORE

if TYPE_CHECKING:
    from gaugelog.analysis.neck_cut import CutAdvice
    from gaugelog.analysis.neck_setting import NeckSetting
    from gaugelog.analysis.results import Comparison, Drift
    from gaugelog.model.instrument import Instrument
    from gaugelog.model.placement import KeptPlacement, Snapshot
    from gaugelog.review.checked import Checked
    from gaugelog.review.session import Session
    from gaugelog.show.charts import ChartSeries, DriftChart
    from gaugelog.show.report import GaugeUsed, ReportData
    from gaugelog.store.reader import Recording
    from gaugelog.store.records import RecordedGauge


def simulated_gauges(recording: Recording) -> tuple[str, ...]:
    """Return the short names of the gauges of a recording that were simulated, if only for a time."""
    names = (gauge.name for gauge in recording.every_gauge() if gauge.address.startswith("sim:"))
    return tuple(dict.fromkeys(names))


def tell_checks(checks: Sequence[Checked]) -> None:
    """Say which checks of gauges count in what was just shown."""
    import typer

    from gaugelog.recorder.work import now
    from gaugelog.show.check_words import check_note

    for each in checks:
        typer.echo(check_note(each, now().utc_us))


def counting_checks(recording: Recording) -> tuple[Checked, ...]:
    """Return the newest check of each gauge as it is named now."""
    from gaugelog.review.checked import newest_checks

    checks = newest_checks(recording)
    return tuple(checks[gauge.key] for gauge in recording.gauges.values() if gauge.key in checks)


def is_simulated(recording: Recording) -> bool:
    """Return whether any gauge of the recording was a simulated one."""
    return bool(simulated_gauges(recording))


def read_by_any(gauges: Iterable[str], snapshots: Iterable[Snapshot]) -> tuple[KeptPlacement, ...]:
    """Return the placements of snapshots in which any of `gauges` had a part."""
    wanted = set(gauges)
    return tuple(
        kept
        for snapshot in snapshots
        for kept in snapshot.placements
        if wanted & {kept.placement.gauge, *(part.gauge for part in kept.placement.parts)}
    )


def curves_of(session: Session) -> list[ChartSeries]:
    """Return the curves of a clamp session, its differences included; what doesn't count is left out."""
    from gaugelog.show.charts import ChartSeries

    return [
        ChartSeries(each.name, each.quantity.base_unit, each.utc_us, each.value, each.difference)
        for each in (series.counted() for series in session.with_differences)
    ]


def drift_chart_of(session: Session, drift: Drift, instrument: Instrument, simulated: bool) -> DriftChart:
    """Return the chart of a clamp session."""
    from gaugelog.show.charts import DriftChart

    title = f"{instrument.name}: clamp session"
    return DriftChart(title, curves_of(session), drift, session.marks, instrument.units, simulated, of_time_in(session))


def of_time_in(session: Session) -> list[str]:
    """Return what has to be said of a session's times: clocks that were set, summer time that began or ended."""
    from gaugelog.show.clock_words import set_back_sentence, time_sentences

    told = time_sentences(session.clock_sets, session.start_utc_us, session.end_utc_us)
    return told if session.set_back_us is None else [set_back_sentence(session.set_back_us), *told]


def gather_report(
    recording: Recording, instrument: Instrument, from_stage: str = BEFORE, to_stage: str = AFTER
) -> ReportData:
    """Return all that a report is made of; what the recording doesn't hold yet is said in words.

    Raises:
        UnknownStageError: a stage other than before and after was asked for, and the recording has no snapshot of it.
    """
    import time

    from gaugelog.analysis.results import Gap
    from gaugelog.model.version import program_version
    from gaugelog.review.checked import newest_checks
    from gaugelog.show.report import ReportData
    from gaugelog.store.rescue import RESCUE

    missing = [f"This recording was {each.words}." for each in recording.events() if each.kind == RESCUE]
    checks = newest_checks(recording)
    comparison = _comparison(recording, instrument, (from_stage, to_stage), missing)
    standing, cut = _standing(recording, instrument, from_stage, comparison)
    session = _session(recording, instrument, missing)
    rejects: Counter[tuple[str, str]] = Counter()
    for count in recording.rejects():
        rejects[count.gauge, count.reason] += count.count
    gaps = [(gap.gauge, Gap(gap.start_utc_us, gap.end_utc_us, gap.reason, gap.fault)) for gap in recording.gaps()]
    return ReportData(
        instrument=instrument,
        recording=recording.path.name,
        version=program_version(),
        made_utc_us=time.time_ns() // 1000,
        comparison=comparison,
        standing=standing,
        cut=cut,
        drift=session.drift() if session is not None else None,
        series=curves_of(session) if session is not None else (),
        marks=recording.marks(),
        snapshots=recording.snapshots(),
        gauges=[_gauge_used(gauge, checks) for gauge in recording.gauges.values()],
        rejects=rejects,
        gaps=gaps,
        missing=missing,
        simulated=is_simulated(recording),
        of_time=of_time_in(session) if session is not None else (),
    )


def _comparison(
    recording: Recording, instrument: Instrument, stages: tuple[str, str], missing: list[str]
) -> Comparison | None:
    from gaugelog.review.comparing import compare_recorded

    try:
        return compare_recorded(recording, instrument, *stages)
    except UnknownStageError as error:
        if error.got not in (BEFORE, AFTER):
            raise
        missing.append(f"No comparison yet: the recording has no snapshot {error.got}.")
        return None


def _standing(
    recording: Recording, instrument: Instrument, stage: str, comparison: Comparison | None
) -> tuple[NeckSetting | None, CutAdvice | None]:
    """Return how the neck stood: by the snapshot that was compared, else by the newest one, with what to take off."""
    from gaugelog.review.standing import cut_at, gauge_facts, setting_of, stood_at

    if comparison is not None:
        return setting_of(instrument, recording.snapshot(stage), gauge_facts(recording)), None
    try:
        stood = stood_at(recording, instrument, stage)
    except UnknownStageError:
        return None, None
    return stood.setting, cut_at(instrument, stood, CUT_STEP_MM[instrument.units])


def _session(recording: Recording, instrument: Instrument, missing: list[str]) -> Session | None:
    from gaugelog.review.session import session_of

    try:
        return session_of(recording, instrument)
    except NothingToDoError:
        missing.append("No clamp session was recorded.")
        return None


def _gauge_used(gauge: RecordedGauge, checks: Mapping[str, Checked]) -> GaugeUsed:
    from gaugelog.datasheets.read import read_datasheet
    from gaugelog.recorder.work import now
    from gaugelog.show.check_words import check_note
    from gaugelog.show.report import GaugeUsed

    return GaugeUsed(
        name=gauge.name,
        title=read_datasheet(gauge.datasheet_text, gauge.datasheet).title,
        address=gauge.address,
        quantity=gauge.quantity,
        resolution=gauge.resolution,
        accuracy=gauge.accuracy,
        identity=gauge.identity,
        check=check_note(checks[gauge.key], now().utc_us) if gauge.key in checks else "",
    )
