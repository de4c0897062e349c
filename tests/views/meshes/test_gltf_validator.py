"""lining.glb before the glTF validator of the format's own working group.

The validator is a package of the npm registry; ``.ci/run`` puts it into .node.
"""

import json
import subprocess
from pathlib import Path

import pytest

from geom.views.meshes.formats import glb_bytes
from geom.views.meshes.masonry import masonry_bytes
from geom.views.meshes.mesh import wall_mesh

VALIDATOR = Path(__file__).parents[3] / ".node/node_modules/gltf-validator"
ASK = """
const validator = require(process.argv[1]);
const bytes = new Uint8Array(require("fs").readFileSync(process.argv[2]));
validator.validateBytes(bytes).then((told) => console.log(JSON.stringify(told)));
"""


def verdict(content, folder):
    path = folder / "lining.glb"
    path.write_bytes(content)
    done = subprocess.run(
        ["node", "-e", ASK, str(VALIDATOR), str(path)],
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    return json.loads(done.stdout)


@pytest.fixture(scope="module")
def content(build):
    furnace = build()
    return glb_bytes(wall_mesh(furnace.surface), furnace.surface, title="Heat 41")


def test_the_validator_finds_nothing(content, tmp_path):
    report = verdict(content, tmp_path)
    assert report["issues"]["messages"] == []
    assert report["info"]["version"] == "2.0"
    assert report["info"]["totalVertexCount"] > 10_000


def test_the_validator_finds_nothing_in_the_brickwork(build, tmp_path):
    furnace = build()
    mesh = wall_mesh(furnace.surface)
    content = masonry_bytes(mesh, furnace.surface, furnace.works.plan, title="Heat 9")
    report = verdict(content, tmp_path)
    assert report["issues"]["messages"] == []
    assert report["info"]["drawCallCount"] >= 2


def test_the_validator_finds_a_spoiled_file(content, tmp_path):
    spoiled = content.replace(b'"VEC3"', b'"VEC2"', 1)
    assert spoiled != content
    assert verdict(spoiled, tmp_path)["issues"]["numErrors"] > 0
