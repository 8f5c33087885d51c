"""Trend files of many units to one ranked list, on local processes or on a Dask cluster."""
