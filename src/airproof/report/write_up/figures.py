"""The exhibits of a case, drawn in its language and units."""

from __future__ import annotations

from dataclasses import dataclass

from airproof.report.exhibits import NO_RECORDING, SUBJECTS, drawing_of
from airproof.report.language.language import Words
from airproof.report.pictures import before_after
from airproof.report.pictures.dressed import dressed
from airproof.report.pictures.sheet import Drawing, NotDrawn, as_svg, style
from airproof.report.write_up.content import Figure
from airproof.report.write_up.writing import Writer

# By how the finding's name begins, first match first: the exhibit that shows it.
_SHOWN_IN = (
    ("key-on", 1),
    ("barometer", 1),
    ("full-load", 5),
    ("boost", 5),
    ("charge-at-rest", 5),
    ("air-flow", 3),
    ("trim", 4),
    ("fuel", 4),
    ("", 2),
)


@dataclass(frozen=True)
class Exhibits:
    """The figures, and of those that could not be drawn what they were to show and why there is none."""

    figures: tuple[Figure, ...]
    missing: tuple[tuple[Words, Words], ...]

    def showing(self, finding: str) -> Figure | None:
        """The figure in which a finding can be seen."""
        number = next(place for begins, place in _SHOWN_IN if finding.startswith(begins))
        return next((one for one in self.figures if one.number == number), None)


def exhibits_of(write: Writer) -> Exhibits:
    """Draw all that the case allows; further drawings of the case come after those of the weighing."""
    case, figures, missing = write.case, [], []
    with style():
        recorded = case.weighing is not None and bool(case.weighing.recording.signals)
        if case.verdict is not None and not recorded:
            missing.append((write.own("Exhibits"), write.ours(NO_RECORDING)))
        for number in SUBJECTS if case.verdict is not None and recorded else ():
            assert case.weighing is not None
            drawing = drawing_of(number, case.weighing)
            if isinstance(drawing, NotDrawn):
                missing.append((write.own(SUBJECTS[number]), write.ours(drawing.because)))
                continue
            figures.append((number, drawing))
        if case.proof is not None:
            shown = before_after.draw(case.proof)
            if isinstance(shown, Drawing):
                figures.append((before_after.NUMBER, shown))
        figures += [(before_after.NUMBER + place, one) for place, one in enumerate(case.drawings, 1)]
        return Exhibits(tuple(figure(number, one, write) for number, one in figures), tuple(missing))


def figure(number: int, drawing: Drawing, write: Writer) -> Figure:
    """One drawing as a figure; to be called within sheet.style()."""
    title, caption, alt = (write.ours(text) for text in (drawing.title, drawing.caption, drawing.alt))
    return Figure(number, title, caption, alt, as_svg(dressed(drawing, write.language, write.wish)))
