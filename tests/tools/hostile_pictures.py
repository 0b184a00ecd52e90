"""Picture files made byte by byte: small raw files, headers that promise far too much, seeds."""

from __future__ import annotations

import io
import struct
import zlib
from functools import cache
from typing import Any

import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image

__all__ = ["dng_of", "png_header_of", "seeds", "tiff_header_of"]


def dng_of(rgb: NDArray[Any]) -> bytes:
    """A raw file (DNG 1.4, public specification) of linear 16-bit RGB, under an RGGB mosaic."""
    mosaic = np.empty(rgb.shape[:2], np.uint16)
    mosaic[0::2, 0::2] = rgb[0::2, 0::2, 0]
    mosaic[0::2, 1::2] = rgb[0::2, 1::2, 1]
    mosaic[1::2, 0::2] = rgb[1::2, 0::2, 1]
    mosaic[1::2, 1::2] = rgb[1::2, 1::2, 2]
    one = [v for e in np.eye(3).ravel() for v in (int(e), 1)]
    stream = io.BytesIO()
    tifffile.imwrite(
        stream,
        mosaic,
        photometric=32803,
        metadata=None,
        extratags=[
            (33421, "H", 2, (2, 2), True),  # CFARepeatPatternDim
            (33422, "B", 4, (0, 1, 1, 2), True),  # CFAPattern
            (50706, "B", 4, (1, 4, 0, 0), True),  # DNGVersion
            (50707, "B", 4, (1, 1, 0, 0), True),  # DNGBackwardVersion
            (50708, "s", 0, "Invented", True),  # UniqueCameraModel
            (50714, "H", 1, 0, True),  # BlackLevel
            (50717, "I", 1, 65535, True),  # WhiteLevel
            (50721, "2i", 9, one, True),  # ColorMatrix1
            (50728, "2I", 3, (1, 1, 1, 1, 1, 1), True),  # AsShotNeutral
            (50778, "H", 1, 21, True),  # CalibrationIlluminant1: D65
        ],
    )
    return stream.getvalue()


def png_header_of(width: int, height: int, *, deep: bool = False) -> bytes:
    """A PNG that says it is that large, with little in it."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 16 if deep else 8, 2, 0, 0, 0)
    packed = zlib.compress(bytes(1_000_000), 9)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", packed) + chunk(b"IEND", b"")
    )


def tiff_header_of(
    width: int, height: int, *, deep: bool = False, strip: bytes | None = None
) -> bytes:
    """A TIFF that says it is that large, with one packed strip."""
    packed = zlib.compress(bytes(1_000_000), 9) if strip is None else strip
    bits = 16 if deep else 8
    count = 10
    after = 8 + 2 + 12 * count + 4
    tags = [
        (256, 4, 1, width),
        (257, 4, 1, height),
        (258, 3, 3, after),
        (259, 3, 1, 8),
        (262, 3, 1, 2),
        (273, 4, 1, after + 6),
        (277, 3, 1, 3),
        (278, 4, 1, height),
        (279, 4, 1, len(packed)),
        (284, 3, 1, 1),
    ]
    body = b"II*\0" + struct.pack("<I", 8) + struct.pack("<H", count)
    for tag, kind, number, value in tags:
        short = kind == 3 and number == 1
        last = struct.pack("<HH", value, 0) if short else struct.pack("<I", value)
        body += struct.pack("<HHI", tag, kind, number) + last
    return body + struct.pack("<I", 0) + struct.pack("<HHH", bits, bits, bits) + packed


@cache
def seeds() -> dict[str, bytes]:
    """Small good files to spoil, by a name with the right ending."""
    import cv2

    rng = np.random.default_rng(3)
    small = rng.integers(0, 256, (66, 70, 3)).astype(np.uint8)
    deep = rng.integers(0, 65536, (66, 70, 3)).astype(np.uint16)
    made: dict[str, bytes] = {}
    exif = Image.Exif()
    exif[274] = 6
    for kind, name in (("JPEG", "a.jpg"), ("PNG", "a.png"), ("TIFF", "a.tif")):
        stream = io.BytesIO()
        Image.fromarray(small).save(stream, kind, exif=exif)
        made[name] = stream.getvalue()
    made["deep.png"] = bytes(cv2.imencode(".png", deep)[1])
    for name, options in (("deep.tif", {}), ("packed.tif", {"compression": "zlib"})):
        stream = io.BytesIO()
        tifffile.imwrite(stream, deep, photometric="rgb", **options)
        made[name] = stream.getvalue()
    import pillow_heif

    stream = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(small)).save(stream, quality=80, exif=exif.tobytes())
    made["a.heic"] = stream.getvalue()
    stream = io.BytesIO()
    Image.fromarray(small).save(stream, "WEBP", exif=exif)
    made["a.webp"] = stream.getvalue()
    made["raw.dng"] = dng_of(np.repeat(np.repeat(deep, 2, axis=0), 2, axis=1))
    return made
