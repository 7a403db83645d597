"""A contrast as one page that carries everything inside itself."""

from collections.abc import Sequence

from rootread.compare.contrast import Contrast
from rootread.compare.depthplot import profile_plot
from rootread.compare.depths import DepthProfile
from rootread.compare.effect import LEVEL, holm
from rootread.compare.names import isolated, named
from rootread.compare.plots import measure_plot
from rootread.compare.words import closing, opening, sentences
from rootread.report.section import template
from rootread.report.words import count, kept_together, listing


def contrast_page(contrast: Contrast, profiles: Sequence[DepthProfile] = ()) -> str:
    """The contrast as HTML: what differs, each measure drawn and said, root by depth, cautions."""
    return str(
        template("contrast.html").render(
            title=_begun(f"{_compared(contrast)}: what the walls show"),
            opening=[_begun(sentence) for sentence in opening(contrast)],
            headline=headline(contrast),
            measures=[
                {
                    "name": measure.words,
                    "meaning": measure.meaning,
                    "told": [_begun(sentence) for sentence in sentences(contrast, measure.name)],
                    "plot": measure_plot(contrast, measure),
                }
                for measure in contrast.measures
            ],
            many=contrast.many,
            depths=profile_plot(profiles, contrast.treatments, contrast.many),
            closing=closing(contrast),
        )
    )


def _begun(sentence: str) -> str:
    """A sentence that begins with a treatment's name begins with a capital like others."""
    return kept_together(sentence[:1].upper() + sentence[1:])


def _compared(contrast: Contrast) -> str:
    if contrast.many:
        kinds = "treatments" if contrast.by == "treatment" else f"kinds of {contrast.by}"
        return f"{len(contrast.treatments)} {kinds}"
    return named(contrast.treatments)


def headline(contrast: Contrast) -> str:
    """The contrast in one sentence."""
    if all(pair.test is None for pair in contrast.pairs):
        return "One pit of a treatment says nothing about the treatment."
    sure = [pair for pair in contrast.pairs if pair.test and pair.p_holm < LEVEL]
    if not sure:
        if together := differing_together(contrast):
            words = f"Taken together, the treatments differ in {listing(together)}"
            return f"{words}; to say which from which takes more pits."
        if all(pair.test.least_p > LEVEL for pair in contrast.pairs if pair.test):
            which = "any two" if len(contrast.treatments) > 2 else "the"
            return f"Too few pits to tell {which} treatments apart."
        return "No difference beyond what chance alone would make."
    if contrast.many:
        return f"{count(len(sure), 'difference')} beyond what chance alone would make."
    told = [f"{pair.measure.words} ({isolated(pair.first)} against {isolated(pair.second)})" for pair in sure]
    return f"The treatments differ in {listing(told)}."


def differing_together(contrast: Contrast) -> list[str]:
    """Figures in which more than two treatments differ over all, corrected (Holm) for so many figures."""
    tested = [measure for measure in contrast.measures if measure.name in contrast.overall]
    corrected = holm([contrast.overall[measure.name].test.p_value for measure in tested])
    return [measure.words for measure, p in zip(tested, corrected, strict=True) if p < LEVEL]
