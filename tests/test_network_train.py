"""Making walls in PyTorch and learning from them; skipped where the extra ``train`` is not installed."""

import colorsys
import math
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")

from rootread.find import session  # noqa: E402
from rootread.find.familiar import Pieces  # noqa: E402
from rootread.find.session import ANSWER, INPUT, blocks_of  # noqa: E402
from rootread.scene import draw_scene, draw_training_scene, render_crop  # noqa: E402
from rootread.scene.soils import SOILS  # noqa: E402
from rootread.train import camera, things  # noqa: E402
from rootread.train.burial import half_buried  # noqa: E402
from rootread.train.draw import draw_layer  # noqa: E402
from rootread.train.ends import InBlocks  # noqa: E402
from rootread.train.export import export, fit_calibration, load  # noqa: E402
from rootread.train.familiar import statistics, training_pieces  # noqa: E402
from rootread.train.feed import of_any_colour, scene_crops, soils_of, to_walls  # noqa: E402
from rootread.train.ground import hsv_to_linear  # noqa: E402
from rootread.train.held_out import CHECKPOINT_SEEDS, HELD_OUT_SOILS  # noqa: E402
from rootread.train.loss import Tally, loss  # noqa: E402
from rootread.train.maker import Walls, make_walls  # noqa: E402
from rootread.train.net import Outputs, RootNet, folded, follow, parameter_count  # noqa: E402
from rootread.train.pool import examples, turned  # noqa: E402
from rootread.train.reopen import reopened, shipped_weights  # noqa: E402
from rootread.train.run import Trainer  # noqa: E402
from rootread.train.settings import TINY  # noqa: E402

CPU = torch.device("cpu")


def generator(seed: int = 5) -> "torch.Generator":
    return torch.Generator().manual_seed(seed)


def straight_line(degrees: float, half_width_px: float, side: int = 160) -> things.Things:
    """One blunt straight thing 100 px long through the middle of a picture."""
    along = torch.linspace(-50, 50, 5)
    turn = math.radians(degrees)
    points = torch.stack([along * math.cos(turn), along * math.sin(turn)], -1) + side / 2
    return things.Things(
        torch.tensor([[things.LINE]]),
        points[None, None],
        torch.full((1, 1, 5), half_width_px),
        torch.ones(1, 1),
    )


@pytest.mark.parametrize("degrees", [0.0, 17.0, 45.0, 80.0, 90.0, 131.0])
@pytest.mark.parametrize("half_width_px", [1.0, 3.5])
def test_a_drawn_line_covers_its_length_times_its_width(degrees: float, half_width_px: float) -> None:
    layer = draw_layer(straight_line(degrees, half_width_px), 160, torch.zeros(1, 160, 160, 2))
    # Blunt ends reach 0.6 px on, so that pieces of a bent thing meet.
    assert float(layer.cover.sum()) == pytest.approx(101.2 * 2 * half_width_px, rel=0.05)
    on = layer.cover[0] > 0.5
    off = torch.remainder(layer.direction[0][on] - math.radians(degrees) + math.pi / 2, math.pi) - math.pi / 2
    assert float(off.abs().max()) < 0.01


def test_a_mirrored_wall_has_mirrored_directions() -> None:
    """A line drawn at a is, after mirroring and swapping, a line at the direction its label says."""
    layer = draw_layer(straight_line(25.0, 3.0), 160, torch.zeros(1, 160, 160, 2))
    twice = torch.stack([(2 * layer.direction).cos(), (2 * layer.direction).sin()], 1)
    walls = Walls(layer.cover[:, None].expand(-1, 3, -1, -1), layer.cover, layer.half_width, twice)
    seen = set()
    for seed in range(12):
        after = turned(generator(seed), walls)
        row, col = np.nonzero(after.root[0].numpy() > 0.5)
        # Direction of the pixels' longest spread, from their second moments.
        drawn = 0.5 * np.arctan2(2 * np.cov(col, row)[0, 1], np.var(col) - np.var(row))
        on = after.root[0] > 0.5
        told = 0.5 * math.atan2(
            float(after.direction[0, 1][on].mean()), float(after.direction[0, 0][on].mean())
        )
        assert abs((told - drawn + np.pi / 2) % np.pi - np.pi / 2) < 0.03
        seen.add(round(math.degrees(told)) % 180)
    assert len(seen) == 4


