"""Odd texts, lengths, names and numbers, and sheets, marks and settings made of them."""

import csv
import io
import json
from copy import deepcopy
from typing import Any

import numpy as np
from bad_pictures import WALL_PX, Rng

from rootread.fieldsheet import COLUMNS
from rootread.settings import Settings, settings_toml

ODD_TEXTS = (
    "=1+1",
    '=HYPERLINK("http://example.org","go")',
    "+SUM(A1)",
    "-2+3",
    "@cmd",
    "\t=1",
    "\r\n=1",
    "＝1+1",
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style></title><svg onload=alert(1)>",
    "' onmouseover='x",
    "{{ 7 * 7 }}{% raw %}",
    "javascript:alert(1)",
    "&lt;b&gt;&#x0;",
    "grøft nr. 2",
    "Яма восточная",
    "土壌断面 三号",
    "חתך קרקע",
    "قطاع التربة",
    "\u202egnp.llaw\u202c",
    "e\u0301e\u0301",
    "🌽🌱",
    "\x00",
    "a\x1bb[31m",
    "%s%n{0}",
    "CON",
    "..",
    " ",
    "a" * 3000,
    "wall\nwall",
)
ODD_LENGTHS = (
    "0",
    "-1",
    "1e308",
    "1e-308",
    "1e400",
    "9" * 5000,
    "1/" + "9" * 5000,
    "1/0",
    "6 1/2",
    "12,000",
    "nan",
    "inf",
    "٣",
    "¼",
    "1 ft 1 ft",
    "card:1e-9",
    "card:1e9",
    "staff:0.001",
    "card:2.0",
    "tape:1",
    "disk 6; pan 1e300",
    "; ".join(f"l{k} {k + 1}" for k in range(800)),
    "; ".join(str(k) for k in range(-400, 400)),
    "disk 1e-300",
    "8 m",
    "0.0001 mm",
    "1000000",
)
ODD_NUMBERS = (0, -1, 1, 0.5, 1e-12, -1e-9, 1e9, 1e18, 1e308, 3, 7.5, 2**31, 2**63, 10**400, 90, 180, 400)
ODD_VALUES: tuple[Any, ...] = (
    *ODD_NUMBERS,
    None,
    True,
    "3",
    "",
    [],
    {},
    [[]],
    [None],
    float("nan"),
    float("inf"),
    {"px": [1, 2]},
    [1, 2, 3],
    "root",
    [[0, 0], [0, 0]],
    [["a", "b"]],
)


def odd_text(rng: Rng) -> str:
    text = str(rng.choice(np.array(ODD_TEXTS, dtype=object)))
    return text if rng.random() < 0.7 else text + str(rng.choice(np.array(ODD_TEXTS, dtype=object)))


def odd_length(rng: Rng) -> str:
    return str(rng.choice(np.array(ODD_LENGTHS, dtype=object)))


def odd_name(rng: Rng) -> bytes:
    """A file name as bytes, one that the file system takes."""
    way = int(rng.integers(4))
    if way == 0:
        name = bytes(b for b in rng.bytes(int(rng.integers(1, 60))) if b not in b"/\0")
    elif way == 1:
        name = str(rng.choice(["語", "é", "я", "🌽", "a"])).encode() * int(rng.integers(1, 240))
        while len(name) > 240:
            name = name.decode()[:-1].encode()
    else:
        name = odd_text(rng).replace("/", "").replace("\0", "").encode()[:200]
        name = name.decode("utf-8", "ignore").encode()
    return name.strip(b".") or b"plain"


def table(rows: list[dict[str, str]]) -> str:
    columns = list(dict.fromkeys(column for row in rows for column in row))
    text = io.StringIO()
    writer = csv.DictWriter(text, columns)
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def odd_sheet(rng: Rng) -> str:
    """A sheet of which any cell, column or quote may be odd."""
    rows = []
    for number in range(int(rng.integers(0, 6))):
        row = {"photo": f"p{number}.jpg"}
        for column in COLUMNS:
            if rng.random() < 0.05:
                row[column] = odd_length(rng) if rng.random() < 0.5 else odd_text(rng)
        rows.append(row)
    text = table(rows) if rows else "photo\n"
    if rng.random() < 0.1:
        text += "".join(f"q{k}.jpg\n" for k in range(int(rng.integers(1000, 20_000))))
    if rng.random() < 0.2:
        text = text.replace(",", str(rng.choice([";", "\t", "|", ",,"])))
    if rng.random() < 0.2:
        text = text.replace('"', "").replace("\n", str(rng.choice(["\r", "\r\n", "\n\n", " "])))
    return text


def with_odd_cells(text: str, rng: Rng) -> str:
    lines = [line.split(",") for line in text.splitlines()]
    for _ in range(int(rng.integers(1, 20))):
        line = lines[int(rng.integers(len(lines)))]
        place = int(rng.integers(len(line)))
        line[place] = odd_text(rng) if rng.random() < 0.5 else odd_length(rng)
    return "\n".join(",".join(line) for line in lines)


