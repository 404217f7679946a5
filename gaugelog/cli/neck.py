"""`gaugelog neck`: how the neck stands, what the strings need of the bridge, and the wood to take off."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gaugelog.cli.options import (
    CUT_STEP_MM,
    InstrumentOption,
    JsonOption,
    RecordingOption,
    find_files,
    find_recording,
    load_instrument,
    print_json,
    recorded_instrument,
)

if TYPE_CHECKING:
    from gaugelog.analysis.neck_cut import CutAdvice
    from gaugelog.analysis.neck_setting import NeckSetting
    from gaugelog.model.instrument import Instrument
    from gaugelog.model.quantities import Quantity
    from gaugelog.review.checked import Checked
    from gaugelog.review.standing import PassRate

_STEEPEST_DEG = 45.0


def neck(
    stage: Annotated[
        str | None, typer.Argument(metavar="[STAGE]", help="Stage whose newest readings count.", show_default="before")
    ] = None,
    angle: Annotated[str, typer.Option(metavar="ANGLE", help="What if the neck angle were this?")] = "",
    plane_height: Annotated[
        str, typer.Option(metavar="LENGTH", help="What if the fret plane were this high at the joint line?")
    ] = "",
    roll: Annotated[str, typer.Option(metavar="ANGLE", help="What if the roll were this? + is treble up.")] = "",
    offset: Annotated[
        str, typer.Option(metavar="LENGTH", help="What if the centreline met the bridge so far to treble (+)?")
    ] = "",
    cut: Annotated[bool, typer.Option("--cut", help="Say how much wood to take off, and where.")] = False,
    round_to: Annotated[
        str,
        typer.Option(
            "--round", metavar="LENGTH", help="What your hand takes off at the finest.", show_default="0.1 mm"
        ),
    ] = "",
    budget: Annotated[bool, typer.Option("--budget", help="Show what each reading contributes to the ±.")] = False,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE.svg", help="Draw it from the side and from above.")
    ] = None,
    instrument: InstrumentOption = None,
    recording: RecordingOption = None,
    as_json: JsonOption = False,
) -> None:
    """Show the neck angle, where the strings must bear, what travel the bridge has left, and the centreline.

    A what-if takes the place of what the readings say. Without a stage it needs none: what isn't given then is as the
    instrument file plans it.
    """
    from gaugelog.analysis.neck_cut import cut_advice
    from gaugelog.cli.gathering import counting_checks, simulated_gauges, tell_checks
    from gaugelog.errors import MissingKeysError
    from gaugelog.review.standing import cut_at, pass_rate, stood_at, what_if
    from gaugelog.show.check_view import counting_document
    from gaugelog.show.neck_documents import neck_document
    from gaugelog.show.words import simulated_gauges as simulated_in_file
    from gaugelog.store.reader import open_recording

    given = {"--angle": angle, "--plane-height": plane_height, "--roll": roll, "--offset": offset}
    rate: PassRate | None = None
    advice: CutAdvice | None
    if stage is None and any(given.values()):
        path, _ = find_files(instrument, recording)
        work = load_instrument(path)
        assumed = _planned(work) | _assumed(given, work)
        setting = what_if(work, assumed)
        simulated: tuple[str, ...] = ()
        checks: tuple[Checked, ...] = ()
        advice = cut_advice(work, setting, {}, _step_mm(round_to, work), assumed=assumed)
    else:
        with open_recording(find_recording(instrument, recording)) as source:
            work = recorded_instrument(source, instrument)
            stood = stood_at(source, work, stage or "before", _assumed(given, work))
            simulated, checks = simulated_gauges(source), counting_checks(source)
            rate = pass_rate(source)
        setting = stood.setting
        advice = cut_at(work, stood, _step_mm(round_to, work))
    if cut and work.pocket.length is None:
        raise MissingKeysError("neck --cut", ["pocket.length"])
    passes = _passes(advice, rate)
    if picture is not None:
        _draw(picture, setting, work, advice if cut else None, bool(simulated or simulated_in_file(work)))
    if as_json:
        print_json(neck_document(setting, work, advice, passes, simulated) | {"checks": counting_document(checks)})
    else:
        title = _title(setting, work, given)
        _show(setting, work, title, advice if cut else None, passes if cut else None, budget, simulated)
        tell_checks(checks)
        if picture is not None:
            typer.echo(f"Picture: {picture}")
        if cut and advice is None:
            typer.echo("Wood to take off can't be told: it takes the neck angle and the plane height.")


def _assumed(given: dict[str, str], instrument: Instrument) -> dict[str, float]:
    """Return the unknowns that the options replace.

    Raises:
        BadArgumentError: a value that can't be.
        ValueTextError: no value.
    """
    from gaugelog.errors import BadArgumentError
    from gaugelog.model.quantities import Quantity

    found = {}
    for option, unknown in (("--angle", "slope"), ("--roll", "tilt")):
        if given[option]:
            angle_deg = _typed(given[option], Quantity.ANGLE, "deg")
            if abs(angle_deg) >= _STEEPEST_DEG:
                raise BadArgumentError(f"{option} {given[option]}", f"an angle of less than {_STEEPEST_DEG:g} degrees")
            found[unknown] = math.tan(math.radians(angle_deg))
    if given["--plane-height"]:
        found["height"] = _typed(given["--plane-height"], Quantity.LENGTH, instrument.units)
        if found["height"] <= 0:
            wanted = "a height above 0: the fret tops lie over the body top at the joint line (neck.plane_height)"
            raise BadArgumentError(f"--plane-height {given['--plane-height']}", wanted)
    if given["--offset"]:
        found["offset"] = _typed(given["--offset"], Quantity.LENGTH, instrument.units)
        found["heading"] = 0.0
    return found


def _planned(instrument: Instrument) -> dict[str, float]:
    """Return how the file plans the neck: its angle as the checkpoint's nominal value, no roll, on the centreline."""
    found = {"tilt": 0.0, "offset": 0.0, "heading": 0.0}
    for checkpoint in instrument.checkpoints:
        if checkpoint.kind.slug == "neck-angle" and checkpoint.nominal is not None:
            found["slope"] = math.tan(math.radians(checkpoint.nominal))
            break
    return found


