"""What bandages and garments press, and which size fits, as plain Python.

Pure: imports the standard library, `clinic.common.vocabulary` and `clinic.common.errors` only.
"""
