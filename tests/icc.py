"""Small colour profiles made by hand, for tests of photos that carry one (ICC.1:2001-04, version 2)."""

import struct

# Nominal D50 white of the profile connection space.
D50 = (0.9642, 1.0, 0.8249)


def matrix_profile(primaries: dict[str, tuple[float, float, float]], gamma: float) -> bytes:
    """An RGB profile from its D50 primaries ``{"r": XYZ, "g": XYZ, "b": XYZ}`` and one power curve."""
    curve = struct.pack(">4s4xIH2x", b"curv", 1, round(gamma * 256))
    tags = {f"{name}XYZ": _xyz(value) for name, value in primaries.items()}
    tags |= {f"{name}TRC": curve for name in "rgb"}
    return _profile(b"RGB ", b"XYZ ", b"mntr", tags)


def grey_profile(gamma: float) -> bytes:
    """A grey profile with one power curve."""
    return _profile(
        b"GRAY", b"XYZ ", b"mntr", {"kTRC": struct.pack(">4s4xIH2x", b"curv", 1, round(gamma * 256))}
    )


def cmyk_profile(lab_of: dict[tuple[int, int, int, int], tuple[float, float, float]]) -> bytes:
    """A press profile from the Lab of each of the 16 full-ink mixtures ``{(C, M, Y, K): Lab}``."""
    identity = tuple(range(256))
    grid = bytearray()
    for index in range(16):
        lightness, a, b = lab_of[tuple((index >> shift) & 1 for shift in (3, 2, 1, 0))]  # type: ignore[index]
        grid += bytes([round(lightness * 2.55), round(a + 128), round(b + 128)])
    matrix = struct.pack(">9i", *(65536 if k % 4 == 0 else 0 for k in range(9)))
    table = struct.pack(">4s4xBBBx", b"mft1", 4, 3, 2) + matrix
    table += bytes(identity) * 4 + bytes(grid) + bytes(identity) * 3
    return _profile(b"CMYK", b"Lab ", b"prtr", {"A2B0": table, "A2B1": table})


def _xyz(value: tuple[float, float, float]) -> bytes:
    return struct.pack(">4s4x3i", b"XYZ ", *(round(part * 65536) for part in value))


def _profile(space: bytes, connection: bytes, kind: bytes, tags: dict[str, bytes]) -> bytes:
    text = b"test profile\0"
    description = struct.pack(">4s4xI", b"desc", len(text)) + text + bytes(78)
    tags = {"desc": description, "wtpt": _xyz(D50), **tags}
    directory, body = struct.pack(">I", len(tags)), b""
    offset = 128 + 4 + 12 * len(tags)
    for name, value in tags.items():
        value += bytes(-len(value) % 4)
        directory += struct.pack(">4sII", name.encode(), offset + len(body), len(value))
        body += value
    header = struct.pack(">I4sI4s4s4s", offset + len(body), b"\0" * 4, 0x02400000, kind, space, connection)
    header += struct.pack(">6H4s", 2020, 1, 1, 0, 0, 0, b"acsp") + bytes(28)
    header += struct.pack(">3i", *(round(part * 65536) for part in D50)) + bytes(48)
    return header + directory + body
