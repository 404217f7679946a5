"""Makes the fixture of the newest schema version: `python tests/store/old/make.py`. All values in it are invented.

A folder `vN` holds a finished recording, one whose writer was cut off (with its -wal file), and all that both tell.
It is made once, by the program that first wrote schema N, and never again: a folder that is there is left as it is.
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from filling import fill, told

from gaugelog.store.reader import open_recording
from gaugelog.store.schema import newest_version

HERE = Path(__file__).parent


def make(folder: Path) -> None:
    """Write both recordings and what they tell."""
    with tempfile.TemporaryDirectory() as scratch:
        finished, unfinished = Path(scratch, "finished.gaugelog"), Path(scratch, "unfinished.gaugelog")
        fill(finished)
        shutil.copy(finished, folder)
        writer = fill(unfinished, finished=False)
        for path in (unfinished, unfinished.with_name(unfinished.name + "-wal")):
            shutil.copy(path, folder)  # as a program that is killed here leaves them
        writer.finish()
    tell(folder)


def tell(folder: Path) -> None:
    """Write what both recordings tell, each from a copy."""
    expected = {}
    for path in (folder / "finished.gaugelog", folder / "unfinished.gaugelog"):
        with tempfile.TemporaryDirectory() as scratch:
            for each in folder.glob(path.name + "*"):
                shutil.copy(each, scratch)
            recording = open_recording(Path(scratch, path.name))
            recording.check()
            expected[path.stem] = told(recording)
    lines = [f"{json.dumps(name)}: {json.dumps(each)}" for name, each in expected.items()]
    (folder / "expected.json").write_text("{" + ",\n".join(lines) + "}\n", encoding="utf-8")


if __name__ == "__main__":
    target = HERE / f"v{newest_version()}"
    if target.exists():
        sys.exit(f"{target.name} is there already, and stays as it is")
    target.mkdir()
    make(target)
    print(f"made {target.name}: {', '.join(sorted(path.name for path in target.iterdir()))}")
