"""The pictures of a neck set: from the side and from above, true to the numbers.

Here: the door to the two views, and both in one file of their own. Not here: how either is drawn (`side_view`,
`top_view`), where its lines lie (`neck_places`), checkpoints (`neck_picture`).
"""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup, escape

from gaugelog.model.instrument import Instrument
from gaugelog.show.neck_drawing import LINE, MARGIN, STYLE, WIDTH, block, paper, word, wrapped
from gaugelog.show.neck_places import Pose, WoodOff, layout
from gaugelog.show.palette import INK
from gaugelog.show.side_view import side_picture
from gaugelog.show.top_view import top_picture

__all__ = ["Pose", "WoodOff", "neck_svg", "side_view", "top_view"]

_SIMULATED = "SIMULATED: invented readings, nothing of a real neck."
_TITLE_WIDE = 0.85 * WIDTH


def side_view(instrument: Instrument, poses: Sequence[Pose], wood: WoodOff | None = None) -> Markup:
    """Return the neck set from the side as one SVG element; empty where the geometry is open or there is no pose.

    Args:
        instrument: scale length and joint fret are needed; whatever else it leaves open isn't drawn.
        poses: the first is drawn firm, a second one over it, dashed.
        wood: to take off the pocket floor.
    """
    places = layout(instrument)
    return Markup(side_picture(places, poses, wood).svg() if places is not None and poses else "")


def top_view(instrument: Instrument, poses: Sequence[Pose], wood: WoodOff | None = None) -> Markup:
    """Return the neck set from above as one SVG element, as `side_view` does; `wood` says what a cheek loses."""
    places = layout(instrument)
    return Markup(top_picture(places, poses, wood).svg() if places is not None and poses else "")


def neck_svg(
    instrument: Instrument,
    poses: Sequence[Pose],
    wood: WoodOff | None = None,
    *,
    title: str = "",
    simulated: bool = False,
) -> str:
    """Return an SVG file with both views under each other; empty where the geometry is open or there is no pose.

    Args:
        instrument: as for `side_view`.
        poses: as for `side_view`.
        wood: as for `side_view`.
        title: a heading, none where it is empty.
        simulated: say above all that the readings are invented.
    """
    places = layout(instrument)
    if places is None or not poses:
        return ""
    head, y = _head(title, simulated)
    pictures = (side_picture(places, poses, wood), top_picture(places, poses, wood))
    parts = [head]
    for picture in pictures:
        parts.append(f'<g transform="translate(0 {y:.0f})">{picture.body}</g>')
        y += picture.height
    words = " ".join(picture.words for picture in pictures)
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg xmlns="http://www.w3.org/2000/svg" class="neck-set" viewBox="0 0 {WIDTH:g} {y:.0f}" role="img"'
        f' aria-label="{escape(words)}">{STYLE}{paper(y)}{"".join(parts)}</svg>\n'
    )


def _head(title: str, simulated: bool) -> tuple[str, float]:
    """Return the heading, and where the first picture begins."""
    parts, y = [], MARGIN
    if simulated:
        parts.append(
            f'<rect x="{MARGIN:g}" y="{y:g}" width="{WIDTH - 2 * MARGIN:g}" height="46" fill="none" stroke="{INK}"'
            f' stroke-width="2" stroke-dasharray="6 4"/>{word((MARGIN + 14, y + 32), _SIMULATED, bold=True)}'
        )
        y += 56
    if title:
        lines = wrapped(title, _TITLE_WIDE)
        parts.append(block((MARGIN, y + LINE), lines, bold=True))
        y += (len(lines) + 0.5) * LINE
    return "".join(parts), y
