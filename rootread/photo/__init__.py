"""Read a photo from disk, upright and in known colour."""

from rootread.photo.lab import to_lab
from rootread.photo.linear import to_linear, to_srgb
from rootread.photo.read import PHOTO_ENDINGS, holds_photos, read_photo
from rootread.photo.types import Photo

__all__ = ["PHOTO_ENDINGS", "Photo", "holds_photos", "read_photo", "to_lab", "to_linear", "to_srgb"]
