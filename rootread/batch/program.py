"""Which program this is: results made by another one are made again."""

import hashlib
from functools import cache
from importlib.metadata import version
from pathlib import Path

LIBRARIES = (
    "networkx",
    "numpy",
    "onnxruntime",
    "opencv-python-headless",
    "pandas",
    "pillow",
    "pillow-heif",
    "scikit-image",
    "scipy",
)
"""What the figures of a wall are computed with."""
NOT_READING = (
    *("check", "compare", "desk", "scene", "train"),
    *("cli.py", "console.py", "outfile.py", "tasks.py"),
    "__pycache__",
)
"""What has no say in a wall's result."""


@cache
def program() -> str:
    """Hash of the code that reads walls, of the network's weights, and of the libraries' versions.

    The version alone does not do: whoever pulls the latest code into a working
    copy has new code under the old version.
    """
    digest = hashlib.sha256()
    package = Path(__file__).parent.parent
    for path in sorted(package.rglob("*")):
        within = path.relative_to(package)
        if path.is_file() and within.parts[0] not in NOT_READING and path.suffix != ".pyc":
            _add(digest, within.as_posix().encode(), path.read_bytes())
    for library in LIBRARIES:
        _add(digest, library.encode(), version(library).encode())
    return digest.hexdigest()


def _add(digest: "hashlib._Hash", *parts: bytes) -> None:
    for part in parts:
        digest.update(len(part).to_bytes(8, "big") + part)
