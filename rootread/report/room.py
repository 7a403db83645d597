"""How high a wall's photo may be on paper, to stand on one page with its text, legend and figures."""

import math
from collections.abc import Iterable, Sequence

HIGHEST_MM, LEAST_MM = 126, 74
"""Of the photo; a lower one would show no roots, so that its text goes on to the next page."""
PAGE_MM = 216.0
"""Of a Letter page, within its margins, below the wall's name and without what is counted below;
A4 is higher."""
LETTERS, SMALL_LETTERS, FIGURE_LETTERS = 114, 136, 25
"""That a line holds of sentences, of small print, and of a key figure, of which four stand side by side."""
LINE_MM, SMALL_LINE_MM, APART_MM = 4.0, 3.4, 1.3
NOTE_MM = 3.4
"""Above and below the words of a caution."""
ADVICE_MM = 0.5
"""Between a piece of advice and its evidence."""
ACROSS = 4


def photo_height_mm(
    story: Sequence[str],
    cautions: Sequence[str],
    advice: Sequence[tuple[str, str]],
    keys: Sequence[str],
    figures: Sequence[tuple[str, str]],
) -> int:
    """What the words of a wall leave of its page, by the lines they are likely to take.

    Parameters
    ----------
    story, cautions : a paragraph each.
    advice : each piece with its evidence.
    keys : what the legend says of each kind of mark.
    figures : name and value of each key figure.
    """
    taken = _lines(story, LETTERS) * LINE_MM + len(story) * APART_MM
    taken += _lines(cautions, LETTERS) * LINE_MM + len(cautions) * NOTE_MM
    texts, evidence = [text for text, _ in advice], [why for _, why in advice]
    taken += _lines(texts, LETTERS) * LINE_MM + _lines(evidence, SMALL_LETTERS) * SMALL_LINE_MM
    taken += len(advice) * (APART_MM + ADVICE_MM)
    taken += _legend_lines(keys) * LINE_MM + _figures_mm(figures)
    return round(min(max(PAGE_MM - taken, LEAST_MM), HIGHEST_MM))


def _lines(paragraphs: Iterable[str], letters: int) -> int:
    return sum(math.ceil(len(paragraph) / letters) for paragraph in paragraphs)


def _legend_lines(keys: Sequence[str]) -> int:
    """The descent scale takes the room of a line's third, each sample that of ten letters."""
    return math.ceil((LETTERS / 3 + sum(len(key) + 10 for key in keys)) / LETTERS)


def _figures_mm(figures: Sequence[tuple[str, str]]) -> float:
    """Row by row as high as the longest of a row, under a line with its name."""
    rows = [figures[k : k + ACROSS] for k in range(0, len(figures), ACROSS)]
    lines = [1 + max(math.ceil(len(value) / FIGURE_LETTERS) for _, value in row) for row in rows]
    return sum(lines) * SMALL_LINE_MM + len(rows) * APART_MM
