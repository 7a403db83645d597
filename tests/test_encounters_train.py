"""Learning which limbs of two followed roots are of one root; skipped without the extra ``train``."""

import itertools
import math
from importlib.resources import files
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import onnxruntime
import pytest
from drawn_roots import SURFACE, crossing
from numpy.typing import NDArray

torch = pytest.importorskip("torch", reason="torch comes with the extra 'train'")
onnx = pytest.importorskip("onnx", reason="onnx comes with the extra 'train'")

from rootread.follow.encounter_facts import FACTS, THERE, encounter_facts  # noqa: E402
from rootread.follow.encounter_pictures import ACROSS, CHANNELS, LENGTH, Frame  # noqa: E402
from rootread.follow.encounters import LINKS, Course, Encounter, Part  # noqa: E402
from rootread.follow.limbs import Limb, Limbs, limbs  # noqa: E402
from rootread.follow.regroup import WEIGHTS, SeenCourses, View  # noqa: E402
from rootread.follow.strands import find_strands  # noqa: E402
from rootread.geometry import Points, resample_polyline  # noqa: E402
from rootread.plane import Surface  # noqa: E402
from rootread.train.encounters import run  # noqa: E402
from rootread.train.encounters.examples import Examples  # noqa: E402
from rootread.train.encounters.export import examples, export  # noqa: E402
from rootread.train.encounters.net import LIMBS, EncounterNet  # noqa: E402
from rootread.train.encounters.panel import Panel  # noqa: E402
from rootread.train.encounters.run import (  # noqa: E402
    figures,
    learn,
    link_loss,
    showing_loss,
)
from rootread.train.encounters.truth import CELL_PX, SHOWN, TrueRoots, of_one_root, shown_roots  # noqa: E402
from rootread.train.encounters.varied import (  # noqa: E402
    askew,
    called_otherwise,
    from_the_other_end,
    mirrored,
    varied,
)
from rootread.train.quantise import halve, quantise  # noqa: E402

STEP_IN = 0.03
FEW = 8
"""Encounters a step, so that a test takes several."""


class Straight:
    """A plane without a lens: the photo is the wall, one pixel an inch."""

    def to_photo_px(self, points_in: Points) -> Points:
        return points_in


def truth_of(*lines_in: list[tuple[float, float]]) -> dict[str, Any]:
    return {
        "roots": [{"seen": line, "width": [0.1] * len(line)} for line in lines_in],
        "distortion_centre": [0.0, 0.0],
        "focal_px": 1000.0,
        "k1": 0.0,
        "plane_to_photo": np.eye(3).tolist(),
    }


DOWN, UP = [(1.0, 1.8), (5.0, 4.2)], [(1.0, 4.2), (5.0, 1.8)]


