"""Exhibits: pictures that each carry one point of evidence, as SVG and PNG, with a page that lists them.

Drawing loads a heavy library, so it is imported only when something is drawn.
"""

from __future__ import annotations

import contextlib
import html
import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from airproof.diagnosis.weighing import Weighing
from airproof.errors import UnusableRequest
from airproof.quantities.wishes import AS_IT_IS, Wish
from airproof.report.whole_file import MARK, refuse_others

if TYPE_CHECKING:
    from airproof.report.pictures.sheet import Drawing, NotDrawn

INDEX = "exhibits.html"
_SLUGS = {1: "engine-off", 2: "pressure-over-time", 3: "air-flow", 4: "trims", 5: "boost"}
SUBJECTS = {
    1: "Engine-off pressure against the barometer",
    2: "Manifold pressure over time",
    3: "Air flow against speed-density",
    4: "Fuel trims against load",
    5: "Boost, target and actual",
}


@dataclass(frozen=True)
class Exhibit:
    """A numbered picture: `title` is its one point, `caption` one sentence with the number, `alt` the picture.

    Where `not_drawn` is set there is no picture, and it says why; `title` then names the subject.
    """

    number: int
    title: str
    caption: str
    alt: str
    svg: Path | None = None
    png: Path | None = None
    not_drawn: str | None = None


def draw_exhibits(weighing: Weighing, folder: Path) -> tuple[Exhibit, ...]:
    """Draw every exhibit that the recording allows into a folder, made where missing, with an index page.

    Nothing is written before everything is drawn, and each file is put in place whole. Exhibits of an earlier
    run that could not be drawn this time are taken away. Raises UnusableRequest where the folder is unusable,
    UnusableFile where somebody else's files lie there under these names.
    """
    check_folder(folder)
    exhibits, files = drawn(weighing, folder)
    files[INDEX] = _page(weighing.recording.label, exhibits).encode("utf-8")
    try:
        _write_all(folder, files)
    except OSError as cause:
        raise _unusable(folder, f"cannot be written to ({cause.strerror or cause})") from cause
    return exhibits


def drawn(
    weighing: Weighing, folder: Path = Path(), wish: Wish = AS_IT_IS
) -> tuple[tuple[Exhibit, ...], dict[str, bytes]]:
    """Every exhibit with the pictures by the names of their files, which are to lie in the folder; writes nothing."""
    files: dict[str, bytes] = {}
    return tuple(_draw(number, weighing, folder, files, wish) for number in _SLUGS), files


def check_folder(folder: Path, files: Iterable[str] | None = None) -> None:
    """Refuse, before any work is done, a folder that is a file, cannot be written to or holds somebody else's `files`.

    `files` are the names of what will be written there: by default the exhibits with their page.
    """
    place = folder
    while not place.exists() and place != place.parent:
        place = place.parent
    if not place.is_dir():
        what = "a file stands there" if place == folder else f"{place} is a file"
        raise _unusable(folder, what)
    if not os.access(place, os.W_OK):
        raise _unusable(folder, "it may not be written to")
    names = (INDEX, *(f"{_stem(number)}.{ending}" for number in _SLUGS for ending in ("svg", "png")))
    refuse_others(folder / name for name in (names if files is None else files))


def _unusable(folder: Path, given: str) -> UnusableRequest:
    return UnusableRequest(
        given,
        "a folder for the exhibits",
        "Name a new or an existing folder with --exhibits.",
        where=str(folder),
    )


NO_RECORDING = "there is no recording"
NOT_OF_A_DIESEL = "the engine is a diesel, of which this is not judged"
THROTTLED_ONLY = (3, 4)


def drawing_of(number: int, weighing: Weighing) -> Drawing | NotDrawn:
    """The picture of that number, 1 to 5, or why there is none; to be called and saved within sheet.style()."""
    from airproof.report.pictures import air_flow, boost, engine_off, pressure, trims
    from airproof.report.pictures.sheet import NotDrawn

    if not weighing.recording.signals:
        return NotDrawn(NO_RECORDING)
    if number in THROTTLED_ONLY and not weighing.profile.throttled:
        return NotDrawn(NOT_OF_A_DIESEL)
    draw = {1: engine_off.draw, 2: pressure.draw, 3: air_flow.draw, 4: trims.draw, 5: boost.draw}[number]
    return draw(weighing)


