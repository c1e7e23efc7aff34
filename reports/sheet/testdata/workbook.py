# Reads a workbook with openpyxl and prints what it finds as JSON.
import json
import sys

import openpyxl

book = openpyxl.load_workbook(sys.argv[1])
out = {
    "title": book.properties.title,
    "creator": book.properties.creator,
    "created": book.properties.created.isoformat(),
    "modified": book.properties.modified.isoformat(),
    "sheets": [],
}
for sheet in book.worksheets:
    out["sheets"].append({
        "name": sheet.title,
        "frozen": sheet.freeze_panes or "",
        "titles": sheet.print_title_rows or "",
        "filter": sheet.auto_filter.ref or "",
        "paper": int(sheet.page_setup.paperSize),
        "landscape": sheet.page_setup.orientation == "landscape",
        "wide": bool(sheet.sheet_properties.pageSetUpPr and sheet.sheet_properties.pageSetUpPr.fitToPage) and sheet.page_setup.fitToWidth == 1 and sheet.page_setup.fitToHeight == 0,
        "scale": int(sheet.page_setup.scale or 100),
        "head": [sheet.oddHeader.left.text or "", sheet.oddHeader.center.text or "", sheet.oddHeader.right.text or ""],
        "foot": [sheet.oddFooter.left.text or "", sheet.oddFooter.center.text or "", sheet.oddFooter.right.text or ""],
        "pictures": len(sheet._images),
        "cells": [[cell.row - 1, cell.column - 1, cell.data_type, cell.value if cell.data_type == "s" else repr(cell.value), cell.number_format, bool(cell.font.b)]
                  for row in sheet.iter_rows() for cell in row if cell.value is not None],
    })
json.dump(out, sys.stdout)
