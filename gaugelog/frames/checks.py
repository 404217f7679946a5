"""Checks that a gauge sends with its bytes, so that damaged ones are known.

Here: sums, exclusive or, the two's complement sum of Modbus ASCII (LRC), and any cyclic redundancy check (CRC), by the
name that the catalogue of CRC algorithms has for it or by its parameters. Not here: where in a frame a check stands.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, reduce
from operator import xor

import anycrc  # type: ignore[import-untyped]

from gaugelog.model.section import Section

_CUSTOM = "crc"
_WIDEST = 64


@dataclass(frozen=True, slots=True)
class Check:
    """A check: `compute` gives the number that is sent in `size` bytes."""

    name: str
    size: int
    compute: Callable[[bytes], int]


def _sum8(data: bytes) -> int:
    return sum(data) & 0xFF


def _sum16(data: bytes) -> int:
    return sum(data) & 0xFFFF


def _xor8(data: bytes) -> int:
    return reduce(xor, data, 0)


def _lrc(data: bytes) -> int:
    """Return the two's complement of the sum of all bytes (Modbus over Serial Line V1.02, 2.5.2.2; from memory)."""
    return -sum(data) & 0xFF


_SIMPLE: Mapping[str, Check] = {
    check.name: check
    for check in (
        Check("sum8", 1, _sum8),
        Check("sum16", 2, _sum16),
        Check("xor8", 1, _xor8),
        Check("lrc", 1, _lrc),
    )
}


def _bare(name: str) -> str:
    """Return a name without case and punctuation: `CRC-16/MODBUS` and `crc16_modbus` are one."""
    return re.sub(r"[^A-Z0-9]", "", name.upper())


def _catalogue_spelling(name: str) -> str:
    """Return a name of the library as the catalogue writes it: `CRC-16/MODBUS`."""
    return re.sub(r"^CRC(\d+)-", r"CRC-\1/", name)


@cache
def _catalogue() -> Mapping[str, str]:
    """Return the library's name of each algorithm by its names and aliases without case and punctuation."""
    names = {_bare(alias): name for alias, name in anycrc.aliases.items()}
    return names | {_bare(name): name for name in anycrc.models}


def crc_names() -> tuple[str, ...]:
    """Return all names of the catalogue whose check fills 8 bits or more, as the catalogue writes them."""
    return tuple(_catalogue_spelling(name) for name, model in anycrc.models.items() if model.width >= 8)


def crc(name: str) -> Check:
    """Return the CRC of that name.

    Raises:
        ValueError: the catalogue has none of that name, or it is narrower than a byte.
    """
    known = _catalogue().get(_bare(name))
    if known is None or anycrc.models[known].width < 8:
        raise ValueError(f"no CRC of the catalogue is called {name}")
    return Check(_catalogue_spelling(known), (anycrc.models[known].width + 7) // 8, anycrc.Model(known).calc)


def read_check(options: Section) -> Check | None:
    """Return the check that a table describes, None where it is at fault; the faults are noted.

    Options: `kind`, which is sum8, sum16, xor8, lrc, the name of a CRC, or crc with the parameters `width`, `poly`,
    `init`, `refin`, `refout` and `xorout`.
    """
    kind = options.text("kind", required=True, wanted=_wanted(""))
    if not kind:
        return None
    if kind.lower() == _CUSTOM:
        return _read_parameters(options)
    if kind.lower() in _SIMPLE:
        return _SIMPLE[kind.lower()]
    try:
        return crc(kind)
    except ValueError:
        options.fault("kind", kind, _wanted(kind))
        return None


def _wanted(kind: str) -> str:
    near = difflib.get_close_matches(_bare(kind), [_bare(name) for name in crc_names()], 3, 0.6)
    names = [name for bare in near for name in crc_names() if _bare(name) == bare]
    known = f"{', '.join(_SIMPLE)}, the name of a CRC such as {', '.join(names or ['CRC-16/MODBUS'])}"
    return f"{known}, or {_CUSTOM} with its parameters"


def _read_parameters(options: Section) -> Check | None:
    width = options.whole("width", 8, _WIDEST, required=True)
    highest = (1 << (width or _WIDEST)) - 1
    poly = options.whole("poly", 1, highest, required=True)
    init = options.whole("init", 0, highest, required=True)
    xorout = options.whole("xorout", 0, highest)
    refin, refout = options.flag("refin"), options.flag("refout")
    if width is None or poly is None or init is None:
        return None
    compute = anycrc.CRC(width, poly, init, refin, refout, xorout or 0).calc
    return Check(_CUSTOM, (width + 7) // 8, compute)