def odd(rng: Rng) -> Any:
    # A copy, since values are put into one another.
    return deepcopy(ODD_VALUES[int(rng.integers(len(ODD_VALUES)))])


def places_px(rng: Rng, least: int = 0, most: int = 6, reach: float = 1.2) -> list[list[float]]:
    size = np.array(WALL_PX)
    middle = (rng.random((int(rng.integers(least, most + 1)), 2)) - 0.5) * reach + 0.5
    return [[float(x), float(y)] for x, y in middle * size]


def likely_marks(rng: Rng) -> dict[str, Any]:
    """Marks of the right form, with places and widths that need not make sense."""
    reach = float(rng.choice([0.3, 0.5, 0.8, 1.0, 1.5, 50.0, 1e6, 1e12]))
    marks: dict[str, Any] = {"version": 1}
    if rng.random() < 0.4:
        marks["scale_points"] = [{"px": place} for place in places_px(rng, 2, 2, reach)]
        marks["distance_in"] = float(rng.choice([1e-6, 0.1, 10, 36, 1e4, 1e9]))
    elif rng.random() < 0.5:
        marks["scale_points"] = corners(rng)
    for line in ("surface_px", "outline_px", "loosened_floor_px"):
        if rng.random() < 0.4:
            marks[line] = places_px(rng, 3, 5, reach)
    width = float(rng.choice([0.01, 1, 9, 300, 1e5, 1e12]))
    if rng.random() < 0.5:
        marks["roots_added"] = [
            {"points_px": places_px(rng, 2, 8, reach), "width_px": width} for _ in range(int(rng.integers(4)))
        ]
    if rng.random() < 0.4:
        marks["roots_struck_px"] = [places_px(rng, 1, 5, reach) for _ in range(int(rng.integers(4)))]
    if rng.random() < 0.1:
        marks["strokes"] = [scribble(rng)]
    elif rng.random() < 0.5:
        marks["strokes"] = [
            {
                "says": str(rng.choice(["root", "soil"])),
                "points_px": places_px(rng, 1, 4, reach),
                "width_px": width,
            }
            for _ in range(int(rng.integers(4)))
        ]
    return marks


def corners(rng: Rng) -> list[dict[str, Any]]:
    """A rectangle's four corners, as a camera from anywhere might see them, or none at all."""
    width_in = float(rng.choice([1e-6, 3, 20, 20, 20, 60, 1e9]))
    px = np.array([[100, 100], [500, 120], [510, 400], [90, 420]]) + rng.normal(
        0, float(rng.choice([0, 20, 80])), (4, 2)
    )
    at_in = ([0, 0], [width_in, 0], [width_in, 12], [0, 12])
    return [{"px": place, "at_in": list(at)} for place, at in zip(px.tolist(), at_in, strict=True)]


def scribble(rng: Rng) -> dict[str, Any]:
    """One stroke back and forth over a patch of the photo, with a fine brush or a broad one."""
    width_px = float(rng.choice([1.0, 3.0, 9.0, 30.0, 120.0]))
    places = places_px(rng, 2, int(rng.choice([8, 40, 300])), float(rng.choice([0.1, 0.3, 0.9])))
    return {"says": "root", "points_px": places, "width_px": width_px}


def odd_marks(rng: Rng) -> Any:
    """Likely marks of which some values, at any depth, are of another kind."""
    marks: Any = likely_marks(rng)
    if rng.random() < 0.3:
        marks["photo_size_px"] = odd(rng) if rng.random() < 0.5 else [int(WALL_PX[0]), odd(rng)]
    for _ in range(int(rng.integers(0, 4))):
        at: Any = marks
        while True:
            if isinstance(at, dict) and at:
                key: Any = str(rng.choice(list(at)))
            elif isinstance(at, list) and at:
                key = int(rng.integers(len(at)))
            else:
                break
            if rng.random() < 0.4 or not isinstance(at[key], (dict, list)):
                at[key] = odd(rng)
                break
            at = at[key]
    return odd(rng) if rng.random() < 0.03 else marks


def odd_settings(rng: Rng, count: int) -> str:
    """The settings' own text with some values, names or lines odd."""
    lines = settings_toml(Settings()).splitlines()
    keys = [k for k, line in enumerate(lines) if "=" in line]
    for place in rng.choice(keys, min(count, len(keys)), replace=False):
        name = lines[place].split("=")[0]
        value = odd(rng)
        text = json.dumps(value) if not isinstance(value, float) else repr(value)
        lines[place] = f"{name}= {text}"
    if rng.random() < 0.1:
        lines.insert(
            int(rng.integers(len(lines))), str(rng.choice(["[x]", "a = 1", "]", '"""', "[find]", "\0"]))
        )
    return "\n".join(lines)
