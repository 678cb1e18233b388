"""How Sphinx makes the site of the staged pages; `scripts/docs` stages them and calls it."""

from site_gallery import ORDER, leave_only_scripts, picture_scraper

import headfit

project = "headfit"
author = "headfit contributors"
project_copyright = "headfit contributors, BSD 3-Clause licence"
version = release = headfit.__version__
language = "en"

extensions = ["sphinx.ext.autodoc", "numpydoc", "myst_parser", "sphinx_gallery.gen_gallery"]
exclude_patterns = ["gallery/*.py", "gallery/GALLERY_HEADER.rst"]
suppress_warnings = [
    "config.cache",  # functions of the gallery cannot be kept
    "myst.header",  # in messages.md every code has the same level, in parts and in parts of parts
]

# A link that leads nowhere is an error; a word in single backticks is code.
nitpicky = False
default_role = "code"

myst_heading_anchors = 4
myst_enable_extensions = ["colon_fence", "deflist"]

autodoc_typehints = "none"  # numpydoc shows the types that the docstring tells
autodoc_member_order = "bysource"
numpydoc_show_class_members = False
numpydoc_xref_param_type = False

sphinx_gallery_conf = {
    "examples_dirs": ["gallery"],
    "gallery_dirs": ["examples"],
    "within_subsection_order": ORDER.index,
    "filename_pattern": r"\.py$",
    "run_stale_examples": True,  # the package may have changed, so each runs each time
    "abort_on_example_error": True,
    "image_scrapers": (picture_scraper,),
    "reset_modules": (leave_only_scripts,),
    "reset_modules_order": "both",
    "capture_repr": ("_repr_html_", "__repr__"),
    "remove_config_comments": True,
    "download_all_examples": False,
    "show_memory": False,
    "show_signature": False,
    "min_reported_time": 1e9,  # a time of this machine is of no use to a reader
    "write_computation_times": False,
    "plot_gallery": True,
}

html_theme = "furo"
html_title = f"headfit {version}"
html_static_path = ["static"]
html_css_files = ["drawings.css", "site.css"]
html_copy_source = False
html_show_sphinx = False
html_theme_options = {"navigation_with_keys": False}
