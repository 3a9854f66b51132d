#!/usr/bin/env python3
"""Holds every CSV file against its data dictionary with Frictionless, and shows that it bites. dictionary.py DIR"""
import sys

from frictionless import Package, system

with system.use_context(trusted=True):
    package = Package(f"{sys.argv[1]}/datapackage.json")
    report = package.validate(limit_errors=20)
    for task in report.tasks:
        for error in task.errors:
            print(task.name, error.message)
    print(f"Frictionless: {len(package.resources)} files, {report.stats['errors']} errors")
    broken = package.get_resource("lesion-00001")
    broken.schema.get_field("organ").type  # the schema was resolved
    broken.schema.set_field_type("organ", "integer")
    bites = not broken.validate(limit_errors=1).valid
    print("a wrong type is noticed:", bites)
sys.exit(0 if report.valid and bites else 1)