def _draw(number: int, weighing: Weighing, folder: Path, files: dict[str, bytes], wish: Wish) -> Exhibit:
    from airproof.report.pictures.sheet import NotDrawn, as_png, as_svg, style

    with style():
        drawing = drawing_of(number, weighing)
        if isinstance(drawing, NotDrawn):
            return Exhibit(number, SUBJECTS[number], "", "", not_drawn=drawing.because)
        if not wish.plain:
            from airproof.report.language.language import language
            from airproof.report.pictures.dressed import dressed

            drawing = dressed(drawing, language("en"), wish)
        stem = _stem(number)
        files[f"{stem}.svg"], files[f"{stem}.png"] = as_svg(drawing), as_png(drawing)
    return Exhibit(number, drawing.title, drawing.caption, drawing.alt, folder / f"{stem}.svg", folder / f"{stem}.png")


def _stem(number: int) -> str:
    return f"exhibit-{number}-{_SLUGS[number]}"


def _write_all(folder: Path, files: Mapping[str, bytes]) -> None:
    """Each file under a passing name first, all put in place at the end; no passing name ever remains."""
    folder.mkdir(parents=True, exist_ok=True)
    waiting: list[tuple[Path, Path]] = []
    try:
        for name, content in files.items():
            handle, passing = tempfile.mkstemp(prefix=".airproof-", dir=folder)
            waiting.append((Path(passing), folder / name))
            with os.fdopen(handle, "wb") as file:
                file.write(content)
            Path(passing).chmod(0o644)
        for source, target in waiting:
            source.replace(target)
    finally:
        for source, _ in waiting:
            with contextlib.suppress(OSError):
                source.unlink(missing_ok=True)
    for stem in map(_stem, _SLUGS):
        for name in (f"{stem}.svg", f"{stem}.png"):
            if name not in files:
                (folder / name).unlink(missing_ok=True)


_PAGE = """<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
{mark}
<title>Exhibits: {label}</title>
<style>
body {{ font: 17px/1.5 Georgia, serif; color: #16202b; background: #fff;
  max-width: 40rem; margin: 2rem auto; padding: 0 1rem }}
h1 {{ font-size: 1.4rem }} h2 {{ font-size: 1.1rem }}
figure {{ margin: 2.5rem 0; break-inside: avoid }}
img {{ width: 100%; height: auto }}
figcaption {{ margin-top: .4rem }}
</style>
</head>
<body>
<h1>Exhibits: {label}</h1>
{figures}
{missing}
</body>
</html>
"""
_FIGURE = """<figure id="exhibit-{number}">
<a href="{svg}"><img src="{png}" alt="{alt}"></a>
<figcaption><b>Exhibit {number}.</b> {caption}</figcaption>
</figure>"""


def _page(label: str, exhibits: Sequence[Exhibit]) -> str:
    figures = [
        _FIGURE.format(
            number=one.number,
            svg=html.escape(one.svg.name),
            png=html.escape(one.png.name),
            alt=html.escape(one.alt),
            caption=html.escape(one.caption),
        )
        for one in exhibits
        if one.svg is not None and one.png is not None
    ]
    gaps = [
        f"<li>Exhibit {one.number}, {html.escape(one.title[:1].lower() + one.title[1:])}: not drawn, because "
        f"{html.escape(one.not_drawn)}.</li>"
        for one in exhibits
        if one.not_drawn is not None
    ]
    missing = "<h2>Not drawn</h2>\n<ul>\n" + "\n".join(gaps) + "\n</ul>" if gaps else ""
    return _PAGE.format(mark=MARK, label=html.escape(label), figures="\n".join(figures), missing=missing)
