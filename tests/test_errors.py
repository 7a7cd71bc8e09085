"""Errors travel: what a worker process raises arrives with all it has to say."""

from __future__ import annotations

import pickle

import pytest

from airproof.errors import AirproofError, BrokenKnowledge, NoTimeColumn, UnusableAnswer, UnusableFile, UnusableRequest


@pytest.mark.parametrize("kind", [UnusableFile, NoTimeColumn, UnusableRequest, UnusableAnswer, BrokenKnowledge])
def test_an_error_survives_the_way_between_processes(kind: type[AirproofError]) -> None:
    told = kind("a full disk", "room for a file", "Make room.", where="0001.csv.gz")
    arrived = pickle.loads(pickle.dumps(told))
    assert type(arrived) is kind
    assert str(arrived) == str(told)
    assert (arrived.where, arrived.way_out, arrived.exit_status) == (told.where, told.way_out, told.exit_status)