def test_made_walls_have_roots_in_most_pictures_and_none_in_some() -> None:
    walls = make_walls(generator(), 10, 96)
    share = walls.root.mean((1, 2))
    assert torch.isfinite(walls.linear).all() and float(walls.linear.min()) >= 0
    assert 0.3 < float((share > 0).float().mean()) < 1.0
    assert float(share.mean()) < 0.3


def test_hues_are_those_of_the_standard_library() -> None:
    """Source: ``colorsys.hsv_to_rgb`` of Python's standard library."""
    for hue in (0.0, 35.0, 100.0, 210.0, 330.0):
        ours = hsv_to_linear(torch.tensor(hue), torch.tensor(0.6), torch.tensor(0.7)) ** (1 / 2.2)
        assert ours.tolist() == pytest.approx(colorsys.hsv_to_rgb(hue / 360, 0.6, 0.7), abs=1e-4)


@pytest.mark.parametrize("quality", [40, 75, 92])
def test_jpeg_damage_is_that_of_a_jpeg_library(quality: int) -> None:
    """Source: OpenCV's own JPEG, colour at half resolution: the same picture comes back, nearly."""
    rng = np.random.default_rng(2)
    rgb = cv2.GaussianBlur(rng.uniform(0, 255, (96, 96, 3)), (0, 0), 1.5)
    rgb = np.clip((rgb - 127) * 3 + 127, 0, 255).astype(np.uint8)
    _, file = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    theirs = cv2.imdecode(file, cv2.IMREAD_COLOR)[..., ::-1].astype(float)
    picture = torch.from_numpy(rgb).permute(2, 0, 1)[None].float() / 255
    ours = camera.jpeg(picture, torch.tensor([float(quality)]))[0].permute(1, 2, 0).numpy() * 255
    damage = np.abs(theirs - rgb).mean()
    assert np.abs(ours - theirs).mean() < 0.5 * damage


def test_one_step_of_learning_moves_the_weights_and_resumes(tmp_path: Path) -> None:
    trainer = Trainer(TINY, CPU)
    trainer.add_made()
    before = trainer.net.head.weight.detach().clone()
    value = trainer.step(0.5)
    assert math.isfinite(float(value))
    assert not torch.equal(before, trainer.net.head.weight)
    figures = trainer.validate({"made": [trainer.batch()]})
    assert 0 <= figures["made_average_precision"] <= 1
    trainer.save(tmp_path / "checkpoint.pt")
    other = Trainer(replace(TINY, seed=99), CPU)
    other.resume(tmp_path / "checkpoint.pt")
    assert other.steps == 1
    assert torch.equal(other.average.head.weight, trainer.average.head.weight)


def test_a_few_steps_on_one_batch_lower_its_loss() -> None:
    torch.manual_seed(1)
    net = RootNet(TINY.widths)
    draw = generator()
    batch = examples(draw, make_walls(draw, 2, 96), 64)
    optimiser = torch.optim.Adam(net.parameters(), 3e-3)
    values = []
    for _ in range(25):
        optimiser.zero_grad()
        value = loss(net.read(batch.rgb), batch)
        value.backward()
        optimiser.step()
        values.append(value.item())
    assert np.mean(values[-3:]) < 0.8 * values[0]


