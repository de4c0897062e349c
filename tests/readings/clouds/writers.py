"""Clouds of invented points, written by libraries other than the ones that read them.

Each writer takes a path and points, array (n, 3), and gives what a reader must hand on,
to the last digit.  LAS and LAZ are written by laspy and E57 by pye57, since there is no
other; their whole numbers and floats are compared with what went in.
"""

from __future__ import annotations

import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from geom.readings.clouds import CloudSource, Points, open_cloud
from geom.units import Float

SCALE = 0.001


def some_points(count: int = 500, seed: int = 7) -> Float:
    """Points on a wall of radius 0.45, three digits, metres."""
    rng = np.random.default_rng(seed)
    turn = rng.uniform(0.0, 2.0 * np.pi, count)
    radius = 0.45 + rng.normal(0.0, 0.02, count)
    xyz = [radius * np.cos(turn), radius * np.sin(turn), rng.uniform(-1.0, 2.0, count)]
    return np.round(np.stack(xyz, axis=1), 3)


def savetxt(path: Path, xyz: Float) -> Float:
    np.savetxt(path, xyz, fmt="%.17g")
    return xyz


def polars_csv(path: Path, xyz: Float) -> Float:
    import polars as pl

    pl.DataFrame(xyz, schema=["x", "y", "z"]).write_csv(path)
    return xyz


def ply(order: str, kind: str = "f") -> Callable[[Path, Float], Float]:
    """A writer of binary PLY, byte by byte: x, y, z between other numbers."""
    form = {"<": "binary_little_endian", ">": "binary_big_endian"}[order]
    words = {"f": "float", "d": "double", "i": "int"}

    def write(path: Path, xyz: Float) -> Float:
        numbers = np.round(xyz * 1000.0) if kind == "i" else xyz
        header = (
            f"ply\nformat {form} 1.0\ncomment an invented wall\n"
            f"element vertex {len(xyz)}\nproperty uchar red\n"
            f"property {words[kind]} x\nproperty {words[kind]} y\n"
            f"property short quality\nproperty {words[kind]} z\nend_header\n"
        )
        row = struct.Struct(f"{order}B{kind}{kind}h{kind}")
        rows = [
            row.pack(
                200, *(r[:2] if kind != "i" else map(int, r[:2])), -5, _as(kind, r[2])
            )
            for r in numbers.tolist()
        ]
        path.write_bytes(header.encode() + b"".join(rows))
        return numbers.astype(np.float32).astype(float) if kind == "f" else numbers

    return write


def _as(kind: str, value: float) -> float:
    return int(value) if kind == "i" else value


def ply_text(path: Path, xyz: Float) -> Float:
    """ASCII PLY of points alone by trimesh, which writes eight digits."""
    import trimesh

    content: Any = trimesh.PointCloud(xyz).export(file_type="ply", encoding="ascii")
    path.write_bytes(content)
    return xyz


def las(form: int, version: str) -> Callable[[Path, Float], Float]:
    """A writer of LAS or LAZ, by the path's ending."""

    def write(path: Path, xyz: Float) -> Float:
        import laspy

        header = laspy.LasHeader(point_format=form, version=version)
        header.scales, header.offsets = np.full(3, SCALE), np.array([1.0, -2.0, 0.5])
        data = laspy.LasData(header)
        whole = np.round((xyz - header.offsets) / SCALE).astype(np.int32)
        data.X, data.Y, data.Z = whole.T
        data.write(str(path))
        return whole * header.scales + header.offsets

    return write


def npy(kind: str, *, columns: int = 3, order: str = "C") -> Callable[..., Float]:
    """A writer of arrays with some columns of noise behind x, y, z."""

    def write(path: Path, xyz: Float) -> Float:
        numbers = np.round(xyz * 1000.0) if np.dtype(kind).kind in "iu" else xyz
        noise = np.full((len(xyz), columns - 3), 77.0)
        full = np.hstack([numbers, noise]).astype(kind)
        np.save(path, np.asfortranarray(full) if order == "F" else full)
        return full[:, :3].astype(np.float64)

    return write


