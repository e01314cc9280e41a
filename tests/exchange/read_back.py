#!/usr/bin/env python3
"""Reads an exported file with CPython's csv and json, NumPy or h5py, and prints what they find as one JSON text:
{"tables": {NAME: {"t_ns": [since the recording's start], COLUMN: [values]}}, "units": {"NAME.COLUMN": unit}}, and of
the binary formats "kinds": {"NAME.COLUMN": NumPy's word for the type} and what else the container says.

usage: read_back.py FORMAT FILE START_NS
       read_back.py lines FILE           (any JSON Lines: {"objects": [one a line]})
"""
import csv
import decimal
import json
import math
import sys
import zipfile


def plain(value):
    value = value.item() if hasattr(value, "item") else value
    if isinstance(value, bytes):
        value = value.decode()
    if not isinstance(value, float) or math.isfinite(value):
        return value
    return None if math.isnan(value) else "Infinity" if value > 0 else "-Infinity"


def refuse(word):
    raise ValueError(f"{word} is not JSON")


def nanoseconds(seconds):
    return int(decimal.Decimal(seconds).scaleb(9))


def read_csv(path, out):
    with open(path, newline="", encoding="utf-8") as file:
        rows = csv.reader(file, strict=True)
        header = next(rows)
        has_series = header[2:3] == ["series"]
        columns = []
        for place, heading in enumerate(header):
            if place < (3 if has_series else 2):
                continue
            name, _, unit = heading.partition(" [")
            table, _, column = name.rpartition(".")
            columns.append((place, table, column))
            out["units"][name] = unit[:-1]
        for row in rows:
            assert len(row) == len(header), f"{len(row)} cells under {len(header)} headings"
            tables = {of for _, of, _ in columns}
            series = row[2] if has_series else tables.pop() if len(tables) == 1 else "samples"
            table = out["tables"].setdefault(series, {"t_ns": []})
            table["t_ns"].append(nanoseconds(row[1]))
            for place, of, column in columns:
                is_text = out["units"][f"{of}.{column}"] == ""
                if of == series or series == "samples":
                    cell = row[place]
                    key = column if of == series else f"{of}.{column}"
                    table.setdefault(key, []).append(cell if is_text else plain(float(cell)) if cell else None)
                else:
                    assert row[place] == "", "a cell of another table is not empty"


def read_jsonl(path, out):
    with open(path, encoding="utf-8") as file:
        head = json.loads(next(file), parse_constant=refuse)
        for series in head["series"]:
            for column in series["columns"]:
                out["units"][f"{series['name']}.{column['name']}"] = column.get("unit", "")
        for line in file:
            row = json.loads(line, parse_constant=refuse, parse_float=decimal.Decimal)
            table = out["tables"].setdefault(row["series"], {"t_ns": []})
            table["t_ns"].append(nanoseconds(row["t_s"]))
            for name, value in row["values"].items():
                table.setdefault(name, []).append(value if value is None or isinstance(value, str) else float(value))


def read_npz(path, out, start_ns):
    import numpy

    with zipfile.ZipFile(path) as file:
        out["members"] = {each.filename: each.compress_type for each in file.infolist()}
    with numpy.load(path, allow_pickle=False) as file:
        for table, column, unit, _ in file["columns"]:
            out["units"][f"{table}.{column}"] = str(unit)
        for name in file.files:
            if name == "columns":
                continue
            array = file[name]
            out["kinds"].update({f"{name}.{field}": array.dtype[field].str for field in array.dtype.names})
            out["tables"][name] = {field: [plain(value) for value in array[field]] for field in array.dtype.names}
            out["tables"][name]["t_ns"] = [value - start_ns for value in out["tables"][name]["t_ns"]]


def read_hdf5(path, out, start_ns):
    import h5py

    def visit(name, item):
        if not isinstance(item, h5py.Dataset):
            return
        table, _, column = name.rpartition("/")
        out["kinds"][f"{table}.{column}"] = item.dtype.str
        values = [plain(value) for value in item[()]]
        if column == "t_ns":
            values = [value - start_ns for value in values]
        else:
            out["units"][f"{table}.{column}"] = item.attrs.get("units", "")
        out["tables"].setdefault(table, {})[column] = values

    with h5py.File(path, "r") as file:
        file.visititems(visit)


def main():
    kind, path = sys.argv[1], sys.argv[2]
    if kind == "lines":
        with open(path, encoding="utf-8") as file:
            json.dump({"objects": [json.loads(line, parse_constant=refuse) for line in file]}, sys.stdout)
        return
    start_ns = int(sys.argv[3])
    out = {"tables": {}, "units": {}, "kinds": {}}
    if kind == "csv":
        read_csv(path, out)
    elif kind == "jsonl":
        read_jsonl(path, out)
    elif kind == "npz":
        read_npz(path, out, start_ns)
    else:
        read_hdf5(path, out, start_ns)
    json.dump(out, sys.stdout, allow_nan=False)


main()
