"""Plan which brood lives in which vessel, from egg to sale."""

__version__ = "0.1.0"
