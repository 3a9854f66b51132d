#!/usr/bin/env python3
"""Runs ViewDefinitions over NDJSON with Pathling (CSIRO; Apache Spark), which is not ours.

rows.py NDJSON_DIR OUT_DIR VIEW.json…: writes OUT_DIR/NAME.ndjson for each view."""
import glob
import json
import os
import sys

from pathling import PathlingContext
from pyspark.sql import SparkSession

source, into, *views = sys.argv[1:]
spark = (SparkSession.builder.master("local[2]").config("spark.jars", os.environ["PATHLING_JAR"]).config("spark.ui.enabled", "false")
         .config("spark.driver.bindAddress", "127.0.0.1").config("spark.driver.host", "127.0.0.1")
         .config("spark.sql.shuffle.partitions", "2").config("spark.driver.memory", "2g").getOrCreate())
spark.sparkContext.setLogLevel("ERROR")
data = PathlingContext.create(spark, enable_extensions=True).read.ndjson(os.path.abspath(source))
os.makedirs(into, exist_ok=True)
for path in views:
    with open(path) as f:
        view = json.load(f)
    # Not write.parquet: its optimiser fails on wide views (an assertion about names, Spark 4.0.5).
    rows = data.view(json=json.dumps(view)).toJSON().collect()
    with open(os.path.join(into, view["name"] + ".ndjson"), "w") as f:
        f.writelines(row + "\n" for row in rows)
    print(f"{view['name']}: {len(rows)} rows", flush=True)
