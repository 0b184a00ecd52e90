"""Pictures come in as they were taken, and broken or hostile ones not at all."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from matchlib.errors import FileError, MatchlibError
from matchlib.readings.photo import MAX_PIXELS, load_picture
from matchlib.readings.photo import image as image_module
from tests.tools.hostile_pictures import dng_of, png_header_of, seeds, tiff_header_of

RNG = np.random.default_rng(5)
SMALL = RNG.integers(0, 256, (70, 90, 3)).astype(np.uint8)
DEEP = RNG.integers(0, 65536, (70, 90, 3)).astype(np.uint16)


def saved(kind: str, pixels: NDArray[np.uint8] = SMALL, **options: Any) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, kind, **options)
    return stream.getvalue()


def tiff(pixels: NDArray[Any], **options: Any) -> bytes:
    stream = io.BytesIO()
    tifffile.imwrite(stream, pixels, photometric="rgb", **options)
    return stream.getvalue()


def deep_png(pixels: NDArray[np.uint16]) -> bytes:
    import cv2

    good, data = cv2.imencode(".png", pixels[..., ::-1])
    assert good
    return bytes(data)


@pytest.mark.parametrize(
    ("data", "pixels"),
    [
        (saved("PNG"), SMALL),
        (deep_png(DEEP), DEEP),
        (tiff(DEEP), DEEP),
        (tiff(SMALL), SMALL),
        (tiff(SMALL, compression="zlib"), SMALL),
        (tiff(DEEP, compression="zlib"), DEEP),
        (tiff(np.moveaxis(DEEP, 2, 0).copy(), planarconfig="separate"), DEEP),
        (tiff(DEEP, byteorder=">"), DEEP),
    ],
    ids=["png", "png16", "tiff16", "tiff8", "tiff8 zip", "tiff16 zip", "planar", "big end"],
)
def test_every_number_of_a_lossless_picture_comes_in(data: bytes, pixels: NDArray[Any]) -> None:
    picture = load_picture(data)
    np.testing.assert_array_equal(picture.pixels, pixels)
    assert picture.pixels.dtype == pixels.dtype
    assert not picture.linear


def test_alpha_is_left_out() -> None:
    with_alpha = np.dstack([SMALL, np.full(SMALL.shape[:2], 7, np.uint8)])
    np.testing.assert_array_equal(load_picture(saved("PNG", with_alpha)).pixels, SMALL)


# What each value of the tag means: TIFF 6.0, section 8, 'Orientation': where row 0 and column 0
# of the file lie in the picture as seen.
SEEN = {
    1: lambda p: p,
    2: lambda p: p[:, ::-1],
    3: lambda p: p[::-1, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: np.swapaxes(p, 0, 1),
    6: lambda p: np.rot90(p, -1),
    7: lambda p: np.swapaxes(p, 0, 1)[::-1, ::-1],
    8: lambda p: np.rot90(p, 1),
}


@pytest.mark.parametrize("turn", SEEN)
@pytest.mark.parametrize("kind", ["PNG", "PNG16", "TIFF16", "TIFF16 zip", "TIFF8 zip"])
def test_pictures_are_turned_upright(turn: int, kind: str) -> None:
    tag = [(274, "H", 1, turn, True)]
    if kind == "PNG":
        exif = Image.Exif()
        exif[274] = turn
        data, pixels = saved("PNG", exif=exif), SMALL
    elif kind == "PNG16":
        # The same chunk as Pillow writes, before the picture's own.
        exif_of = struct.pack(">2sHIHHHIHHI", b"MM", 42, 8, 1, 274, 3, 1, turn, 0, 0)
        chunk = b"eXIf" + exif_of
        framed = struct.pack(">I", len(exif_of)) + chunk + struct.pack(">I", zlib.crc32(chunk))
        plain = deep_png(DEEP)
        data, pixels = plain[:33] + framed + plain[33:], DEEP
    elif kind == "TIFF16":
        data, pixels = tiff(DEEP, extratags=tag), DEEP
    else:
        pixels = DEEP if "16" in kind else SMALL
        data = tiff(pixels, extratags=tag, compression="zlib")
    np.testing.assert_array_equal(load_picture(data).pixels, SEEN[turn](pixels))


def test_a_jpeg_is_turned_upright() -> None:
    shades = np.zeros((80, 120, 3), np.uint8)
    shades[:, 90:] = 220  # a bright right edge, below once turned right
    exif = Image.Exif()
    exif[274] = 6
    pixels = load_picture(saved("JPEG", shades, quality=95, exif=exif)).pixels
    assert pixels.shape == (120, 80, 3)
    assert pixels[100:].mean() > 200
    assert pixels[:80].mean() < 20


def test_light_of_a_number_is_that_of_the_srgb_standard() -> None:
    # IEC 61966-2-1: 0.04045 / 12.92 at the joint; 188/255 is about half of full light.
    picture = load_picture(saved("PNG"))
    np.testing.assert_allclose(picture.light([0, 255]), [0.0, 1.0])
    np.testing.assert_allclose(picture.light(188), 0.5029, atol=5e-5)
    np.testing.assert_allclose(picture.light(0.04045 * 255), 0.0031308, rtol=1e-3)
    linear = load_picture(saved("PNG"), linear=True)
    np.testing.assert_allclose(linear.light(51), 0.2)


def test_a_raw_file_is_read_linear_and_without_white_balance(tmp_path: Path) -> None:
    # Flat colour under a mosaic: every pixel of the half-size picture has its four own sensels.
    colour = np.array([9000, 24000, 15000], np.uint16)
    raw = tmp_path / "picture.dng"
    raw.write_bytes(dng_of(np.broadcast_to(colour, (160, 200, 3))))
    picture = load_picture(raw)
    assert picture.kind == "raw"
    assert picture.linear
    assert picture.size == (100, 80)
    np.testing.assert_allclose(np.median(picture.pixels, axis=(0, 1)), colour, rtol=0.01)


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"hello",
        b"\xff\xd8\xff",
        saved("PNG")[:200],
        saved("JPEG")[:400],
        tiff(DEEP)[:5000],
        tiff(DEEP, compression="zlib")[:5000],
        saved("PNG", SMALL[..., 0]),
        saved("JPEG", SMALL[..., 0]),
        saved("PNG", SMALL[:10]),
        b"\0\0\0\x18ftypheic" + bytes(100),
        saved("GIF"),
    ],
)
def test_what_is_no_picture_is_refused(data: bytes) -> None:
    with pytest.raises(FileError) as caught:
        load_picture(data, name="Karte.jpg")
    assert str(caught.value).startswith("Karte.jpg: ")
    assert caught.value.remedy


@pytest.mark.parametrize("share", [0.3, 0.6, 0.95])
@pytest.mark.parametrize(
    "whole",
    [
        saved("PNG"),
        deep_png(DEEP),
        saved("JPEG"),
        tiff(SMALL),
        tiff(DEEP, compression="zlib", predictor=True),
    ],
    ids=["png", "png16", "jpeg", "tiff", "packed tiff"],
)
def test_a_picture_cut_off_is_not_half_read(whole: bytes, share: float) -> None:
    with pytest.raises(FileError):
        load_picture(whole[: int(len(whole) * share)])


@pytest.mark.parametrize("make", [png_header_of, tiff_header_of], ids=["png", "tiff"])
@pytest.mark.parametrize("deep", [False, True])
def test_a_bomb_is_refused_by_its_header(make: Any, deep: bool) -> None:
    data = make(60_000, 60_000, deep=deep)
    assert len(data) < 2_000_000
    with pytest.raises(FileError, match="too large"):
        load_picture(data)


def test_a_jpeg_bomb_is_refused_by_its_header() -> None:
    data = bytearray(saved("JPEG"))
    at = data.index(b"\xff\xc0") + 5
    data[at : at + 4] = struct.pack(">HH", 65000, 65000)
    with pytest.raises(FileError, match="too large"):
        load_picture(bytes(data))


def test_a_strip_that_unpacks_to_more_than_it_should_is_held_to_its_size() -> None:
    # 200 MB of zeros in 200 kB, in the one strip of a picture of 64 by 64 pixels.
    import tracemalloc

    packed = zlib.compress(bytes(200_000_000), 9)
    data = tiff_header_of(64, 64, deep=True, strip=packed)
    tracemalloc.start()
    try:
        load_picture(data)
    except FileError:
        pass
    finally:
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert most < 20_000_000


def test_a_large_file_is_refused_before_it_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(image_module, "MAX_BYTES", 1000)
    path = tmp_path / "a.png"
    path.write_bytes(saved("PNG"))
    with pytest.raises(FileError, match="too large"):
        load_picture(path)
    with pytest.raises(FileError, match="not a file"):
        load_picture(tmp_path)
    with pytest.raises(FileError, match="cannot be read"):
        load_picture(tmp_path / "none.png")


def test_the_limit_leaves_room_for_cameras() -> None:
    assert 45_000_000 < MAX_PIXELS < 200_000_000


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=st.data())
def test_bytes_changed_at_random_never_do_worse_than_an_error_in_words(data: st.DataObject) -> None:
    names = sorted(seeds())
    name = data.draw(st.sampled_from(names))
    whole = bytearray(seeds()[name])
    for _ in range(data.draw(st.integers(1, 12))):
        # The headers, where most harm can be done, as often as all the rest.
        end = data.draw(st.sampled_from([64, 512, len(whole)]))
        whole[data.draw(st.integers(0, min(end, len(whole)) - 1))] = data.draw(st.integers(0, 255))
    cut = data.draw(st.one_of(st.just(len(whole)), st.integers(0, len(whole))))
    try:
        picture = load_picture(bytes(whole[:cut]), name=name)
    except MatchlibError:
        return
    assert picture.pixels.ndim == 3
    assert picture.pixels.shape[2] == 3


def heic(pixels: NDArray[np.uint8], **options: Any) -> bytes:
    import pillow_heif

    stream = io.BytesIO()
    pillow_heif.from_pillow(Image.fromarray(pixels)).save(stream, quality=-1, **options)
    return stream.getvalue()


BANDS = np.repeat(np.repeat(RNG.integers(30, 220, (7, 9, 3)), 20, 0), 20, 1).astype(np.uint8)


@pytest.mark.parametrize("kind", ["HEIC", "WEBP"])
def test_pictures_of_phones_come_in(kind: str) -> None:
    data = heic(BANDS) if kind == "HEIC" else saved("WEBP", BANDS, lossless=True)
    picture = load_picture(data, name="a.bin")
    assert picture.kind == kind
    assert picture.space == "sRGB"
    away = np.abs(picture.pixels.astype(int) - BANDS)
    # HEIC keeps colour at half the width; within a band nothing is lost but rounding.
    assert np.median(away) <= 2
    assert picture.pixels.shape == BANDS.shape


@pytest.mark.parametrize(
    ("name", "space"), [("sRGB built-in", "sRGB"), ("Display P3", "Display P3"), ("Other", "")]
)
def test_the_colour_space_is_read_from_the_profile(name: str, space: str) -> None:
    # ICC.1: a description may be in plain letters, or in UTF-16.
    for words in (name.encode(), name.encode("utf-16-be")):
        data = saved("JPEG", icc_profile=b"\0" * 128 + b"desc" + words)
        assert load_picture(data).space == space


@pytest.mark.parametrize("make", [heic, lambda p: saved("WEBP", p)], ids=["heic", "webp"])
def test_cut_pictures_of_phones_are_refused_in_words(make: Any) -> None:
    data = make(BANDS)
    for part in (20, len(data) // 3, len(data) // 2):
        with pytest.raises(FileError, match=r"broken|small|no picture"):
            load_picture(data[:part])


def test_a_pictures_own_size_is_refused_before_it_is_unpacked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(image_module, "MAX_PIXELS", 10_000)
    for data in (heic(BANDS), saved("WEBP", BANDS)):
        with pytest.raises(FileError, match="too large"):
            load_picture(data)


def test_the_pixels_of_a_large_heic_are_the_pictures_own() -> None:
    # Looked at in the decoder's memory they were gone with its file, and the program with them.
    picture = load_picture(heic(np.full((1500, 2000, 3), 90, np.uint8)))
    base = picture.pixels
    while isinstance(base.base, np.ndarray):
        base = base.base
    assert base.flags.owndata
    assert float(picture.pixels[::300, ::300].mean()) > 0.0
