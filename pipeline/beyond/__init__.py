"""Beyond one machine: the work units of a store as tasks of a Dask cluster."""
