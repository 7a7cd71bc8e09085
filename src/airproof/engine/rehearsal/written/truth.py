"""The truth of a rehearsal as one JSON object, "airproof.truth/1": keys are added over time, never renamed."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from airproof import __version__
from airproof.engine.profile import EngineProfile
from airproof.engine.rehearsal.compare import Comparison
from airproof.engine.rehearsal.faults import UNSIZED, Fault
from airproof.engine.rehearsal.rehearse import Rehearsal
from airproof.errors import UnusableFile
from airproof.knowledge.load import knowledge
from airproof.knowledge.model import NONE

SCHEMA = "airproof.truth/1"
DRAWN = "# Drawn by a rehearsal: no car of any maker is meant."


def truth_path(recording: Path) -> Path:
    """Where the truth of a recording lies: FILE.truth.json beside FILE.csv or FILE.csv.gz."""
    name = recording.name.removesuffix(".gz")
    return recording.with_name(f"{name.rsplit('.', 1)[0] if '.' in name else name}.truth.json")


def truth_object(rehearsal: Rehearsal, recording: str, logger: str, dialect: str) -> dict[str, Any]:
    """What is really so in a rehearsed recording, and what the control unit stored."""
    request, codes = rehearsal.request, rehearsal.codes
    scene = request.scene
    return {
        "schema": SCHEMA,
        "invented": True,
        "version": __version__,
        "recording": recording,
        "causes": [_cause(fault) for fault in request.faults] or [{"id": NONE, "size": None, "unit": ""}],
        "codes": {
            "pending": sorted(codes.pending),
            "confirmed": sorted(codes.confirmed),
            "permanent": sorted(codes.permanent),
        },
        "lamp": codes.lamp,
        "freeze_frames": [{"code": code, **_rounded(frame)} for code, frame in sorted(codes.frames.items())],
        "readiness": codes.readiness(),
        "trips_since_erased": codes.trips,
        "warm_ups_since_erased": codes.warm_ups,
        "engine": request.profile.model_dump(exclude_none=True),
        "rehearsal": request.details.model_dump(exclude_none=True),
        "scene": {
            "altitude_m": scene.altitude_m,
            "barometer_kpa": round(scene.barometer_kpa, 3),
            "ambient_c": scene.ambient_c,
            "brisk": scene.brisk,
            "unrest": scene.unrest,
        },
        "drive": request.drive.name,
        "seed": request.seed,
        "logger": logger,
        "written": dialect,
        "strays": _rounded(rehearsal.strays),
    }


def comparison_object(comparison: Comparison) -> dict[str, Any]:
    """What moves between a healthy and a faulty rehearsal, and what stays."""
    moves = [
        {
            "regime": str(move.regime),
            "signal": move.signal,
            "kind": move.kind,
            "healthy": _plain(move.healthy),
            "faulty": _plain(move.faulty),
            "unit": move.unit,
            "clearness": _plain(move.clearness),
        }
        for move in comparison.moves
    ]
    still = [{"signal": one.signal, "most": _plain(one.most), "unit": one.unit} for one in comparison.still]
    return {"moves": moves, "still": still}


def _plain(value: float) -> float | None:
    return round(float(value), 3) if math.isfinite(value) else None


def write_truth(rehearsal: Rehearsal, recording: Path, logger: str, dialect: str) -> Path:
    """Write the truth beside its recording; returns where."""
    path = truth_path(recording)
    text = json.dumps(truth_object(rehearsal, recording.name, logger, dialect), indent=1, allow_nan=False)
    path.write_text(text + "\n", encoding="utf-8")
    return path


def refuse_others(recording: Path) -> None:
    """Refuse to write a rehearsal over a file that is none: beside each lies its truth, which names it.

    Raises UnusableFile.
    """
    truth = truth_path(recording)
    of = _recording_of(truth)
    for path, ours in ((recording, of == recording.name), (truth, of is not None)):
        if path.exists() and not ours:
            raise refused(path)


def refused(path: Path) -> UnusableFile:
    """What is said of a file that no rehearsal wrote, where one would be written."""
    return UnusableFile(
        "is there already, and no rehearsal wrote it",
        "a new file, or a rehearsal that may be made anew (its truth lies beside it)",
        "Name another one, or move it away. It is left as it is.",
        where=str(path),
    )


def _recording_of(truth: Path) -> str | None:
    """The name of the recording that a truth is of; None where it is no truth of ours."""
    try:
        said = json.loads(truth.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return None
    return str(said.get("recording", "")) if isinstance(said, dict) and said.get("schema") == SCHEMA else None


def engine_file_text(profile: EngineProfile, details: Mapping[str, Any]) -> str:
    """An engine file (TOML) of a drawn engine."""
    lines = [DRAWN, "[engine]"]
    lines += [f"{key} = {_toml(value)}" for key, value in profile.model_dump(exclude_none=True).items() if value != ""]
    lines += ["", "[rehearsal]", *(f"{key} = {_toml(value)}" for key, value in details.items())]
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    return json.dumps(value)  # numbers, true, false and quoted text are written alike in both


def _cause(fault: Fault) -> dict[str, Any]:
    entry = knowledge().causes[fault.cause]
    unit = UNSIZED[fault.cause][0] if fault.cause in UNSIZED else entry.unit
    course = {name: value for name in ("from_s", "over_s", "on_s", "off_s") if (value := getattr(fault, name)) > 0.0}
    return {"id": fault.cause, "size": fault.size, "unit": unit, **course}


def _rounded(values: Mapping[str, float]) -> dict[str, float]:
    return {name: round(value, 3) for name, value in values.items()}
