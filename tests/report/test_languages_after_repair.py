"""What the car says after a repair, in other languages: every standing of a code, every state of its monitors."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import pytest

from airproof.knowledge.load import knowledge
from airproof.repair.proof.after import Said, codes_after
from airproof.report.language.language import LANGUAGES, language

KNOWN = knowledge()
MONITORS = ({}, dict.fromkeys(KNOWN.monitors, False), dict.fromkeys(KNOWN.monitors, True))


def sentences() -> Iterator[str]:
    """All that can be said of one code that was or was not there before."""
    told = product(({}, {"P0171": "stored"}), (None, *KNOWN.statuses), (None, True, False), (False, True), MONITORS)
    for before, status, cleared, read, monitors in told:
        for warm_ups, km in ((None, None), (1, None), (5, None), (1, 20.0), (5, 20.0)):
            codes = {} if status is None else {"P0171": status}
            said = Said(codes, read, cleared, monitors, warm_ups, km)
            after = codes_after(said, before, "vacuum-leak", KNOWN)
            if after is not None:
                yield from after.says
                yield from (one.says for one in (*after.codes, *after.monitors))
                yield from (f"{one.says}; find out what set it, and drive and read again" for one in after.codes)


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_nothing_of_it_stays_english(code: str) -> None:
    words = language(code).words
    assert [text for text in sorted(set(sentences())) if words(text).language != code] == []
