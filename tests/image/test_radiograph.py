"""PNG, TIFF and JPEG reading, the common contract, refusals, damage and speed."""

from __future__ import annotations

import hashlib
import io
import subprocess
import sys
import textwrap
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from PIL import Image, ImageOps
from PIL.PngImagePlugin import PngInfo

from radio.errors import ImageError
from radio.image.radiograph import Radiograph, read_radiograph

SHAPE = (70, 96)


def picture(dtype: type = np.uint8) -> np.ndarray:
    rng = np.random.default_rng(2)
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    grey = 0.1 + 0.5 * row / SHAPE[0] + 0.3 * col / SHAPE[1] + rng.normal(0, 0.01, SHAPE)
    return np.rint(grey * np.iinfo(dtype).max).astype(dtype)


def encoded(pixels: np.ndarray, kind: str, **options: Any) -> bytes:
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, kind, **options)
    return buffer.getvalue()


def tiff(pixels: np.ndarray, **options: Any) -> bytes:
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, **options)
    return buffer.getvalue()


@pytest.fixture
def read(tmp_path: Path):  # type: ignore[no-untyped-def]
    def reader(data: bytes, name: str = "image") -> Radiograph:
        path = tmp_path / name
        path.write_bytes(data)
        return read_radiograph(path)

    return reader


def scaled(value: np.ndarray) -> np.ndarray:
    value = value.astype(float)
    return (value - value.min()) / np.ptp(value)


# ---------------------------------------------------------------- contract


def test_the_contract(read, tmp_path: Path) -> None:
    data = encoded(picture(np.uint16), "PNG")
    image = read(data, "tooth 11.bin")  # content decides, not the name
    assert image.grey.dtype == np.float32
    assert (image.grey.min(), image.grey.max()) == (0, 1)
    assert image.film.dtype == bool
    assert image.grey.shape == image.film.shape == image.stored.shape == SHAPE
    assert image.bits_stored == 16
    assert image.file_format == "PNG"
    assert image.path == tmp_path / "tooth 11.bin"
    assert image.sha256 == hashlib.sha256(data).hexdigest()
    assert image.history
    for array in (image.grey, image.film, image.stored):
        with pytest.raises(ValueError, match="read-only"):
            array[0, 0] = 0


def test_a_path_may_be_a_string(tmp_path: Path) -> None:
    path = tmp_path / "image.png"
    path.write_bytes(encoded(picture(), "PNG"))
    assert read_radiograph(str(path)).path == path


# ---------------------------------------------------------------- what is read


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize(
    "encode",
    [
        lambda p: encoded(p, "PNG"),
        lambda p: tiff(p),
        lambda p: tiff(p, compression="zlib", predictor=True),
        lambda p: tiff(p, byteorder=">"),
        lambda p: tiff(p, tile=(32, 32)),
        lambda p: tiff(p, bigtiff=True),
        lambda p: encoded(p, "TIFF", compression="tiff_lzw"),
    ],
    ids=["png", "tiff", "tiff-zlib", "tiff-big-endian", "tiff-tiled", "tiff-64", "tiff-lzw"],
)
def test_grey_images_come_through_unchanged(read, dtype: type, encode) -> None:
    value = picture(dtype)
    image = read(encode(value))
    np.testing.assert_array_equal(image.stored, value)
    assert image.bits_stored == 8 * value.dtype.itemsize
    np.testing.assert_allclose(image.grey, scaled(value), atol=1e-6)
    assert image.film.all()


@pytest.mark.parametrize("dtype", [np.float32, np.float64, np.float16])
def test_floating_point_tiff(read, dtype: type) -> None:
    value = (picture(np.uint16) / 100 - 200).astype(dtype)
    value[:, :10] = np.nan
    image = read(tiff(value))
    assert image.stored.dtype == dtype
    assert not image.film[:, :10].any()
    np.testing.assert_allclose(image.grey[:, 10:], scaled(value[:, 10:]), atol=1e-5)


def test_signed_tiff(read) -> None:
    value = (picture(np.uint16).astype(np.int32) - 30_000).astype(np.int16)
    image = read(tiff(value))
    np.testing.assert_array_equal(image.stored, value)
    np.testing.assert_allclose(image.grey, scaled(value), atol=1e-6)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32])
