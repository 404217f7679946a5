"""Comparison and drift in a terminal.

Here: the two results as text, fitted to the width there is. Not here: their numbers (`analysis`), tables of the plan
and of snapshots (`terminal`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.table import Table
from rich.text import Text

from gaugelog.analysis.results import CheckpointComparison, Comparison, Drift, Gap, SeriesDrift, Verdict
from gaugelog.model.kinds import WET
from gaugelog.show.drift_words import drift_sentences, noise_text
from gaugelog.show.look import QUIET, STRONG, WARN, column_in_strip, plain_table, strip, style_of, two_lines
from gaugelog.show.movement_view import movement_view
from gaugelog.show.numbers import (
    amount_text,
    clock_text,
    count_text,
    date_text,
    duration_text,
    mean_text,
    probability_text,
    uncertain_text,
    value_beside_u,
    when_text,
)
from gaugelog.show.words import (
    farthest_texts,
    gaps_once,
    in_order,
    mark_of,
    means_text,
    outcome,
    sentence,
    verdict_word,
)

_WIDE = 78
_VERDICT_WIDTH = 12
_LEAST_ID = 24
_LEAST_STRIP, _MOST_STRIP = 41, 61


def comparison_view(comparison: Comparison, units: str = "mm") -> RenderableType:
    """Return one stage against another: per checkpoint verdict, shift and a drawn strip; reasons; one plain sentence.

    Args:
        comparison: the result.
        units: mm or in, for lengths.
    """
    return _ComparisonView(comparison, units)


@dataclass(frozen=True, slots=True)
class _ComparisonView:
    comparison: Comparison
    units: str

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterable[RenderableType]:
        """Draw for the width there is."""
        comparison = self.comparison
        yield Text(f"{comparison.from_stage} → {comparison.to_stage}", style=STRONG)
        yield Text()
        if comparison.to_stage == WET:
            yield _wet_table(comparison, self.units)
        else:
            yield self._rows(options.max_width)
            yield from _reasons(comparison)
            if comparison.movement is not None:
                yield Text()
                yield movement_view(comparison.movement, self.units)
        yield Text()
        yield Text(outcome(comparison), style=STRONG)

    def _rows(self, width: int) -> RenderableType:
        wide = width >= _WIDE
        room = width - _VERDICT_WIDTH - 2
        drawn = min(max(room - _LEAST_ID - 1, _LEAST_STRIP), _MOST_STRIP) if wide else min(room, _MOST_STRIP)
        drawn -= 1 - drawn % 2
        table = Table.grid(padding=(0, 1, 0, 0))
        table.add_column(width=_VERDICT_WIDTH)
        table.add_column(overflow="fold")
        if wide:
            table.add_column(width=drawn, no_wrap=True)
        for verdict, names, numbers in (_head(drawn), *(self._cells(row, drawn) for row in in_order(self.comparison))):
            table.add_row(verdict, names, numbers) if wide else table.add_row(verdict, Group(names, numbers))
        return table

    def _cells(self, row: CheckpointComparison, drawn: int) -> tuple[Text, Text, Text]:
        verdict = Text(f"{mark_of(row)} {verdict_word(row)}", style=style_of(row))
        names = Text.assemble((row.id, STRONG), "\n", (means_text(row, self.units), QUIET), overflow="fold")
        shift = uncertain_text(row.shift, row.expanded_95, row.quantity, self.units, signed=True)
        limit = amount_text(row.limit, row.quantity, self.units)
        numbers = Text(_spaced(shift, limit, probability_text(row.p_within), drawn))
        return verdict, names, Text.assemble(numbers, "\n", strip(row, drawn), "\n")


def _spaced(shift: str, limit: str, within: str, width: int) -> str:
    """Return the three numbers over the strip: shift left, the others in columns at its right end."""
    return f"{shift:<{max(width - 19, 0)}}{limit:>9}{within:>10}"


def _head(drawn: int) -> tuple[Text, Text, Text]:
    scale = [" "] * drawn
    for place, word in ((-1.0, "−limit"), (0.0, "0"), (1.0, "+limit")):
        start = column_in_strip(place, drawn) - len(word) // 2
        scale[start : start + len(word)] = word
    numbers = Text(_spaced("shift ± 95 %", "limit", "within", drawn) + "\n" + "".join(scale), style=QUIET)
    return Text("verdict", style=QUIET), Text("checkpoint\nmeans, placements", style=QUIET), numbers


def _reasons(comparison: Comparison) -> Iterable[RenderableType]:
    """Return why a checkpoint did not hold, and the way out; of one that held, only what else that rests on."""
    for row in comparison.checkpoints:
        if row.counts and (row.verdict is not Verdict.HELD or row.rests_on):
            yield Text.assemble((f"{mark_of(row)} {row.id}. ", style_of(row)), sentence(row.reason))


def _wet_table(comparison: Comparison, units: str) -> RenderableType:
    table = plain_table()
    table.add_column("checkpoint", overflow="fold", style=STRONG)
    table.add_column("shift", justify="right", no_wrap=True)
    table.add_column("while the glue is open", overflow="fold")
    for row in comparison.checkpoints:
        look = "look now" in row.reason
        shift = mean_text(row.shift, row.quantity, row.resolution, units, signed=True)
        table.add_row(row.id, shift, Text(f"{'! ' if look else ''}{row.reason}", style=WARN if look else ""))
    return table


def drift_view(drift: Drift, units: str = "mm", of_time: Sequence[str] = ()) -> RenderableType:
    """Return the clamp session: what it did in words, then a table of phases for each series, with its gaps.

    Args:
        drift: the result.
        units: mm or in, for lengths.
        of_time: what has to be said of its times (`clock_words`).
    """
    parts: list[RenderableType] = [Text(f"Clamp session from {date_text(drift.start_utc_us)}", style=STRONG), Text()]
    said = [Text.assemble((f"{name}. ", STRONG), words) for name, words in drift_sentences(drift, units)]
    parts += [*said, Text()] if said else []
    parts += [*(Text(words, style=WARN) for words in of_time), Text()] if of_time else []
    for series in drift.series:
        parts += [_series_head(series, units), _phases(series, drift.start_utc_us, units), *_gaps(series.gaps), Text()]
    legend = "change ± u: how far the level went from the phase's start to its end; farthest: on the way."
    parts.append(Text(legend, style=QUIET))
    return Group(*parts)


def _series_head(series: SeriesDrift, units: str) -> Text:
    what = "difference" if series.difference else "gauge"
    faults = sum(gap.fault for gap in gaps_once(series.gaps))
    counts = f"{what}, {count_text(series.n, 'reading')}, {count_text(faults, 'gap')}"
    if series.explained is not None and series.n:
        counts += f", noise {noise_text(series, units)}"
    return Text.assemble((series.name.replace(" - ", " − "), STRONG), f"  {counts}")


def _phases(series: SeriesDrift, since_utc_us: int, units: str) -> RenderableType:
    table = plain_table()
    table.add_column("phase", overflow="fold")
    for head in ("mean", "change ± u", "farthest"):
        table.add_column(head, justify="right", no_wrap=True)
    for phase in series.phases:
        lasts = duration_text((phase.end_utc_us - phase.start_utc_us) / 1e6)
        mean = value_beside_u(phase.mean, phase.u, series.quantity, units)
        change = uncertain_text(phase.change, phase.u, series.quantity, units, signed=True)
        table.add_row(
            two_lines(phase.name, f"{when_text(phase.start_utc_us, since_utc_us)}, {lasts}"),
            mean,
            change,
            two_lines(*farthest_texts(phase, series, units)),
        )
    return table


def _gaps(gaps: tuple[Gap, ...]) -> list[RenderableType]:
    """Return a line a gap; silence that was expected says so."""
    lines: list[RenderableType] = []
    for gap in gaps_once(gaps):
        lasts = duration_text((gap.end_utc_us - gap.start_utc_us) / 1e6)
        word = "gap" if gap.fault else "pause"
        line = f"  {word} from {clock_text(gap.start_utc_us, seconds=True)}, {lasts}: {gap.reason}"
        lines.append(Text(line, style=WARN if gap.fault else QUIET))
    return lines
