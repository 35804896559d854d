"""This makes the fonts of pages and pictures again, with the table of letter widths.

It needs npm and `pip install 'fonttools[woff]'`, which nothing else here does. Both families are
under the SIL Open Font License without a reserved font name. What is kept: the letters of the
languages written in Latin letters, the signs that pages use, and pair kerning, which running text
has and pictures switch off, so that a line in a picture is as long as its letters are broad.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from fontTools import subset
from fontTools.ttLib import TTFont

_STATIC: Final = Path(__file__).resolve().parents[1] / "catalogue" / "static"
_TEXT: Final = "@expo-google-fonts/arimo@0.4.3"
_MARKS: Final = "@fontsource/noto-sans-symbols-2@5.3.0"
#: The files to make, with the sources of their letters.
_WEIGHTS: Final = {
    "regular": (_TEXT, "400Regular/Arimo_400Regular.ttf"),
    "bold": (_TEXT, "700Bold/Arimo_700Bold.ttf"),
}
_LATIN: Final = (range(0x20, 0x7F), range(0xA0, 0xAD), range(0xAE, 0x180), range(0x218, 0x21C))
_SIGNS: Final = "Ω–—\N{LEFT SINGLE QUOTATION MARK}’\N{SINGLE LOW-9 QUOTATION MARK}“”„…€→−≠≤≥"
#: Signs for positions, lamps, verdicts and answers, most of which the first family lacks.
_SHAPES: Final = "↯▲▼○◍◐●⚠✓✗"
_NAMES_KEPT: Final = [*range(7), 13, 14]


def main() -> int:
    """Write the fonts and the table into `catalogue/static`."""
    letters = {*map(ord, _SIGNS)}.union(*_LATIN)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        advances: dict[str, object] = {}
        for weight, (package, file) in _WEIGHTS.items():
            made = _subset(_packed(package, folder) / file, letters, f"sans-{weight}.woff2")
            advances |= {"unitsPerEm": made["head"].unitsPerEm, weight: _advances(made)}
        marks = _packed(_MARKS, folder) / "files/noto-sans-symbols-2-symbols-400-normal.woff2"
        _subset(marks, map(ord, _SHAPES), "marks.woff2")
    table = json.dumps(advances, ensure_ascii=False, separators=(",", ":"))
    (_STATIC / "advances.json").write_text(f"{table}\n", "utf-8")
    return 0


def _packed(package: str, folder: Path) -> Path:
    """Download a package of the npm registry; return its files."""
    out = folder / package.replace("/", "-")
    if not out.exists():
        pack = ["npm", "pack", "--silent", package]
        name = subprocess.run(pack, cwd=folder, check=True, capture_output=True, text=True).stdout
        with tarfile.open(folder / name.split()[-1]) as archive:
            archive.extractall(out, filter="data")
    return out / "package"


def _subset(source: Path, letters: Iterable[int], name: str) -> TTFont:
    options = subset.Options(
        flavor="woff2",
        hinting=False,
        layout_features=["kern"],
        name_IDs=_NAMES_KEPT,
        notdef_outline=True,
    )
    font = subset.load_font(str(source), options)
    chosen = subset.Subsetter(options)
    chosen.populate(unicodes=letters)
    chosen.subset(font)
    out = _STATIC / name
    subset.save_font(font, str(out), options)
    print(f"{name}: {len(font.getBestCmap())} letters, {out.stat().st_size} bytes")
    return font


def _advances(font: TTFont) -> dict[str, int]:
    """Return how wide each letter is, in the units of the font."""
    return {chr(code): font["hmtx"][name][0] for code, name in sorted(font.getBestCmap().items())}


if __name__ == "__main__":
    sys.exit(main())
