"""A file that should be a workbook, opened with care: nothing in it can make the tool hang or fall over."""

import re
import warnings
from io import BytesIO
from zipfile import ZipFile, is_zipfile

from openpyxl import Workbook, load_workbook
from openpyxl.utils import get_column_letter

LARGEST_UNPACKED_BYTES = 30_000_000
"""What all parts of a file may hold together: reading more would take minutes, and a small file can hold much more."""

MOST_PARTS = 1_000
MOST_ROWS, MOST_COLUMNS, MOST_CELLS = 60_000, 200, 2_000_000
CHUNK = 1 << 16

OLE2 = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""How the container of older office files begins ([MS-CFB], 2.2); a workbook with a password is in one too."""
WITH_PASSWORD = "EncryptedPackage".encode("utf-16-le")
"""The stream of such a container that holds what the password protects ([MS-OFFCRYPTO], 2.3.4.4)."""
OPEN_DOCUMENT = b"mimetypeapplication/vnd.oasis.opendocument"
"""How a package of the other open format begins (OASIS OpenDocument 1.3, part 2, 3.3)."""
A_FORMULA = re.compile(rb"<(\w+:)?f[\s/>]")
"""The element of a formula (ISO/IEC 29500-1, 18.3.1.40)."""
IN_A_BOOK = "xl/workbook.xml"

SAVE_AS = "save it as .xlsx in your spreadsheet program"


class NotABookError(Exception):
    """A file that cannot be read as a workbook; says what is wrong, what was found and what would help."""

    def __init__(self, what: str, found: str | None = None, hint: str | None = None) -> None:
        super().__init__(what)
        self.what, self.found, self.hint = what, found, hint


def open_book(content: bytes, *, values: bool) -> Workbook:
    """
    Return the workbook that a file holds.

    Parameters
    ----------
    content
        The bytes of the file, no more than can be held.
    values
        Take what formulas came to when the workbook was last saved, and not the formulas themselves.

    Raises
    ------
    NotABookError
        If it is something else, has a password, is damaged, or holds far more than any room.
    """
    _look_inside(content)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore"
            )  # what openpyxl passes over (pictures, rules of colour) is not ours
            book = load_workbook(BytesIO(content), data_only=values, keep_links=False)
    except Exception as error:
        # The library meets damage with whatever error it runs into.
        raise NotABookError("the workbook is damaged", _reason(error), "open it and save it again") from error
    for sheet in book.worksheets:
        rows, columns = sheet.max_row, sheet.max_column
        if rows > MOST_ROWS or columns > MOST_COLUMNS or rows * columns > MOST_CELLS:
            last = f"sheet {sheet.title} goes on to cell {get_column_letter(columns)}{rows}"
            hint = "delete the columns and rows beyond your own, with their colours and borders"
            raise NotABookError("the workbook is too large", last, hint)
    return book


def has_formulas(content: bytes) -> bool:
    """Tell whether a workbook that can be opened has a formula in any sheet."""
    with ZipFile(BytesIO(content)) as parts:
        return any(A_FORMULA.search(parts.read(part)) for part in parts.namelist() if "sheets/" in part)


def _look_inside(content: bytes) -> None:
    if not content:
        raise NotABookError("the file is empty", hint="see whether it was saved")
    if content.startswith(OLE2):
        if WITH_PASSWORD in content:
            hint = "save it without one; the tool cannot ask for it"
            raise NotABookError("the workbook is protected with a password", hint=hint)
        raise NotABookError("this is an older kind of workbook", "got .xls", SAVE_AS)
    if OPEN_DOCUMENT in content[:200]:
        raise NotABookError("this is a workbook of another kind", "got .ods", SAVE_AS)
    if not is_zipfile(BytesIO(content)):
        found = "cut short, or changed on its way" if content.startswith(b"PK") else None
        raise NotABookError("this is not a workbook", found, SAVE_AS)
    try:
        with ZipFile(BytesIO(content)) as parts:
            _weigh(parts)
    except NotABookError:
        raise
    except Exception as error:
        # So does the library that unpacks.
        raise NotABookError("the workbook is damaged", _reason(error), "open it and save it again") from error


def _weigh(parts: ZipFile) -> None:
    """Unpack every part, no further than allowed: what a part says of its own size cannot be trusted."""
    infos = parts.infolist()
    if not any(info.filename == IN_A_BOOK for info in infos):
        raise NotABookError("this is not a workbook", "a package of something else", SAVE_AS)
    if len(infos) > MOST_PARTS:
        raise NotABookError("the workbook is too large", f"{len(infos)} parts in it")
    whole = 0
    for info in infos:
        before = b""
        with parts.open(info) as part:
            while chunk := part.read(CHUNK):
                whole += len(chunk)
                if whole > LARGEST_UNPACKED_BYTES:
                    found = f"more than {LARGEST_UNPACKED_BYTES // 1_000_000} MB when unpacked"
                    hint = "delete pictures and sheets that are not of the room"
                    raise NotABookError("the workbook is too large", found, hint)
                if b"<!DOCTYPE" in before + chunk:
                    # No part of a package may have one (ISO/IEC 29500-2), and reading one can take for ever.
                    raise NotABookError("the workbook is damaged", f"a declaration in {info.filename}")
                before = chunk[-16:]


def _reason(error: Exception) -> str:
    words = " ".join(str(error).split())[:80]
    return words or type(error).__name__
