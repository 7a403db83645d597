"""Found layers and those that a person wrote on the sheet are told which is which."""

from dataclasses import replace

from rootread.fieldsheet import RecordedLayer, SheetRow
from rootread.judge.recorded import with_recorded
from rootread.judge.shape import LayerLine
from rootread.judge.types import Layer
from rootread.report.words import recorded_besides

DISK, PLOW, HORIZON = RecordedLayer("disk", 7.5), RecordedLayer("plow", 8.0), RecordedLayer("A/B", 12.1)


def layer(depth_in, recorded=None, fitted=None):
    return Layer(depth_in, 0.2, -10.0, 10.0, 20, 4, 14, 2, 60.0, 0.001, recorded, fitted)


def names(layers, *recorded):
    return [one.recorded for one in with_recorded(layers, recorded)]


def test_each_layer_is_the_recorded_one_nearest_to_it():
    assert names([layer(7.4), layer(12.4)], DISK, PLOW, HORIZON) == ["disk", "A/B"]


def test_one_recorded_layer_is_not_two_found_ones():
    assert names([layer(7.2), layer(8.1)], RecordedLayer("pan", 7.9)) == [None, "pan"]
    assert names([layer(7.2), layer(8.1)], DISK, PLOW) == ["disk", "plow"]


def test_a_layer_beyond_the_joint_uncertainty_is_unrecorded():
    # twice the root of 0.2^2 + 0.5^2 is 1.08 in
    assert names([layer(6.4)], DISK) == [None] and names([layer(6.5)], DISK) == ["disk"]


def test_a_sloped_layer_is_one_that_was_recorded_at_either_end():
    sloped = layer(7.0, fitted=LayerLine("sloped", ((-10.0, 5.0), (10.0, 9.0))))
    assert names([sloped], RecordedLayer("pan", 9.5)) == ["pan"]
    assert names([replace(sloped, fitted=None)], RecordedLayer("pan", 9.5)) == [None]


def test_a_name_that_a_person_gave_stays_and_is_not_given_again():
    assert names([layer(7.0, "disk"), layer(8.1)], DISK) == ["disk", None]
    pans = RecordedLayer("pan", 7.5), RecordedLayer("pan", 12.0)
    assert names([layer(7.4, "pan"), layer(12.2)], *pans) == ["pan", "pan"]


def test_the_report_says_which_recorded_layers_the_roots_do_not_show():
    row = SheetRow("a.jpg", "a", layers=(DISK, PLOW, HORIZON))
    assert recorded_besides([layer(7.4, "disk")], row) == [
        "The sheet also records plow 8 in, too near to tell apart from the layer that was found.",
        "The sheet also records A/B 12.1 in; roots show no layer there.",
    ]
    assert recorded_besides([], row) == [
        "The sheet records disk 7.5 in, plow 8 in and A/B 12.1 in; roots show no layer there."
    ]
    assert recorded_besides([layer(7.4, "disk")], replace(row, layers=(DISK,))) == []
