"""Our descriptors beside general time-series methods: the same sections, the same splits."""
