"""Calculations that are independent of the package: what its figures are held against."""
