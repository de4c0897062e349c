"""Bundle the 3D library that the report carries: node and npm are needed, once.

Writes geom/views/viewer/three.js and, beside it, the library's licence.  Only what the
report uses is taken; versions are fixed here, so the same bytes come out.

    python3 scripts/bundle_viewer.py
"""

from __future__ import annotations

import shutil
import subprocess
import tempfile
from pathlib import Path

WANTED = {"three": "0.187.0", "esbuild": "0.28.2"}
TAKEN = (
    "WebGLRenderer, Scene, PerspectiveCamera, BufferGeometry, BufferAttribute, Mesh, "
    "MeshBasicMaterial, LineLoop, LineBasicMaterial, Group, Plane, Vector3, Vector2, "
    "Raycaster, DoubleSide, SphereGeometry, LinearSRGBColorSpace, ColorManagement"
)
ENTRY = f"""\
export {{ {TAKEN} }} from "three";
export {{ OrbitControls }} from "three/examples/jsm/controls/OrbitControls.js";
"""
VIEWER = Path(__file__).resolve().parent.parent / "geom" / "views" / "viewer"


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        bundle(Path(scratch))


def bundle(scratch: Path) -> None:
    (scratch / "package.json").write_text('{"private": true}\n')
    (scratch / "entry.js").write_text(ENTRY)
    names = [f"{name}@{version}" for name, version in WANTED.items()]
    run(scratch, "npm", "install", "--no-audit", "--no-fund", *names)
    run(
        scratch,
        "node_modules/.bin/esbuild",
        "entry.js",
        "--bundle",
        "--minify",
        "--format=iife",
        "--global-name=THREE",
        "--legal-comments=inline",
        "--outfile=three.js",
    )
    shutil.copy(scratch / "three.js", VIEWER / "three.js")
    licence = scratch / "node_modules" / "three" / "LICENSE"
    shutil.copy(licence, VIEWER / "three.LICENSE")
    print(f"{VIEWER / 'three.js'}: {(VIEWER / 'three.js').stat().st_size // 1000} kB")


def run(folder: Path, *words: str) -> None:
    subprocess.run(words, cwd=folder, check=True)


if __name__ == "__main__":
    main()
