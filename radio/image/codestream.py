"""What a compressed pixel stream says about itself, read before a decoder is let loose on it.

The decoder for lossless JPEG trusts its input and ends the whole process on a damaged header; the others
would ask for memory on the word of one. So sizes are compared first, and lossless JPEG is checked in full.
Layouts: ITU-T T.81 annexes B, C and H (JPEG), T.87 annex C (JPEG-LS), T.800 annex A (JPEG 2000).
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator

_START_OF_FRAME = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC} | {0xF7}
_LOSSLESS_FRAME = 0xC3
_HUFFMAN_TABLES = 0xC4
_START_OF_SCAN = 0xDA
_RESTART_INTERVAL = 0xDD
_COMMENTS = frozenset(range(0xE0, 0xF0)) | {0xFE}
# in a scan 0xFF is followed by a stuffed 0 or a restart marker; anything else ends the scan
_END_OF_SCAN = re.compile(rb"\xff+[^\x00\xd0-\xd7\xff]")


def stream_size(stream: bytes) -> tuple[int, int] | None:
    """Rows and columns declared by a JPEG, JPEG-LS or JPEG 2000 stream.

    Parameters
    ----------
    stream : bytes
        One encoded frame.

    Returns
    -------
    tuple of int or None
        (rows, columns), or None if the stream has no such header where it must be.
    """
    if stream[:2] == b"\xff\xd8":
        for marker, body, _ in _segments(stream):
            if marker in _START_OF_FRAME and len(body) >= 5:
                rows, columns = struct.unpack(">HH", body[1:5])
                return rows, columns
        return None
    start = 0 if stream[:4] == b"\xff\x4f\xff\x51" else stream.find(b"\xff\x4f\xff\x51", 0, 4096)
    if start < 0 or len(stream) < start + 24:
        return None
    right, bottom, left, top = struct.unpack(">IIII", stream[start + 8 : start + 24])
    return bottom - top, right - left


def lossless_jpeg_fault(stream: bytes, bits_allocated: int) -> str:
    """Look for what would lead a decoder of lossless JPEG astray.

    Parameters
    ----------
    stream : bytes
        One encoded frame of JPEG process 14 (Huffman coding, one component).
    bits_allocated : int
        Room the DICOM header gives to a sample.

    Returns
    -------
    str
        The fault, empty if there is none.
    """
    precision = 0
    tables: set[int] = set()
    for marker, body, end in _segments(stream):
        if marker == _LOSSLESS_FRAME:
            if precision or len(body) != 9 or body[5] != 1 or body[7] != 0x11:
                return "its frame header is not that of one grey component"
            precision = body[0]
            if not 2 <= precision <= bits_allocated:
                return f"its samples of {precision} bits do not fit into {bits_allocated}"
        elif marker == _HUFFMAN_TABLES:
            numbers = _huffman_numbers(body)
            if numbers is None:
                return "a Huffman table is damaged"
            tables |= numbers
        elif marker == _START_OF_SCAN:
            return _scan_fault(stream, body, end, precision, tables)
        elif marker not in _COMMENTS and marker != _RESTART_INTERVAL:
            return f"marker {marker:02X} has no place in it"
    return "it is cut off in its header"


def _segments(stream: bytes) -> Iterator[tuple[int, bytes, int]]:
    """Yield (marker, body, end) of the segments up to the first scan; stop early where they break off."""
    at = 2
    while at + 4 <= len(stream) and stream[at] == 0xFF:
        marker = stream[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        length = struct.unpack(">H", stream[at + 2 : at + 4])[0]
        end = at + 2 + length
        if length < 2 or end > len(stream):
            return
        yield marker, stream[at + 4 : end], end
        if marker == _START_OF_SCAN:
            return
        at = end


def _huffman_numbers(body: bytes) -> set[int] | None:
    """Numbers of the tables in one segment; None if a table breaks the rules of T.81 B.2.4.2 and C.2."""
    numbers = set()
    at = 0
    while at + 17 <= len(body):
        counts = body[at + 1 : at + 17]
        symbols = body[at + 17 : at + 17 + sum(counts)]
        room = 1 - sum(count * 2.0**-length for length, count in enumerate(counts, 1))
        # symbols are magnitude categories of a difference, 0 to 16 (T.81 H.1.2.2)
        if body[at] > 3 or len(symbols) != sum(counts) or not symbols or room < 0 or max(symbols) > 16:
            return None
        numbers.add(body[at])
        at += 17 + len(symbols)
    return numbers if at == len(body) else None


def _scan_fault(stream: bytes, header: bytes, start: int, precision: int, tables: set[int]) -> str:
    """Fault of the one scan: its header, its tables, its end."""
    if not precision:
        return "its frame header is missing"
    if len(header) != 6 or header[0] != 1:
        return "its scan header is not that of one component"
    if header[2] >> 4 not in tables:
        return "a Huffman table is missing"
    if not 1 <= header[3] <= 7 or header[4] != 0 or header[5] >= precision:
        return "its scan header names no predictor"
    end = _END_OF_SCAN.search(stream, start)
    if end is None or end.group()[-1] != 0xD9:
        return "it is cut off"
    return ""
