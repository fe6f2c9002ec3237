"""Sheets of rows written as workbooks of three kinds."""

from __future__ import annotations

import io
import zipfile
from typing import Any

import openpyxl
import xlwt


def xlsx(sheets: dict[str, list[list[Any]]]) -> bytes:
    book = openpyxl.Workbook(write_only=True)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def xls(sheets: dict[str, list[list[Any]]]) -> bytes:
    book = xlwt.Workbook()
    for name, rows in sheets.items():
        sheet = book.add_sheet(name)
        for i, row in enumerate(rows):
            for j, cell in enumerate(row):
                sheet.write(i, j, cell)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def ods(sheets: dict[str, list[list[Any]]]) -> bytes:
    """As OpenDocument 1.2 (OASIS) has it, with the million empty rows below that office programs write."""

    def cell(value: Any) -> str:
        if isinstance(value, str):
            return f'<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>'
        return f'<table:table-cell office:value-type="float" office:value="{value}"/>'

    space = "urn:oasis:names:tc:opendocument:xmlns:"
    empty = '<table:table-row table:number-rows-repeated="1048000"><table:table-cell/></table:table-row>'
    body = "".join(
        f'<table:table table:name="{name}">'
        + "".join(f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in rows)
        + f"{empty}</table:table>"
        for name, rows in sheets.items()
    )
    content = (
        f'<office:document-content xmlns:office="{space}office:1.0" xmlns:table="{space}table:1.0" '
        f'xmlns:text="{space}text:1.0" office:version="1.2"><office:body><office:spreadsheet>{body}'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    kind = b"application/vnd.oasis.opendocument.spreadsheet"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("mimetype", kind)  # first and not packed, as the standard asks
        archive.writestr("content.xml", content, zipfile.ZIP_DEFLATED)
        archive.writestr(
            "META-INF/manifest.xml", f'<manifest:manifest xmlns:manifest="{space}manifest:1.0"/>'
        )
    return out.getvalue()
