"""The bytes of a plain or gzipped text file as blocks of whole lines in UTF-8, so that memory stays bounded."""

from __future__ import annotations

import codecs
import zlib
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from io import BufferedReader

import numpy as np

BLOCK_BYTES = 8 << 20
INNER_DELIMITER = "\x1a"
FIRST_BYTES = (1 << 16) + 1
GZIP_MAGIC = b"\x1f\x8b"


class ByteSource:
    """Bytes of a plain or gzipped file in blocks; `done` counts those of the file taken so far.

    `packed` are the last bytes taken of a gzipped file, as they stand there. A broken gzip stream ends early, and
    `broken` says how.
    """

    def __init__(self, file: BufferedReader) -> None:
        self.broken = ""
        self.packed = b""
        self.done = 0
        self._file = file
        self.gzipped = file.read(2) == GZIP_MAGIC
        file.seek(0)

    def blocks(self) -> Iterator[bytes]:
        """The content, about BLOCK_BYTES at a time."""
        return self._unzipped() if self.gzipped else self._raw(BLOCK_BYTES)

    def _raw(self, size: int) -> Iterator[bytes]:
        while raw := self._file.read(size):
            self.done += len(raw)
            yield raw

    def _unzipped(self) -> Iterator[bytes]:
        """All members of a gzip file, one after the other."""
        unzip = zlib.decompressobj(wbits=31)
        most = FIRST_BYTES  # a first look needs no more
        for packed in self._raw(max(BLOCK_BYTES // 8, 1)):
            raw = self.packed = packed
            while raw:
                try:
                    out = unzip.decompress(raw, most)
                except zlib.error:
                    self.broken = "the gzip stream is damaged"
                    return
                if out:
                    yield out
                    most = BLOCK_BYTES
                raw = unzip.unconsumed_tail
                if unzip.eof:
                    raw = unzip.unused_data
                    if not raw.startswith(GZIP_MAGIC):
                        return
                    unzip = zlib.decompressobj(wbits=31)
        if not unzip.eof:
            self.broken = "the gzip stream breaks off"


def ahead(blocks: Iterator[bytes]) -> Iterator[bytes]:
    """The same blocks, the next one made ready in a second thread while the last one is used."""
    with ThreadPoolExecutor(1) as pool:
        coming = pool.submit(next, blocks, None)
        while (block := coming.result()) is not None:
            coming = pool.submit(next, blocks, None)
            yield block


def whole_lines(blocks: Iterator[bytes], encoding: str, skip: int, head: bytes) -> Iterator[bytes]:
    """Blocks of whole lines in UTF-8, each with the line `head` put before it, without the first `skip` lines.

    Lines end in a line feed, with or without a carriage return. Bytes that are no text in that encoding become a
    replacement sign.
    """
    decoder = None
    if encoding not in ("utf-8", "utf-8-sig", "cp1252"):
        decoder = codecs.getincrementaldecoder(encoding)("replace")
    foreign = "cp1252" if encoding == "cp1252" else "utf-8"
    rest = b""
    following = next(blocks, None)
    while following is not None:
        raw, following = following, next(blocks, None)
        block = decoder.decode(raw).encode("utf-8") if decoder is not None else raw
        if b"\n" not in block:
            block = block.replace(b"\r", b"\n")
        if following is None and not block.endswith(b"\n"):
            block += b"\n"  # the last line may lack its end
        end = block.rfind(b"\n") + 1
        start = 0
        if skip and end:
            block, rest = rest + block, b""
            end = block.rfind(b"\n") + 1
            while skip and start < end:
                start = block.find(b"\n", start) + 1
                skip -= 1
        if end > start:
            yield _in_utf8(b"".join((head, rest, memoryview(block)[start:end])), foreign)
            rest = block[end:]
        else:
            rest += block[max(start, end) :] if end else block


def _in_utf8(lines: bytes, encoding: str) -> bytes:
    return lines if lines.isascii() else lines.decode(encoding, "replace").encode("utf-8")


def without_quotes(lines: bytes, delimiter: str) -> bytes:
    """Lines without their quotes; a delimiter between two of them becomes INNER_DELIMITER.

    Quotes pair within one line: one that never closes spoils its own line only.
    """
    signs = np.frombuffer(lines, dtype=np.uint8)
    quotes = signs == ord('"')
    if not quotes.any():
        return lines
    count = np.cumsum(quotes, dtype=np.int32)
    before_line = np.maximum.accumulate(np.where(signs == ord("\n"), count, 0))
    inside = (count - before_line) % 2 == 1
    kept = np.where(inside & (signs == ord(delimiter)), np.uint8(ord(INNER_DELIMITER)), signs)
    out: bytes = kept[~quotes].tobytes()
    return out
