"""Chromium without a window, where there is one, prints sheets as PDF and pictures as PNG."""

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Final

from verify.base.problems import Problem, UserError

PAPERS: Final = {"a4": "A4", "letter": "letter"}
_NAMES: Final = ("chromium", "chromium-browser")
_PATIENCE: Final = 240.0  # seconds for one document
_SIZE: Final = re.compile(r'viewBox="[\d.]+ [\d.]+ ([\d.]+) ([\d.]+)"')
#: Each pixel of an SVG gets so many in the PNG, along both sides, for paper and fine screens.
_FINE: Final = 2
_OPTIONS: Final = (
    "--headless",
    "--disable-gpu",
    "--hide-scrollbars",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
)


def find_chromium(wanted: str) -> str:
    """Return the path of Chromium. Raises UserError, naming the format `wanted` of it."""
    found = next((path for path in map(shutil.which, _NAMES) if path), None)
    if found is None:
        raise UserError(
            [
                Problem(
                    f"--format={wanted}",
                    "needs Chromium, which was not found; install it (on Debian: apt-get install "
                    "chromium), or make html and print that from any browser",
                )
            ]
        )
    return found


def pdf_files(
    pages: Mapping[str, str], names: Sequence[str], paper: str, chromium: str
) -> Iterator[tuple[str, bytes]]:
    """Print HTML `pages` of a set on `paper`; yield the name and the bytes of each PDF."""
    size = f"<style>@page {{ size: {PAPERS[paper]}; }}</style></head>"
    with tempfile.TemporaryDirectory(prefix="miswire-") as folder:
        (Path(folder) / "style.css").write_text(pages["style.css"], "utf-8")
        for name in names:
            page, pdf = Path(folder) / name, Path(folder) / "printed.pdf"
            page.write_text(pages[name].replace("</head>", size, 1), "utf-8")
            _run(chromium, folder, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page=page)
            yield name.replace(".html", ".pdf"), _taken(pdf)


def png(svg: str, chromium: str) -> bytes:
    """Return a picture as PNG, with four pixels for each of its own."""
    found = _SIZE.search(svg)
    if found is None:
        raise ValueError("a picture without a size")
    width, height = (round(float(number)) for number in found.groups())
    with tempfile.TemporaryDirectory(prefix="miswire-") as folder:
        drawn, shot = Path(folder) / "drawn.svg", Path(folder) / "shot.png"
        drawn.write_text(svg, "utf-8")
        _run(
            chromium,
            folder,
            f"--screenshot={shot}",
            f"--window-size={width},{height}",
            f"--force-device-scale-factor={_FINE}",
            page=drawn,
        )
        return _taken(shot)


def _run(chromium: str, folder: str, *options: str, page: Path) -> None:
    # Chromium's own sandbox does not work for root, as in containers; the page is ours.
    is_root = hasattr(os, "geteuid") and os.geteuid() == 0
    command = [
        chromium,
        *_OPTIONS,
        *(["--no-sandbox"] if is_root else []),
        f"--user-data-dir={folder}/profile",
        *options,
        page.as_uri(),
    ]
    try:
        subprocess.run(command, check=True, capture_output=True, timeout=_PATIENCE)
    except (subprocess.SubprocessError, OSError) as error:
        raise UserError(
            [Problem(chromium, f"could not print ({type(error).__name__}); make html instead")]
        ) from error


def _taken(path: Path) -> bytes:
    """Return the bytes that Chromium wrote. Raises UserError if it wrote none."""
    if not path.is_file():
        raise UserError([Problem("chromium", "printed nothing; make html instead")])
    content = path.read_bytes()
    path.unlink()
    return content