def npy_fields(path: Path, xyz: Float) -> Float:
    kinds = [("t", "u1"), ("z", ">f8"), ("x", "<f4"), ("n", "S3"), ("y", "<i2")]
    rows = np.zeros(len(xyz), kinds)
    rows["x"], rows["y"], rows["z"] = xyz[:, 0], xyz[:, 1] * 1000.0, xyz[:, 2]
    np.save(path, rows)
    return np.stack([rows[axis].astype(float) for axis in "xyz"], axis=1)


def e57(path: Path, xyz: Float) -> Float:
    """Two scans, the second turned by a quarter about z and shifted."""
    import pye57

    held = xyz.astype(np.float32).astype(np.float64)
    half = len(held) // 2
    turn, shift = np.array([np.sqrt(0.5), 0.0, 0.0, np.sqrt(0.5)]), [1.0, -2.0, 0.25]
    file = pye57.E57(str(path), mode="w")
    write_scan(file, held[:half])
    write_scan(file, held[half:], rotation=turn, translation=np.array(shift))
    file.close()
    x, y, z = held[half:].T
    moved = np.stack([-y + shift[0], x + shift[1], z + shift[2]], axis=1)
    return np.concatenate([held[:half], moved])


def write_scan(file: Any, xyz: Float, **more: Any) -> None:
    """Add a scan to an E57 file that is open for writing."""
    names = ("cartesianX", "cartesianY", "cartesianZ")
    extra = {"cartesianInvalidState": more.pop("invalid")} if "invalid" in more else {}
    columns = {name: np.ascontiguousarray(xyz[:, i]) for i, name in enumerate(names)}
    file.write_scan_raw({**columns, **extra}, **more)


@dataclass(frozen=True)
class Way:
    """A way to write a cloud: the file's ending, the writer, and what is promised."""

    ending: str
    write: Callable[[Path, Float], Float]
    kind: str
    counted: bool = True
    near: float = 0.0

    @property
    def binary(self) -> bool:
        """Whether a shortened file can be told."""
        return self.kind != "text"


WAYS: dict[str, Way] = {
    "savetxt": Way(".xyz", savetxt, "text", counted=False),
    "polars": Way(".csv", polars_csv, "text", counted=False),
    "ply text": Way(".ply", ply_text, "text", near=1e-7),
    "ply little float": Way(".ply", ply("<"), "f4"),
    "ply big float": Way(".ply", ply(">"), "f4"),
    "ply little double": Way(".ply", ply("<", "d"), "f8"),
    "ply big double": Way(".ply", ply(">", "d"), "f8"),
    "ply big int": Way(".ply", ply(">", "i"), "i4"),
    "las 1.2": Way(".las", las(1, "1.2"), "i4"),
    "las 1.3": Way(".las", las(3, "1.3"), "i4"),
    "las 1.4": Way(".las", las(7, "1.4"), "i4"),
    "laz 1.2": Way(".laz", las(3, "1.2"), "i4"),
    "laz 1.4": Way(".laz", las(6, "1.4"), "i4"),
    "npy float32": Way(".npy", npy("<f4"), "f4"),
    "npy float64": Way(".npy", npy("<f8", columns=7), "f8"),
    "npy big": Way(".npy", npy(">f8", columns=4), "f8"),
    "npy int64": Way(".npy", npy("<i8"), "f8"),
    "npy int16": Way(".npy", npy("<i2", columns=5), "i4"),
    "npy columns": Way(".npy", npy("<f4", columns=4, order="F"), "f4"),
    "npy fields": Way(".npy", npy_fields, "mixed"),
    "e57": Way(".e57", e57, "f8", near=1e-12),
}
BINARY = sorted(way for way in WAYS if WAYS[way].binary)


def read(source: CloudSource, size: int = 1_000_000, piece: Any = None) -> Float:
    """All coordinates of a source or of a piece of it."""
    runs = [run.coordinates() for run in source.chunks(size, piece)]
    return np.concatenate(runs) if runs else np.zeros((0, 3))


def read_file(path: Path) -> Float:
    """All coordinates of a file."""
    return read(open_cloud(path))


def kinds_of(run: Points) -> set[str]:
    """Kinds of number that a run hands on."""
    return {values.dtype.str[1:] for values in (run.x, run.y, run.z)}
