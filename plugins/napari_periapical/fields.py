"""The facts a person can state about a canal: their labels and what may be chosen; no Qt."""

from __future__ import annotations

from radio.record.cells import FILE_SIZES

# fact, label, hint in the empty field
LINES = (
    ("canal", "Canal name", "1"),
    ("tooth", "Tooth (ISO 3950)", "for example 36"),
    ("file_length_mm", "File length, mm", "as set or measured"),
    ("ball_diameter_mm", "Ball diameter, mm", "if one is shown"),
    ("mm_per_px", "Pixel size, mm", "if known"),
    ("electronic_mm", "Electronic, mm", "file length at reading"),
)
# fact, label, (text shown, value as text)
CHOICES: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...] = (
    ("file_start_at", "File length from", (("stop", "stop"), ("handle", "handle"))),
    ("file_size", "File size (ISO)", (("not stated", ""), *((f"{s:02d}", str(s)) for s in FILE_SIZES))),
    (
        "scale_from",
        "Scale from",
        (
            ("the best found", ""),
            ("file", "file"),
            ("ball", "ball"),
            ("image header", "dicom"),
            ("given pixel size", "given"),
            ("none: angles only", "none"),
        ),
    ),
    (
        "electronic_mark",
        "Electronic mark",
        (("not stated", ""), ("zero mark", "zero"), ("half mark", "half")),
    ),
)
ORDER = (
    "canal",
    "tooth",
    "file_length_mm",
    "file_start_at",
    "file_size",
    "scale_from",
    "ball_diameter_mm",
    "mm_per_px",
    "electronic_mm",
    "electronic_mark",
)
LABELS = {name: label for name, label, _ in (*LINES, *CHOICES)}
