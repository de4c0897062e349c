"""The Tab key, as bash itself completes with what is printed for it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(scope="module")
def scripts(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """What is printed for each shell."""
    made = {}
    for shell in ("bash", "zsh"):
        made[shell] = tmp_path_factory.mktemp("completion") / f"daubline.{shell}"
        done = subprocess.run(
            [sys.executable, "-m", "geom.cli", "--completion", shell],
            cwd=ROOT, capture_output=True, text=True, check=True,
        )  # fmt: skip
        made[shell].write_text(done.stdout, "utf-8")
    return made


def completed(script: Path, *words: str, cwd: Path) -> set[str]:
    """What bash offers for the last of some words."""
    typed = " ".join(f"'{word}'" for word in words)
    asked = (
        f"source {script}; COMP_WORDS=({typed}); COMP_CWORD={len(words) - 1}; "
        "by=$(complete -p daubline | sed 's/.*-F //; s/ .*//'); $by; "
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(
        ["bash", "--norc", "-c", asked],
        cwd=cwd, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(done.stdout.split())


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (("daubline", "ca"), {"campaigns"}),
        (("daubline", "survey", "--cl"), {"--cloud-unit", "--cluster"}),
        (("daubline", "record", "l"), {"list", "log"}),
        (("daubline", "survey", "--stills", ""), {"png", "svg", "pdf"}),
        (("daubline", "survey", "lin"), {"lining.toml"}),
    ],
)
def test_bash_completes_commands_options_choices_and_files(
    scripts: dict[str, Path], tmp_path: Path, words: tuple[str, ...], offered: set[str]
) -> None:
    (tmp_path / "lining.toml").touch()
    assert completed(scripts["bash"], *words, cwd=tmp_path) == offered


def test_bash_reads_it_without_a_complaint_and_zsh_is_told_of_every_command(
    scripts: dict[str, Path],
) -> None:
    subprocess.run(["bash", "-n", str(scripts["bash"])], check=True)
    text = scripts["zsh"].read_text("utf-8")
    assert text.startswith("#compdef daubline")
    for command in ("survey", "recheck", "campaigns"):
        assert f"_shtab_daubline_{command}_options" in text
