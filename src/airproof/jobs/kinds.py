"""The kinds of facts a job is made of, and what each must hold.

Shapes only: whether a code or a look is known to us is asked when it is weighed, so that an unknown one can be kept. A
kind's version goes up when its shape changes, and `OLDER` then holds how the older shape becomes the newer.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    JsonValue,
    StrictBool,
    StringConstraints,
    ValidationError,
    field_validator,
)

from airproof.engine.profile import EngineProfile
from airproof.errors import UnusableRequest
from airproof.recording.mapping import SignalMap
from airproof.toml_files import in_words

Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=300)]
Text = Annotated[str, StringConstraints(strip_whitespace=True, max_length=20_000)]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=100)]
Hash = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
Amount = Annotated[float, Field(ge=0.0, le=1e6, allow_inf_nan=False)]
NotedKind = Literal["symptom", "look", "history", "condition"]
Role = Literal["car", "good", "sister", "after"]
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$")]


class Payload(BaseModel):
    """What one event holds."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Car(Payload):
    """Which car; what is None was not said. `vin_source`: where its number was heard, None for one told by hand."""

    make: Line | None = None
    model: Line | None = None
    year: Annotated[int, Field(ge=1885, le=2200)] | None = None
    vin: Line | None = None
    vin_source: Line | None = None
    plate: Line | None = None
    owner: Line | None = None
    odometer_km: Annotated[float, Field(ge=0.0, le=1e7, allow_inf_nan=False)] | None = None
    note: Text | None = None


class Engine(Payload):
    """Which engine; `rehearsal` is kept for who simulates it."""

    engine: EngineProfile
    rehearsal: dict[str, JsonValue] = {}


class Complaint(Payload):
    """What the owner says, in the owner's words."""

    text: Text


class Place(Payload):
    """Where and on what day, as typed with the unit ("350m", "98.2kPa absolute"); what is None was not said."""

    altitude: Line | None = None
    barometer: Line | None = None
    ambient: Line | None = None


class Code(Payload):
    """A code of the control unit; `order` is 1 for the one that came first.

    `source`: where and when it was heard, None for one told by hand.
    """

    id: Annotated[str, StringConstraints(pattern="^[PCBU][0-3][0-9A-F]{3}$")]
    status: Name = "stored"
    order: Annotated[int, Field(ge=1, le=99)] | None = None
    source: Line | None = None
    note: Text = ""


class Frame(Payload):
    """A freeze frame; `values` as typed, by signal, with their units; `source` as of a code."""

    code: Name
    name: Name | None = None
    values: dict[Name, Line | float]
    source: Line | None = None
    note: Text = ""


class Readiness(Payload):
    """Monitors by name: "complete", "incomplete", "not supported". `codes_read`: no codes but those given are there.

    `source` as of a code.
    """

    codes_read: StrictBool = False
    monitors: dict[Name, Line] = {}
    source: Line | None = None


class Noted(Payload):
    """Something noticed, or looked for and not there; the event's kind says of which sort."""

    id: Name
    found: StrictBool = True
    note: Text = ""


class Reading(Payload):
    """A pressure read with the engine off, absolute, as typed with its unit; `name` is its own, to correct it by."""

    name: Name | None = None
    signal: Literal["manifold_pressure", "charge_pressure", "barometric_pressure"]
    value: Line
    note: Text = ""


class Measured(Payload):
    """Measurements with a meter, as the tables of a reading file (docs/meter.md)."""

    tables: dict[Literal["meter", "sensor", "day", "measured"], JsonValue]
    note: Text = ""

    @field_validator("tables")
    @classmethod
    def _are_tables(cls, tables: dict[str, JsonValue]) -> dict[str, JsonValue]:
        for name, table in tables.items():
            rows = table if name == "measured" else [table]
            if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
                raise ValueError(f"{name} is no {'list of tables' if name == 'measured' else 'table'}")
            if name == "measured" and not all(
                isinstance(row, dict) and isinstance(row.get("what"), str) for row in rows
            ):
                raise ValueError("a row does not say what was measured")
        return tables


class Recording(Payload):
    """A recording by the SHA-256 of the file given; `name` is what it was called, for people only."""

    sha256: Hash
    bytes: Annotated[int, Field(ge=1, le=2**53)]
    name: Line
    role: Role = "car"
    signals: SignalMap | None = None
    seconds: Annotated[float, Field(ge=0.0, allow_inf_nan=False)] | None = None
    holds: list[Line] = []
    note: Text = ""


class Step(Payload):
    """A step: what came of it, and what it took; `name` is its own, to correct it by.

    "done": a repair after which the trouble is still there, or the step that ends a job here. A repair that helped, or
    of which nobody knows yet, is a `Repair`.
    """

    name: Name | None = None
    id: Name
    outcome: Literal["found", "not found", "done", "could not"]
    minutes: Amount | None = None
    money: Amount | None = None
    note: Text = ""


class Verdict(Payload):
    """A verdict as it was weighed, with what it was weighed from."""

    verdict: dict[str, JsonValue]
    program: Name
    facts_sha256: Hash
    recordings: list[Hash] = []


class Note(Payload):
    """Anything else worth keeping."""

    text: Text


