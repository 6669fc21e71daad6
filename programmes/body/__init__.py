"""The territory map and what may follow from it, as plain Python.

Pure: imports the standard library, networkx, `clinic.common.vocabulary` and `clinic.common.errors`.
"""
