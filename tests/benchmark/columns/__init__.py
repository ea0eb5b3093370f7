"""A lower bound on the cost of added vessels by groups as columns: each column is one vessel's stretch of use.

    lots -> stretches -> parts -> master -> proof -> bound

See docs/explanation/formulations.md.
"""

from benchmark.columns.bound import ColumnBound, column_bound

__all__ = ["ColumnBound", "column_bound"]
