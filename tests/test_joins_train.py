"""Learning which joins are right; skipped where the extra ``train`` is not installed."""

import math
from importlib.resources import files
from pathlib import Path

import numpy as np
import onnxruntime
import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
onnx = pytest.importorskip("onnx", reason="onnx comes with the extra 'train'")

from rootread.follow.eye import FACTS, WEIGHTS  # noqa: E402
from rootread.follow.strips import ACROSS, CHANNELS, LENGTH  # noqa: E402
from rootread.train.joins.average import average  # noqa: E402
from rootread.train.joins.export import examples, export  # noqa: E402
from rootread.train.joins.net import JoinNet, widened  # noqa: E402
from rootread.train.joins.run import Examples, end_loss, learn  # noqa: E402
from rootread.train.joins.truth import Member, right_joins  # noqa: E402
from rootread.train.joins.tune import LastLayers, numbers, seen_by, tune  # noqa: E402
from rootread.train.quantise import quantise  # noqa: E402


def kept_wall(folder: Path, seed: int, joins: int = 24) -> Path:
    """A file of joins whose right ones have a bright middle."""
    rng = np.random.default_rng(seed)
    right = rng.random(joins) < 0.5
    strips = rng.integers(0, 80, (joins, CHANNELS, ACROSS, LENGTH)).astype(np.uint8)
    strips[:, 4] = 255
    strips[right, :3, 8:16] = 230
    pair = np.column_stack([np.arange(joins) // 2, 12 + np.arange(joins) % 12]).astype(np.int32)
    path = folder / f"wall-{seed}.npz"
    np.savez(
        path,
        strips=strips,
        facts=rng.normal(0, 1, (joins, FACTS)).astype(np.float32),
        pair=pair,
        right=right,
        apart=np.full(24, 3.0, np.float32),
        learnt=np.ones(24, bool),
    )
    return path


def test_the_loss_of_an_end_is_that_of_its_right_join_against_all_else() -> None:
    """Two joins cost 0 and 1, the first is right, ending there costs 2: -log(1 / (1 + e^-1 + e^-2))."""
    cost, place = torch.tensor([0.0, 1.0]), torch.tensor([0, 0])
    apart = torch.tensor([2.0])
    found = end_loss(cost, torch.tensor([True, False]), place, apart)
    assert float(found) == pytest.approx(math.log(1 + math.exp(-1) + math.exp(-2)), rel=1e-5)
    none = end_loss(cost, torch.tensor([False, False]), place, apart)
    assert float(none) == pytest.approx(2 + math.log(1 + math.exp(-1) + math.exp(-2)), rel=1e-5)


def test_two_right_joins_of_an_end_are_no_rivals() -> None:
    """Both cost 0, ending there costs 2, no other: -log(1 / (1 + e^-2)), as of one alone."""
    apart = torch.tensor([2.0])
    two = end_loss(torch.zeros(2), torch.tensor([True, True]), torch.tensor([0, 0]), apart)
    one = end_loss(torch.zeros(1), torch.tensor([True]), torch.tensor([0]), apart)
    assert float(two) == pytest.approx(float(one), rel=1e-6)
    assert float(one) == pytest.approx(math.log(1 + math.exp(-2)), rel=1e-5)


def test_joins_are_found_by_their_ends(tmp_path: Path) -> None:
    both = Examples.read([kept_wall(tmp_path, 1), kept_wall(tmp_path, 2)], torch.device("cpu"))
    join, place = both.at(torch.tensor([0, 24]))
    assert sorted(join[place == 0].tolist()) == [0, 1]
    assert sorted(join[place == 1].tolist()) == [24, 25]


def test_the_network_starts_as_the_weighted_sum() -> None:
    net = JoinNet().eval()
    facts = torch.randn(4, FACTS)
    strips = torch.zeros(4, CHANNELS, ACROSS, LENGTH, dtype=torch.uint8)
    assert torch.allclose(net(strips, facts), facts[:, 0])


def test_a_few_steps_are_learnt_and_written_as_onnx(tmp_path: Path) -> None:
    files = [kept_wall(tmp_path, seed) for seed in range(3)]
    learn(files, tmp_path / "out.pt", minutes=0.02, rate=1e-3, resume=None, ends=16)
    export(tmp_path / "out.pt", tmp_path / "exact.onnx")
    quantise(tmp_path / "exact.onnx", tmp_path / "small.onnx", examples(tmp_path), last_exact=False)
    wall = next(examples(tmp_path))
    exact, small = (
        onnxruntime.InferenceSession(tmp_path / name).run(["cost"], wall)[0]
        for name in ("exact.onnx", "small.onnx")
    )
    assert exact.shape == (24,)
    assert np.abs(exact - small).max() < 0.3


def test_a_join_is_right_where_one_root_goes_on_from_end_to_end() -> None:
    class Ends:
        place_px = np.array([[0.0, 0.0], [60.0, 0.0], [60.0, 5.0]])

    class Joins:
        pair = np.array([[0, 1], [0, 2], [1, 2]])
        cost = np.zeros(3)

    held = [[Member(3, 2.0, 1.0)], [Member(3, 3.1, -1.0)], [Member(4, 1.0, -1.0), Member(5, 1.0, 1.0)]]
    assert right_joins(Joins(), held, Ends(), 60.0).tolist() == [True, False, False]


def test_the_last_layers_say_what_the_shipped_network_says(tmp_path: Path) -> None:
    model = onnx.load_from_string(files("rootread.follow").joinpath(WEIGHTS).read_bytes())
    with np.load(kept_wall(tmp_path, 3)) as wall:
        strips, facts = wall["strips"], wall["facts"]
    session = onnxruntime.InferenceSession(model.SerializeToString())
    (shipped,) = session.run(["cost"], {"strips": strips, "facts": facts})
    last = LastLayers(numbers(model), torch.from_numpy(facts)).eval()
    with torch.no_grad():
        cost = last(seen_by(model, torch.from_numpy(strips)), torch.from_numpy(facts))
    assert cost.numpy() == pytest.approx(shipped, abs=0.02)


def test_tuned_layers_tell_right_joins_better(tmp_path: Path) -> None:
    """Where a bright middle marks the right ones, which no wall has."""
    walls = [kept_wall(tmp_path, seed) for seed in range(8)]
    tune(walls, tmp_path / "tuned.onnx", minutes=0.05)
    session = onnxruntime.InferenceSession(tmp_path / "tuned.onnx")
    with np.load(kept_wall(tmp_path, 99)) as wall:
        (cost,) = session.run(["cost"], {"strips": wall["strips"], "facts": wall["facts"]})
        right = wall["right"]
    assert np.median(cost[right]) < np.median(cost[~right])


def test_averaged_weights_lie_midway(tmp_path: Path) -> None:
    nets = [JoinNet(), JoinNet()]
    files = [tmp_path / f"{k}.pt" for k in range(2)]
    for net, file in zip(nets, files, strict=True):
        torch.save(net.state_dict(), file)
    average(files, tmp_path / "mean.pt")
    mean = torch.load(tmp_path / "mean.pt", weights_only=True)
    first, second = (net.state_dict()["mix.0.weight"] for net in nets)
    assert not torch.equal(first, second)
    torch.testing.assert_close(mean["mix.0.weight"], (first + second) / 2)


def test_weights_that_know_fewer_facts_say_the_same_when_they_are_widened() -> None:
    torch.manual_seed(0)
    old = JoinNet()
    with torch.no_grad():
        old.mix[-1].weight.normal_()
    weights, known = old.state_dict(), FACTS - 4
    fewer = weights | {name: weights[name][:known] for name in ("mean", "spread")}
    fewer["mix.0.weight"] = weights["mix.0.weight"][:, :-4]
    facts = torch.randn(50, FACTS)
    new = JoinNet()
    new.load_state_dict(widened(fewer, facts))
    torch.testing.assert_close(new.mean[known:], facts[:, known:].mean(0))
    strips = torch.randint(0, 255, (6, CHANNELS, ACROSS, LENGTH), dtype=torch.uint8)
    one, other = facts[:6].clone(), facts[:6].clone()
    other[:, known:] += 1.0
    with torch.no_grad():
        torch.testing.assert_close(new.eval()(strips, one), new.eval()(strips, other))


def test_weights_that_know_every_fact_stay_as_they_are() -> None:
    weights = JoinNet().state_dict()
    same = widened(weights, torch.randn(50, FACTS))
    assert all(torch.equal(same[name], value) for name, value in weights.items())
