"""Jobs that hold two outcomes of one step, as pages used to keep them: the last counts, the earlier is corrected."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from unittest.mock import Mock

import pytest
from invented_jobs import draft

from airproof.jobs.events import Draft
from airproof.jobs.given import with_drafts
from airproof.jobs.opening import open_store
from airproof.knowledge.load import knowledge
from airproof.report.job_in_words import job_in_words
from airproof.web.case import fact as fact_page

LEAKS = draft("step", id="smoke-test-intake", outcome="found")
TIGHT = draft("step", id="smoke-test-intake", outcome="not found")
COULD_NOT = draft("step", id="smoke-test-intake", outcome="could not")
OTHER = draft("step", id="look-hoses", outcome="not found")


@pytest.mark.parametrize(
    ("said", "overtaken"),
    [
        ((LEAKS,), {}),
        ((LEAKS, OTHER), {}),
        ((LEAKS, OTHER, TIGHT), {1: 3}),
        ((LEAKS, TIGHT, LEAKS), {1: 3, 2: 3}),
        ((COULD_NOT, TIGHT), {1: 2}),
        ((LEAKS, COULD_NOT), {}),  # what was found then is still heard
        ((LEAKS, TIGHT, COULD_NOT), {1: 3}),
    ],
)
def test_which_outcomes_count_no_more(said: Sequence[Draft], overtaken: dict[int, int]) -> None:
    assert with_drafts([], said).overtaken == overtaken


def test_in_the_terminal_the_earlier_is_shown_as_corrected(tmp_path: Path) -> None:
    with open_store(tmp_path) as store:
        job = store.new_job([LEAKS, OTHER, TIGHT])
        parts = job_in_words(store.line(job), store.events(job), store.state(job), knowledge(), history=False)
    (done,) = [part for part in parts if part.heading == "What was seen, measured and done"]
    assert [line.endswith("(corrected by [3])") for line in done.lines] == [True, False, False]


def test_on_the_pages_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fact_page, "folded_later", shown := Mock())
    state = with_drafts([], [LEAKS, OTHER, TIGHT])
    case = Mock(state=state, bench=Mock(known=knowledge()), words=str)
    for one in state.steps:
        fact_page.show(case, "step", one)
    assert [call.args[0].startswith("Corrected since, by fact 3: ") for call in shown.call_args_list] == [
        one.number == 1 for one in state.steps
    ]