def _typed(text: str, quantity: Quantity, unit: str) -> float:
    from gaugelog.errors import ValueTextError
    from gaugelog.model.typed import parse_typed

    value = parse_typed(text, quantity, unit)
    if value.value is None or value.low is not None:
        raise ValueTextError(text, "one number")
    return value.value


def _step_mm(round_to: str, instrument: Instrument) -> float:
    """Return what a hand takes off at the finest, in mm: 0.1 mm, or 0.005 in where the file is in inches."""
    from gaugelog.errors import BadArgumentError
    from gaugelog.model.quantities import Quantity

    if not round_to:
        return CUT_STEP_MM[instrument.units]
    step = _typed(round_to, Quantity.LENGTH, instrument.units)
    if not 0.001 <= step <= 10.0:
        raise BadArgumentError(f"--round {round_to}", "a step from 0.001 mm to 10 mm")
    return step


def _passes(advice: CutAdvice | None, rate: PassRate | None) -> int | None:
    from gaugelog.analysis.neck_cut import passes_for
    from gaugelog.model.quantities import Quantity

    if advice is None or rate is None or not advice.needed or rate.quantity not in (Quantity.ANGLE, Quantity.LENGTH):
        return None
    return passes_for(advice, rate.per_pass, rate.quantity is Quantity.ANGLE)


def _title(setting: NeckSetting, instrument: Instrument, given: dict[str, str]) -> str:
    assumed = ", ".join(
        f"{option.removeprefix('--').replace('-', ' ')} {text}" for option, text in given.items() if text
    )
    by = f"by the readings {setting.stage}" if setting.stage else "as the instrument file plans it"
    return f"{instrument.name}: the neck {by}" + (f", what if {assumed}" if assumed else "")


def _show(
    setting: NeckSetting,
    instrument: Instrument,
    title: str,
    advice: CutAdvice | None,
    passes: int | None,
    budget: bool,
    simulated: tuple[str, ...],
) -> None:
    from gaugelog.show.neck_view import neck_view
    from gaugelog.show.terminal import console, simulated_above

    view = neck_view(setting, instrument, title=title, budget=budget, cut=advice, passes=passes)
    console().print(simulated_above(view, simulated))


def _draw(path: Path, setting: NeckSetting, instrument: Instrument, advice: CutAdvice | None, simulated: bool) -> None:
    """Write the picture.

    Raises:
        BadArgumentError: the name doesn't end in .svg.
        MissingKeysError: the file leaves the geometry open.
        WriteFailedError: it can't be written.
    """
    from gaugelog.errors import BadArgumentError, MissingKeysError, NothingToDoError
    from gaugelog.show.neck_views import neck_svg
    from gaugelog.show.poses import poses_of, wood_of
    from gaugelog.show.writing import write_whole

    if path.suffix.lower() != ".svg":
        raise BadArgumentError(f"--picture {path}", "a file name that ends in .svg")
    open_keys = [f"neck.{key}" for key in ("scale_length", "joint_fret") if getattr(instrument.neck, key) is None]
    if open_keys:
        raise MissingKeysError("neck --picture", open_keys)
    poses = poses_of(setting, advice)
    if not poses:
        raise NothingToDoError(
            "the readings don't tell how the neck stands", "Read the neck angle, or give --angle and --plane-height."
        )
    write_whole(path, neck_svg(instrument, poses, wood_of(advice), title=instrument.name, simulated=simulated))
