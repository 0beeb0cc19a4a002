"""Sphinx settings: an offline site, built by `make docs`, in which a warning is an error."""

import os
import sys
from importlib.metadata import version as version_of
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
# The checkout before any installed copy, so that the pages describe the code beside them.
sys.path.insert(0, str(ROOT))
# The notebook and the report run in processes of their own.
os.environ["PYTHONPATH"] = os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])])

project = "benchdays"
author = "the benchdays contributors"
version = release = version_of("benchdays")
language = "en"

extensions = [
    "myst_nb",
    "sphinx.ext.autodoc",
    "numpydoc",
    "docs.directives",
]
exclude_patterns = ["_build"]
nitpicky = False

myst_enable_extensions = ["colon_fence", "deflist"]
myst_heading_anchors = 3

nb_execution_mode = "force"
nb_execution_show_tb = True
nb_execution_timeout = 120
nb_merge_streams = True

# Single backticks in docstrings mark code.
default_role = "code"
autodoc_typehints = "none"
autodoc_member_order = "bysource"
numpydoc_show_class_members = False

html_theme = "furo"
html_title = f"benchdays {version}"
html_static_path = ["static"]
html_css_files = ["site.css"]
html_show_copyright = False
html_copy_source = False
html_show_sourcelink = False
html_theme_options = {
    "light_css_variables": {"font-stack": "system-ui, sans-serif"},
    "dark_css_variables": {"font-stack": "system-ui, sans-serif"},
}
