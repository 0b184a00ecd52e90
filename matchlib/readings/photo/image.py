"""A picture file → whole numbers of pixels, with how they are to be understood.

JPEG, PNG (8 and 16 bit), TIFF (8 and 16 bit), HEIC, WebP and camera raw files. The size is read
from the header and refused before anything is unpacked. Whatever the decoders say of a broken file
comes out as `FileError`. Pixels stay the integers they were; only what is sampled is made linear.
"""

from __future__ import annotations

import io
import os
import struct
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from matchlib.errors import FileError, MatchlibError
from matchlib.readings.targets import RAW_PICTURES
from matchlib.readings.whole import bytes_of

__all__ = ["MAX_BYTES", "MAX_PIXELS", "Picture", "load_picture"]

Array = NDArray[np.float64]

MAX_BYTES = 400 * 2**20
"""Largest file that is opened [byte]."""
_SMALLER = "save it at half the width; a reading needs no more."
MAX_PIXELS = 64_000_000
"""Most pixels that are unpacked."""
_LEAST_SIDE = 64


@dataclass(frozen=True)
class Picture:
    """A decoded picture, upright as it was taken.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3)
        Red, green, blue; uint8 or uint16.
    linear : bool
        Whether the numbers are proportional to light; else they bear the sRGB curve.
    kind : str
        ``JPEG``, ``PNG``, ``TIFF``, ``HEIC``, ``WEBP`` or ``raw``.
    space : str
        ``sRGB``, ``Display P3``, or empty for another or a camera's own.
    name : str
        Of the file, for what is said of it.
    """

    pixels: NDArray[Any]
    linear: bool
    kind: str
    space: str = "sRGB"
    name: str = "picture"

    @property
    def full(self) -> int:
        """The largest number a pixel can have."""
        return 255 if self.pixels.dtype == np.uint8 else 65535

    @property
    def size(self) -> tuple[int, int]:
        """Width and height [pixel]."""
        return self.pixels.shape[1], self.pixels.shape[0]

    def light(self, values: ArrayLike) -> Array:
        """Return the light of pixel numbers, full scale being 1 (IEC 61966-2-1 where encoded)."""
        v = np.asarray(values, dtype=np.float64) / self.full
        if self.linear:
            return v
        return np.asarray(np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4))

    def clipped(self, values: ArrayLike) -> NDArray[np.bool_]:
        """Return which pixels, (..., 3), have a channel at the end of its scale."""
        # JPEG ripples by a step or two about a clipped area; a sensor's full well by its noise.
        return np.asarray(np.max(np.asarray(values), axis=-1) >= self.full * 0.99)

    def blind(self, values: ArrayLike) -> NDArray[np.bool_]:
        """Return which channels of pixels are at nought: a colour outside the file's own."""
        return np.asarray(np.asarray(values) <= self.full * (2e-4 if self.linear else 0.008))

    def screen(self, longest: int) -> tuple[NDArray[np.uint8], float]:
        """Return a small 8-bit picture to search in, and its pixels a pixel of this one."""
        small, scale = self._shrunk(longest)
        if not self.linear and self.full == 255:
            return np.asarray(small, dtype=np.uint8), scale
        bright = np.asarray(small, dtype=np.float64) / self.full
        if self.linear:
            bright = (bright / max(float(np.percentile(bright, 99.5)), 1e-6)) ** (1 / 2.2)
        return np.asarray(np.clip(bright * 255.0, 0, 255), dtype=np.uint8), scale

    def small_light(self, longest: int) -> tuple[Array, float]:
        """Return the light of a small picture, and its pixels a pixel of this one."""
        small, scale = self._shrunk(longest)
        return self.light(small), scale

    def _shrunk(self, longest: int) -> tuple[NDArray[Any], float]:
        import cv2

        scale = min(1.0, longest / max(self.size))
        if scale == 1.0:
            return self.pixels, scale
        size = (max(1, round(self.size[0] * scale)), max(1, round(self.size[1] * scale)))
        return cv2.resize(self.pixels, size, interpolation=cv2.INTER_AREA), scale


