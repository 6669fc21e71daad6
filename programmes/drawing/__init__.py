"""Drawings of single steps: which view, what is shaded, where the arrow goes. Data in, shapes out.

Pure: imports the standard library only; no Django, no map, no page. Lengths in cm on the figure.
"""
