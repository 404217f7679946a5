"""The system calls by which a real program changes files, as strace saw them.

Here: running a program under strace, and its calls as plain records in order. What a program prints is among them, so
what it had told at any moment is known exactly. Not here: what a power cut makes of them (`platter`).
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from scene import ran

_CALLS = (
    "open,openat,creat,close,dup,dup2,dup3,lseek,write,pwrite64,writev,pwritev,pwritev2,ftruncate,truncate,fallocate,"
    "copy_file_range,sendfile,fsync,fdatasync,sync_file_range,unlink,unlinkat,rename,renameat,renameat2,link,linkat"
)
_STRACE = ("strace", "-f", "--seccomp-bpf", "-qq", "-y", "-xx", "-s", "16777216")
_LINE = re.compile(r"(\d+) +(\w+)\((.*)\) += (-?\d+)")
_UNFINISHED = re.compile(r"(\d+) +(\w+)\((.*) <unfinished \.\.\.>$")
_RESUMED = re.compile(r"(\d+) +<\.\.\. (\w+) resumed>(.*)$")
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')
_FD = re.compile(r"(-?\d+)<((?:\\x[0-9a-f]{2})*)>")


@dataclass(frozen=True, slots=True)
class Call:
    """One call that came through: `fd` and `path` as they apply, `at` an offset or None for the file's own place."""

    name: str
    fd: int = -1
    path: str = ""
    other: str = ""
    at: int | None = None
    data: bytes = b""
    flags: str = ""


def hindered() -> str:
    """Say why programs can't be traced here, or nothing."""
    if shutil.which("strace") is None:
        return "strace is not installed"
    ran = subprocess.run(["strace", "-qq", "-o", "/dev/null", "true"], capture_output=True, text=True, check=False)
    return f"strace may not trace: {ran.stderr.strip()}" if ran.returncode else ""


def traced(
    folder: Path, command: Sequence[str], lines: str = ""
) -> tuple[list[Call], subprocess.CompletedProcess[str]]:
    """Run a program in a folder to its end; return its calls in order, and what it printed."""
    log = folder.parent / f"{folder.name}.strace"
    tracer = (*_STRACE, "-o", str(log), f"-etrace={_CALLS}", "--")
    told = ran(folder, *command, lines=lines, program=tracer)
    calls = [call for line in _joined(log) if (call := _call(line, folder)) is not None]
    log.unlink()
    return _without_others(calls), told


def _without_others(calls: list[Call]) -> list[Call]:
    """Leave out the closing of files that are elsewhere."""
    ours, kept = set(), []
    for call in calls:
        if call.name == "open":
            ours.add(call.fd)
        elif call.name == "close" and call.fd not in ours:
            continue
        elif call.name == "close":
            ours.remove(call.fd)
        kept.append(call)
    return kept


def _joined(log: Path) -> list[str]:
    """Return the trace's lines, those that were cut by another thread's call put together at their end."""
    waiting: dict[str, str] = {}
    lines = []
    for line in log.read_text(encoding="ascii").splitlines():
        if cut := _UNFINISHED.match(line):
            waiting[cut[1]] = f"{cut[1]} {cut[2]}({cut[3]}"
        elif back := _RESUMED.match(line):
            lines.append(waiting.pop(back[1]) + back[3])
        else:
            lines.append(line)
    return lines


def _plain(text: str) -> bytes:
    return bytes.fromhex(text.replace("\\x", ""))


def _call(line: str, folder: Path) -> Call | None:
    """Return what a line tells, where it has to do with the folder or with standard output."""
    match = _LINE.match(line)
    if match is None or int(match[4]) < 0:
        return None
    name, words, result = match[2], match[3], int(match[4])
    texts = [_plain(each) for each in _TEXT.findall(words)]
    if name in ("open", "openat", "creat"):
        path = folder / texts[0].decode()
        flags = "O_CREAT|O_TRUNC" if name == "creat" else words
        wanted = path.is_relative_to(folder)
        return Call("open", result, str(path), flags=flags) if wanted else Call("close", result)
    if name in ("unlink", "unlinkat"):
        return _within(folder, Call("unlink", path=str(folder / texts[0].decode())))
    if name in ("rename", "renameat", "renameat2"):
        return _within(
            folder, Call("rename", path=str(folder / texts[0].decode()), other=str(folder / texts[1].decode()))
        )
    opened = _FD.search(words)
    if opened is None:
        return None
    fd, where = int(opened[1]), Path(_plain(opened[2]).decode("utf-8", "replace"))
    if name == "write" and fd == 1:
        return Call("say", data=texts[0][:result])
    if name == "close":
        return Call("close", fd)
    if not where.is_relative_to(folder):
        return None
    match name:
        case "write":
            return Call("write", fd, str(where), data=texts[0][:result])
        case "pwrite64":
            return Call("write", fd, str(where), at=int(words.rsplit(", ", 1)[1]), data=texts[0][:result])
        case "lseek":
            return Call("seek", fd, str(where), at=result)
        case "ftruncate":
            return Call("truncate", fd, str(where), at=int(words.rsplit(", ", 1)[1]))
        case "fsync" | "fdatasync":
            return Call("sync", fd, str(where))
    raise AssertionError(f"the model doesn't know this call: {name}({words[:200]}")


def _within(folder: Path, call: Call) -> Call | None:
    return call if Path(call.path).is_relative_to(folder) else None
