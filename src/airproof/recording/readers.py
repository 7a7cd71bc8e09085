"""One door for all file formats: which reader a file needs is decided by its first bytes."""

from __future__ import annotations

import stat
from pathlib import Path
from typing import TYPE_CHECKING

from airproof.errors import UnusableFile
from airproof.recording.assemble import assemble
from airproof.recording.recording import Recording
from airproof.recording.table import Progress, Table

if TYPE_CHECKING:
    from airproof.recording.mapping import SignalMap

_PARQUET = b"PAR1"
_MDF = (b"MDF     ", b"UnFinMF ")
_FOREIGN = (
    (b"PK\x03\x04", "a zip archive or a spreadsheet", "Unpack it, or save the sheet as CSV."),
    (b"%PDF", "a PDF", "Give the recording itself."),
    (b"\x89PNG", "a picture", "Give the recording itself."),
    (b"\xff\xd8\xff", "a picture", "Give the recording itself."),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet", "Save the sheet as CSV."),
    (b"BZh", "compressed with bzip2", "Unpack it."),
    (b"\xfd7zXZ", "compressed with xz", "Unpack it."),
    (b"7z\xbc\xaf", "a 7z archive", "Unpack it."),
    (b"\x28\xb5\x2f\xfd", "compressed with zstd", "Unpack it."),
)
_WANTED = "a recording as CSV (plain or gzipped), Parquet or ASAM MDF 4"


def read_recording(
    path: Path | str,
    *,
    signals: SignalMap | Path | str | None = None,
    barometer_kpa: float | None = None,
    progress: Progress | None = None,
) -> Recording:
    """The recording in a file, with a report of what was understood, guessed and left out.

    `signals` is a map of headings (or the path of a MAP.toml); `barometer_kpa` (absolute) turns gauge pressures into
    absolute ones where the file has no barometer; `progress` is told the share read, 0 to 1. Pressures of the
    recording are kPa absolute, temperatures degC, time seconds. Raises UnusableFile, in one line, where nothing can be
    saved, and MissingExtra for an MDF file without the `mdf` extra.
    """
    path = Path(path)
    mapping = signals
    if isinstance(mapping, (str, Path)):
        from airproof.recording.mapping import read_signal_map

        mapping = read_signal_map(mapping)
    elif mapping is not None:
        mapping.check()
    try:
        table = _table(path, mapping, progress)
    except FileNotFoundError as error:
        raise UnusableFile("there is no such file", _WANTED, "Check the path.", where=str(path)) from error
    except OSError as error:
        raise UnusableFile(
            f"it cannot be read ({error.strerror or error})",
            _WANTED,
            "Check the path and who may read it.",
            where=str(path),
        ) from error
    return assemble(table, path.name, barometer_kpa)


def _table(path: Path, mapping: SignalMap | None, progress: Progress | None) -> Table:
    """The table in a file, by the reader its first bytes call for."""
    if path.is_dir():
        raise UnusableFile("this is a folder", _WANTED, "Give the files in it one by one.", where=str(path))
    if not path.is_file() and stat.S_ISFIFO(path.stat().st_mode):
        raise UnusableFile("this is a pipe, no file", _WANTED, "Save it to a file first.", where=str(path))
    with path.open("rb") as file:
        head = file.read(8)
    if not head:
        raise UnusableFile("the file is empty", _WANTED, "Copy it again from where it was made.", where=path.name)
    if head.startswith(_PARQUET):
        from airproof.recording.parquet_reader import read_parquet

        return read_parquet(path, mapping)
    if head in _MDF:
        from airproof.recording.mdf_reader import read_mdf

        return read_mdf(path, mapping, progress)
    for magic, what, way_out in _FOREIGN:
        if head.startswith(magic):
            raise UnusableFile(f"this is {what}", _WANTED, way_out, where=path.name)
    from airproof.recording.csv_reader import read_csv

    return read_csv(path, mapping, progress)
