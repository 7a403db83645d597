"""What the desk asks a person to look at first."""

from types import SimpleNamespace as Seen

import pytest

from rootread.desk.looks import looks, urgency
from rootread.fieldsheet import SheetRow
from rootread.units import lengths_shown_in


def reading(
    *,
    scale_share=0.002,
    scale_kind="card",
    surface_source="photo",
    surface_se_in=0.1,
    level_se_deg=0.5,
    roots=((10.0, 0.9), (8.0, 0.8)),
    verdict="slowed",
    cautions=(),
    tool_depth_in=14.0,
    shanks_at_in=(),
):
    """A reading of which all is sure, but for what is told; ``roots`` are lengths (in) and confidences."""
    return Seen(
        plane=Seen(
            scale=Seen(kind=scale_kind, px_per_in=60.0, px_per_in_se=60.0 * scale_share),
            surface=Seen(source=surface_source, se_in=surface_se_in),
            level=Seen(se_deg=level_se_deg),
        ),
        readings=Seen(
            roots=[
                Seen(length_in=length_in, trace=Seen(confidence=confidence))
                for length_in, confidence in roots
            ]
        ),
        grade=Seen(verdict=verdict),
        marks=Seen(checked=None),
        seen=Seen(cautions=cautions, deepest_in=28.0, across_in=(-3.0, 38.0)),
        row=SheetRow("a.jpg", "a", tool_depth_in=tool_depth_in, shanks_at_in=shanks_at_in, row=2),
    )


def test_a_wall_of_which_all_is_sure_needs_no_look():
    assert looks(reading()) == []
    assert urgency([]) == 0


@pytest.mark.parametrize(
    ("doubt", "part", "said"),
    [
        ({"scale_share": 0.02}, "scale", "sure only to 4.0 %: mark two points"),
        ({"scale_share": 0.02, "scale_kind": "points"}, "scale", "mark points farther apart"),
        ({"surface_source": "assumed"}, "surface", "No soil surface was seen"),
        ({"surface_se_in": 0.8}, "surface", "sure only to 1.6 in"),
        ({"level_se_deg": 3.0}, "level", "sure only to 6.0 degrees"),
        ({"roots": ()}, "roots", "No roots were found"),
        ({"roots": ((10.0, 0.9), (5.0, 0.3))}, "roots", "33 % of the root length"),
        ({"verdict": "slowed or turned"}, "verdict", "lies on an edge: slowed or turned"),
        (
            {"tool_depth_in": 36.0},
            "wall",
            "the tool at 36.0 in, but the photo shows the wall down to 28.0 in",
        ),
        ({"shanks_at_in": (-90.0,)}, "wall", "shanks at 90 in left, but the photo shows the wall"),
        ({"cautions": ("The wall ends at the pit floor.",)}, "wall", "pit floor"),
    ],
)
def test_each_doubt_of_a_wall_is_told(doubt, part, said):
    (only,) = looks(reading(**doubt))
    assert only.part == part
    assert said in only.says


def test_doubts_are_told_in_the_unit_of_the_desk():
    with lengths_shown_in("cm"):
        (only,) = looks(reading(surface_se_in=1.0))
    assert "sure only to 5.1 cm" in only.says


def test_a_little_length_in_doubtful_traces_needs_no_look():
    assert looks(reading(roots=((10.0, 0.9), (1.0, 0.3)))) == []


def test_a_scale_hardly_known_comes_before_a_verdict_on_an_edge_and_that_before_a_doubtful_surface():
    found = looks(reading(scale_share=0.05, verdict="open or slowed", surface_se_in=0.8))
    assert [look.part for look in found] == ["scale", "verdict", "surface"]


def test_walls_are_ordered_by_their_most_urgent_doubt_then_by_how_many_there_are():
    unknown_scale = looks(reading(scale_share=0.05))
    on_an_edge = looks(reading(verdict="open or slowed"))
    on_an_edge_and_tilted = looks(reading(verdict="open or slowed", level_se_deg=3.0))
    assert urgency(unknown_scale) > urgency(on_an_edge_and_tilted) > urgency(on_an_edge) > 0
