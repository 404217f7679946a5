"""Choose, of a kernel's modules, those that the guest needs, and number them in the order in which to load them.

Run as `modules.py UNPACKED-KERNEL-PACKAGE FOLDER`. Here: which ones, and what they depend on. Not here: loading them.
"""

from __future__ import annotations

import lzma
import re
import sys
from pathlib import Path

WANTED = [
    *("virtio_pci", "9pnet_virtio", "9p", "overlay"),  # the host's folders
    *(
        "cmac",
        "ecb",
        "ctr",
        "ccm",
        "hmac",
        "sha512_generic",
        "drbg",
        "aes_generic",
        "ecdh_generic",
    ),  # what Bluetooth encrypts by
    *("algif_hash", "algif_skcipher"),
    *("bluetooth", "hci_vhci"),
]
_DEPENDS = re.compile(rb"\0depends=([^\0]*)\0")


def _name(path: Path) -> str:
    return path.name.partition(".")[0].replace("-", "_")


def _content(path: Path) -> bytes:
    return lzma.decompress(path.read_bytes()) if path.suffix == ".xz" else path.read_bytes()


def in_order(modules: dict[str, bytes], built_in: set[str], wanted: list[str]) -> list[str]:
    """Return the names of what is wanted and of all that it depends on, each after what it depends on.

    Raises:
        LookupError: the kernel has no such module.
    """
    order: list[str] = []

    def add(name: str) -> None:
        if name in order or name in built_in:
            return
        if name not in modules:
            raise LookupError(f"this kernel has no module {name}")
        found = _DEPENDS.search(modules[name])
        for each in found[1].decode().split(",") if found else []:
            if each:
                add(each.replace("-", "_"))
        order.append(name)

    for name in wanted:
        add(name)
    return order


class _Modules(dict[str, bytes]):
    """Modules by name, read when they are asked for."""

    def __init__(self, paths: dict[str, Path]) -> None:
        super().__init__()
        self._paths = paths

    def __contains__(self, name: object) -> bool:
        return name in self._paths

    def __missing__(self, name: str) -> bytes:
        self[name] = _content(self._paths[name])
        return self[name]


def main(package: Path, folder: Path) -> None:
    """Write what is chosen into `folder`."""
    home = next(each.parent for each in package.glob("**/modules.builtin"))
    modules = _Modules({_name(path): path for path in home.rglob("*.ko*")})
    built_in = {_name(Path(line)) for line in (home / "modules.builtin").read_text().split()}
    folder.mkdir()
    for number, name in enumerate(in_order(modules, built_in, WANTED)):
        (folder / f"{number:02}-{name}.ko").write_bytes(modules[name])


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
