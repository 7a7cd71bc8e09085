"""What is written up: all that a job holds and what was made of it, gathered once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from pydantic import TypeAdapter, ValidationError

from airproof import __version__
from airproof.diagnosis.verdict import Verdict
from airproof.diagnosis.weighing import Weighing
from airproof.errors import UnusableRequest
from airproof.jobs.events import Event
from airproof.jobs.facts_written import written
from airproof.jobs.kinds import Recording as RecordingKept
from airproof.jobs.left_to_do import Since, since_proof
from airproof.jobs.private import Private
from airproof.jobs.state import Fact, State, state_of
from airproof.knowledge.model import Knowledge
from airproof.repair.plan import Plan
from airproof.repair.proof.proof import Proof
from airproof.report.pictures.sheet import Drawing
from airproof.toml_files import in_words


@dataclass(frozen=True)
class Case:
    """All of it. `number` is the job's, None where there is none; `why_not` says why nothing was weighed.

    `since_proof` is what makes the proof one of before. `drawings` are further exhibits that somebody has drawn, after
    those of the weighing; `made_at` is when it is written. `labels` are names of recordings that must not be shown,
    with what stands for each.
    """

    state: State
    known: Knowledge
    made_at: datetime
    number: int | None = None
    weighing: Weighing | None = None
    plan: Plan | None = None
    why_not: str = ""
    left_out: tuple[str, ...] = ()
    proof: Proof | None = None
    since_proof: Since | None = None
    drawings: tuple[Drawing, ...] = ()
    private: Private | None = None
    labels: Mapping[str, str] = field(default_factory=dict)
    program: str = f"airproof {__version__}"

    @property
    def verdict(self) -> Verdict | None:
        """What was judged; None where nothing was."""
        if self.weighing is None or self.weighing.verdict.refusal is not None:
            return None
        return self.weighing.verdict

    @property
    def proof_of_today(self) -> Proof | None:
        """The proof, unless it is of before."""
        return self.proof if self.since_proof is None else None

    @property
    def currency(self) -> str:
        """That of the plan, else of the prices."""
        return self.known.prices.currency if self.plan is None else self.plan.currency

    @property
    def recordings(self) -> list[Fact[RecordingKept]]:
        """Those that the job holds, oldest first."""
        return sorted(self.state.recordings.values(), key=lambda one: (one.at, one.uid))


_PROOF: TypeAdapter[Proof] = TypeAdapter(Proof)


def proof_from(kept: Mapping[str, object]) -> Proof:
    """A proof from what a job keeps of it; keys that this program does not know are left alone.

    Raises UnusableRequest where it is none.
    """
    try:
        return _PROOF.validate_python(dict(kept))
    except ValidationError as fault:
        given = f"the kept proof: {in_words(fault)}"
        raise UnusableRequest(given, "a proof of airproof.proof/1", "Prove the job again.") from fault


def case_of(
    events: Sequence[Event],
    known: Knowledge,
    made_at: datetime,
    *,
    number: int | None = None,
    weighing: Weighing | None = None,
    plan: Plan | None = None,
    why_not: str = "",
    proof: Proof | None = None,
    drawings: Sequence[Drawing] = (),
    show_private: bool = True,
) -> Case:
    """The case of a job. VIN, plate and owner, wherever they stand, are left out unless `show_private`."""
    state, since = state_of(events), None
    if proof is None and state.proofs:
        proof, since = proof_from(state.proofs[-1].payload.proof), since_proof(state)
    left_out = written(state, known).left_out
    case = Case(state, known, made_at, number, weighing, plan, why_not, left_out, proof, since, tuple(drawings))
    if show_private:
        return case
    private = Private.of(events)
    labels: dict[str, str] = {}
    if weighing is not None:
        shown = replace(
            weighing,
            recording=private.recording(weighing.recording),
            baselines=tuple(map(private.recording, weighing.baselines)),
            sisters=tuple(map(private.recording, weighing.sisters)),
        )
        pairs = zip(
            (weighing.recording, *weighing.baselines, *weighing.sisters),
            (shown.recording, *shown.baselines, *shown.sisters),
            strict=True,
        )
        labels = {one.label: other.label for one, other in pairs if one.label != other.label}
        weighing = shown
    return replace(case, weighing=weighing, private=private, labels=labels)
