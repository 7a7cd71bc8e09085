"""Everything that was said, in its order; nothing is lost by correcting it."""

from __future__ import annotations

from airproof.report.job_in_words import event_in_words
from airproof.web.case.file import CaseFile
from airproof.web.marks import folded_later, heading, lines


def show(case: CaseFile) -> None:
    """The history of the job, folded away."""
    heading(2, "History")
    folded_later(
        f"All that was said, when and by whom ({len(case.events)})",
        lambda: lines(case.words(event_in_words(event, case.bench.known, local=True)) for event in case.events),
    )
