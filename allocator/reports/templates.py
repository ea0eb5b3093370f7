"""Where pages come from: templates in which every text of a keeper is escaped."""

from jinja2 import Environment, PackageLoader, StrictUndefined

from allocator.reports.blocks import Grid


def environment(package: str, folder: str) -> Environment:
    """Return what fills in the templates of a folder: every value is escaped, none may be missing."""
    made = Environment(
        loader=PackageLoader(package, folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    made.tests["grid"] = lambda block: isinstance(block, Grid)
    return made
