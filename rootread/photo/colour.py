"""Any picture Pillow decodes, as 8-bit sRGB without transparency."""

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms

SIXTEEN_BIT_GREY = ("I;16", "I;16L", "I;16B", "I;16N")
# Middle grey, CIE L* = 50: neither root nor soil, so see-through parts show nothing to follow.
BEHIND = 119
# Pillow's modes that a colour profile can speak of, with the profile's own name of the space.
PROFILE_SPACE = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK"}
MODES = ("1", "L", "LA", "La", "P", "PA", "RGB", "RGBA", "RGBa", "RGBX", "CMYK", "YCbCr", *SIXTEEN_BIT_GREY)


def flat_srgb(image: Image.Image) -> NDArray[np.uint8]:
    """``(H, W, 3)`` sRGB of a picture in one of ``MODES``.

    Sixteen bits are rounded to eight. Transparency is laid over middle grey.
    An embedded profile (Display P3, Adobe RGB, grey, a CMYK press) is applied;
    without one, colours are taken as sRGB and CMYK as its plain complement.
    """
    profile = image.info.get("icc_profile")
    if image.mode in SIXTEEN_BIT_GREY:
        image = Image.fromarray(_eight_bits(np.asarray(image)))
    if image.has_transparency_data:
        rgba = image.convert("RGBA")
        image = Image.new("RGBA", image.size, (BEHIND, BEHIND, BEHIND, 255))
        image.alpha_composite(rgba)
    if image.mode not in PROFILE_SPACE:
        image = image.convert("RGB")
    return np.asarray(by_profile(image, profile))


def by_profile(image: Image.Image, profile: bytes | None) -> Image.Image:
    """An RGB, L or CMYK picture as sRGB; a profile that is damaged or of another space is left aside."""
    if not profile:
        return image.convert("RGB")
    try:
        source = ImageCms.getOpenProfile(io.BytesIO(profile))
        is_srgb = "srgb" in ImageCms.getProfileDescription(source).lower()
        if is_srgb or source.profile.xcolor_space.strip() != PROFILE_SPACE[image.mode]:
            return image.convert("RGB")
        converted = ImageCms.profileToProfile(
            image,
            source,
            ImageCms.createProfile("sRGB"),
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
            outputMode="RGB",
            flags=ImageCms.Flags.BLACKPOINTCOMPENSATION,
        )
    except (ImageCms.PyCMSError, OSError):
        return image.convert("RGB")
    assert converted is not None  # only an in-place conversion returns nothing
    return converted


def _eight_bits(grey: NDArray[np.uint16]) -> NDArray[np.uint8]:
    """0-65535 to the nearest of 0-255: one code is 257."""
    return ((grey.astype(np.uint32) + 128) // 257).astype(np.uint8)