def load_picture(
    source: str | os.PathLike[str] | bytes, *, linear: bool | None = None, name: str | None = None
) -> Picture:
    """Read a picture file.

    Parameters
    ----------
    source : path-like or bytes
        The file, or all of its bytes.
    linear : bool, optional
        Whether the numbers are proportional to light. Where not given, raw files are and
        everything else bears the sRGB curve.
    name : str, optional
        File name to give in errors and to know raw files by, where bytes are given.

    Returns
    -------
    Picture
        Upright, as EXIF says.

    Raises
    ------
    FileError
        If it is no picture that can be read, is broken, too large, or too small.
    """
    if isinstance(source, bytes):
        data, shown = source, name or "picture"
    else:
        shown = Path(source).name
        data = bytes_of(Path(source), most=MAX_BYTES, shorter=_SMALLER, noun="picture")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # decoders warn of what is refused or harmless here
            return replace(_decoded(data, Path(shown).suffix.lower(), linear), name=shown)
    except MatchlibError as error:
        raise error.at(shown) from error
    except ImportError as error:
        raise FileError(
            f"Photographs need a package that is not installed: {error.name}.",
            remedy="install the workbook again, as its README says.",
            where=shown,
        ) from error
    # Decoders raise whatever the broken byte led them to, of no common class.
    except (Exception, MemoryError) as error:
        raise FileError(
            "This picture is broken.",
            got=f"{type(error).__name__}: {error}"[:200].rstrip("."),
            remedy="copy it from the camera again, or take it again.",
            where=shown,
        ) from error


def _decoded(data: bytes, suffix: str, linear: bool | None) -> Picture:
    if len(data) > MAX_BYTES:
        raise _too_large(f"{len(data) / 2**20:,.0f} MiB", f"{MAX_BYTES // 2**20} MiB")
    if suffix in RAW_PICTURES:
        return Picture(_raw(data), True, "raw", space="")
    for kind, (known, read) in _KINDS.items():
        if known(data):
            pixels, space = read(data)
            return Picture(pixels, bool(linear), kind, "" if linear else space)
    raise FileError(
        "This is no picture of a kind that can be read.",
        expected="JPEG, HEIC, PNG, WebP, 16-bit TIFF, or a camera's raw file with its own ending",
        got="a file that begins otherwise" if data else "an empty file",
        remedy="save it as JPEG, or better as 16-bit TIFF.",
    )


def _check_size(width: int, height: int) -> None:
    if width * height > MAX_PIXELS:
        raise _too_large(f"{width} by {height} pixels", f"{MAX_PIXELS // 10**6} million pixels")
    if min(width, height) < _LEAST_SIDE:
        raise FileError(
            "This picture is too small to hold a chart and a panel.",
            expected=f"at least {_LEAST_SIDE} pixels on each side",
            got=f"{width} by {height}",
            remedy="use the picture as the camera took it.",
        )


def _too_large(got: str, limit: str) -> FileError:
    return FileError(
        "This picture is too large.",
        expected=f"at most {limit}",
        got=got,
        remedy=_SMALLER,
    )


def _no_colour(got: str) -> FileError:
    return FileError(
        "This picture is not in red, green and blue.",
        expected="an RGB picture of 8 or 16 bits a channel",
        got=got,
        remedy="save it as RGB.",
    )


_Decoded = tuple[NDArray[Any], str]
"""Pixels, and the colour space."""


def _pillow(data: bytes) -> _Decoded:
    from PIL import Image

    try:
        opened = Image.open(io.BytesIO(data), formats=["JPEG", "PNG", "WEBP"])
    except Image.DecompressionBombError as error:
        numbers = [word for word in str(error).split() if word.strip("(").isdigit()]
        got = f"{numbers[0].strip('(')} pixels" if numbers else "many more"
        raise _too_large(got, f"{MAX_PIXELS // 10**6} million pixels") from error
    with opened as image:
        _check_size(*image.size)
        if image.mode not in ("RGB", "RGBA"):
            raise _no_colour(f"{image.mode} of {image.format}")
        turn = image.getexif().get(0x0112, 1)
        space = _space_of(image.info.get("icc_profile"))
        pixels = np.asarray(image)[..., :3]
    return _upright(pixels, turn), space


def _space_of(profile: bytes | None) -> str:
    """The colour space that a profile names (ICC.1), in plain or in wide letters."""
    if not profile:
        return "sRGB"
    letters = profile.replace(b"\0", b"")
    return next((n for n in ("sRGB", "Display P3") if n.encode() in letters), "")


