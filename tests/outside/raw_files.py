"""Raw files as pandas, openpyxl and pyarrow write them, with the numbers that must come out; and CSVW read back.

`write FOLDER`: writes the files into the folder and prints one line of JSON for each: file, columns and the numbers as
the bits of doubles, `null` where a value is missing.
`csvw FILE`: reads a table that the program wrote with csvw (by its metadata) and with pandas.
"""

import json
import math
import random
import struct
import sys
from pathlib import Path


def bits(value):
    return None if value is None or math.isnan(value) else struct.unpack("<Q", struct.pack("<d", float(value)))[0]


def numbers(count, seed, low, high, decimals=None, gaps=()):
    source = random.Random(seed)
    values = [source.uniform(low, high) for _ in range(count)]
    if decimals is not None:
        values = [round(value, decimals) for value in values]
    return [math.nan if at in gaps else value for at, value in enumerate(values)]


def table(count, seed, decimals=None):
    return {
        "Time (s)": [at / 10 for at in range(count)],
        "Engine Speed (rpm)": [3000.5 + 40 * at for at in range(count)],
        "Torque (N·m)": numbers(count, seed, 150, 220, decimals),
        "Oil Press (bar)": numbers(count, seed + 1, 3, 5, decimals, gaps=(3, 7)),
        "Lambda": numbers(count, seed + 2, 0.82, 0.93, decimals),
    }


def told(name, columns):
    listed = [[bits(value) for value in values] for values in columns.values()]
    print(json.dumps({"file": name, "headers": list(columns), "values": listed}))


def told_workbook(folder, name):
    """What stands in the workbook as openpyxl itself reads it: it writes sixteen digits, which is not every double."""
    import openpyxl

    sheet = openpyxl.load_workbook(folder / name).active
    rows = [row for row in sheet.iter_rows(values_only=True) if any(v is not None for v in row)]
    first = next(at for at, row in enumerate(rows) if row[0] == "Time (s)")
    by_column = zip(*rows[first + 1 :])
    told(name, {head: [math.nan if v is None else v for v in column] for head, column in zip(rows[first], by_column)})


def write(folder):
    import openpyxl
    import pandas
    import pyarrow
    import pyarrow.parquet

    full, short = table(60, 1), table(60, 9, decimals=2)

    def csv(name, columns, **options):
        pandas.DataFrame(columns).to_csv(folder / name, index=False, **options)
        told(name, columns)

    csv("comma.csv", full)
    csv("semicolon-comma.csv", short, sep=";", decimal=",")
    csv("tab.txt", full, sep="\t")
    csv("pipe.csv", full, sep="|", na_rep="NaN")
    csv("bom.csv", full, encoding="utf-8-sig")
    csv("wide.csv", full, encoding="utf-16")
    csv("latin.csv", short, sep=";", encoding="cp1252")
    csv("quoted.csv", full, quoting=1, lineterminator="\r\n")
    csv("seventeen.csv", full, float_format="%.17g")

    pandas.DataFrame(full).to_excel(folder / "pandas.xlsx", index=False, sheet_name="run 7")
    told_workbook(folder, "pandas.xlsx")

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Operator", "mk"])
    sheet.append([])
    sheet.append(list(full))
    for row in zip(*full.values()):
        sheet.append([None if math.isnan(value) else value for value in row])
    book.save(folder / "openpyxl.xlsx")
    told_workbook(folder, "openpyxl.xlsx")

    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("log")
    sheet.append(list(short))
    for row in zip(*short.values()):
        sheet.append([None if math.isnan(value) else value for value in row])
    book.save(folder / "streamed.xlsx")
    told_workbook(folder, "streamed.xlsx")

    for compression in ("none", "snappy", "gzip"):
        name = f"{compression}.parquet"
        arrow = pyarrow.table({key: pyarrow.array(v, from_pandas=True) for key, v in full.items()})
        pyarrow.parquet.write_table(arrow, folder / name, compression=compression, row_group_size=17)
        told(name, full)
    pandas.DataFrame(full).to_parquet(folder / "pandas.parquet", compression="snappy")
    told("pandas.parquet", full)


def read(path):
    import csvw
    import pandas

    group = csvw.CSVW(str(path) + "-metadata.json", validate=True)
    assert group.is_valid, "the metadata is no valid CSVW"
    rows = list(group.tables[0].iterdicts()) if hasattr(group, "tables") else list(group.t.iterdicts())
    by_csvw = {}
    for row in rows:
        for key, value in row.items():
            by_csvw.setdefault(key, []).append(bits(value))
    frame = pandas.read_csv(path, float_precision="round_trip")
    by_pandas = {key: [bits(value) for value in frame[key]] for key in frame.columns}
    metadata = json.loads(Path(str(path) + "-metadata.json").read_text(encoding="utf-8"))
    units = [column.get("schema:unitText") for column in metadata["tableSchema"]["columns"]]
    print(json.dumps({"csvw": by_csvw, "pandas": by_pandas, "units": units}))


match sys.argv[1:]:
    case ["write", folder]:
        write(Path(folder))
    case ["csvw", path]:
        read(Path(path))
    case other:
        sys.exit(f"write FOLDER or csvw FILE, not {other}")
