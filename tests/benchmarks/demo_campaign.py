"""Makes the demo's campaign anew: 16 made-up runs of two invented machines with two brushes, measured for real.

    python tests/benchmarks/demo_campaign.py DIR

Photos are rendered by `debriscount.simulate`, weighings follow from what truly lay there, and runs are filed by the
commands that a person would type. What is shipped is what DIR/shipped then holds: the records, without photos, and of
the runs of the first block what a page shows of them. One weighing is spoilt on purpose: after run 11 the bin was read with 3 g too much.
"""

import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from typer.testing import CliRunner

from debriscount.inputs.debris_file import read_debris
from debriscount.inputs.weighing import Net, Scale, Weighing
from debriscount.inputs.weighing_write import weighing_toml
from debriscount.layout.lay_patch import lay_patch
from debriscount.shipped import shipped_folder
from debriscount.simulate.scene import make_scene
from debriscount.simulate.spec import Camera, Cleaning, Floor, Portion, SceneSpec
from debriscount.simulate.write import write_scene
from debriscount_cli.app import app

#: True pickup where the machine goes, by machine and brush; runs scatter about it by `SCATTER`.
PICKUP = {("A", "rubber"): 0.93, ("A", "bristle"): 0.87, ("B", "rubber"): 0.85, ("B", "bristle"): 0.83}
SCATTER = 0.012
BLOCKS = 4
SPOILT, TOO_MUCH_G = 11, 3.0
KEPT = ("measurement.json",)
#: Of the first block, which has a run of each machine with each brush.
SHOWN = ("floor-before.jpg", "floor-after.jpg", "found-before.png", "found-after.png", "grains.csv")


def main(home: Path) -> None:
    """Make the campaign in DIR/campaign, and what is shipped of it in DIR/shipped."""
    campaign = home / "campaign"
    rng = np.random.default_rng(2026)
    kind = read_debris(shipped_folder("debriscount._calibration", "calibration") / "debris" / "red-lentils.toml")
    spec = SceneSpec(
        patch=replace(lay_patch(400, 300, ("top",)), name="kitchen bench"),
        portions=(Portion(kind, cover_share=0.05),),
        floor=Floor("planks"),
        camera=Camera(megapixels=1.5),
    )
    number = 0
    for block in range(1, BLOCKS + 1):
        for machine, brush in [list(PICKUP)[i] for i in rng.permutation(len(PICKUP))]:
            number += 1
            took = PICKUP[machine, brush] + SCATTER * rng.standard_normal()
            heading = float(rng.uniform(0, 180))
            passed = Cleaning(
                heading_deg=heading, pickup=took, edge_pickup=0.6 * took, offset_mm=float(rng.uniform(0, 150))
            )
            scene = make_scene(replace(spec, passes=(passed,), seed=100 + number))
            photos = home / f"photos{number:02}"
            write_scene(scene, photos)
            if number == 1:
                new = [
                    "campaign",
                    "new",
                    str(campaign),
                    "--patch",
                    str(photos / "patch.toml"),
                    "--debris",
                    "red-lentils",
                ]
                new += ["--floor", "oak", "--machine", "A", "--machine", "B", "--name", "two brushes", "--yes"]
                debriscount(*new)
            weighing = photos / "weighing.toml"
            weighing.write_text(weighing_toml(weighed(scene, rng, TOO_MUCH_G * (number == SPOILT))), encoding="utf-8")
            add = ["run", "add", "--campaign", str(campaign), "--machine", machine, "--setting", f"brush={brush}"]
            add += ["--weighing", str(weighing), "--floor", "oak", "--yes", "--note", f"block {block}"]
            for shot in ("blank", "before", "after"):
                add += [f"--{shot}", str(photos / f"{shot}.jpg")]
            debriscount(*add)
            record = campaign / "runs" / f"{number:04}" / "run.json"
            text = record.read_text(encoding="utf-8")
            text = text.replace('"block":""', f'"block":"{block}"').replace('"block": ""', f'"block": "{block}"')
            record.write_text(text, encoding="utf-8")
            print(number, machine, brush, flush=True)
    ship(campaign, home / "shipped")


def weighed(scene, rng: np.random.Generator, too_much_g: float) -> Weighing:  # type: ignore[no-untyped-def]
    """Weigh what truly lay there on a scale that shows tenths of a gram."""

    def read(mass_g: float) -> tuple[float, ...]:
        return (round(mass_g + 0.05 * rng.standard_normal(), 1),)

    before, after = (scene.truth.amounts(state) for state in (0, 1))
    strewn = before["patch"].mass_g
    left = after["patch"].mass_g + after["margin"].mass_g
    bin_g = 310.2 + strewn - left + too_much_g
    return Weighing(
        scale=Scale(0.1),
        dispensed=Net(read(102.3 + strewn), read(102.3)),
        bin=Net(read(bin_g), read(310.2)),
        swept={"total": Net(read(left))},
    )


def ship(campaign: Path, shipped: Path) -> None:
    """Copy what is shipped: the campaign's files, and of each run its two records; of some the pictures too."""
    for name in ("campaign.toml", "patch.toml", "debris/red-lentils.toml"):
        (shipped / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(campaign / name, shipped / name)
    for folder in sorted((campaign / "runs").glob("[0-9]*")):
        (shipped / "runs" / folder.name).mkdir(parents=True)
        kept = KEPT + SHOWN if int(folder.name) <= len(PICKUP) else KEPT
        for name in kept:
            shutil.copyfile(folder / name, shipped / "runs" / folder.name / name)
        about = json.loads((folder / "run.json").read_text(encoding="utf-8")) | {"files": list(kept)}
        record = shipped / "runs" / folder.name / "run.json"
        record.write_text(json.dumps(about, indent=1) + "\n", encoding="utf-8")


def debriscount(*arguments: str) -> None:
    """Run a command, as if it had been typed."""
    done = CliRunner().invoke(app, arguments, catch_exceptions=False)
    print(done.output, end="", flush=True)
    if done.exit_code:
        raise SystemExit(f"{' '.join(arguments)} ended with {done.exit_code}")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