def test_the_exported_file_computes_what_the_network_computes(tmp_path: Path) -> None:
    pytest.importorskip("onnx", reason="onnx comes with the extra 'train'")
    import onnxruntime

    trainer = Trainer(TINY, CPU)
    trainer.add_made()
    for _ in range(3):
        trainer.step(0.5)
    trainer.save(tmp_path / "checkpoint.pt")
    rgb = np.random.default_rng(2).integers(0, 256, (96, 64, 3), dtype=np.uint8)
    trainer.average.eval()
    with torch.no_grad():
        logit, shape = trainer.average(torch.from_numpy(rgb / np.float32(255)).permute(2, 0, 1)[None])
    export(load(tmp_path / "checkpoint.pt"), tmp_path / "net.onnx")
    runner = onnxruntime.InferenceSession(tmp_path / "net.onnx", providers=["CPUExecutionProvider"])
    blocks = blocks_of(rgb).transpose(0, 3, 1, 2).astype(np.float32) * np.float32(4 / 255) - 2
    (found,) = runner.run(None, {"blocks": blocks})
    assert np.abs(found[:, :4] - torch.pixel_unshuffle(logit, 2).numpy()).max() < 1e-4
    assert np.abs(found[:, 4:] - shape.numpy()).max() < 1e-4


def test_in_whole_numbers_the_network_says_nearly_the_same(tmp_path: Path) -> None:
    """An untrained net with a known head: the logit's error is small beside its spread."""
    pytest.importorskip("onnx", reason="onnx comes with the extra 'train'")
    import onnxruntime

    from rootread.train.export import in_whole_numbers

    torch.manual_seed(3)
    net = folded(RootNet(TINY.widths))
    export(net, tmp_path / "net.onnx")
    pictures = [np.random.default_rng(k).integers(0, 256, (96, 96, 3), dtype=np.uint8) for k in range(6)]
    in_whole_numbers(tmp_path / "net.onnx", tmp_path / "small.onnx", pictures)
    rgb = torch.from_numpy(pictures[0] / np.float32(255)).permute(2, 0, 1)[None]
    with torch.no_grad():
        exact = net.after_stem(net.stem(rgb * 4 - 2))[0].permute(1, 2, 0).numpy()
    runner = onnxruntime.InferenceSession(tmp_path / "small.onnx", providers=["CPUExecutionProvider"])
    small = runner.run([ANSWER], {INPUT: blocks_of(pictures[0])})[0][0]
    assert small.shape == exact.shape == (48, 48, 7)
    assert np.std(small - exact) < 0.1 * np.std(exact)


def test_a_picture_in_blocks_is_seen_as_the_picture(tmp_path: Path) -> None:
    """The stem's 6 x 6 convolution with stride 2 and the 3 x 3 one over blocks are the same sums."""
    torch.manual_seed(4)
    net = folded(RootNet(TINY.widths))
    rgb = np.random.default_rng(1).integers(0, 256, (64, 96, 3), dtype=np.uint8)
    values = torch.from_numpy(rgb.astype(np.float32)) * 4 / 255 - 2
    blocks = torch.from_numpy(blocks_of(rgb).astype(np.float32)) * 4 / 255 - 2
    with torch.no_grad():
        picture = net.after_stem(net.stem(values.permute(2, 0, 1)[None]))
        assert torch.allclose(InBlocks(net)(blocks.permute(0, 3, 1, 2)), picture, atol=1e-4)


def test_pictures_that_are_never_black_or_white_cannot_say_what_a_byte_stands_for(tmp_path: Path) -> None:
    pytest.importorskip("onnx", reason="onnx comes with the extra 'train'")
    from rootread.train.export import in_whole_numbers

    export(folded(RootNet(TINY.widths)), tmp_path / "net.onnx")
    grey = np.full((96, 96, 3), 90, np.uint8)
    with pytest.raises(ValueError, match="black and white"):
        in_whole_numbers(tmp_path / "net.onnx", tmp_path / "small.onnx", [grey])


def test_what_batch_norms_count_on_is_averaged_with_the_weights() -> None:
    """A tenth of the way: averaged weights that saw the learning network's means would not fit them."""
    average, net = (torch.nn.BatchNorm1d(2) for _ in range(2))
    with torch.no_grad():
        net.weight.fill_(3.0)
        net.running_mean.fill_(10.0)
        net.num_batches_tracked.fill_(7)
    follow(average, net, 0.9)
    assert average.weight.tolist() == pytest.approx([1.2, 1.2])
    assert average.running_mean.tolist() == pytest.approx([1.0, 1.0])
    assert int(average.num_batches_tracked) == 7


