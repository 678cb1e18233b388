"""Sites, comparisons and measurements as pandas data frames (optional extra), one row a thing.

The columns are those of the tables that headfit writes, unrounded; what is not known is missing.
The only module that knows pandas. Millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from headfit.anatomy.sites import Sites
from headfit.comparing.comparison import Comparison
from headfit.errors import missing_library
from headfit.files.comparison_files import DEVIATION_HEADER, deviation_rows
from headfit.files.tables import SITES_HEADER, Cell, site_rows
from headfit.fitting.fit import FittedHead
from headfit.fitting.measurements import MEASUREMENTS

MEASUREMENT_HEADER = (
    "name",
    "title",
    "measured_mm",
    "reading_spread_mm",
    "fitted_mm",
    "fitted_spread_mm",
    "fitted_minus_measured_mm",
)


def frame(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Any:
    """A `pandas.DataFrame` whose index is the first column.

    Raises
    ------
    InputError
        `pandas` is not installed.
    """
    try:
        import pandas as pd
    except ImportError as error:
        raise missing_library("pandas", "make a data frame") from error
    table = pd.DataFrame.from_records(list(rows), columns=list(header))
    return table.set_index(header[0])


def sites_to_frame(sites: Sites) -> Any:
    """A row a site: place, the arc that marks it, and where on its tape."""
    return frame(SITES_HEADER, site_rows(sites))


def comparison_to_frame(comparison: Comparison) -> Any:
    """A row a mark: the columns of deviations.tsv."""
    return frame(DEVIATION_HEADER, deviation_rows(comparison))


def measurements_to_frame(fitted: FittedHead) -> Any:
    """A row for every measurement of the sheet, taken or not: as measured, and as fitted."""
    taken = fitted.tape.values_mm
    rows = [
        [
            name,
            kind.title,
            taken.get(name),
            fitted.tape.spread_mm(name) if name in taken else None,
            fitted.predicted_mm[name],
            fitted.predicted_spread_mm[name],
            fitted.residuals_mm.get(name),
        ]
        for name, kind in MEASUREMENTS.items()
    ]
    return frame(MEASUREMENT_HEADER, rows)
