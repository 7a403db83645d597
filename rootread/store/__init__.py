"""Where photos lie and results go, on this machine or in a store, and files written whole or not at all."""

from rootread.store.files import file_stem, remove_parts, write_bytes, write_json, writing
from rootread.store.places import is_here, on_disk, place

__all__ = [
    "file_stem",
    "is_here",
    "on_disk",
    "place",
    "remove_parts",
    "write_bytes",
    "write_json",
    "writing",
]