def test_the_network_has_between_a_half_and_two_million_parameters() -> None:
    assert 0.5e6 < parameter_count(folded(RootNet())) < 2e6


def test_calibration_recovers_a_known_distortion() -> None:
    """Pixels whose true log odds are 1.5 x - 0.5 of the stated ones."""
    stated = (np.arange(200) + 0.5) / 200
    logit = np.log(stated / (1 - stated))
    true = 1 / (1 + np.exp(-(1.5 * logit - 0.5)))
    assert fit_calibration(1e4 * true, 1e4 * (1 - true)) == pytest.approx((1.5, -0.5), abs=0.01)


def test_a_finished_network_has_its_features_and_a_rescaled_logit(tmp_path: Path) -> None:
    """Stating the logit anew by 0.5 x + 1 changes nothing else."""
    onnx = pytest.importorskip("onnx", reason="onnx comes with the extra 'train'")
    from rootread.find.session import FEATURES, Session
    from rootread.train.ends import rescale_logit
    from rootread.train.export import in_whole_numbers
    from rootread.train.finish import name_features

    torch.manual_seed(3)
    export(folded(RootNet(TINY.widths)), tmp_path / "exact.onnx")
    pictures = [np.random.default_rng(k).integers(0, 256, (96, 96, 3), dtype=np.uint8) for k in range(3)]
    in_whole_numbers(tmp_path / "exact.onnx", tmp_path / "net.onnx", pictures)
    model = onnx.load(tmp_path / "net.onnx")
    assert [output.name for output in model.graph.output] == [ANSWER]
    name_features(model)
    assert {output.name for output in model.graph.output} == {ANSWER, *FEATURES}
    rgb = np.random.default_rng(4).integers(0, 256, (64, 96, 3), dtype=np.uint8)
    before = Session(model.SerializeToString()).with_features(rgb)
    rescale_logit(model, 0.5, 1.0)
    after = Session(model.SerializeToString()).with_features(rgb)
    assert np.allclose(after.logit, 0.5 * before.logit + 1.0, atol=1e-3)
    assert np.array_equal(after.shape, before.shape)
    assert before.fine.shape == (16, 32, 48) and before.coarse.shape == (16, 16, 24)
    assert before.deep.shape == (16, 2, 3) and before.deep.std() > 0


def test_the_shipped_network_has_the_features_that_strokes_learn_from() -> None:
    rgb = np.random.default_rng(4).integers(0, 256, (64, 96, 3), dtype=np.uint8)
    seen = session.shipped().with_features(rgb)
    assert seen.fine.shape == (16, 32, 48) and seen.coarse.shape == (48, 16, 24)
    assert seen.deep.shape == (192, 2, 3)


def test_pieces_like_those_measured_lie_at_distance_one_and_one_in_twenty_beyond_far() -> None:
    """Correlated normal features; with far more pieces than features the shrinkage is small."""
    rng = np.random.default_rng(7)
    mixing = rng.normal(0, 1, (12, 12))
    deep = (rng.normal(0, 1, (4000, 12)) @ mixing + 5.0).astype(np.float32)
    fit = statistics(Pieces(deep, rng.normal(0, 1, (4000, 6)).astype(np.float32)))
    fresh = (rng.normal(0, 1, (4000, 12)) @ mixing + 5.0).astype(np.float32)
    distance = fit.distance(fresh)
    assert float(np.mean(distance**2)) == pytest.approx(1.0, abs=0.2)
    assert float((distance > fit.far).mean()) == pytest.approx(0.05, abs=0.02)


def test_pieces_of_training_walls_have_the_features_of_the_network() -> None:
    pieces = training_pieces(range(600_000, 600_002))
    assert pieces.deep.shape == (2, 192) and pieces.traits.shape == (2, 6)


def test_average_precision_of_a_perfect_and_of_a_blind_network() -> None:
    draw = generator()
    batch = examples(draw, make_walls(draw, 3, 96), 64)
    root = (batch.root > 0.6).float()
    blank = torch.zeros(3, 3, 32, 32)
    for logit, low, high in ((20 * root - 10, 0.99, 1.0), (torch.zeros_like(root), 0.0, 0.5)):
        tally = Tally.empty(CPU)
        tally.add(Outputs(logit, blank), batch)
        assert low <= tally.figures()["average_precision"] <= high


