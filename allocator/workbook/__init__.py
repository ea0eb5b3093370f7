"""Rooms and plans as spreadsheet workbooks (ISO/IEC 29500, files ending in .xlsx)."""