def test_tiff_with_white_lowest_is_turned_round(read, dtype: type) -> None:
    # TIFF 6.0, PhotometricInterpretation 0: 0 is imaged as white
    value = picture(np.uint16).astype(dtype) if dtype is np.float32 else picture(dtype)
    image = read(tiff(value, photometric="miniswhite"))
    np.testing.assert_array_equal(image.stored, value)
    np.testing.assert_allclose(image.grey, 1 - scaled(value), atol=1e-6)
    assert any("turned round" in line for line in image.history)


def test_white_lowest_with_lzw_is_turned_round_once(read) -> None:
    shown = picture()
    data = encoded(shown, "TIFF", compression="tiff_lzw", tiffinfo={262: 0})  # Pillow stores 255 - shown
    image = read(data)
    np.testing.assert_array_equal(image.stored, 255 - shown)
    np.testing.assert_allclose(image.grey, scaled(shown), atol=1e-6)


def test_jpeg(read) -> None:
    image = read(encoded(picture(), "JPEG", quality=95))
    assert image.file_format == "JPEG"
    assert np.abs(image.stored.astype(int) - picture()).max() < 12


@pytest.mark.parametrize("orientation", range(1, 9))
def test_exif_orientation_is_honoured_and_recorded(read, orientation: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = orientation
    data = encoded(picture(), "JPEG", quality=95, exif=exif)
    upright = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))))  # an independent reading
    image = read(data)
    np.testing.assert_array_equal(image.stored, upright)
    assert any(f"EXIF orientation {orientation}" in line for line in image.history) == (orientation > 1)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_grey_in_colour_channels(read, dtype: type) -> None:
    import cv2

    value = picture(dtype)
    ok, data = cv2.imencode(".png", np.dstack([value] * 3))
    assert ok
    image = read(data.tobytes())
    np.testing.assert_array_equal(image.stored, value)
    assert image.bits_stored == 8 * value.dtype.itemsize
    np.testing.assert_array_equal(read(tiff(np.dstack([value] * 3), photometric="rgb")).stored, value)


def test_grey_jpeg_stored_as_colour_is_accepted(read) -> None:
    value = picture()
    image = read(encoded(np.dstack([value] * 3), "JPEG", quality=60, subsampling=2))
    assert np.abs(image.stored.astype(int) - value).mean() < 4


def test_opaque_alpha_is_dropped_and_transparent_pixels_are_padding(read) -> None:
    import cv2

    value = picture()
    alpha = np.full(SHAPE, 255, np.uint8)
    opaque = read(encoded(np.dstack([value] * 3 + [alpha]), "PNG"))
    assert opaque.film.all()
    alpha[:, :9] = 0
    for kind in (np.dstack([value, alpha]), np.dstack([value] * 3 + [alpha])):
        image = read(encoded(kind, "PNG"))
        np.testing.assert_array_equal(image.film, alpha > 0)
        np.testing.assert_array_equal(image.stored, value)
    deep = picture(np.uint16)
    pixels = np.dstack([deep] * 3 + [alpha.astype(np.uint16) * 257])
    image = read(cv2.imencode(".png", pixels)[1].tobytes())
    np.testing.assert_array_equal(image.stored, deep)
    np.testing.assert_array_equal(image.film, alpha > 0)
    with pytest.raises(ImageError, match="transparent throughout"):
        read(encoded(np.dstack([value, alpha * 0]), "PNG"))


def test_sixteen_bit_grey_with_alpha_keeps_sixteen_bits(read) -> None:
    import struct
    import zlib

    # PNG specification: colour type 4 is grey with alpha; written by hand, no library here writes it
    deep = picture(np.uint16)
    samples = np.dstack([deep, np.full(SHAPE, 65535, np.uint16)]).astype(">u2")
    rows = b"".join(b"\0" + row.tobytes() for row in samples)

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    header = struct.pack(">IIBBBBB", SHAPE[1], SHAPE[0], 16, 4, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows))
    np.testing.assert_array_equal(read(data + chunk(b"IEND", b"")).stored, deep)


