"""Girths, volumes, their error and what they mean, as plain Python.

Pure: imports the standard library, numpy, scipy, `clinic.common.vocabulary` and
`clinic.common.errors`.
"""
