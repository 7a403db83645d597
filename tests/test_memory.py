"""A process that reads walls uses freed memory again; what happens otherwise is shown beside it."""

import platform
import subprocess
import sys

import pytest

CODE = """
import resource, sys
from rootread.memory import keep_freed_memory
import numpy as np
if sys.argv[1] == "keep":
    keep_freed_memory()
def picture():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    np.ones((3000, 4000), np.float32)
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
picture()
print(picture())
"""


def pages_asked_for(way: str) -> int:
    """By the second of two pictures, the first of which was freed."""
    done = subprocess.run([sys.executable, "-c", CODE, way], capture_output=True, text=True, check=True)
    return int(done.stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only glibc is told to keep memory")
def test_a_second_picture_uses_the_memory_of_the_first() -> None:
    assert pages_asked_for("keep") < 5
    assert pages_asked_for("give back") > 20