def _heic(data: bytes) -> _Decoded:
    import pi_heif

    opened = pi_heif.open_heif(io.BytesIO(data))  # reads the header; what follows is unpacked later
    _check_size(*opened.size)
    if opened.mode not in ("RGB", "RGBA"):
        raise _no_colour(f"{opened.mode} of HEIC")
    # Upright already. Copied: what numpy looks at otherwise goes when the decoder's file does.
    return np.array(opened)[..., :3], _space_of(opened.info.get("icc_profile"))


def _png(data: bytes) -> _Decoded:
    if len(data) <= 25 or data[24] != 16:
        return _pillow(data)
    width, height, _, colour_type = struct.unpack(">IIBB", data[16:26])
    _check_size(width, height)
    if colour_type not in (2, 6):
        raise _no_colour("a grey or indexed PNG")
    from PIL import Image

    # Pillow cannot hold 16 bits a channel, but it says what OpenCV passes over: a picture cut off.
    with Image.open(io.BytesIO(data), formats=["PNG"]) as image:
        image.verify()
    return _opencv(data), "sRGB"


def _tiff(data: bytes) -> _Decoded:
    import tifffile

    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        page = tiff.pages.first
        _check_size(int(page.imagewidth), int(page.imagelength))
        good = page.dtype in (np.uint8, np.uint16) and int(page.photometric) == 2
        if not good or page.samplesperpixel not in (3, 4) or page.imagedepth != 1:
            raise _no_colour(f"{page.samplesperpixel} channels of {page.dtype}")
        tag = page.tags.get(274)
        turn = tag.value if tag is not None else 1
        if int(page.compression) == 1:
            # Nothing can come out of it that is not in it.
            if page.nbytes > len(data):
                raise FileError("This picture is cut off.", remedy="copy it again.")
            pixels = page.asarray()
            if int(page.planarconfig) == 2:
                pixels = np.moveaxis(pixels, 0, -1)
            return _upright(pixels[..., :3], turn), ""
    # libtiff unpacks no more than the strip's own size, however much is packed into it.
    return _opencv(data), ""


def _raw(data: bytes) -> NDArray[np.uint16]:
    import rawpy

    with rawpy.imread(io.BytesIO(data)) as raw:
        _check_size(raw.sizes.raw_width, raw.sizes.raw_height)
        # Half size takes each colour where it was measured: nothing is made up between pixels.
        pixels = raw.postprocess(
            half_size=True,
            gamma=(1, 1),
            no_auto_bright=True,
            no_auto_scale=False,
            user_wb=[1.0, 1.0, 1.0, 1.0],
            output_color=rawpy.ColorSpace.raw,
            output_bps=16,
            highlight_mode=rawpy.HighlightMode.Clip,
        )
    if pixels.ndim != 3 or pixels.shape[2] != 3:
        raise _no_colour(f"{pixels.shape[-1]} channels of a raw file")
    return np.asarray(pixels)


def _opencv(data: bytes) -> NDArray[Any]:
    """Decode, upright already: OpenCV obeys the orientation tag by itself."""
    import cv2

    flags = cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH
    decoded = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if decoded is None:
        raise FileError("This picture is broken.", remedy="copy it from the camera again.")
    if decoded.ndim != 3 or decoded.shape[2] != 3 or decoded.dtype not in (np.uint8, np.uint16):
        raise _no_colour(f"{decoded.shape} of {decoded.dtype}")
    return np.asarray(decoded[..., ::-1])


def _upright(pixels: NDArray[Any], turn: object) -> NDArray[Any]:
    """Apply the orientation tag (EXIF 2.3, tag 274; TIFF 6.0)."""
    if turn not in range(2, 9):
        return pixels
    if turn in (5, 6, 7, 8):
        pixels = np.swapaxes(pixels, 0, 1)
    if turn in (3, 4, 7, 8):
        pixels = pixels[::-1]
    if turn in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    return np.ascontiguousarray(pixels)


_Known = Callable[[bytes], bool]
_KINDS: dict[str, tuple[_Known, Callable[[bytes], _Decoded]]] = {
    "JPEG": (lambda data: data.startswith(b"\xff\xd8\xff"), _pillow),
    "PNG": (lambda data: data.startswith(b"\x89PNG\r\n\x1a\n"), _png),
    "TIFF": (lambda data: data[:4] in (b"II*\x00", b"MM\x00*"), _tiff),
    "HEIC": (lambda data: data[4:8] == b"ftyp", _heic),
    "WEBP": (lambda data: data[:4] == b"RIFF" and data[8:12] == b"WEBP", _pillow),
}
