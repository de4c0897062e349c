"""Pictures of the examples: figures that a block leaves in a name, drawn once.

The package makes figures of its own, not those of pyplot, so they are found by the
names that an example gives them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any


def figures(
    block: Any, block_vars: dict[str, Any], gallery_conf: dict[str, Any]
) -> str:
    """Save every new figure of a block; give the text that shows it."""
    from matplotlib.figure import Figure
    from sphinx_gallery.scrapers import figure_rst

    names = block_vars["example_globals"]
    shown = names.setdefault("_shown", [])
    paths = []
    for value in list(names.values()):
        if isinstance(value, Figure) and not any(value is one for one in shown):
            shown.append(value)
            path = next(block_vars["image_path_iterator"])
            Path(path).parent.mkdir(parents=True, exist_ok=True)
            value.savefig(path, dpi=100, facecolor="white")
            paths.append(path)
    return str(figure_rst(paths, gallery_conf["src_dir"]))
