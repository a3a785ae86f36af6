"""Prints every text of a Parquet dataset: paths, columns, metadata: all_text.py DATASET"""

import sys
from pathlib import Path

import pyarrow.parquet as parquet

root = Path(sys.argv[1])
for path in sorted(root.rglob("*")):
    print(path.relative_to(root))
    if path.suffix == ".parquet":
        file = parquet.ParquetFile(path)
        print(file.schema_arrow.metadata, file.metadata.metadata)
        for column in file.read().columns:
            if str(column.type) == "string":
                print(*set(column.to_pylist()), sep="\n")
    elif path.is_file():
        print(path.read_text(encoding="utf-8"))
