"""The site of these pages: ``python3 scripts/docs.py`` builds it.

Sphinx runs in a copy of the pages (``scripts/docs.py`` makes it), so that nothing is
written beside them.
"""

from __future__ import annotations

import pydoc
import sys
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

import geom

project = "daubline"
author = "the makers of daubline"
project_copyright = "the makers of daubline; no licence is chosen yet"
version = release = geom.__version__
language = "en_GB"

extensions = [
    "myst_parser",
    "numpydoc",
    "sphinx.ext.autodoc",
    "sphinx_gallery.gen_gallery",
]
exclude_patterns = ["examples", "sg_execution_times.rst"]
highlight_language = "none"
nitpicky = True
show_warning_types = True

# --- pages ---------------------------------------------------------------------------

myst_heading_anchors = 4
myst_enable_extensions = ["colon_fence"]
suppress_warnings = ["config.cache"]

# --- the face ------------------------------------------------------------------------

autodoc_member_order = "bysource"
autodoc_typehints = "signature"
autodoc_typehints_format = "short"
python_use_unqualified_type_names = True
python_maximum_signature_line_length = 88
numpydoc_show_class_members = False
numpydoc_class_members_toctree = False

# --- examples ------------------------------------------------------------------------

sphinx_gallery_conf = {
    "examples_dirs": "examples",
    "gallery_dirs": "gallery",
    "filename_pattern": r"\.py$",
    "image_scrapers": ("gallery_pictures.figures",),
    "reset_modules": (),
    "capture_repr": (),
    "remove_config_comments": True,
    "abort_on_example_error": True,
    "download_all_examples": False,
    "show_memory": False,
    "show_signature": False,
    "min_reported_time": 1e9,
    "within_subsection_order": "FileNameSortKey",
}

# --- look ----------------------------------------------------------------------------

html_theme = "furo"
html_title = f"daubline {release}"
html_static_path = ["static"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_sourcelink = False
html_show_sphinx = False
html_theme_options = {
    "light_css_variables": {
        "color-brand-primary": "#a3420f",
        "color-brand-content": "#a3420f",
        "color-brand-visited": "#7a4a2e",
    },
    "dark_css_variables": {
        "color-brand-primary": "#f0a070",
        "color-brand-content": "#f0a070",
        "color-brand-visited": "#d3b09c",
    },
}


# --- names that signatures hold ------------------------------------------------------

#: Types of other libraries, and inner types named as a file imports them.
nitpick_ignore_regex = [
    ("py:class", r"(xr|pv|np|trimesh|vtk)\..*"),
    ("py:class", r"(Float|Bool|Int|Path|Figure|Posterior|Pose|Rejected)"),
    ("py:class", r"SurfaceDiagnostic"),
]


def resolve(app: Any, env: Any, node: Any, contnode: Any) -> Any:
    """Lead a type to its entry on the face, whatever room it comes from.

    Inner types of the package, which are there but have no entry, and types of what is
    installed stay plain text; any other name is a warning.
    """
    if node.get("refdomain") != "py":
        return None
    target = node["reftarget"]
    name = target.rpartition(".")[2]
    if name in geom.__all__ and target != f"geom.{name}":
        domain, page = env.get_domain("py"), node.get("refdoc")
        for kind in ("class", "exc", "func"):
            whole = f"geom.{name}"
            found = domain.resolve_xref(
                env, page, app.builder, kind, whole, node, contnode
            )
            if found is not None:
                return found
    there = target.count(".") > (1 if target.startswith("geom.") else 0)
    return contnode if there and pydoc.locate(target) is not None else None


def developers(app: Any, docname: str, source: list[str]) -> None:
    """Lead to the developers' page where the site has it: among the others."""
    source[0] = source[0].replace("](../DEVELOPERS.md", "](developers.md")


def setup(app: Any) -> None:
    app.connect("missing-reference", resolve)
    app.connect("source-read", developers)
