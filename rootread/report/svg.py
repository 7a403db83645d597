"""The strokes and letters that the page's drawings are made of, as SVG."""

from collections.abc import Iterable, Sequence

from markupsafe import Markup


def line(x0: float, y0: float, x1: float, y1: float, kind: str) -> Markup:
    """A straight line; ``kind`` is its class in the style sheet."""
    return Markup('<path d="M{:.1f} {:.1f}L{:.1f} {:.1f}" class="{}"/>').format(x0, y0, x1, y1, kind)


def path(points: Iterable[tuple[float, float]], kind: str, closed: bool = False) -> Markup:
    """A line through points, or the area they enclose."""
    shape = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    return Markup('<path d="M{}{}" class="{}"/>').format(shape, "Z" if closed else "", kind)


def text(x: float, y: float, words: str, anchor: str, kind: str = "") -> Markup:
    """Letters; ``anchor`` is start, middle or end."""
    return Markup('<text x="{:.1f}" y="{:.1f}" text-anchor="{}" class="{}">{}</text>').format(
        x, y, anchor, kind, words
    )


def svg(size: tuple[int, int], label: str, parts: Sequence[Markup]) -> Markup:
    """A drawing; ``label`` says in words what it shows."""
    opening = Markup('<svg viewBox="0 0 {} {}" role="img" aria-label="{}">').format(*size, label)
    return opening + Markup("").join(parts) + Markup("</svg>")