def crossed(*lines_in: list[tuple[float, float]]) -> Limbs:
    """The limbs of two courses that touch about their middles."""
    courses = []
    for line in lines_in:
        points = resample_polyline(np.array(line), STEP_IN)[0]
        courses.append(Course(points, np.full(len(points), 0.1), np.zeros(len(points), dtype=bool)))
    parts = [Part(k, len(c.line_in) // 2 - 5, len(c.line_in) // 2 + 5) for k, c in enumerate(courses)]
    colours = [np.zeros((len(c.line_in), 3)) for c in courses]
    return limbs(Encounter(*parts), courses, colours, STEP_IN)


def test_roots_that_were_followed_right_have_links_of_their_own() -> None:
    roots = TrueRoots(truth_of(DOWN, UP), Straight())  # type: ignore[arg-type]
    four = crossed(DOWN, UP)
    assert of_one_root(four, roots.of_limbs(four)).tolist() == [1, 1, -1, -1]


def test_roots_that_were_taken_for_each_other_have_those_of_the_other() -> None:
    """Both were followed as if they had bounced off each other where they cross."""
    upper = [(1.0, 1.8), (3.0, 3.0), (5.0, 1.8)]
    lower = [(1.0, 4.2), (3.0, 3.0), (5.0, 4.2)]
    roots = TrueRoots(truth_of(DOWN, UP), Straight())  # type: ignore[arg-type]
    four = crossed(upper, lower)
    assert of_one_root(four, roots.of_limbs(four)).tolist() == [-1, -1, 1, 1]


def test_a_root_does_not_go_on_as_itself_the_other_way() -> None:
    """Two stretches of one root, of which the second was followed from its tip: tail and tail do not link."""
    one = [(1.0, 3.0), (4.0, 3.0), (4.0, 6.0)]
    other = [(8.0, 6.0), (8.0, 3.0), (4.1, 3.0)]
    roots = TrueRoots(truth_of([(1.0, 3.0), (8.0, 3.0)]), Straight())  # type: ignore[arg-type]
    head, _, _, tail = crossed(one, other)
    four = (head, None, None, tail)
    assert of_one_root(four, roots.of_limbs(four)).tolist() == [0, 0, -1, 0]


def test_where_the_true_root_of_each_limb_lies_is_known() -> None:
    """Along its own root all over the picture, and not along the other."""
    four = crossed(DOWN, UP)
    roots = TrueRoots(truth_of(DOWN, UP), Straight())  # type: ignore[arg-type]
    onto = shown_roots(four, roots.of_limbs(four), roots)
    assert onto.shape == (4, *SHOWN)
    frame = Frame.of(four)
    for limb, of_limb, other in zip((0, 1, 2, 3), onto, (2, 3, 0, 1), strict=True):
        on_root, on_other = (
            np.array([of_limb[tuple(place)] for place in cells(four[k], frame)]) for k in (limb, other)
        )
        assert on_root.mean() > 0.9
        assert on_other.mean() < 0.35
    assert (onto[0] == onto[1]).all() and (onto[2] == onto[3]).all()


def cells(limb: Limb | None, frame: Frame) -> NDArray[np.int64]:
    """Rows and columns of what is shown of a limb's middle, away from where the roots cross."""
    assert limb is not None
    column_row = frame.to_picture(limb.line_in[10:30]) / CELL_PX
    return np.floor(column_row[:, ::-1] + 0.5 / CELL_PX).astype(int)


def test_of_a_limb_that_is_of_no_single_root_nothing_is_asked() -> None:
    four, roots = crossed(DOWN, UP), TrueRoots(truth_of(UP), Straight())  # type: ignore[arg-type]
    onto = shown_roots(four, roots.of_limbs(four), roots)
    assert (onto[:2] == -1).all()
    assert (onto[2:] >= 0).all() and (onto[2:] == 1).any()


def kept_wall(folder: Path, seed: int, count: int = 24) -> Path:
    """A file of encounters whose own links are right where the middle of the picture is bright."""
    rng = np.random.default_rng(seed)
    right = rng.random(count) < 0.5
    pictures = rng.integers(0, 80, (count, CHANNELS, ACROSS, LENGTH)).astype(np.uint8)
    pictures[right, :4, 20:36, 40:88] = 230
    facts = rng.normal(0, 1, (count, FACTS)).astype(np.float32)
    facts[:, THERE] = [[1, 1, right_here, 1] for right_here in right]
    path = folder / f"wall-{seed}.npz"
    np.savez(
        path,
        pictures=pictures,
        facts=facts,
        of_one=np.where(right[:, None], [1, 1, -1, -1], [-1, 0, 1, 0]).astype(np.int8),
        onto=rng.integers(-1, 2, (count, LIMBS, *SHOWN)).astype(np.int8),
        length=np.full((count, 4), 2.0, np.float32),
    )
    return path


def test_links_to_limbs_that_are_not_there_count_for_nothing(tmp_path: Path) -> None:
    walls = Examples.read([kept_wall(tmp_path, 1)], torch.device("cpu"))
    assert ((walls.weight > 0) == (walls.of_one != 0)).all()
    said = torch.zeros(len(walls.facts), len(LINKS))
    assert float(link_loss(said, walls.of_one, walls.weight)) == pytest.approx(math.log(2), rel=1e-5)
    said[walls.of_one == 0] = 50.0
    assert float(link_loss(said, walls.of_one, walls.weight)) == pytest.approx(math.log(2), rel=1e-5)


def test_facts_of_an_encounter_whose_roots_are_called_the_other_way() -> None:
    surface = Surface(np.array([[-1.0, 0.0], [13.0, 0.0]]), 0.1, "photo")
    four = crossed(DOWN, UP)
    parts = Part(0, 70, 80), Part(1, 68, 82)
    facts, other = (
        encounter_facts(Encounter(*order), limbs_of, STEP_IN, surface)
        for order, limbs_of in ((parts, four), (parts[::-1], (four[2], four[3], four[0], four[1])))
    )
    assert not np.allclose(facts, other)
    assert called_otherwise(facts_alone(facts)).facts[0].numpy() == pytest.approx(other)


def test_layers_and_limbs_change_places_as_the_roots_do() -> None:
    """Each layer of a picture told by its own grey; the head of the second root is not there."""
    facts = np.zeros(FACTS, np.float32)
    facts[THERE] = [1, 1, 0, 1]
    one = facts_alone(facts)
    one.pictures[:] = torch.arange(CHANNELS)[:, None, None]
    one.pictures[:, :, 0, 0] += 100
    otherwise, back, mirror = called_otherwise(one), from_the_other_end(one), mirrored(one)
    assert otherwise.pictures[0, :, 5, 5].tolist() == [0, 1, 2, 3, 6, 7, 4, 5, 8, 10, 9]
    assert back.pictures[0, :, 5, 5].tolist() == [0, 1, 2, 3, 5, 4, 7, 6, 8, 9, 10]
    assert otherwise.facts[0, THERE].tolist() == [0, 1, 1, 1]
    assert back.facts[0, THERE].tolist() == [1, 1, 1, 0]
    assert int(otherwise.pictures[0, 0, 0, 0]) == 100
    assert int(back.pictures[0, 0, -1, -1]) == 100
    assert int(mirror.pictures[0, 0, -1, 0]) == 100


def test_walls_of_which_none_is_held_out_are_not_learnt_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    kept_wall(tmp_path, 1)
    monkeypatch.setattr("sys.argv", ["run", str(tmp_path), str(tmp_path / "net.pt")])
    with pytest.raises(SystemExit):
        run.main()
    assert "of the 1 walls" in capsys.readouterr().err


def facts_alone(facts: NDArray[np.float32]) -> Examples:
    """One encounter of which the facts are asked."""
    pictures = torch.zeros(1, CHANNELS, ACROSS, LENGTH, dtype=torch.uint8)
    links, shown = torch.zeros(1, len(LINKS)), torch.zeros(1, LIMBS, *SHOWN, dtype=torch.int8)
    return Examples(pictures, torch.from_numpy(facts[None]), links.to(torch.int8), links, shown)


def test_facts_in_a_mirror_are_those_of_the_mirrored_roots() -> None:
    """A root that bends to the left bends to the right, as steeply and as deep."""
    surface = Surface(np.array([[-20.0, 0.0], [20.0, 0.0]]), 0.1, "photo")
    bent = [(1.0, 1.8), (2.0, 2.0), (3.0, 2.6), (4.0, 3.6), (5.0, 5.0)]
    facts, other = (
        encounter_facts(
            Encounter(Part(0, 70, 80), Part(1, 68, 82)),
            crossed(*([(side * x, z) for x, z in line] for line in (bent, UP))),
            STEP_IN,
            surface,
        )
        for side in (1, -1)
    )
    assert not np.allclose(facts, other, atol=1e-3)
    assert mirrored(facts_alone(facts)).facts[0].numpy() == pytest.approx(other, abs=1e-5)


def test_however_varied_right_links_stay_with_their_limbs(tmp_path: Path) -> None:
    """Of each encounter one root's lines are in bright channels and its own link is the right one."""
    wall = kept_wall(tmp_path, 1)
    with np.load(wall) as kept:
        named = dict(kept)
    named["pictures"][:, 4:] = 0
    named["pictures"][:, 4:6] = 200
    named["of_one"][:] = [1, -1, -1, -1]
    named["onto"][:] = 0
    named["onto"][:, :2] = 1
    np.savez(wall, **named)
    walls = Examples.read([wall], torch.device("cpu"))
    torch.manual_seed(0)
    drawn = varied(walls)
    first_is_bright = drawn.pictures[:, 4:6].mean((1, 2, 3)) > drawn.pictures[:, 6:8].mean((1, 2, 3))
    assert (first_is_bright == (drawn.of_one[:, 0] > 0)).all()
    assert (first_is_bright != (drawn.of_one[:, 1] > 0)).all()
    assert (first_is_bright == (drawn.onto[:, :2] > 0).all((1, 2, 3))).all()
    assert (first_is_bright != (drawn.onto[:, 2:] > 0).all((1, 2, 3))).all()
    assert 0 < int(first_is_bright.sum()) < len(first_is_bright)
    assert ((drawn.weight > 0) == (drawn.of_one != 0)).all()


def tapering(until_in: float, dip_in: float, width_in: float) -> Course:
    """A root from left to right that wiggles and tapers."""
    x = np.linspace(1.0, 6.0, 60)
    z = 2.0 + (until_in - 2.0) * (x - 1.0) / 5.0 + dip_in * np.sin(2 * x)
    line = resample_polyline(np.column_stack([x, z]), STEP_IN)[0]
    width = np.linspace(width_in, 0.6 * width_in, len(line))
    return Course(line, width, np.zeros(len(line), dtype=bool))


def test_from_the_other_end_an_encounter_is_that_of_the_courses_turned() -> None:
    """Facts and picture of two roots that cross, against those of the same two walked from their tips."""
    first, second = tapering(4.0, 0.1, 0.12), tapering(2.2, -0.3, 0.09)
    second = Course(second.line_in + np.array([0.0, 1.0]), second.width_in, second.inferred)
    root_map, image = crossing([first.line_in, second.line_in])
    view = View.of(image, find_strands(root_map, image), SURFACE)
    there, back = SeenCourses([first, second], view), SeenCourses([first.turned(), second.turned()], view)
    encounters = there.worth_a_look()
    assert encounters
    for encounter in encounters:
        counts = [len(course.line_in) for course in there.courses]
        turned = Encounter(
            *(
                Part(part.course, counts[part.course] - part.onward, counts[part.course] - part.until)
                for part in (encounter.first, encounter.second)
            )
        )
        pictures, facts = there.pictures([encounter]), there.facts([encounter])
        told = Examples(
            torch.from_numpy(pictures),
            torch.from_numpy(facts),
            torch.tensor([[1, -1, 1, 0]], dtype=torch.int8),
            torch.tensor([[1.0, 0.5, 0.25, 0.0]]),
            torch.arange(4, dtype=torch.int8).reshape(1, 4, 1, 1).expand(1, 4, *SHOWN),
        )
        found = from_the_other_end(told)
        expected_pictures, expected_facts = back.pictures([turned]), back.facts([turned])
        assert found.facts.numpy() == pytest.approx(expected_facts, abs=1e-4)
        differs = np.abs(found.pictures.numpy().astype(int) - expected_pictures.astype(int)) > 60
        assert differs.mean() < 1e-3
        assert found.of_one.tolist() == [[1, -1, 0, 1]]
        assert found.weight.tolist() == [[1.0, 0.5, 0.0, 0.25]]
        assert found.onto[0, :, 0, 0].tolist() == [1, 0, 3, 2]


def test_however_askew_a_root_is_shown_where_it_lies() -> None:
    pictures = torch.zeros(40, CHANNELS, ACROSS, LENGTH, dtype=torch.uint8)
    pictures[:, :, 8:16, 24:104] = 250
    onto = torch.zeros(40, LIMBS, *SHOWN, dtype=torch.int8)
    onto[:, :, 8 // CELL_PX : 16 // CELL_PX, 24 // CELL_PX : 104 // CELL_PX] = 1
    torch.manual_seed(0)
    turned, moved = askew(pictures, onto)
    seen = torch.nn.functional.avg_pool2d(turned[:, :LIMBS], CELL_PX) > 125
    for shown, least, most in ((moved, 0.75, 1.0), (onto, 0.0, 0.7)):
        common, either = (seen & (shown > 0)).sum(), (seen | (shown > 0)).sum()
        assert least < float(common / either) < most


def test_where_no_root_is_known_showing_counts_for_nothing() -> None:
    onto = torch.tensor([[[[1, 0, -1]]]], dtype=torch.int8)
    right, wrong_where_unknown = (torch.tensor([[[[20.0, -20.0, said]]]]) for said in (-20.0, 20.0))
    assert float(showing_loss(right, onto)) == pytest.approx(0.0, abs=1e-6)
    assert float(showing_loss(wrong_where_unknown, onto)) == pytest.approx(0.0, abs=1e-6)
    assert float(showing_loss(-right, onto)) == pytest.approx(20.0, rel=1e-3)


def test_a_few_steps_are_learnt_believed_and_written_as_onnx(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run, "ENCOUNTERS_A_STEP", FEW)
    kept = [kept_wall(tmp_path, seed) for seed in range(3)]
    nets = []
    for seed in (0, 1):
        nets.append(tmp_path / f"net-{seed}.pt")
        learn(kept, nets[-1], minutes=0.03, rate=1e-3, seed=seed)
    panel, walls = Panel.of(nets), Examples.read(kept, torch.device("cpu"))
    with torch.no_grad():
        before = float(link_loss(panel(walls.pictures, walls.facts), walls.of_one, walls.weight))
        panel.fit(walls)
        after = float(link_loss(panel(walls.pictures, walls.facts), walls.of_one, walls.weight))
    assert after <= before + 1e-6
    export(panel, tmp_path / "exact.onnx")
    quantise(tmp_path / "exact.onnx", tmp_path / "small.onnx", examples(tmp_path), last_exact=False)
    size = (tmp_path / "small.onnx").stat().st_size
    halve(tmp_path / "small.onnx")
    assert (tmp_path / "small.onnx").stat().st_size < 0.75 * size
    asked = {"pictures": walls.pictures[:4].numpy(), "facts": walls.facts[:4].numpy()}
    found = [
        onnxruntime.InferenceSession(str(tmp_path / name)).run(["odds"], asked)[0]
        for name in ("exact.onnx", "small.onnx")
    ]
    with torch.no_grad():
        assert found[0] == pytest.approx(panel(walls.pictures[:4], walls.facts[:4]).numpy(), abs=1e-3)
    assert found[1] == pytest.approx(found[0], abs=0.3)


def test_walls_are_kept_from_learning_by_their_seeds() -> None:
    """So that walls made in the meantime change nothing about which are kept."""
    walls = [Path(f"wall-{seed}.npz") for seed in (771_999, 772_000, 772_001, 772_020)]
    assert [run.is_held_out(wall) for wall in walls] == [False, True, False, True]


def test_of_a_part_of_the_learning_the_rate_falls_as_in_the_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The second half of 3e-3 begins at half of it, but for the first steps, which are careful."""
    monkeypatch.setattr(run, "WARM_STEPS", 1)
    monkeypatch.setattr(run, "ENCOUNTERS_A_STEP", FEW)
    rates: list[float] = []
    learn_from = run.learn_from
    monkeypatch.setattr(
        run, "learn_from", lambda loss, net, by, rate: (rates.append(rate), learn_from(loss, net, by, rate))
    )
    # A step takes half a second by this clock, however busy the machine is: twelve of them in six seconds.
    clock = itertools.chain([0.0], itertools.count(step=0.5))
    monkeypatch.setattr(run, "time", SimpleNamespace(monotonic=lambda: next(clock)))
    kept = [kept_wall(tmp_path, seed) for seed in range(2)]
    learn(kept, tmp_path / "net.pt", minutes=0.1, rate=3e-3, part=(0.5, 1.0))
    assert len(rates) == 12
    assert rates[0] == pytest.approx(1.5e-3, rel=0.05)
    assert sorted(set(rates), reverse=True) == rates


def test_weights_that_tell_other_walls_worse_are_not_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of losses 0.3, 0.2, 0.4 the second network is kept, though the third learnt longest."""
    losses = iter((0.3, 0.2, 0.4))
    monkeypatch.setattr(run, "figures", lambda net, check: {"loss": next(losses)})
    walls = Examples.read([kept_wall(tmp_path, 1)], torch.device("cpu"))
    least, out = math.inf, tmp_path / "best.pt"
    for number in range(3):
        net = torch.nn.Linear(1, 1)
        torch.nn.init.constant_(net.bias, number)
        least = run.keep_if_best(net, walls, out, least)
    assert least == 0.2
    assert float(torch.load(out, weights_only=True)["bias"]) == 1.0


def test_the_weights_in_the_repository_are_those_that_ship() -> None:
    """Before they were put in whole numbers, and made less sure: log-odds go with those of what ships."""
    folder = Path(run.__file__).parent
    panel = Panel.of([folder / "encounters.pt"])
    session = onnxruntime.InferenceSession(files("rootread.follow").joinpath(WEIGHTS).read_bytes())
    rng = np.random.default_rng(0)
    pictures = np.zeros((16, CHANNELS, ACROSS, LENGTH), np.uint8)
    pictures[:, :3] = rng.integers(70, 110, (16, 1, ACROSS, LENGTH))
    for number, picture in enumerate(pictures):
        # Two roots from left to right that touch, each with its head, what lies between, and its tail.
        for row, head in ((20 + 3 * number, 4), (27 + 3 * number, 6)):
            picture[:4, row - 3 : row + 4] = np.array([150, 180, 200, 220, 200, 180, 150])[:, None]
            for channel, begins in ((head, 0), (9 + head // 6, LENGTH // 3), (head + 1, 2 * LENGTH // 3)):
                picture[channel, row, begins : begins + LENGTH // 3] = 255
    facts = rng.normal(panel.nets[0].mean, panel.nets[0].spread, (16, FACTS)).astype(np.float32)
    with torch.no_grad():
        exact = panel(torch.from_numpy(pictures), torch.from_numpy(facts)).numpy()
    (ships,) = session.run(["odds"], {"pictures": pictures, "facts": facts})
    for link in range(len(LINKS)):
        assert np.corrcoef(exact[:, link], ships[:, link])[0, 1] > 0.99


def test_figures_say_what_regrouping_gains(tmp_path: Path) -> None:
    """A network that knows the truth makes every encounter better that can be, and none worse."""
    walls = Examples.read([kept_wall(tmp_path, 1)], torch.device("cpu"))

    class Knowing(torch.nn.Module):
        def forward(self, pictures: Any, facts: Any) -> Any:
            return 6.0 * walls.of_one.float()

    found = figures(Knowing(), walls)
    assert found["better"] == int((walls.of_one[:, 0] < 0).sum())
    assert found["worse"] == 0


def test_what_ships_is_what_the_code_asks_for() -> None:
    session = onnxruntime.InferenceSession(files("rootread.follow").joinpath(WEIGHTS).read_bytes())
    pictures = np.zeros((2, CHANNELS, ACROSS, LENGTH), np.uint8)
    (odds,) = session.run(["odds"], {"pictures": pictures, "facts": np.zeros((2, FACTS), np.float32)})
    assert odds.shape == (2, len(LINKS))


def test_the_network_sees_no_difference_in_light() -> None:
    """Colours count against their mean: a brighter photo of the same place is told the same."""
    torch.manual_seed(0)
    net = EncounterNet().eval()
    pictures = torch.randint(60, 120, (2, CHANNELS, ACROSS, LENGTH), dtype=torch.uint8)
    brighter = pictures.clone()
    brighter[:, :3] += 40
    with torch.no_grad():
        both = [net(shown, torch.zeros(2, FACTS)) for shown in (pictures, brighter)]
    assert torch.allclose(both[0], both[1], atol=1e-4)
