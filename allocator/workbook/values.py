"""What stands in a cell, as the plain value that a room file would have in its place."""

import re
from datetime import date, datetime, time, timedelta

from allocator.reading.source import Plain, WrittenFloat, WrittenInt, resolve
from allocator.workbook.cells import text_of_cell
from allocator.workbook.layout import Holds

TRUTHS = {"yes": True, "true": True, "no": False, "false": False}
AS_TEXT = "give the cell the format Text, and type it again"
AS_GENERAL = "give the cell the format General, and type it again"
AS_DAY = "write for example 2027-01-09"
ZEROS = re.compile(r"0{2,}")


class NotReadableError(Exception):
    """A cell that holds nothing that can be read; says what is wrong, what was found and what would help."""

    def __init__(self, what: str, found: str | None = None, hint: str | None = None) -> None:
        super().__init__(what)
        self.what, self.found, self.hint = what, found, hint


def plain_value(value: object, holds: Holds, number_format: str = "General") -> Plain:
    """
    Return the plain value of a cell; None where nothing is in it.

    Dates become year-month-day and numbers remember how they are written. Numbers, dates and truths that were
    typed as text are taken for what they are in a column of their kind, and left as they are elsewhere.

    Raises
    ------
    NotReadableError
        If the program that saved it made something else of what was typed: a date where there is a name.
    """
    if isinstance(value, str):
        return _of_text(text_of_cell(value).strip(), holds)
    if isinstance(value, bool):
        return _of_truth(value, holds=holds)
    if isinstance(value, int | float):
        return _of_number(value, holds, number_format)
    if isinstance(value, date):  # a datetime is one too
        return _of_day(value, holds)
    if isinstance(value, time | timedelta):
        raise NotReadableError("the cell holds a time of day", f"got {value}", _hint(holds))
    return None if value is None else str(value)


def _of_text(text: str, holds: Holds) -> Plain:
    if not text:
        return None
    if holds is Holds.NUMBER:
        number = resolve(text)
        return number if isinstance(number, WrittenInt | WrittenFloat) else text
    if holds is Holds.TRUTH:
        if text.lower() not in TRUTHS:
            raise NotReadableError("must be yes or no", f"got {text!r}")
        return TRUTHS[text.lower()]
    return text


def _of_truth(value: bool, *, holds: Holds) -> Plain:  # noqa: FBT001 - it is the value
    if holds is Holds.TRUTH:
        return value
    word = str(value).upper()
    raise NotReadableError("the cell holds true or false", f"got {word}", _hint(holds))


def _of_number(value: float, holds: Holds, number_format: str) -> Plain:
    if holds is Holds.DAY:
        raise NotReadableError("the cell holds a number, not a date", f"got {value:g}", AS_DAY)
    whole = isinstance(value, int) or value.is_integer()
    written = str(int(value)) if whole else repr(value)
    if holds is Holds.TEXT and whole and ZEROS.fullmatch(number_format):
        written = written.zfill(len(number_format))  # shown as 007, and meant
    return WrittenInt.read(written) if whole else WrittenFloat.read(written)


def _of_day(value: date, holds: Holds) -> Plain:
    day = value.date() if isinstance(value, datetime) else value
    if holds is not Holds.DAY:
        kind = "a number" if holds is Holds.NUMBER else "text"
        raise NotReadableError(f"the cell holds a date, not {kind}", f"got {day.isoformat()}", _hint(holds))
    return day.isoformat()


def _hint(holds: Holds) -> str:
    return {Holds.TEXT: AS_TEXT, Holds.DAY: AS_DAY}.get(holds, AS_GENERAL)
