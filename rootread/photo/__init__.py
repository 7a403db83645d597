"""Read a photo from disk, upright and in known colour."""
