"""Tables as the files that a firm may keep: CSV, a workbook, Parquet."""

import openpyxl
import pandas as pd


def write_csv(folder, jobs, openings=None):
    folder.mkdir(exist_ok=True)
    jobs.to_csv(folder / "jobs.csv", index=False)
    if openings is not None:
        openings.to_csv(folder / "openings.csv", index=False)
    return folder


def write_workbook(path, **tables):
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, frame in tables.items():
        sheet = book.create_sheet(name)
        sheet.append(list(frame))
        for row in frame.astype(object).itertuples(index=False):
            sheet.append([None if pd.isna(cell) else cell for cell in row])
    book.save(path)
    return path


def write_parquet(folder, **tables):
    folder.mkdir()
    for name, frame in tables.items():
        frame.to_parquet(folder / f"{name}.parquet")
    return folder
