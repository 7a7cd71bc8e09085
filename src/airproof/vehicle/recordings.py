"""One door for recordings of every kind: the formats of the recording floor, and logs of a bus."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from airproof.diagnosis.facts import Facts
from airproof.errors import UnusableFile
from airproof.knowledge.model import Knowledge
from airproof.recording.recording import Recording
from airproof.recording.table import Progress
from airproof.vehicle.bus_log.formats import MDF, format_of, is_bus_log

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap
    from airproof.vehicle.bus_log.reading import BusLog
    from airproof.vehicle.readout.readout import Readout


def read_recording(
    path: Path | str,
    *,
    signals: SignalMap | Path | str | None = None,
    barometer_kpa: float | None = None,
    progress: Progress | None = None,
) -> Recording:
    """The recording in a file, as airproof.recording.readers.read_recording, or in a log of a bus.

    A log needs neither map nor barometer: its items are known by their numbers. Raises UnusableFile and MissingExtra as
    either reader does, and where a log holds no live data.
    """
    log = _read_if_bus_log(path, progress)
    if log is not None:
        return _live_data_of(log, path)
    from airproof.recording.readers import read_recording as read_file

    return read_file(path, signals=signals, barometer_kpa=barometer_kpa, progress=progress)


def read_with_facts(
    path: Path | str,
    known: Knowledge,
    *,
    signals: SignalMap | Path | str | None = None,
    barometer_kpa: float | None = None,
    progress: Progress | None = None,
    after: bool = False,
) -> tuple[Recording | None, Facts]:
    """The recording in a file, and the codes, freeze frames and readiness that a log of a bus holds besides.

    The recording is None for a log that holds those, but no live data. `after`: where codes were cleared within the
    log, what was told afterwards. Raises as read_recording does.
    """
    log = _read_if_bus_log(path, progress)
    if log is None:
        from airproof.recording.readers import read_recording as read_file

        return read_file(path, signals=signals, barometer_kpa=barometer_kpa, progress=progress), Facts()
    facts = log.facts(known, latest=after)
    if facts.anything and not _holds_live_data(log):
        return None, facts
    return _live_data_of(log, path), facts


def read_with_readout(
    path: Path | str,
    *,
    signals: SignalMap | Path | str | None = None,
    barometer_kpa: float | None = None,
    progress: Progress | None = None,
    after: bool = False,
) -> tuple[Recording | None, Readout | None]:
    """The recording in a file, and all that the units of a car are heard to tell besides; None where it is no log.

    The recording is None for a log that holds no live data but something told. `after`: where codes were cleared within
    the log, what was told afterwards. Raises as read_recording does.
    """
    log = _read_if_bus_log(path, progress)
    if log is None:
        from airproof.recording.readers import read_recording as read_file

        return read_file(path, signals=signals, barometer_kpa=barometer_kpa, progress=progress), None
    from airproof.vehicle.readout.from_log import readout_in

    readout = readout_in(log, Path(path), latest=after)
    if readout.tells_anything and not _holds_live_data(log):
        return None, readout
    return _live_data_of(log, path), readout


def _read_if_bus_log(path: Path | str, progress: Progress | None) -> BusLog | None:
    """What is in a log of a bus; None where the file is none."""
    if not is_bus_log(Path(path)):
        return None
    from airproof.vehicle.bus_log.reading import read_bus_log  # what reads logs is heavy

    try:
        return read_bus_log(path, progress)
    except UnusableFile:
        if format_of(Path(path)) is MDF:  # beside its frames it may hold channels, which are for the other reader
            return None
        raise


def _holds_live_data(log: BusLog) -> bool:
    """Whether there is more than lamp and number of codes, which come with readiness."""
    from airproof.vehicle.bus_log.heard import NOT_IN_A_FRAME

    return not log.recording.signals.keys() <= set(NOT_IN_A_FRAME)


def _live_data_of(log: BusLog, path: Path | str) -> Recording:
    if not _holds_live_data(log):
        raise UnusableFile(
            "the log holds answers, but no live data that Airproof knows",
            "at least one signal, such as engine speed or manifold pressure",
            "Log the bus while a tester asks for live data.",
            where=Path(path).name,
        )
    return log.recording


def differences(told: Facts, heard: Sequence[Facts]) -> tuple[str, ...]:
    """In words where logs were heard to say something else than what was told by hand, which counts."""
    codes = {code.id: code.status for code in told.codes}
    frames = {frame.code: frame.values for frame in told.frames}
    said: list[str] = []
    for one in heard:
        said += [
            f"{code.id} is {codes[code.id]} as told, {code.status} in the log: what was told counts"
            for code in one.codes
            if codes.get(code.id, code.status) != code.status
        ]
        said += [
            f"the freeze frame of {frame.code} is another in the log: what was told counts"
            for frame in one.frames
            if frames.get(frame.code, frame.values) != frame.values
        ]
        if told.readiness is not None and one.readiness not in (None, told.readiness):
            said.append("readiness is another in the log: what was told counts")
    return tuple(dict.fromkeys(said))


def with_heard(told: Facts, heard: Sequence[Facts]) -> Facts:
    """What was told by hand together with what logs were heard to say: on the same thing what was told counts."""
    if not any(one != Facts() for one in heard):
        return told
    every = [*heard, told]
    readiness = next((one.readiness for one in reversed(every) if one.readiness is not None), None)
    return replace(
        told,
        codes=tuple({code.id: code for facts in every for code in facts.codes}.values()),
        frames=tuple({frame.code: frame for facts in every for frame in facts.frames}.values()),
        readiness=readiness,
    )