def test_a_palette_of_greys_is_applied(read) -> None:
    value = picture()
    falling = Image.fromarray(255 - value).convert("P")
    falling.putpalette([level for index in range(256) for level in [255 - index] * 3])
    falling.frombytes((255 - value).tobytes())
    buffer = io.BytesIO()
    falling.save(buffer, "PNG", bits=8, optimize=False)
    image = read(buffer.getvalue())
    np.testing.assert_allclose(image.grey, scaled(value), atol=1e-6)
    assert "palette applied" in image.history


def test_resolution_is_a_fact_and_never_a_scale(read) -> None:
    for data in (
        encoded(picture(), "PNG", dpi=(300, 300)),
        encoded(picture(), "JPEG", dpi=(300, 300)),
        tiff(picture(), resolution=(300, 300), resolutionunit="INCH"),
    ):
        image = read(data)
        assert [round(float(part)) for part in image.header["resolution_dpi"].split(" x ")] == [300, 300]
        assert image.spacing.pixel_mm is None
        assert image.spacing.imager_mm is None


def test_texts_inside_an_image_stay_out_of_the_header(read) -> None:
    info = PngInfo()
    info.add_text("Title", "Invented Person")
    image = read(encoded(picture(), "PNG", pnginfo=info))
    assert "Invented" not in " ".join([*image.header.values(), *image.history])


# ---------------------------------------------------------------- what is refused


def two_pages() -> bytes:
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as writer:
        writer.write(picture())
        writer.write(picture())
    return buffer.getvalue()


def animated(kind: str) -> bytes:
    buffer = io.BytesIO()
    frame = Image.fromarray(picture())
    frame.save(buffer, kind, save_all=True, append_images=[ImageOps.invert(frame)])
    return buffer.getvalue()


def coloured_mark() -> np.ndarray:
    pixels = np.dstack([picture()] * 3)
    pixels[20:22, 20:22] = (255, 0, 0)
    return pixels


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (lambda: b"", "empty"),
        (lambda: b"hello, I am a text" * 10, "no DICOM, PNG, TIFF or JPEG"),
        (lambda: b"%PDF-1.7" + bytes(200), "no DICOM, PNG, TIFF or JPEG"),
        (lambda: encoded(picture(), "GIF"), "no DICOM, PNG, TIFF or JPEG"),
        (lambda: encoded(picture(), "PNG")[:40], "damaged, cut off"),
        (lambda: encoded(picture(), "PNG")[:20], "cut off in its header"),
        (lambda: encoded(picture(), "PNG")[:-400], "damaged, cut off"),
        (lambda: encoded(picture(), "JPEG")[:-400], "damaged, cut off"),
        (lambda: tiff(picture())[:-400], "damaged, cut off"),
        (lambda: encoded(picture()[:31], "PNG"), "at least 32"),
        (lambda: encoded(picture()[:, :31], "JPEG"), "at least 32"),
        (lambda: tiff(picture()[:31]), "at least 32"),
        (lambda: encoded(picture() > 100, "PNG"), "8 or 16 bits"),
        (lambda: tiff(picture() > 100), "8 or 16 bits"),
        (lambda: tiff(picture().astype(np.uint32)), "uint32"),
        (lambda: tiff(picture().astype(np.complex64)), "samples|bits"),
        (lambda: encoded(np.full(SHAPE, 90, np.uint8), "PNG"), "same value"),
        (lambda: tiff(np.full(SHAPE, np.nan, np.float32)), "no finite number"),
        (two_pages, "more than one page"),
        (lambda: animated("PNG"), "2 frames"),
        (lambda: encoded(coloured_mark(), "PNG"), "true colour"),
        (lambda: tiff(coloured_mark(), photometric="rgb"), "true colour"),
        (lambda: encoded(coloured_mark() * np.array([1, 1, 0], np.uint8), "JPEG"), "true colour"),
    ],
)
def test_refusals_name_the_reason(read, data, reason: str) -> None:
    with pytest.raises(ImageError, match=reason):
        read(data())


def test_a_missing_path_and_a_folder_are_named(tmp_path: Path) -> None:
    with pytest.raises(ImageError, match=r"There is no image at .*nowhere"):
        read_radiograph(tmp_path / "nowhere.png")
    with pytest.raises(ImageError, match="is a folder"):
        read_radiograph(tmp_path)


