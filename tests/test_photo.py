"""Any file a camera or a phone makes gives the same wall, upright and in sRGB, or says why not."""

import io
import math
import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
import skimage.color
from hypothesis import given, settings
from hypothesis import strategies as st
from icc import cmyk_profile, grey_profile, matrix_profile
from numpy.typing import NDArray
from PIL import Image
from PIL.ExifTags import Base

from rootread.errors import UnreadablePhoto
from rootread.photo import Photo, read_photo, to_lab, to_linear, to_srgb
from rootread.photo.colour import BEHIND
from rootread.settings import PhotoSettings

ANY_SIZE = PhotoSettings(min_megapixels=0.0)
LOSSY_CODES = 12  # sRGB codes that JPEG and HEIC may be off in flat areas of pure colour
PROFILE_CODES = 2  # sRGB codes that fixed-point colour conversion may be off
LAB_DIGITS = 0.03  # L*, a*, b*: the digits that the matrix to XYZ is printed with

Rgb = NDArray[np.uint8]

# A wall with nothing symmetrical about it: sky, two soils and a post.
SKY, TOPSOIL, SUBSOIL, POST = (150, 180, 230), (70, 50, 40), (150, 110, 70), (240, 240, 230)


def wall_picture(columns: int = 96, rows: int = 64) -> Rgb:
    picture = np.empty((rows, columns, 3), np.uint8)
    picture[:] = SUBSOIL
    picture[: rows // 2] = TOPSOIL
    picture[: rows // 4] = SKY
    picture[rows // 8 :, columns // 8 : columns // 4] = POST
    return picture


def textured_picture(columns: int = 640, rows: int = 480) -> Rgb:
    noise = np.random.default_rng(5).integers(0, 256, (rows // 8, columns // 8, 3), np.uint8)
    return cv2.resize(noise, (columns, rows), interpolation=cv2.INTER_CUBIC)


def encoded(
    picture: Image.Image | Rgb, kind: str, exif: Image.Exif | None = None, **options: object
) -> bytes:
    image = picture if isinstance(picture, Image.Image) else Image.fromarray(picture)
    file = io.BytesIO()
    if kind == "HEIC":
        extra = {} if exif is None else {"exif": exif.tobytes()}
        pillow_heif.from_pillow(image).save(file, quality=95, chroma=444, **extra, **options)
    else:
        usual = {"quality": 95, "subsampling": 0} if kind == "JPEG" else {}
        image.save(file, kind, exif=Image.Exif() if exif is None else exif, **(usual | options))
    return file.getvalue()


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("photos")


@pytest.fixture(scope="module")
def read(folder: Path) -> Callable[..., Photo]:
    def read_bytes(data: bytes, limits: PhotoSettings = ANY_SIZE, name: str = "wall.jpg") -> Photo:
        (folder / name).write_bytes(data)
        return read_photo(folder / name, limits)

    return read_bytes


# --- kinds of file ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "codes"), [("JPEG", LOSSY_CODES), ("PNG", 0), ("TIFF", 0), ("HEIC", LOSSY_CODES)]
)
def test_each_kind_of_file_gives_the_picture_whatever_its_name_ends_in(read, kind, codes):
    photo = read(encoded(wall_picture(), kind))
    assert photo.size_px == (96, 64)
    assert photo.rgb.dtype == np.uint8
    middles = photo.rgb[[5, 24, 55, 40], [60, 60, 60, 18]].astype(int)
    assert np.abs(middles - [SKY, TOPSOIL, SUBSOIL, POST]).max() <= codes


@pytest.mark.parametrize(
    "options", [{"quality": 92}, {"quality": 85, "subsampling": 2}, {"progressive": True}]
)
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_the_fast_jpeg_path_gives_exactly_the_pixels_of_the_plain_one(read, mode, options):
    file = io.BytesIO()
    Image.fromarray(textured_picture()).convert(mode).save(file, "JPEG", **options)
    plain = np.asarray(Image.open(io.BytesIO(file.getvalue())).convert("RGB"))
    assert np.array_equal(read(file.getvalue()).rgb, plain)


def test_a_grey_photo_has_three_equal_channels(read):
    grey = Image.fromarray(textured_picture()).convert("L")
    for kind in ("PNG", "TIFF"):
        rgb = read(encoded(grey, kind)).rgb
        assert all(np.array_equal(rgb[..., channel], np.asarray(grey)) for channel in range(3))


def test_sixteen_bits_round_to_the_nearest_of_eight(read):
    grey = np.arange(65536, dtype=np.uint16).reshape(256, 256)
    wanted = np.round(grey / 257.0)
    for ending in (".png", ".tif"):
        data = cv2.imencode(ending, grey)[1].tobytes()
        assert np.array_equal(read(data).rgb[..., 1], wanted), ending


def test_a_sixteen_bit_colour_photo_is_within_one_code(read):
    rgb = textured_picture().astype(np.uint16) * 257
    data = cv2.imencode(".png", rgb[..., ::-1])[1].tobytes()
    assert np.abs(read(data).rgb.astype(int) - textured_picture()).max() <= 1


def test_a_palette_keeps_its_colours(read):
    picture = wall_picture()
    palette = Image.fromarray(picture).quantize(16, dither=Image.Dither.NONE)
    assert np.array_equal(read(encoded(palette, "PNG")).rgb, np.asarray(palette.convert("RGB")))


def test_see_through_parts_show_middle_grey(read):
    picture = np.dstack([wall_picture(), np.full((64, 96), 255, np.uint8)])
    picture[:10, :, 3] = 0
    rgb = read(encoded(Image.fromarray(picture, "RGBA"), "PNG")).rgb
    assert np.all(rgb[:10] == BEHIND)
    assert np.array_equal(rgb[10:], wall_picture()[10:])


def test_middle_grey_is_half_way_to_white_as_seen():
    # CIE 1976 lightness, by scikit-image
    lightness = skimage.color.rgb2lab(np.full((1, 1, 3), BEHIND, np.uint8))[0, 0, 0]
    assert lightness == pytest.approx(50.0, abs=0.2)


def test_a_phone_file_with_several_pictures_gives_the_first(read):
    file = io.BytesIO()
    Image.fromarray(wall_picture()).save(
        file, "MPO", save_all=True, append_images=[Image.fromarray(wall_picture()[::-1])], quality=95
    )
    assert np.abs(read(file.getvalue()).rgb[5, 60].astype(int) - SKY).max() <= LOSSY_CODES


# --- upright ---------------------------------------------------------------------------------------

# What Exif 2.3 says of tag 274 (from memory): the side of the upright picture at which
# the stored picture's row 0 lies, and the side at which its column 0 lies.
EXIF_ORIENTATION = {
    1: ("top", "left"),
    2: ("top", "right"),
    3: ("bottom", "right"),
    4: ("bottom", "left"),
    5: ("left", "top"),
    6: ("right", "top"),
    7: ("right", "bottom"),
    8: ("left", "bottom"),
}


def as_stored(upright: Rgb, orientation: int) -> Rgb:
    """The picture as a camera held that way stores it, from Exif's words alone."""
    row_0, column_0 = EXIF_ORIENTATION[orientation]
    stored = upright
    if "bottom" in (row_0, column_0):
        stored = stored[::-1]
    if "right" in (row_0, column_0):
        stored = stored[:, ::-1]
    return np.ascontiguousarray(stored.swapaxes(0, 1) if row_0 in ("left", "right") else stored)


@given(
    orientation=st.sampled_from(sorted(EXIF_ORIENTATION)),
    kind=st.sampled_from(["JPEG", "PNG", "TIFF"]),
    columns=st.integers(40, 120),
    rows=st.integers(40, 120),
)
@settings(max_examples=60)
def test_any_orientation_tag_reads_upright(read, orientation, kind, columns, rows):
    upright = wall_picture(columns, rows)
    exif = Image.Exif()
    exif[Base.Orientation] = orientation
    photo = read(encoded(as_stored(upright, orientation), kind, exif))
    assert photo.size_px == (columns, rows)
    off = np.abs(photo.rgb.astype(int) - upright)
    assert np.median(off) <= 3
    assert np.mean(off > 60) < 0.02


@pytest.mark.parametrize("orientation", EXIF_ORIENTATION)
def test_a_heic_photo_reads_upright(read, orientation):
    exif = Image.Exif()
    exif[Base.Orientation] = orientation
    photo = read(encoded(as_stored(wall_picture(), orientation), "HEIC", exif))
    assert np.abs(photo.rgb[[5, 55], [60, 60]].astype(int) - [SKY, SUBSOIL]).max() <= LOSSY_CODES


# --- colour ----------------------------------------------------------------------------------------

# Adobe RGB (1998) Color Image Encoding, tables of the D50 primaries and the D65 matrix (from memory).
ADOBE_D50 = {
    "r": (0.60974, 0.31111, 0.01947),
    "g": (0.20528, 0.62567, 0.06087),
    "b": (0.14919, 0.06322, 0.74457),
}
ADOBE_D65 = np.array([[0.57667, 0.18556, 0.18823], [0.29734, 0.62736, 0.07529], [0.02703, 0.07069, 0.99134]])
ADOBE_GAMMA = 563 / 256
SOIL_COLOURS = np.array([[[90, 70, 60], [160, 130, 100], [200, 190, 170], [40, 35, 30]]], np.uint8)


def adobe_as_srgb(codes: Rgb) -> NDArray[np.float64]:
    xyz = (codes / 255.0) ** ADOBE_GAMMA @ ADOBE_D65.T
    return skimage.color.xyz2rgb(xyz) * 255


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_an_adobe_rgb_photo_is_converted_as_its_standard_says(read, kind):
    picture = np.kron(SOIL_COLOURS, np.ones((16, 16, 1), np.uint8))
    rgb = read(encoded(picture, kind, icc_profile=matrix_profile(ADOBE_D50, ADOBE_GAMMA))).rgb[8:9, 8::16]
    wanted = adobe_as_srgb(SOIL_COLOURS)
    assert np.abs(wanted - SOIL_COLOURS).max() > 2 * PROFILE_CODES  # the profile does make a difference
    assert np.abs(rgb - wanted).max() <= PROFILE_CODES


def test_a_linear_grey_profile_is_undone(read):
    codes = np.array([[10, 60, 128, 220]], np.uint8)
    picture = Image.fromarray(np.kron(codes, np.ones((8, 8), np.uint8)))
    rgb = read(encoded(picture, "PNG", icc_profile=grey_profile(1.0))).rgb[4, 4::8, 0]
    assert np.abs(to_linear(rgb) - codes[0] / 255.0).max() < 0.006


INKS = {
    # Lab of each full mixture of C, M, Y, K on an invented press: paper, inks, overprints, black.
    (c, m, y, k): (2.0, 0.0, 0.0)
    if k
    else {
        (0, 0, 0): (100.0, 0.0, 0.0),
        (1, 0, 0): (55.0, -37.0, -50.0),
        (0, 1, 0): (48.0, 74.0, -3.0),
        (0, 0, 1): (89.0, -5.0, 93.0),
        (1, 1, 0): (24.0, 22.0, -46.0),
        (1, 0, 1): (50.0, -65.0, 27.0),
        (0, 1, 1): (47.0, 68.0, 48.0),
        (1, 1, 1): (23.0, 0.0, 0.0),
    }[c, m, y]
    for c in (0, 1)
    for m in (0, 1)
    for y in (0, 1)
    for k in (0, 1)
}


@pytest.mark.parametrize("kind", ["JPEG", "TIFF"])
def test_a_cmyk_photo_is_converted_by_its_press_profile(read, kind):
    inks = np.zeros((16, 48, 4), np.uint8)
    inks[:, 16:32] = (0, 255, 255, 0)  # magenta over yellow: a red within sRGB
    inks[:, 32:] = (255, 255, 255, 0)  # three inks: a dark grey
    photo = read(encoded(Image.fromarray(inks, "CMYK"), kind, icc_profile=cmyk_profile(INKS)))
    lab = np.array([[INKS[0, 0, 0, 0], INKS[0, 1, 1, 0], INKS[1, 1, 1, 0]]])
    # Lab is relative to white, so paper is white under either illuminant; how colours are carried
    # from one to the other differs a little between the two, and black is set to black.
    wanted = skimage.color.lab2rgb(lab) * 255
    assert np.abs(photo.rgb[8, 8::16] - wanted[0]).max() <= 8


@pytest.mark.parametrize("kind", ["JPEG", "TIFF"])
def test_a_cmyk_photo_without_a_profile_is_the_complement_of_its_inks(read, kind):
    inks = np.zeros((16, 32, 4), np.uint8)
    inks[:, 16:] = (0, 100, 200, 0)
    rgb = read(encoded(Image.fromarray(inks, "CMYK"), kind)).rgb.astype(int)
    assert np.abs(rgb[8, [4, 28]] - [[255, 255, 255], [255, 155, 55]]).max() <= LOSSY_CODES


def test_a_damaged_profile_does_not_cost_the_photo(read):
    assert np.array_equal(
        read(encoded(wall_picture(), "PNG", icc_profile=b"nonsense" * 30)).rgb, wall_picture()
    )


# --- linear light ----------------------------------------------------------------------------------


def srgb_of(linear: float) -> float:
    """The formula of IEC 61966-2-1, light to code, as the standard writes it (from memory)."""
    return 255 * (12.92 * linear if linear <= 0.0031308 else 1.055 * linear ** (1 / 2.4) - 0.055)


def test_linear_light_is_the_one_scikit_image_computes_with():
    grey = np.arange(256, dtype=np.uint8)
    luminance = skimage.color.rgb2xyz(np.repeat(grey[None, :, None], 3, axis=2))[0, :, 1]
    assert np.abs(to_linear(grey) - luminance).max() < 1e-6


@pytest.mark.parametrize("axes", [(0, 1, 2), (2, 0, 1)])
def test_lightness_and_colour_are_those_scikit_image_computes(axes):
    # Every kind of colour, from black up, greys among them.
    steps = np.arange(0, 256, 15, dtype=np.uint8)
    rgb = np.stack(np.meshgrid(steps, steps, steps), axis=-1).reshape(len(steps), -1, 3)[..., list(axes)]
    assert np.abs(to_lab(rgb) - skimage.color.rgb2lab(rgb)).max() < LAB_DIGITS
    assert to_lab(np.full((1, 1, 3), 255, np.uint8))[0, 0] == pytest.approx([100, 0, 0], abs=1e-4)


def test_every_code_comes_back_from_linear_light():
    codes = np.arange(256, dtype=np.uint8).reshape(16, 16)
    assert np.array_equal(to_srgb(to_linear(codes)), codes)
    assert to_linear(codes).dtype == np.float32


@given(st.floats(0.0, 1.0, width=32))
def test_light_is_given_the_code_nearest_to_the_standards_formula(light):
    half_a_sixteenth_bit = 255 * 12.92 / 65535  # of a code, where the curve is steepest
    assert abs(int(to_srgb(np.array([light]))[0]) - srgb_of(light)) <= 0.5 + half_a_sixteenth_bit


def test_light_beyond_the_range_is_clipped():
    assert to_srgb([-0.5, 0.0, 1.0, 7.0]).tolist() == [0, 0, 255, 255]


# --- what the camera wrote -------------------------------------------------------------------------


def exif_of(**tags: object) -> Image.Exif:
    exif = Image.Exif()
    camera = {Base[name]: value for name, value in tags.items() if name not in ("Make", "Model")}
    exif.update({Base[name]: tags[name] for name in ("Make", "Model") if name in tags})
    exif.get_ifd(0x8769).update(camera)
    return exif


@pytest.mark.parametrize("kind", ["JPEG", "HEIC"])
def test_the_35_mm_equivalent_gives_the_focal_length_in_pixels(read, kind):
    exif = exif_of(FocalLengthIn35mmFilm=26, FocalLength=5.7, Make="Maker", Model="Maker Nine")
    photo = read(encoded(wall_picture(400, 300), kind, exif))
    # The angle across the diagonal is that of a 26 mm lens on a 36 x 24 mm frame.
    half_angle = math.atan(math.hypot(36, 24) / 2 / 26)
    assert math.atan(500 / 2 / photo.focal_px) == pytest.approx(half_angle)
    assert photo.camera == "Maker Nine"


def test_the_focal_plane_resolution_gives_it_where_there_is_no_equivalent(read):
    # A sensor 22.3 mm wide with 6000 pixels across, its picture since shrunk to a tenth.
    exif = exif_of(
        FocalLength=35.0,
        FocalPlaneXResolution=6000 / 2.23,
        FocalPlaneResolutionUnit=3,
        ExifImageWidth=6000,
        ExifImageHeight=4000,
    )
    photo = read(encoded(wall_picture(600, 400), "JPEG", exif))
    assert photo.focal_px == pytest.approx(600 * 35.0 / 22.3, rel=1e-3)


def test_a_photo_on_its_side_has_the_same_focal_length(read):
    exif = exif_of(FocalLengthIn35mmFilm=26)
    upright = read(encoded(wall_picture(400, 300), "JPEG", exif)).focal_px
    exif[Base.Orientation] = 6
    assert read(encoded(wall_picture(400, 300), "JPEG", exif)).focal_px == pytest.approx(upright)


@pytest.mark.parametrize(("metres", "inches"), [(1.27, 50.0), (0.0, None), (4294967295.0, None)])
def test_the_cameras_own_distance_is_in_inches_and_its_words_for_unknown_are_none(read, metres, inches):
    photo = read(encoded(wall_picture(), "JPEG", exif_of(SubjectDistance=metres)))
    assert photo.subject_distance_in == (None if inches is None else pytest.approx(inches, rel=1e-6))


def test_a_photo_that_says_nothing_has_no_camera_and_no_focal_length(read):
    photo = read(encoded(wall_picture(), "PNG"))
    assert (photo.camera, photo.focal_px, photo.subject_distance_in) == (None, None, None)


@pytest.mark.parametrize("focal", [0, 65535])
def test_a_focal_length_no_wall_was_ever_taken_with_is_not_believed(read, focal):
    assert read(encoded(wall_picture(), "JPEG", exif_of(FocalLengthIn35mmFilm=focal))).focal_px is None


# --- what cannot be read ---------------------------------------------------------------------------


def header_only_png(columns: int, rows: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    size = struct.pack(">IIBBBBB", columns, rows, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", size) + chunk(b"IDAT", b"") + chunk(b"IEND", b"")


def test_a_photo_with_too_many_pixels_is_refused_before_any_is_decoded(read):
    with pytest.raises(
        UnreadablePhoto, match=r"40000 x 30000 pixels is 1200 megapixels.*120 allowed"
    ) as refused:
        read(header_only_png(40000, 30000), PhotoSettings())
    assert "max_megapixels" in refused.value.remedy


def test_the_pixel_limit_can_be_raised(read):
    with pytest.raises(UnreadablePhoto, match="damaged"):  # so it went on to decode what is not there
        read(header_only_png(20000, 10000), PhotoSettings(max_megapixels=250.0))


def test_a_jpeg_that_states_more_pixels_than_it_can_hold_is_refused_before_any_is_decoded(read):
    data = encoded(wall_picture(640, 480), "JPEG")
    # Start of frame: marker, length, bits, rows, columns (ITU-T T.81, B.2.2).
    at = data.index(b"\xff\xc0") + 5
    claiming = data[:at] + struct.pack(">HH", 12000, 9000) + data[at + 4 :]
    with pytest.raises(UnreadablePhoto, match=r"cut short \(\d+ bytes for 9000 x 12000 pixels\)"):
        read(claiming)


@pytest.mark.parametrize("options", [{}, {"progressive": True, "optimize": True}, {"quality": 1}])
@pytest.mark.parametrize("mode", ["L", "RGB"])
def test_the_smallest_jpeg_there_is_still_reads(read, mode, options):
    """A photo of nothing at all, packed as tightly as can be."""
    read(encoded(Image.new(mode, (3000, 2000)), "JPEG", subsampling=2, **options))


def test_a_photo_longer_than_its_pixels_can_be_looked_up_in_is_refused(read):
    """Of 92 megapixels and 12 times as long as high, which by themselves are allowed."""
    with pytest.raises(UnreadablePhoto, match=r"33,000 pixels along one side; 32,766 is the most"):
        read(encoded(Image.new("L", (33_000, 2_800)), "PNG"), PhotoSettings())


def test_a_preview_is_too_small_to_show_roots(read):
    with pytest.raises(UnreadablePhoto, match=r"160 x 120 pixels is 0.019 megapixels, less than the 0.3"):
        read(encoded(wall_picture(160, 120), "JPEG"), PhotoSettings())


@given(kind=st.sampled_from(["JPEG", "PNG", "TIFF", "HEIC"]), share=st.floats(0.0, 0.9))
@settings(max_examples=60)
def test_a_photo_cut_short_anywhere_is_refused_in_words(read, kind, share):
    whole = FILES[kind]
    with pytest.raises(UnreadablePhoto) as refused:
        read(whole[: int(len(whole) * share)])
    assert refused.value.cause.startswith("wall.jpg: ")
    assert "\n" not in refused.value.cause
    assert refused.value.remedy


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_a_photo_cut_short_is_refused_without_the_words_of_the_decoder(tmp_path, kind):
    data = encoded(textured_picture(), kind)
    (tmp_path / "broken").write_bytes(data[: len(data) // 2])
    with pytest.raises(UnreadablePhoto) as refused:
        read_photo(tmp_path / "broken", ANY_SIZE)
    assert refused.value.cause == "broken: the file is damaged or cut short."


@given(
    kind=st.sampled_from(["JPEG", "PNG", "TIFF", "HEIC"]),
    places=st.lists(
        st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=30
    ),
)
@settings(max_examples=150)
def test_damaged_bytes_never_do_worse_than_a_refusal(read, kind, places):
    data = bytearray(FILES[kind])
    for share, value in places:
        data[int(share * len(data))] = value
    try:
        assert read(bytes(data)).rgb.ndim == 3
    except UnreadablePhoto as refused:
        assert refused.remedy


FILES = {kind: encoded(textured_picture(160, 120), kind) for kind in ("JPEG", "PNG", "TIFF", "HEIC")}


@pytest.mark.parametrize("data", [b"GIF89a" + bytes(60), b"photo,wall\n", b"%PDF-1.7", b"\0" * 100])
def test_other_files_are_refused_with_the_kinds_that_are_read(read, data):
    with pytest.raises(UnreadablePhoto, match="JPEG, PNG, TIFF or HEIC"):
        read(data)


def test_a_photo_of_floating_point_numbers_is_refused_with_what_to_save_instead(read):
    with pytest.raises(UnreadablePhoto, match="ordinary JPEG"):
        read(encoded(Image.fromarray(np.zeros((64, 64), np.float32)), "TIFF"))


def test_a_missing_file_an_empty_file_and_a_folder_are_refused(read, folder):
    for name, said in (("none.jpg", "cannot be opened"), (".", "cannot be opened")):
        with pytest.raises(UnreadablePhoto, match=said):
            read_photo(folder / name)
    with pytest.raises(UnreadablePhoto, match="empty"):
        read(b"")


def test_damaged_exif_does_not_cost_the_photo(read):
    whole = encoded(wall_picture(), "JPEG", exif_of(FocalLengthIn35mmFilm=26, Make="Maker"))
    at = whole.index(b"Exif\0\0") + 6
    photo = read(whole[:at] + b"\xff" * 20 + whole[at + 20 :])
    assert photo.size_px == (96, 64)


def test_the_sample_photos_read():
    photo = read_photo(Path(__file__).parents[1] / "sample_images" / "pit1-deep.jpg")
    assert photo.size_px == (3000, 2250)


@pytest.mark.parametrize("shape", [(), (0,), (7,), (5, 3), (4, 6), (4, 6, 3), (2, 3, 4, 3)])
def test_light_has_the_shape_of_its_codes_and_comes_back_to_them(shape):
    codes = np.random.default_rng(2).integers(0, 256, shape, dtype=np.uint8)
    light = to_linear(codes)
    assert light.shape == shape and light.dtype == np.float32
    assert np.array_equal(to_srgb(light), codes)
