"""The dossier: the record that a quality engineer signs, rendered from what evaluation and log hold."""