class Repair(Payload):
    """A repair: the steps that were to mend, the cause they were to mend, the day if not that on which it was said.

    `gone`: whether the trouble is said to be gone; None where nobody has said. That it helped is for a proof to say.
    """

    steps: list[Name] = []
    cause: Line | None = None
    gone: StrictBool | None = None
    day: Day | None = None
    minutes: Amount | None = None
    money: Amount | None = None
    note: Text = ""


class Cleared(Payload):
    """Codes were cleared, after everything readable had been saved."""

    day: Day | None = None
    note: Text = ""


class Checked(Payload):
    """The car read again after the repair: all codes it holds (where `codes_read`), monitors, warm-ups and kilometres
    since its codes were cleared; place and air of the recording after; whether the trouble is said to be back.

    `cleared` is False where somebody says that codes were not cleared, None where nobody knows; that they were is a
    fact of its own.
    """

    codes: dict[Annotated[str, StringConstraints(pattern="^[PCBU][0-3][0-9A-F]{3}$")], Name] = {}
    codes_read: StrictBool = False
    cleared: StrictBool | None = None
    monitors: dict[Name, StrictBool] = {}
    warm_ups: Annotated[int, Field(ge=0, le=65535)] | None = None
    distance_km: Annotated[float, Field(ge=0.0, le=1e7, allow_inf_nan=False)] | None = None
    days: Annotated[float, Field(ge=0.0, le=36500.0, allow_inf_nan=False)] | None = None
    returned: StrictBool = False
    altitude: Line | None = None
    barometer: Line | None = None
    ambient: Line | None = None
    note: Text = ""


class Proved(Payload):
    """A proof as it was judged, with what it was judged from."""

    proof: dict[str, JsonValue]
    program: Name
    facts_sha256: Hash
    recordings: list[Hash] = []


class Reopened(Payload):
    """The job is open again; all that was said of it stands."""

    why: Text = ""


class Closed(Payload):
    """The end of the job: the cause (an id of ours or any words), and whether the repair was proved."""

    cause: Line
    standing: Literal["proved", "believed"]
    note: Text = ""


class Rehearsed(Payload):
    """The job is a rehearsal: its truth, which nobody weighs and a page shows only when asked."""

    truth: dict[str, JsonValue]


class Withdrawal(Payload):
    """Taking an earlier event back."""

    why: Text = ""


class Unreadable(Payload):
    """In the place of an event that the store no longer gives: why not, and its row as it stands, {} where it is lost.

    Nobody says it; it goes along when a job is exported, so that nothing is lost that somebody may still make out.
    """

    trouble: Text
    row: dict[str, JsonValue] = {}


WITHDRAWAL, UNREADABLE = "withdrawal", "unreadable"
NOTED_KINDS: tuple[NotedKind, ...] = ("symptom", "look", "history", "condition")
MODELS: Mapping[str, type[Payload]] = {
    "car": Car,
    "engine": Engine,
    "complaint": Complaint,
    "place": Place,
    "code": Code,
    "freeze_frame": Frame,
    "readiness": Readiness,
    **dict.fromkeys(NOTED_KINDS, Noted),
    "reading": Reading,
    "measured": Measured,
    "recording": Recording,
    "step": Step,
    "verdict": Verdict,
    "note": Note,
    "repair": Repair,
    "cleared": Cleared,
    "checked": Checked,
    "proof": Proved,
    "reopened": Reopened,
    "closed": Closed,
    "rehearsed": Rehearsed,
    WITHDRAWAL: Withdrawal,
    UNREADABLE: Unreadable,
}
VERSIONS: Mapping[str, int] = dict.fromkeys(MODELS, 1) | {
    "recording": 2,  # knows recordings after a repair
    **dict.fromkeys(("car", "code", "freeze_frame", "readiness"), 2),  # say where they were heard
    "repair": 2,  # says whether the trouble is gone
    "checked": 2,  # tells codes that were not cleared from those of which nobody knows
}
Upgrade: TypeAlias = Callable[[dict[str, Any]], dict[str, Any]]
OLDER: Mapping[tuple[str, int], Upgrade] = dict.fromkeys(
    ((kind, 1) for kind in ("recording", "car", "code", "freeze_frame", "readiness", "repair", "checked")), dict
)
"""How the payload of a kind at one version becomes that of the next."""


def payload_of(kind: str, data: Mapping[str, Any], version: int | None = None, where: str = "") -> Payload:
    """The payload of an event, brought up to today's shape.

    Raises UnusableRequest for a kind or version that this program does not know, and for what cannot be.
    """
    model = MODELS.get(kind)
    if model is None:
        raise UnusableRequest(
            f"a fact of the kind {kind!r}", f"one of {', '.join(MODELS)}", "A newer Airproof may know it.", where=where
        )
    today = VERSIONS[kind]
    said = today if version is None else version
    if not 1 <= said <= today:
        raise UnusableRequest(
            f"{kind}, form {said}",
            f"form 1 to {today}",
            "It was written by a newer Airproof: use that one.",
            where=where,
        )
    shape = dict(data)
    for step in range(said, today):
        shape = OLDER[kind, step](shape)
    try:
        return model.model_validate(shape)
    except ValidationError as fault:
        given = f"{kind}: {in_words(fault)}"
        raise UnusableRequest(given, "what such a fact holds", "Correct it.", where=where) from fault


def as_data(payload: Payload) -> dict[str, Any]:
    """The payload as JSON has it; what was never said is left out."""
    return payload.model_dump(mode="json", exclude_unset=True)