def test_training_and_held_out_scenes_share_no_soil() -> None:
    assert not set(soils_of(CHECKPOINT_SEEDS - 1)) & set(soils_of(CHECKPOINT_SEEDS))
    assert set(soils_of(CHECKPOINT_SEEDS)) == set(HELD_OUT_SOILS) < set(SOILS)


def test_rendered_crops_become_walls_to_learn_from() -> None:
    walls = to_walls(scene_crops(3, 96, count=2), CPU)
    batch = examples(generator(), walls, 64, faults=0.5)
    assert batch.rgb.shape == (2, 3, 64, 64) and batch.direction.shape == (2, 2, 64, 64)
    assert float(batch.rgb.min()) >= 0 and float(batch.rgb.max()) <= 1


def test_a_soil_of_any_colour_keeps_its_roots_and_leaves_the_families() -> None:
    rng = np.random.default_rng(5)
    scene = draw_training_scene(rng, soils_of(3))
    odd = [of_any_colour(scene, rng).ground for _ in range(40)]
    assert of_any_colour(scene, rng).roots == scene.roots
    reds = np.array([ground.topsoil_rgb[0] / ground.topsoil_rgb[2] for ground in odd])
    own = scene.ground.topsoil_rgb[0] / scene.ground.topsoil_rgb[2]
    # Red against blue spreads by the square root of two channels' shift, and each layer's own.
    assert np.log(reds / own).std() == pytest.approx(np.sqrt(2) * np.hypot(0.2, 0.06), rel=0.35)
    assert all(
        0.004 <= value <= 0.92 for ground in odd for value in (*ground.topsoil_rgb, *ground.subsoil_rgb)
    )


def test_the_shipped_file_reopened_says_what_it_said() -> None:
    pictures = [crop[0] for crop in scene_crops(500_003, 96, 4)]
    shipped_file = Path(session.__file__).parent / session.WEIGHTS
    net = reopened(shipped_weights(shipped_file), pictures)
    said = session.shipped()(pictures[0])
    with torch.no_grad():
        rgb = torch.from_numpy(np.stack(pictures)).permute(0, 3, 1, 2).float() / 255
        again = net.read(rgb).root_logit[0].numpy()
        net.train()
        learning = net.read(rgb).root_logit[0].numpy()
    assert np.corrcoef(said.logit.ravel(), again.ravel())[0, 1] > 0.99
    assert np.abs(said.logit - again).mean() < 0.25
    # Learning goes by the norms of each batch, which are those of these pictures.
    assert np.corrcoef(again.ravel(), learning.ravel())[0, 1] > 0.99


def test_half_buried_roots_show_less_of_themselves_and_stay_where_they_are() -> None:
    scene = draw_scene(np.random.default_rng(11), "open")
    deeper = half_buried(scene, np.random.default_rng(2))
    shares = []
    for shown in (scene, deeper):
        _, root, _, _ = render_crop(shown, 256, 50.0, np.random.default_rng(3), (scene.width_in / 2, 4.0))
        shares.append(float(root.mean()))
    assert 0 < shares[1] < 0.9 * shares[0]
    assert all(a.points is b.points for a, b in zip(scene.roots, deeper.roots, strict=True))


def test_roots_of_some_made_pictures_run_as_straight_as_straw() -> None:
    drawn = things.draw_things(torch.Generator().manual_seed(4), 200, 20, 40, 352)
    first, last = drawn.points[:, :, 0], drawn.points[:, :, -1]
    length = (drawn.points[:, :, 1:] - drawn.points[:, :, :-1]).norm(dim=-1).sum(-1)
    straight = (last - first).norm(dim=-1) / length
    of_picture = [float(straight[k][drawn.kind[k] == things.ROOT].median()) for k in range(200)]
    shares = np.array([share for share in of_picture if share == share])
    assert 0.1 < (shares > 0.995).mean() < 0.7
    assert (shares < 0.97).any()
