"""What a clamp session did, in words and as fields; invented sessions whose truth is known."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from gaugelog.analysis.climate import ClimateShare
from gaugelog.analysis.drift import drift
from gaugelog.analysis.results import Drift, SeriesDrift
from gaugelog.analysis.series import Series
from gaugelog.analysis.warm_up import BenchShare
from gaugelog.model.placement import Mark, MarkKind
from gaugelog.model.quantities import Quantity
from gaugelog.show.drift_words import drift_sentences, noise_text, series_sentence
from gaugelog.show.explained_documents import explained_fields

STEP = 0.05
START_US = 1_760_000_000_000_000
HOUR_S = 3600.0


def session(
    steps: dict[float, float], creep: float = 0.0, tau_s: float = 1200.0, seed: int = 1, name: str = "neck"
) -> Series:
    """Two hours at 10/s of an angle gauge of 0.05 degrees and 0.02 degrees of noise."""
    chance = np.random.default_rng(seed)
    seconds = np.arange(0.0, 2 * HOUR_S, 0.1)
    value = 2.813 + chance.normal(0.0, 0.02, seconds.size)
    for at, size in steps.items():
        value += size * (seconds >= at)
    value += creep * (1 - np.exp(-seconds / tau_s))
    times = START_US + np.round(seconds * 1e6).astype(np.int64)
    return Series(name, Quantity.ANGLE, times, np.round(value / STEP) * STEP, (STEP,), period_s=0.1)


def told(series: Series, *marks: Mark) -> Drift:
    return drift([series], marks)


def words(found: Drift) -> str:
    return " ".join(text for _, text in drift_sentences(found)).replace("\u00a0", " ")


def test_a_step_is_told_with_its_size_time_and_phase() -> None:
    marks = [
        Mark(START_US + round(at * 1e6), kind) for at, kind in ((60.0, MarkKind.GLUE_ON), (300.0, MarkKind.CLAMPS_ON))
    ]
    found = told(session({900.0: 0.20}), *marks)
    (step,) = found.series[0].explained.steps  # type: ignore[union-attr]
    assert step.size == pytest.approx(0.20, abs=0.01)
    assert abs(step.time_us - START_US - 900e6) < 2e6
    text = words(found)
    assert re.search(r"It stepped up by 0\.(19|20)\d*° ±", text)
    assert "(in clamps)" in text


def test_a_quiet_session_has_no_step_and_says_so() -> None:
    assert words(told(session({}))).startswith("No step can be seen in it.")


def test_creep_is_told_with_its_time_constant_and_no_step() -> None:
    found = told(session({}, creep=0.2))
    explained = found.series[0].explained
    assert explained is not None
    assert explained.steps == ()
    assert explained.creep is not None
    assert explained.creep.size == pytest.approx(0.2, abs=0.03)
    assert explained.creep.tau_s == pytest.approx(1200.0, rel=0.25)
    assert "It crept up by 0.2" in words(found)


def test_wild_readings_are_counted_not_believed() -> None:
    series = session({})
    wild = series.value.copy()
    wild[[5000, 30000]] += 9.0
    text = words(told(replace(series, value=wild)))
    assert "2 wild readings were left out" in text
    assert "No step" in text


def test_differences_come_first_and_weather_is_not_explained() -> None:
    neck, body = session({900.0: 0.2}), session({}, seed=2, name="body")
    warm = replace(session({}, seed=3, name="air"), quantity=Quantity.TEMPERATURE)
    found = drift([neck, body, warm], pairs=[("neck", "body")])
    assert [name for name, _ in drift_sentences(found)] == ["neck − body", "neck", "body"]
    assert noise_text(found.series[0]) == "0.025°"


def test_the_fields_are_those_of_the_series() -> None:
    found = told(session({900.0: 0.2}))
    fields = explained_fields(found.series[0])
    assert [each["size"] for each in fields["steps"]] == [found.series[0].explained.steps[0].size]  # type: ignore[union-attr]
    assert fields["creep"] is None
    empty = SeriesDrift("air", Quantity.TEMPERATURE, False, 0, (), ())
    assert explained_fields(empty)["steps"] == []


def test_what_bench_and_weather_could_account_for_is_told_beside_it() -> None:
    found = told(session({900.0: 0.2})).series[0]
    bench = BenchShare(body_change=0.06, neck_change=0.26, difference=0.20, share=0.23, share_u=0.02)
    weather = ClimateShare(0.05, 0.25, 8.0, 10.0, upper_bound=True, lowest=0.0, highest=0.05)
    text = series_sentence(replace(found, bench=bench, weather=weather), Drift(START_US, ()), "mm").replace(
        "\u00a0", " "
    )
    assert "the neck gauge went up by 0.26°, the body gauge up by 0.060°" in text
    assert "The weather could account for at most 0.050° up of it" in text
    assert "(8.0 to 10.0 %)" in text
    assert "at most" not in series_sentence(
        replace(found, weather=replace(weather, upper_bound=False)), Drift(START_US, ()), "mm"
    )
    fields = explained_fields(replace(found, bench=bench, weather=weather))
    assert fields["climate_share"] == 0.25
    assert (fields["bench_share"], fields["bench"]["u"]) == (0.23, 0.02)


def test_a_share_that_is_not_known_is_not_told() -> None:
    found = told(session({900.0: 0.2})).series[0]
    unsure = BenchShare(body_change=0.01, neck_change=0.01, difference=0.0, share=None)
    text = series_sentence(replace(found, bench=unsure), Drift(START_US, ()), "mm")
    assert "body gauge" not in text
    assert "weather" not in text
