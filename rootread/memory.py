"""Memory that was used once is used again, instead of being given back and asked for anew."""

import ctypes
import sys

ARENAS, LARGEST_BLOCKS, TRIM_FROM = -8, -4, -1
"""glibc's names for them are M_ARENA_MAX, M_MMAP_MAX and M_TRIM_THRESHOLD (malloc.h; numbers from memory)."""


def keep_freed_memory() -> None:
    """Have this process keep what it frees: for a process that reads walls and then ends.

    Pictures come and go while a wall is read. Each is given back to the system and the next one
    asked for anew, page by page, which costs more than most of the arithmetic on it. What is kept
    is used by the next picture. Other systems than Linux with glibc stay as they are.
    """
    if not sys.platform.startswith("linux"):
        return
    try:
        set_option = ctypes.CDLL(None).mallopt
    except AttributeError:  # A Linux without glibc.
        return
    # One pool for all threads, so that one uses what another freed; no block apart from it; no trimming.
    for option, value in ((ARENAS, 1), (LARGEST_BLOCKS, 0), (TRIM_FROM, 2**31 - 1)):
        set_option(option, value)