def test_absurd_sizes_are_refused_before_decoding(read) -> None:
    import struct
    import zlib

    def png(columns: int, rows: int) -> bytes:
        header = struct.pack(">IIBBBBB", columns, rows, 8, 0, 0, 0, 0)
        body = b"IHDR" + header
        start = b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + body + struct.pack(">I", zlib.crc32(body))
        return start + bytes(100)

    for columns, rows in ((25_000, 1_000), (19_000, 19_000), (2**31 - 1, 2**31 - 1)):
        with pytest.raises(ImageError, match="at most 20000 on a side and 150 megapixels"):
            read(png(columns, rows))
    data = bytearray(encoded(picture(), "JPEG"))
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = struct.pack(">HH", 60_000, 60_000)
    with pytest.raises(ImageError, match="at most 20000"):
        read(bytes(data))


# ---------------------------------------------------------------- damage

DAMAGE = """
import random, sys, pathlib, warnings
sys.path.insert(0, {root!r})
import numpy as np
from pydicom import uid
from radio.errors import ImageError
from radio.image.radiograph import read_radiograph
from tests.image.dicom_writer import dataset, to_bytes
from tests.image.test_dicom import LOSSLESS, stored_values
from tests.image.test_radiograph import encoded, picture, tiff

warnings.simplefilter("ignore")
originals = [to_bytes(dataset(stored_values(12), 12, syntax)) for syntax in LOSSLESS]
originals += [to_bytes(dataset(stored_values(8), 8, s)) for s in (uid.JPEGBaseline8Bit, uid.JPEGLosslessSV1)]
originals += [encoded(picture(), kind) for kind in ("PNG", "JPEG", "TIFF")]
originals += [encoded(picture(), "TIFF", compression=c) for c in ("tiff_lzw", "jpeg", "tiff_adobe_deflate")]
chance = random.Random(20)
path = pathlib.Path({path!r})
refused = 0
for original in originals:
    for attempt in range(40):
        data = bytearray(original)
        if attempt % 3 == 0:
            del data[chance.randrange(1, len(data)):]
        else:
            reach = len(data) if attempt % 3 == 1 else min(len(data), 1500)
            for _ in range(chance.choice([1, 2, 10])):
                data[chance.randrange(reach)] = chance.randrange(256)
        path.write_bytes(data)
        try:
            read_radiograph(path)
        except ImageError:
            refused += 1
print("survived", len(originals), refused)
"""


def test_damaged_images_give_an_image_error_and_nothing_else(tmp_path: Path) -> None:
    # in a process of its own, so that a decoder that crashes fails this test alone
    root = Path(__file__).parents[2]
    code = textwrap.dedent(DAMAGE).format(root=str(root), path=str(tmp_path / "damaged"))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=120, cwd=root)
    assert done.returncode == 0, done.stderr[-2000:]
    survived, originals, refused = done.stdout.split()[-3:]
    assert survived == "survived"
    assert int(refused) > 10 * int(originals)


# ---------------------------------------------------------------- speed and weight


def test_three_megapixels_are_read_fast(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    row, col = np.mgrid[:2000, :1500]
    value = 120 + 60 * np.sin(col / 200) * np.cos(row / 300) + rng.normal(0, 3, row.shape)
    path = tmp_path / "large.png"
    path.write_bytes(encoded(value.astype(np.uint8), "PNG"))
    read_radiograph(path)
    seconds = []
    for _ in range(5):
        start = time.perf_counter()
        read_radiograph(path)
        seconds.append(time.perf_counter() - start)
    assert min(seconds) < 0.3  # 0.03 s on an idle core; room for a busy machine


def test_importing_the_reader_loads_no_decoder() -> None:
    code = (
        "import sys, radio.image.radiograph, radio.image.display, calib.dicom_spacing;"
        "print([m for m in ('PIL', 'cv2', 'pydicom', 'tifffile', 'scipy', 'gdcm') if m in sys.modules])"
    )
    root = Path(__file__).parents[2]
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=root)
    assert out.stdout.strip() == "[]"
